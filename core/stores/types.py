"""The shelf as it is told."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from uuid import UUID

from core.estimate import Estimate
from core.frozen import Frozen


class Ordered(Frozen):
    """What is still to come of an order, in units, and when it is expected."""

    at: datetime
    quantity: float
    expected: datetime


class StockMove(Frozen):
    """A count, an order or a delivery of an item, in units; `entry` is the id of the entry that told of it."""

    entry: UUID
    at: datetime
    what: Literal["counted", "ordered", "received"]
    quantity: float


class WhyMoved(Frozen):
    """Why min moved: what it was eight weeks `before`, and the share by which the expected use changed.

    `reason`: more or less is used, the season turns, or use has become harder to foresee.
    """

    before: float
    reason: Literal["use", "season", "doubt"]
    change: float


class Stored(Frozen):
    """An item on the shelf, in its units.

    `on_hand` is null before the first count; `doubt` says why the book cannot be right; `unnoted` are orders that must
    have come by the last count, though nobody noted it; `orders` are those to come. When what is on hand and on order
    is at `min` or below, it is ordered up to `max`: `packs_to_order` now, at the latest at `order_by`;
    `runs_out_first` is the chance that it runs out before a delivery ordered now would come. `weekly` is the use
    expected, by `method`; the shelf is gone through every `review_days`; `used` are the weeks so far, oldest first
    (null where nothing is known), `expected` those to come. So many machines are `waiting` for it.
    """

    item: str
    name: str
    kind: Literal["material", "spare", "supply"]
    unit: str
    pack: float
    price: float | None
    on_hand: Estimate | None
    counted_at: datetime | None
    orders: list[Ordered]
    unnoted: list[Ordered]
    doubt: Literal["below nothing", "more than came in"] | None
    min: float | None
    max: float | None
    rule: str
    method: str
    short_history: bool
    weekly: float | None
    days_of_cover: float | None
    lead_days: float
    lead_spread: float
    deliveries: int
    service: float
    packs_to_order: int
    order_by: datetime | None
    runs_out_first: float | None
    moved: WhyMoved | None
    used: list[float | None]
    expected: list[float]
    moves: list[StockMove]
    review_days: float
    waiting: int


class OrderNow(Frozen):
    """An item to be ordered today: so many packs, what is there and to come (units), and for how many days it lasts.

    `runs_out_first` is the chance that it runs out before a delivery ordered now would come; so many machines are
    `waiting` for it.
    """

    item: str
    name: str
    packs: int
    pack: float
    unit: str
    on_hand: float
    on_order: float
    days_of_cover: float | None
    runs_out_first: float | None
    waiting: int


class SpoolChanges(Frozen):
    """Full spools fitted `a_week` over the last four weeks, the hours of hands that took at `minutes_each`, and the
    hours that spools of 3 kg would have taken.
    """

    a_week: float
    minutes_each: float
    hours: float
    hours_heavy: float


class Stores(Frozen):
    """Everything bought: materials, spares, supplies; and what changing spools takes."""

    at: datetime
    items: list[Stored]
    changes: SpoolChanges
