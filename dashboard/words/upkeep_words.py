"""What upkeep and repairs say, in plain words. No Streamlit here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from core.estimate import Estimate
from core.upkeep.types import (
    CardPut,
    CauseHours,
    CostSoFar,
    FailureBand,
    FailuresByHours,
    FaultTold,
    IntervalAdvice,
    MachineRecord,
    ModelFailures,
    Recurs,
    Restored,
    RoomUpkeep,
    SpareFits,
    SpareFitted,
    StandsOut,
    TaskDue,
    UpkeepTold,
    WaitsForSpare,
)
from dashboard.words import written
from dashboard.words.names import Names, named
from dashboard.words.written import Clock

DUE, NOTHING_DUE = "Upkeep due", "No upkeep is due in the coming week."
WAITS, NOTHING_WAITS = "Waiting for a spare", "No machine waits for a spare."
FAILS, WHY, STANDS_OUT, SPARES = "How often do they fail?", "Why are they down?", "Which one stands out?", "Spares"
NOBODY = (
    "No machine fails clearly more often than the others of its model. Faults and prints that stopped count, and that "
    "of many machines one is always the worst by chance."
)
FAILS_HEAD = ("Model", "Hours between failures", "Hours to restore", "It gets")
SPARES_HEAD = ("Spare", "Fits", "Used a year")
NO_TASKS = "No upkeep task says how often it is due: give every_hours, every_days or every_prints in upkeep.csv."
RECORD, FAULTS, DONE, PRINTED = "Record of {}", "Faults", "Upkeep done", "Hours printed a week"
WENT_IN, NONE_IN = "Spares and cards that went in", "No spare and no card was ever noted."
UP_KEY = "Up: hours between failures, as a share of these and the hours to restore together."
BENDS = "Below: a line that bends upwards means failures come more and more often, a straight one that they do not."
AGE = "Do they fail more often with the hours?"
AGE_KEY = (
    "Dot: failures in 100 h printed; line: the exact range, nine times in ten; above it, how many failures there were."
)
BY_HOURS = {
    "improving": "fewer failures with the hours", "steady": "the hours make no difference",
    "worsening": "more failures with the hours", "cannot tell": "cannot be told yet",
}  # fmt: skip
NO_FAULTS, NONE_DONE = "No fault was ever noted.", "No upkeep was ever noted."
ADVICE = "Are the intervals right?"
ADVICE_KEY = (
    "This tool's own advice, from failures by hours since the task: the maker's instructions go first. Slope 1: "
    "machines fail no sooner when it was long ago. Cost is counted in machine-hours lost."
)
INTERVALS = {
    "too long": "it seems too long", "too short": "it seems too short", "about right": "about right",
    "no gain seen": "machines fail no sooner when it was long ago", "cannot tell": "cannot be told yet",
}  # fmt: skip
HOURS_COST = (
    "Money: hours out of service at what an hour without the machine costs you (hour_cost in models.csv), nights and "
    "days off included, whether or not there was work for it."
)
BRIEF = "Upkeep and repairs"
MORE = "{} more"
LOOKING = "The last weeks are looked through."
CHECK_IN, TAKE, RECORDS = "Check in at {}", "Take its record along as files", "The record of any machine"
#: Hours between two failures are shown as none if there was none.
NEVER = "none yet"
BY = {"hours": "h printed", "days": "days", "prints": "prints"}
TRENDS = {
    "improving": "better with the hours", "steady": "neither better nor worse", "worsening": "worse with the hours",
    "cannot tell": "cannot be told yet",
}  # fmt: skip


def due(line: TaskDue, clock: Clock) -> tuple[str, str]:
    """A task: what at which machine, and why it is due."""
    since = {"hours": line.hours, "days": Estimate.exact(line.days), "prints": Estimate.exact(line.prints)}[line.by]
    doubt = f" ({written.count(since.low)}-{written.count(since.high)})" if since.high - since.low >= 1 else ""
    gone = f"{written.count(since.best)}{doubt} {BY[line.by]} since, {line.every:g} planned"
    last = f"last {clock.day(line.last)}" if line.last else "never noted"
    stands = "stands now" if line.stands else "prints now"
    when = "due" if line.share.best >= 1 else f"due {clock.day(line.due)}" if line.due else "not due"
    says = "the maker says" if line.says == "maker" else "the shop says"
    return (
        f"{line.machine}: {line.name}",
        f"{when}, {gone}, {last}; {stands}; takes {written.lasting(line.minutes / 60)}; {says}",
    )


def upkeep(late: Sequence[TaskDue], hidden: int) -> str:
    """How much upkeep is due, and how long it takes."""
    if not late:
        return "No upkeep is due."
    minutes = sum(line.minutes for line in late if line.stands)
    stand = sum(line.stands for line in late)
    more = f" {hidden} more are on the upkeep page." if hidden > 0 else ""
    tasks = f"{len(late)} upkeep task{'s are' if len(late) > 1 else ' is'} due"
    return f"{tasks}, {stand} of them at machines that stand ({written.lasting(minutes / 60)} of work).{more}"


def interval(line: IntervalAdvice) -> tuple[str, str]:
    """Whether a task's interval fits."""
    slope = f"slope {line.slope.best:.2f}, {line.slope.low:.2f}-{line.slope.high:.2f}" if line.slope else "no slope yet"
    best = f"; about {line.best:.0f} h would cost least" if line.best is not None else ""
    return f"{line.name}, every {line.every:g} h", f"{INTERVALS[line.says]}{best} ({line.failures} failures, {slope})"


