"""The shapes of the answers: frozen, typed, dumped to JSON as they are.

Times are UTC, durations hours, shares fractions, masses grams. An estimate is low / best / high.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict

from core.entries import Sight
from core.estimate import Estimate
from core.habits.usage import LASTS
from core.hours.account import TimeAccount


class Frozen(BaseModel):
    """An answer: never changed after it is given."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Due(Frozen):
    """When a print is due off, as the 90 % interval of prints of its length."""

    low: datetime
    best: datetime
    high: datetime


class MachineNow(Frozen):
    """One machine at the moment asked about; `basis` says how its state is known.

    `due` is null unless it prints. `parts` is what its print puts on the platform, `file` the print
    on the platform where a start announced it, `last_file` what it was last noted to print.
    `last_word` is when it was last spoken of.
    """

    machine: str
    model: str
    rack: str
    place: int
    state: str
    basis: str
    since: datetime
    due: Due | None
    file: str | None
    revision: int | None
    product: str | None
    parts: int | None
    last_file: str | None
    last_revision: int | None
    cause: str | None
    spare: str | None
    last_word: datetime | None


class RackNow(Frozen):
    """A rack as it stands: its machines by place, `across` side by side."""

    rack: str
    name: str
    across: int
    machines: list[MachineNow]


class Tally(Frozen):
    """So many of so many, and the share with its range; null where nothing was counted."""

    hits: int
    of: int
    share: Estimate | None


class Unnoted(Frozen):
    """Starts and removals nobody noted, of those that the other tap of a visit tells of, in one rack and shift."""

    rack: str
    shift: int
    starts: Tally
    removals: Tally


class StopRate(Frozen):
    """How often prints stop before their end: `of` says what `name` is; `hours` printed, stops per 100 hours."""

    of: Literal["shop", "file", "model", "machine", "material"]
    name: str
    stops: int
    hours: float
    per_100_hours: Estimate


class Mending(Frozen):
    """The hours within which half and nine in ten of the `faults` were mended; null where that is not over yet."""

    faults: int
    half: float | None
    nine_in_ten: float | None


class Trust(Frozen):
    """Whether the numbers can be trusted: who was heard from `since` a shift began, and how word came in.

    `newest` is when the last entry was noted; the shares are of the last seven whole days: machine
    time of which there is no word, and entries noted more than 20 minutes after they happened.
    `seen` prints taught how long prints really take: `takes` times what their files state. `starts` and
    `removals` count those nobody noted, `right` the looks at an open question that the reckoning was right about.
    """

    machines: int
    heard: int
    since: datetime
    silent: list[str]
    newest: datetime | None
    no_word: float
    from_memory: float
    takes: Estimate
    seen: int
    starts: Tally
    removals: Tally
    right: Tally


class PrintTime(Frozen):
    """What a print file truly takes on a model of machine: `stated` and `takes` in hours, from `seen` sightings.

    The range of `takes` is that of the file's own time; single prints differ a little more.
    """

    file: str
    revision: int
    model: str
    product: str
    stated: float
    takes: Estimate
    seen: int


class SpoolNow(Frozen):
    """The spool on a machine: what is `left` (grams), and since when it is on; null where nobody noted its change."""

    material: str
    since: datetime | None
    left: Estimate


class PartSpoolNow(Frozen):
    """A spool on the shelf with something left on it (grams), last on that machine."""

    material: str
    left: Estimate
    machine: str


class SpoolEnds(Frozen):
    """A spool that runs out in a print by `RunsOut.until`, with that `chance`, if nobody changes it.

    If it does, then at `when` (nine times in ten between low and high). `swap_by` is the last moment before it at
    which people are in. `this_print` is the chance that it starves the print that runs now.
    """

    machine: str
    spool: SpoolNow
    chance: float
    this_print: float
    when: Due
    swap_by: datetime


class StaffedTime(Frozen):
    """A time in which people are in."""

    start: datetime
    end: datetime


class RunsOut(Frozen):
    """The spools that run out by `until`, soonest first, and when people are in by then.

    `until` is noon of the next day on which people are in, or their coming where that is later.

    Of `machines` in service the spools of `noted` are known: of the others nothing can be said.
    """

    until: datetime
    staffed: list[StaffedTime]
    spools: list[SpoolEnds]
    noted: int
    machines: int


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


class NeedsHand(Frozen):
    """One line of what needs a hand: machines of one rack in the same plight, most urgent level first.

    `level` is "now", "today" or "waiting"; `waited_hours` are machine-hours so far.
    """

    level: Literal["now", "today", "waiting"]
    state: str
    rack: str
    machines: list[str]
    since: datetime
    waited_hours: float
    cause: str | None
    spare: str | None


