"""What upkeep and repairs answer: what is due, what failed how often, and what was ever done to a machine."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from core.estimate import Estimate
from core.frozen import Frozen


class TaskDue(Frozen):
    """An upkeep task at a machine: done `last` (null: not in the weeks looked at), and since then so many `hours` of
    printing, `days` and `prints`.

    `share` is how much of its interval is gone, by what it falls due `by` first, and `due` when that is if the machine
    goes on as in the last weeks (null: it does not print). `stands`: hands would not have to stop a print for it.
    """

    machine: str
    task: str
    name: str
    minutes: float
    says: Literal["maker", "shop"]
    last: datetime | None
    hours: Estimate
    days: float
    prints: float
    by: Literal["hours", "days", "prints"]
    every: float
    share: Estimate
    due: datetime | None
    stands: bool


#: What is said of an interval.
Says = Literal["too long", "too short", "about right", "no gain seen", "cannot tell"]


class IntervalAdvice(Frozen):
    """Whether a task's interval in hours of printing fits what follows it: `failures` by hours since it was done.

    `slope`: failures grow with those hours to this power (above 1: they come sooner the longer it is ago). `best` is
    the interval at which machine-hours lost to the task and to failures are least, null where none is.
    """

    task: str
    name: str
    every: float
    failures: int
    slope: Estimate | None
    best: float | None
    says: Says


class WaitsForSpare(Frozen):
    """A machine that waits for a spare since then, and when that is expected (null: none is on order).

    It has waited `hours` so far, which `cost` so much; null where an hour of its model has no price.
    """

    machine: str
    spare: str
    name: str
    cause: str
    since: datetime
    hours: float
    cost: float | None
    expected: datetime | None


class Restored(Frozen):
    """Mean hours to restore `faults` that are over, and their parts: to know the cause, to have the spare, to mend."""

    faults: int
    hours: float
    diagnosed: float
    waited: float
    mended: float


class ModelFailures(Frozen):
    """How often the machines of a model fail: `failures` told in `hours` of printing, and about so many `untold`.

    `mtbf` is the mean time between failures in hours of printing, those that nobody told among them (90 % bounds;
    infinite ones where nothing failed), `availability` what they come to with the time to restore; `trend` the common
    one of its machines.
    """

    model: str
    name: str
    machines: int
    hours: float
    failures: int
    untold: float
    mtbf: Estimate
    restored: Restored | None
    availability: float | None
    trend: Literal["improving", "steady", "worsening", "cannot tell"]
    slope: Estimate | None
    estimator: str


class Cumulative(Frozen):
    """Mean number of failures of a machine of a model by so many `hours` of printing (Nelson), with its 90 % range."""

    model: str
    name: str
    hours: list[float]
    low: list[float]
    best: list[float]
    high: list[float]


class FailureBand(Frozen):
    """From `start` to `end` hours since: `failures` in `hours` of printing, `per_100_hours` with its exact range."""

    start: float
    end: float
    failures: int
    hours: float
    per_100_hours: Estimate


class FailuresByHours(Frozen):
    """How often machines fail by the hours they printed since a `task` was done, or (null) since they were first
    watched. `trend`: whether failures come more often with these hours.
    """

    task: str | None
    name: str
    bands: list[FailureBand]
    trend: Literal["improving", "steady", "worsening", "cannot tell"]


class CauseHours(Frozen):
    """A cause: how often, machine-hours down, those of them that were waits for a spare, and what the hours `cost`
    (null where an hour of one of the machines has no price).
    """

    cause: str
    times: int
    hours: float
    waited: float
    cost: float | None


class StandsOut(Frozen):
    """A machine that fails `times` as often as the others of its model at the same files, found by its `failures` in
    `hours` of the last so many `weeks`: faults, and prints that stopped without one. The `others` had one in so many
    hours of all they print (null: none).
    """

    machine: str
    model: str
    weeks: int
    failures: int
    hours: float
    times: Estimate
    others: float | None


class SpareFits(Frozen):
    """A spare and how many machines it serves; `a_year` of them go into machines as in the weeks looked at."""

    spare: str
    name: str
    machines: int
    models: int
    a_year: float


class RoomUpkeep(Frozen):
    """Upkeep and repairs of the room over so many `weeks`: tasks that are due, what waits, how often what fails.

    `lost_waiting` are machine-hours that machines waited for spares, `lost_cost` what these cost (null where an hour of
    one of them has no price).
    """

    at: datetime
    zone: str
    weeks: float
    due: list[TaskDue]
    waits: list[WaitsForSpare]
    lost_waiting: float
    lost_cost: float | None
    models: list[ModelFailures]
    cumulative: list[Cumulative]
    by_hours: list[FailuresByHours]
    causes: list[CauseHours]
    stands_out: list[StandsOut]
    advice: list[IntervalAdvice]
    spares: list[SpareFits]


class FaultTold(Frozen):
    """One fault of a machine; `ended` is null where it is not over. `spare` is the one it named, `fitted` went in."""

    at: datetime
    ended: datetime | None
    cause: str
    spare: str | None
    fitted: list[str]
    hours: float


class UpkeepTold(Frozen):
    """Upkeep that was done."""

    at: datetime
    task: str
    minutes: float
    spares: list[str]


class SpareFitted(Frozen):
    """A spare that went into a machine, in upkeep or in a repair."""

    at: datetime
    spare: str


class CardPut(Frozen):
    """A card that went into a machine, with so many a revision of its set."""

    at: datetime
    card_set: str
    revision: int


class CostSoFar(Frozen):
    """What a machine cost: `spares` at their prices, the minutes of `upkeep` at what a hand costs, the hours it was
    `down` at what an hour without it costs; each null where a price is not known.
    """

    spares: float | None
    upkeep: float | None
    down: float | None


class Recurs(Frozen):
    """A cause that comes back: so often in `hours` of this machine; the others of its model have it once in `others`
    hours (infinite: never).
    """

    cause: str
    times: int
    hours: float
    others: float


class WeekPrinted(Frozen):
    """A week of a machine: hours it printed and hours it was down or waited for a spare."""

    start: datetime
    printed: float
    down: float


class MachineRecord(Frozen):
    """All that was ever done to a machine, as far as the log goes back (`since`), newest first.

    `weeks` are those before the last midnight, oldest first; what was `printed` since counts too. `mtbf` are the hours
    between failures, `others_mtbf` those of the other machines of its model in the last year; null where none printed.
    """

    machine: str
    model: str
    at: datetime
    zone: str
    since: datetime
    printed: float
    prints: int
    weeks: list[WeekPrinted]
    faults: list[FaultTold]
    upkeep: list[UpkeepTold]
    fitted: list[SpareFitted]
    cards: list[CardPut]
    recurs: list[Recurs]
    mtbf: Estimate | None
    others_mtbf: Estimate | None
    cost: CostSoFar