def waits(line: WaitsForSpare, clock: Clock, causes: Mapping[str, str]) -> tuple[str, str]:
    """A machine that waits for a spare."""
    told = "late: expected" if line.expected and line.expected < clock.at else "expected"
    expected = f"{told} {clock.day(line.expected)}" if line.expected else "none on order"
    so_far = f"{written.hours(Estimate.exact(line.hours))} so far{costing(line.cost)}"
    return (
        f"{line.machine}: {line.name}",
        f"since {clock.day(line.since)}, {so_far}; {expected}; {named(line.cause, causes)}",
    )


def costing(cost: float | None) -> str:
    """What hours cost, after them; nothing where that is not known."""
    return f" (about {written.count(cost)} in money)" if cost is not None else ""


def lost(room: RoomUpkeep) -> str:
    """What waiting for spares cost."""
    hours = f"{written.count(room.lost_waiting)} h{costing(room.lost_cost)}"
    return f"Machines waited {hours} for spares in {room.weeks:g} weeks, nights and days off included."


def model(line: ModelFailures) -> tuple[str, str, str, str]:
    """How often the machines of a model fail."""
    what = f"{line.name}: {written.count(line.failures)} failures told in {written.count(line.hours)} h printed"
    what += f", perhaps {written.count(line.untold)} more" if line.untold >= 0.5 else ""
    slope = f" (slope {line.slope.best:.2f}, {line.slope.low:.2f}-{line.slope.high:.2f})" if line.slope else ""
    up = f"; up {written.percent(line.availability)}" if line.availability is not None else ""
    return what, between(line.mtbf), restored(line.restored) + up, TRENDS[line.trend] + slope


def between(hours: Estimate) -> str:
    """Hours of printing between two failures, with their bounds."""
    if math.isinf(hours.best):
        return f"{NEVER}, above {written.count(hours.low)}"
    return f"{written.count(hours.best)} ({written.count(hours.low)}-{written.count(hours.high)})"


def restored(line: Restored | None) -> str:
    """The time to restore and its parts."""
    if line is None:
        return "-"
    parts = f"{line.diagnosed:.1f} to know why, {line.waited:.1f} for spares, {line.mended:.1f} to mend"
    return f"{line.hours:.1f}: {parts}"


def by_hours(line: FailuresByHours) -> tuple[str, str, str]:
    """What the hours are counted from, what they do, and the name of their axis."""
    if line.task is None:
        return "All machines", BY_HOURS[line.trend], "from so many hours printed"
    return line.name, BY_HOURS[line.trend], "from so many hours printed since"