class Loss(Frozen):
    """Machine-hours that printed nothing, by reason, and how many times it happened.

    `reason` is a state, or "hands inside" / "hands outside": finished prints that waited while
    people were in, and while nobody was. `detail` is the cause or the spare.
    """

    reason: str
    detail: str | None
    hours: Estimate
    times: int


class Period(Frozen):
    """What a window gave and lost. `good` is counted, at most `high` if every uncounted part was good."""

    start: datetime
    end: datetime
    account: TimeAccount
    good: Estimate
    scrap: int
    scrap_by_cause: dict[str, int]
    prints_ended: int
    prints_stopped: int
    losses: list[Loss]


class Change(Frozen):
    """A change beyond the usual: the rule ("limit" or "run") and the day it began."""

    rule: Literal["limit", "run"]
    since: date
    upward: bool


class Series(Frozen):
    """A daily figure over the staffed days of the last four weeks, with the limits of its usual spread."""

    name: Literal["utilisation", "downtime", "good", "scrap_share"]
    days: list[date]
    values: list[float]
    mean: float | None
    lower: float | None
    upper: float | None
    change: Change | None


class AnswerChoice(Frozen):
    """One way to answer a question; `entries` are the fields of what it would record."""

    name: str
    entries: list[dict[str, Any]]


class Question(Frozen):
    """Something the entries leave open, and the ways to answer it."""

    id: str
    rule: str
    machine: str
    about: datetime
    seen: datetime
    found: str
    file: str | None
    revision: int | None
    parts: int | None
    choices: list[AnswerChoice]


class Report(Frozen):
    """The owner's page: the answers to its questions in their order.

    `out_now` machines of `in_service`, those not set aside, are out of service now. `print_times` are those of
    the files in use that were seen through, the ones furthest from what they state first.
    """

    shop: str
    zone: str
    at: datetime
    trust: Trust
    needs: list[NeedsHand]
    racks: list[RackNow]
    in_service: int
    out_now: int
    out_now_share: float
    planning_downtime: float
    yesterday: Period
    week: Period
    series: list[Series]
    questions: list[Question]
    print_times: list[PrintTime]
    unnoted: list[Unnoted]
    stops: list[StopRate]
    mending: Mending
    runs_out: RunsOut
    order_now: list[OrderNow]


class Hours(Frozen):
    """Time accounting of a window, by group and in all; `formulas` says what each figure is."""

    zone: str
    start: datetime
    end: datetime
    by: Literal["machine", "model", "rack", "day", "week"] | None
    groups: list[TimeAccount]
    whole: TimeAccount
    formulas: dict[str, str]


class Choice(Frozen):
    """Something to tap: the code that is recorded and the words that are shown."""

    code: str
    name: str


class TaskChoice(Choice):
    """An upkeep task, the `minutes` it usually takes and the `spare` it usually needs, if any."""

    minutes: float
    spare: str | None


class FileChoice(Frozen):
    """A print file that fits a machine.

    `lasts` is the chance that the spool on the machine feeds it; null where nobody noted a spool, 0 where it is of
    another material.
    """

    file: str
    revision: int
    product: str
    name: str
    parts: int
    hours: float
    grams: float
    material: str
    lasts: float | None

    @property
    def feeds(self) -> bool | None:
        """Whether the spool feeds it surely enough to start it; None where nobody noted a spool."""
        return None if self.lasts is None else self.lasts >= LASTS


class MachinePage(Frozen):
    """All that a check-in at one machine needs.

    `acts` are what is possible now, most likely first; `files` fit the machine, likeliest first; `spool` is what is
    on it, `spool_grams` the net weight of the spool last fitted to it; `shift_began` is when the shift began that
    runs or ran last today; `recent` are its newest entries (fields as recorded), newest first; `planned` is the file
    that a loading list has for it next.
    """

    now: MachineNow
    acts: list[str]
    files: list[FileChoice]
    down_causes: list[Choice]
    scrap_causes: list[Choice]
    spares: list[Choice]
    materials: list[Choice]
    spool: SpoolNow | None
    spool_grams: float | None
    shift_began: datetime | None
    tasks: list[TaskChoice]
    recent: list[dict[str, Any]]
    questions: list[Question]
    planned: str | None = None


class Expected(Frozen):
    """A machine on a round and what it should be seen doing; null where nobody can say, so it is asked."""

    machine: str
    place: int
    state: str
    expected: Sight | None
    due: Due | None


class RackRound(Frozen):
    """A round of one rack: its machines in the order of their places."""

    rack: str
    name: str
    across: int
    machines: list[Expected]
