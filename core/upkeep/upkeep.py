"""What upkeep is due at which machine, by what it printed since, and whether its intervals fit."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

import polars as pl

from core.epoch import micros
from core.estimate import Estimate
from core.setup import Machine, UpkeepTask, is_for
from core.statistics.failures import FailureTimes, slope
from core.statistics.replacement import Costs, Weibull, minimal_repair
from core.upkeep.types import IntervalAdvice, Says, TaskDue
from core.upkeep.watch import Watch

#: The pace of a machine is that of its last so many weeks.
LATELY = 4
#: Cycles of fewer hours tell nothing; with fewer failures than this nothing is said; an interval within this factor of
#: the best one costs hardly more.
SHORTEST, ENOUGH, NEAR = 1.0, 20, 1.5
#: States in which no print would have to be stopped for upkeep.
STANDS = ("done", "stopped", "empty", "no word", "down", "waiting")
By = Literal["hours", "days", "prints"]
_CANNOT_TELL: Says = "cannot tell"
_NO_GAIN: Says = "no gain seen"


def due(watch: Watch) -> list[TaskDue]:
    """Every task that falls due at some time, at every machine: those due first, machines that stand before others."""
    tasks = [task for task in watch.setup.all(UpkeepTask, watch.at) if _intervals(task)]
    states = dict(watch.today.standing.select("machine", "state").iter_rows())
    found = [
        _due(watch, machine, task, states.get(machine.machine, "no word") in STANDS)
        for machine in watch.machines if states.get(machine.machine) != "aside"
        for task in tasks if is_for(task, machine.model)
    ]  # fmt: skip
    return sorted(found, key=lambda line: (line.share.best < 1, not line.stands, -line.share.best, line.machine))


def _intervals(task: UpkeepTask) -> dict[By, float]:
    told: dict[By, float | None] = {"hours": task.every_hours, "days": task.every_days, "prints": task.every_prints}
    return {by: every for by, every in told.items() if every}


def _due(watch: Watch, machine: Machine, task: UpkeepTask, stands: bool) -> TaskDue:
    code = machine.machine
    last = watch.done.get((code, task.task))
    since = last or watch.since(code)
    hours, days = watch.printed.since(code, micros(since)), (watch.at - since) / timedelta(days=1)
    prints = _prints(watch, code, since)
    gone: dict[By, tuple[Estimate, float]] = {
        "hours": (hours, watch.printed.a_day(code, LATELY)),
        "days": (Estimate.exact(days), 1.0),
        "prints": (Estimate.exact(prints), _prints(watch, code, watch.at - timedelta(weeks=LATELY)) / (7 * LATELY)),
    }
    ways = list(_ways(watch.at, _intervals(task), gone))
    when, by, every, share = min(ways, key=lambda way: (way[0] is None, way[0], -way[3].best))
    return TaskDue(
        machine=code, task=task.task, name=task.name, minutes=task.minutes, says=task.says, last=last, hours=hours,
        days=days, prints=prints, by=by, every=every, share=share, due=when, stands=stands,
    )  # fmt: skip


def _ways(
    at: datetime, intervals: dict[By, float], gone: dict[By, tuple[Estimate, float]]
) -> Iterator[tuple[datetime | None, By, float, Estimate]]:
    """When each interval is over, its name and length, and the share of it that is gone."""
    for by, every in intervals.items():
        since, a_day = gone[by]
        left = every - since.best
        when = at + timedelta(days=min(left / a_day, 36_500)) if a_day > 0 else (at if left <= 0 else None)
        yield when, by, every, since.scaled(1 / every)


def _prints(watch: Watch, machine: str, since: datetime) -> float:
    """Prints whose parts came off since then, those of which nobody noted it as well."""
    habits = watch.today.learned.habits
    return watch.removals(machine, since) / (1 - habits.forgets_off if habits else 1.0)


def advice(watch: Watch, restore: float) -> list[IntervalAdvice]:
    """Whether intervals in hours of printing are too long or too short, from failures since each task was last done.

    `restore` is the mean time to restore, hours. Mending leaves a machine as bad as it was, upkeep makes it new.
    """
    tasks = [task for task in watch.setup.all(UpkeepTask, watch.at) if task.every_hours]
    return [_advice(task, task.every_hours or 0.0, cycles(watch, task.task), restore) for task in tasks]


def cycles(watch: Watch, task: str) -> list[FailureTimes]:
    """From every time a task was done to the next, or to now: hours printed, and those at which the machine failed."""
    found = []
    for machine in (row.machine for row in watch.machines):
        rows = watch.upkeep.filter((pl.col("machine") == machine) & (pl.col("task") == task))
        edges = [watch.printed.at(machine, micros(at)) for at in rows["at"]] + [watch.printed.at(machine, watch.now)]
        failed = [watch.printed.at(machine, fault.began) for fault in watch.faults if fault.machine == machine]
        for begin, end in pairwise(edges):
            if end - begin > SHORTEST:
                inside = [t - begin for t in failed if begin < t <= end]
                found.append(FailureTimes(inside, end - begin))
    return found


def _advice(task: UpkeepTask, every: float, done: list[FailureTimes], restore: float) -> IntervalAdvice:
    failures, found = sum(len(cycle.failed) for cycle in done), slope(done)
    if found is None or failures < ENOUGH or restore <= 0:
        best, says = None, _CANNOT_TELL
    elif found.low <= 1:
        best, says = None, _NO_GAIN
    else:
        scale = (math.fsum(cycle.hours**found.best for cycle in done) / failures) ** (1 / found.best)
        best = minimal_repair(Weibull(scale, found.best), Costs(task.minutes / 60, restore))
        says = _beside(every, best)
    return IntervalAdvice(
        task=task.task, name=task.name, every=every, failures=failures, slope=found, best=best, says=says
    )  # fmt: skip


def _beside(every: float, best: float) -> Says:
    """What the interval that costs least makes of the task's own."""
    if every > NEAR * best:
        return "too long"
    return "too short" if every < best / NEAR else "about right"
