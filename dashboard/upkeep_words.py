"""What upkeep and repairs say, in plain words. No Streamlit here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from core.estimate import Estimate
from core.upkeep_types import (
    CauseHours,
    FaultTold,
    IntervalAdvice,
    MachineRecord,
    ModelFailures,
    Recurs,
    Restored,
    Room,
    SpareFits,
    StandsOut,
    TaskDue,
    UpkeepTold,
    Waits,
)
from dashboard import plan_words, written
from dashboard.floor_words import Names, named
from dashboard.written import Clock

DUE, NOTHING_DUE = "Upkeep due", "No upkeep is due in the coming week."
WAITS, NOTHING_WAITS = "Waiting for a spare", "No machine waits for a spare."
FAILS, WHY, STANDS_OUT, SPARES = "How often do they fail?", "Why are they down?", "Which one stands out?", "Spares"
NOBODY = "No machine fails clearly more often than the others of its model."
FAILS_HEAD = ("Model", "Hours between failures", "Hours to restore", "It gets")
SPARES_HEAD = ("Spare", "Fits", "Used a year")
NO_TASKS = "No upkeep task says how often it is due: give every_hours, every_days or every_prints in upkeep.csv."
RECORD, FAULTS, DONE, PRINTED = "Record of {}", "Faults", "Upkeep done", "Hours printed a week"
NO_FAULTS, NONE_DONE = "No fault was ever noted.", "No upkeep was ever noted."
ADVICE = "Are the intervals right?"
ADVICE_KEY = (
    "This tool's own advice, from failures by hours since the task: the maker's instructions go first. Slope 1: "
    "failures come no sooner the longer it is ago. Cost is counted in machine-hours lost."
)
INTERVALS = {
    "too long": "it seems too long", "too short": "it seems too short", "about right": "about right",
    "no gain seen": "failures come no sooner the longer it is ago", "cannot tell": "cannot be told yet",
}  # fmt: skip
BRIEF = "Upkeep and repairs"
LOOKING = "The last weeks are looked through."
CHECK_IN = "Check in at {}"
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
    gone = f"{written.count(since.best)} of {line.every:g} {BY[line.by]}"
    if line.by == "hours" and since.high - since.low >= 1:
        gone += f" ({written.count(since.low)}-{written.count(since.high)})"
    last = f"last {plan_words.day(line.last, clock)}" if line.last else "never noted"
    stands = "stands now" if line.stands else "prints now"
    when = "due" if line.share.best >= 1 else f"due {plan_words.day(line.due, clock)}" if line.due else "not due"
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


def waits(line: Waits, clock: Clock, causes: Mapping[str, str]) -> tuple[str, str]:
    """A machine that waits for a spare."""
    expected = f"expected {plan_words.day(line.expected, clock)}" if line.expected else "none on order"
    since = plan_words.day(line.since, clock)
    return f"{line.machine}: {line.name}", f"since {since}, {expected}; {named(line.cause, causes)}"


def lost(room: Room) -> str:
    """What waiting for spares cost."""
    return f"Machines waited {written.count(room.lost_waiting)} h for spares in {room.weeks:g} weeks."


def model(line: ModelFailures) -> tuple[str, str, str, str]:
    """How often the machines of a model fail."""
    what = f"{line.name}: {written.count(line.failures)} failures in {written.count(line.hours)} h printed"
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


def estimators(lines: Sequence[ModelFailures]) -> str:
    """How these were found."""
    names = ", ".join(dict.fromkeys(line.estimator for line in lines))
    return f"Bounds: exact, nine times in ten. Getting better or worse: {names}; slope 1 is steady."


def cause(line: CauseHours, causes: Mapping[str, str]) -> tuple[str, str]:
    """A cause with its hours and how often."""
    waited = f", {written.count(line.waited)} h of it for spares" if line.waited >= 1 else ""
    return named(line.cause, causes), f"{written.count(line.hours)} h, {line.times} times{waited}"


def stands_out(line: StandsOut) -> str:
    """A machine that fails more often than the others."""
    others = f"the others of its model once in {written.count(line.others)} h" if line.others else "the others never"
    return (
        f"{line.machine} failed {line.failures} times in {written.count(line.hours)} h printed, {others}: "
        f"{line.times.best:.1f} times as often ({line.times.low:.1f}-{line.times.high:.1f})."
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
    cost = f" Spares and upkeep cost about {found.cost:,.0f}." if found.cost is not None else ""
    failed = f" Hours between failures: {between(found.mtbf)}." if found.mtbf else ""
    return (
        f"Since {plan_words.day(found.since, clock)}: {written.count(found.prints)} prints noted, "
        f"{written.count(found.printed)} h printed, {len(found.faults)} faults.{failed}{cost}"
    )


def fault(line: FaultTold, clock: Clock, names: Names) -> tuple[str, str]:
    """One fault: its day, why, how long."""
    lasted = f"down for {line.hours:.0f} h so far" if line.ended is None else f"down for {line.hours:.1f} h"
    spare = [named(line.spare, names.spares)] if line.spare else []
    return plan_words.day(line.at, clock), ", ".join([named(line.cause, names.down), lasted, *spare])


def done(line: UpkeepTold, clock: Clock, names: Names) -> tuple[str, str]:
    """Upkeep that was done: its day, what, how long, what it took."""
    spares = [named(spare, names.spares) for spare in line.spares]
    return plan_words.day(line.at, clock), ", ".join(
        [named(line.task, names.tasks), written.lasting(line.minutes / 60), *spares]
    )