def band(line: FailureBand) -> str:
    """A band of hours, by where it begins."""
    return written.count(line.start)


def estimators(lines: Sequence[ModelFailures]) -> list[str]:
    """How these were found, and how to read them."""
    names = ", ".join(dict.fromkeys(line.estimator for line in lines))
    bounds = "Bounds: nine times in ten, failures that nobody told among them."
    return [f"{bounds} Getting better or worse: {names}; slope 1 is steady.", UP_KEY, BENDS]


def cause(line: CauseHours, causes: Mapping[str, str]) -> tuple[str, str]:
    """A cause with its hours and how often."""
    waited = f", {written.count(line.waited)} h of it for spares" if line.waited >= 1 else ""
    times = "once" if line.times == 1 else f"{line.times} times"
    return named(line.cause, causes), f"{written.count(line.hours)} h{costing(line.cost)}, {times}{waited}"


def stands_out(line: StandsOut) -> str:
    """A machine that fails more often than the others."""
    others = f"the others of its model once in {written.count(line.others)} h" if line.others else "the others never"
    return (
        f"{line.machine} failed or stopped a print {line.failures} times in {written.count(line.hours)} h printed in "
        f"the last {line.weeks} weeks, {others}: "
        f"at the same files {line.times.best:.1f} times as often ({line.times.low:.1f}-{line.times.high:.1f})."
    )


def spare(line: SpareFits) -> tuple[str, str, str]:
    """A spare, what it serves, and its use."""
    models = f"{line.models} model{'s' * (line.models != 1)}"
    return line.name, f"{line.machines} machines of {models}", f"{line.a_year:.0f}"


def recurs(line: Recurs, causes: Mapping[str, str]) -> str:
    """A cause that comes back."""
    others = f"the others once in {written.count(line.others)} h"
    others = "the others never had it" if math.isinf(line.others) else others
    return f"{named(line.cause, causes)}: {line.times} times in {written.count(line.hours)} h printed; {others}."


def record(found: MachineRecord, clock: Clock) -> str:
    """What is known of a machine in one line."""
    others = f"; the others of its model: {between(found.others_mtbf)}" if found.others_mtbf else ""
    failed = f" Hours between failures: {between(found.mtbf)}{others}." if found.mtbf else ""
    return (
        f"Since {clock.day(found.since)}: {written.count(found.prints)} prints noted, "
        f"{written.count(found.printed)} h printed, {len(found.faults)} faults.{failed}"
    )


def cost(found: CostSoFar) -> list[str]:
    """What a machine cost so far, as far as prices are known; no line where none is."""
    told = {"spares": found.spares, "the minutes of upkeep": found.upkeep, "hours down": found.down}
    known = [f"{written.count(cost)} for {name}" for name, cost in told.items() if cost is not None]
    return [f"Money spent or lost on it, about: {', '.join(known)}."] if known else []


def fault(line: FaultTold, clock: Clock, names: Names) -> tuple[str, str]:
    """One fault: its day, why, how long."""
    lasted = f"down for {line.hours:.0f} h so far" if line.ended is None else f"down for {line.hours:.1f} h"
    awaited = [line.spare] if line.spare and line.ended is None else []
    spares = [named(spare, names.spares) for spare in line.fitted or awaited]
    return clock.day(line.at), ", ".join([named(line.cause, names.down), lasted, *spares])


def done(line: UpkeepTold, clock: Clock, names: Names) -> tuple[str, str]:
    """Upkeep that was done: its day, what, how long, what it took."""
    spares = [named(spare, names.spares) for spare in line.spares]
    return clock.day(line.at), ", ".join([named(line.task, names.tasks), written.lasting(line.minutes / 60), *spares])


def fitted(line: SpareFitted, clock: Clock, names: Names) -> tuple[str, str]:
    """A spare that went in: its day, which."""
    return clock.day(line.at), f"{named(line.spare, names.spares)} fitted"


def card(line: CardPut, clock: Clock) -> tuple[str, str]:
    """A card that went in: its day, with what."""
    return clock.day(line.at), f"Card {line.card_set}, revision {line.revision}"
