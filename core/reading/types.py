"""The shapes of the answers: frozen, typed, dumped to JSON as they are.

Times are UTC, durations hours, shares fractions, masses grams. An estimate is low / best / high.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Literal

from core.estimate import Estimate
from core.frozen import Frozen
from core.hours.account import TimeAccount


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
    people were in, and while nobody was. `detail` is the cause or the spare, or of
    machines that were down as it seems `core.setup.NOBODY_TOLD`: nobody knows how many times that was.
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
    """Something the entries leave open, and the ways to answer it; `parts` and `scrap` of the print, where known."""

    id: str
    rule: str
    machine: str
    about: datetime
    seen: datetime
    found: str
    file: str | None
    revision: int | None
    parts: int | None
    scrap: int | None
    choices: list[AnswerChoice]


class Hours(Frozen):
    """Time accounting of a window, by group and in all; `formulas` says what each figure is."""

    zone: str
    start: datetime
    end: datetime
    by: Literal["machine", "model", "rack", "day", "week"] | None
    groups: list[TimeAccount]
    whole: TimeAccount
    formulas: dict[str, str]
