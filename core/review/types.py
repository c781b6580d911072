"""What the weekly review answers: what changed, what it cost, and whether what was tried helped."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal
from uuid import UUID

from core.entries import Figure
from core.estimate import Estimate
from core.frozen import Frozen
from core.reading.types import Tally

#: What else happened when a figure changed.
Happened = Literal["delivery", "revision", "upkeep", "machine", "days off", "heat"]


#: What a figure is counted of.
Unit = Literal["prints", "parts", "hours", "days", "orders", "taps"]


class Meanwhile(Frozen):
    """Something that happened within a week before a change began or until it showed: what of which code, first `at`.

    `times` is how often; of heat, the degrees Celsius above what was usual.
    """

    what: Happened
    code: str
    at: date
    times: float


class Called(Frozen):
    """A change beyond chance: by which rule, shown `at`, begun `since`; the figure `before` it and `after`.

    `beyond`: one value far out; `adds up`: a lasting change (cumulative sum). `new`: it showed in the week reviewed.
    """

    rule: Literal["beyond", "adds up"]
    at: date
    since: date
    upward: bool
    before: float
    after: float
    new: bool
    meanwhile: list[Meanwhile]


class Chart(Frozen):
    """A figure over the quarter with the limits of a steady one; `of` a file, model, rack or cause (null: the shop).

    `days` are those on which each value ended; `of_each` what it was counted of (`unit`). Values are
    shares, parts a day, faults in 100 printing hours, or between two seldom events prints or printing hours.
    """

    figure: Figure
    of: str | None
    kind: Literal["individuals", "p", "u", "g", "t"]
    unit: Unit
    days: list[date]
    values: list[float]
    of_each: list[float]
    centre: list[float]
    lower: list[float]
    upper: list[float]
    called: list[Called]

    @property
    def code(self) -> str:
        """What it is asked for by: the figure, and what it is of."""
        return f"{self.figure}:{self.of}" if self.of is not None else self.figure


class LossChange(Frozen):
    """Machine-hours lost for a reason in the week, and a week on average of the four `before` it."""

    reason: str
    detail: str | None
    hours: Estimate
    times: int
    before: Estimate


class WeekFigures(Frozen):
    """Seven days of the shop: shares of the hours it was meant to run, good parts, prints with scrap (`spoilt`)."""

    start: datetime
    end: datetime
    utilisation: Estimate | None
    downtime: Estimate | None
    printing: Estimate
    good: Estimate
    scrap: int
    spoilt: Tally
    faults: int


class HourWait(Frozen):
    """Machine-hours a week that finished parts waited in one hour of the week (weekday 0 is Monday), over four weeks.

    `staffed`: people were in for this share of that hour.
    """

    weekday: int
    hour: int
    hours: float
    staffed: float


class SpareWait(Frozen):
    """Machine-days waited for a spare: in the week, and a week on average of the quarter."""

    spare: str
    week: Estimate
    usual: Estimate


class Keeping(Frozen):
    """Starts and removals of a rack that nobody noted, in the week and in the four before it."""

    rack: str
    name: str
    week: Tally
    before: Tally


class PromiseWeek(Frozen):
    """Orders due in seven days: `kept` left by their due time, `late` after it, `open` have not left yet; `unpacked`
    ones must have been packed though nobody noted it: whether these were kept is not known.
    """

    start: datetime
    due: int
    kept: int
    late: int
    open: int
    unpacked: int


class LateOrder(Frozen):
    """An order due in the week that left late, or one due whenever that has not left yet (null), `days` late so far."""

    order: str
    product: str
    quantity: float
    due: datetime
    left: datetime | None
    days: float


class MaterialUse(Frozen):
    """Grams of a material used in the week, and what was expected of it when the week began; null where not known."""

    material: str
    name: str
    used: float | None
    expected: float


class ModelWork(Frozen):
    """What the machines of a model gave over the quarter, a machine and calendar week.

    `work` is good parts in standard hours: every part counts the hours it takes on average over all models, so that
    models with other products can be compared. `speed`: standard hours it gets through in an hour of printing.
    `hands`: hours of hands for prints and upkeep. Ranges come from machine to machine.
    """

    model: str
    name: str
    machines: int
    printing: Estimate
    work: Estimate
    good: Estimate
    speed: Estimate
    spoilt: Tally
    faults: Estimate
    hands: Estimate


class ModelsCompared(Frozen):
    """The faster of two models against the slower: standard hours of work a machine and week more (or less)."""

    fast: str
    slow: str
    faster: float
    more: Estimate


class Moved(Frozen):
    """A figure in the four weeks `before` an action and `after` it, and the change with its 90 % range."""

    before: Estimate
    after: Estimate
    change: Estimate
    says: Literal["more", "less", "cannot tell"]


class Action(Frozen):
    """Something that is tried: by whom, until when, and which figure should move.

    `moved` is null where too little came before or after; `ended` is when it was done or dropped (`answer`), null while
    it is open.
    """

    id: UUID
    what: str
    who: str
    agreed: datetime
    due: datetime
    figure: Figure
    of: str | None
    ended: datetime | None
    answer: Literal["done", "dropped"] | None
    moved: Moved | None


#: What periods are compared by.
ComparedBy = Literal["shop", "model", "rack", "machine", "product", "file"]


class ComparedFigure(Frozen):
    """A figure as a level in two periods, with 90 % ranges, and the change; null where there is nothing to count."""

    figure: Figure
    unit: Unit
    before: Estimate | None
    after: Estimate | None
    change: Estimate | None
    says: Literal["more", "less", "cannot tell"]


class ComparedGroup(Frozen):
    """The figures of one group."""

    code: str
    figures: list[ComparedFigure]


class Comparison(Frozen):
    """Two periods, each from its first to its last day, side by side."""

    by: ComparedBy
    zone: str
    first: tuple[date, date]
    second: tuple[date, date]
    groups: list[ComparedGroup]


class Review(Frozen):
    """The week up to a midnight, beside the quarter before it.

    `false_calls` is how many changes a quarter `charts` would show by chance if nothing changed; `waited` are the
    machine-hours a week in `waits`, `waited_inside` those with people in. `unpacked` orders were due in the quarter and
    must have been packed though nobody noted it.
    """

    shop: str
    zone: str
    start: datetime
    end: datetime
    weeks: list[WeekFigures]
    losses: list[LossChange]
    charts: list[Chart]
    false_calls: float
    waits: list[HourWait]
    waited: float
    waited_inside: float
    spares: list[SpareWait]
    keeping: list[Keeping]
    promises: list[PromiseWeek]
    late: list[LateOrder]
    unpacked: list[str]
    materials: list[MaterialUse]
    models: list[ModelWork]
    compared: list[ModelsCompared]
