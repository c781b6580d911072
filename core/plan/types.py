"""What the plan answers: orders and when they leave, what the room can give, and what would give more."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from core.estimate import Estimate
from core.frozen import Frozen

#: Times that the room is played forward for an answer.
PLAYS = 500


class Leaves(Frozen):
    """When an order leaves: eight times in ten between `low` and `high`, as likely before `best` as after it.

    Null where that lies beyond what is played.
    """

    low: datetime | None
    best: datetime | None
    high: datetime | None


class OrderDue(Frozen):
    """An open order.

    `there` are parts packed for it or finished and its own by due date, `by_due` those that will be by then;
    `chance` is that of leaving in time.
    """

    order: str
    product: str
    name: str
    quantity: float
    due: datetime
    there: float
    by_due: Estimate
    chance: float
    leaves: Leaves


class ProductParts(Frozen):
    """Parts of a product: finished (`counted`: somebody counted them once), on machines, ordered; `keep` wished for."""

    product: str
    name: str
    finished: float
    counted: bool
    running: float
    ordered: float
    keep: float


class Plan(Frozen):
    """The open orders, those most at risk first, as played on from `at` for some `weeks`.

    `unpacked` orders are overdue though finished parts for them were there: nobody noted that they were packed. Those
    in `unprintable` are of products that no print file makes.
    `learned` says whether the shop's own ways are known; else the play goes by those of a usual shop.
    """

    at: datetime
    zone: str
    weeks: int
    promise: float
    learned: bool
    orders: list[OrderDue]
    unpacked: list[str]
    unprintable: list[str]
    products: list[ProductParts]


class Hurt(Frozen):
    """An order that another one would make later: its chance to leave in time without and with it."""

    order: str
    name: str
    due: datetime
    before: float
    after: float


class Promise(Frozen):
    """What can be promised of an order not taken yet.

    `date` is the first by which it leaves as likely as the owner wants (null: not within the `weeks` that are played),
    `chance` that of the due date asked about. `on_the_shelf`: finished parts that no open order wants are enough.
    """

    product: str
    name: str
    quantity: float
    due: datetime | None
    chance: float | None
    date: datetime | None
    leaves: Leaves
    hurts: list[Hurt]
    weeks: int
    on_the_shelf: bool


class HoursStep(Frozen):
    """One loss on the way from hours on the wall to good parts: machine-hours a week."""

    name: Literal["no word", "aside", "down", "upkeep", "proving", "waited", "empty", "failed", "scrap"]
    hours: Estimate


class Gain(Frozen):
    """What a change would give: good printing hours and parts a week more (90 % range of the play's own chance).

    `cost` is what each extra part would cost, null where no price is known or nothing is gained. `what` names the
    change, `model` the model where it is one more machine.
    """

    what: Literal["machine", "evening", "saturday", "downtime", "night", "batch"]
    model: str | None
    hours: Estimate
    parts: Estimate
    cost: float | None


class Week(Frozen):
    """A week to come: good printing hours that the room gives, and that orders will want."""

    start: datetime
    gives: Estimate
    wanted: Estimate | None


class Capacity(Frozen):
    """What the room can give.

    `wall` are machine-hours a week, `steps` what is lost of them, in order, as the last `measured_weeks` were; what is
    left are `good` hours, which came to `parts` good parts a week. `weeks` to come; `passed` is the first one in which
    more is wanted than given (null: none of them); `short_history`: what is wanted rests on few weeks. By the planning
    rule, with the downtime that the owner plans with, the busiest week has `required` of the `machines` there are.
    """

    measured_weeks: float
    wall: float
    steps: list[HoursStep]
    good: Estimate
    parts: float
    weeks: list[Week]
    passed: datetime | None
    short_history: bool
    machines: int
    required: float | None


#: What parts are for: an order that may be late, another order, what the owner wants kept, orders to come, none of it.
Use = Literal["at risk", "ordered", "keep", "ahead", "beyond"]


class NextLoad(Frozen):
    """What to start next on a machine: `at` hands can do so, the print `ends`, its `parts` are for `why` (and `order`).

    `new_spool`: the one on it would not last, or is of another material. Any other print there would be worth some
    hours of printing less than this one: `loses`.
    """

    machine: str
    file: str
    revision: int
    product: str
    name: str
    parts: int
    material: str
    new_spool: bool
    at: datetime
    ends: datetime
    why: Use
    order: str | None
    loses: float


class Loading(Frozen):
    """The loading list as of `at`, for machines that hands can load before they leave (`closes`, to be `back` then;
    null where nobody comes these days).

    `loads` are in the order in which hands come to them. For the machines in `left` there is no time, or nothing to
    gain; those that are `out` are in another state. The list is worth at most the share `short_of_best` less than the
    best there is: 0 where it is the best.
    """

    at: datetime
    zone: str
    closes: datetime | None
    back: datetime | None
    loads: list[NextLoad]
    left: list[str]
    out: dict[str, str]
    short_of_best: float
