"""Upkeep and repairs of the room: what is due, what waits for a spare, what fails how often, who stands out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from core.epoch import FAR, instant
from core.setup import Model, Spare, UpkeepTask, is_for
from core.statistics.by_hours import Band, bands
from core.statistics.failures import FailureTimes, availability, mean_cumulative, trend
from core.stores.types import Stores
from core.timeline.faults import Fault
from core.upkeep.standing_out import standing_out
from core.upkeep.types import (
    CauseHours,
    Cumulative,
    FailureBand,
    FailuresByHours,
    ModelFailures,
    Restored,
    RoomUpkeep,
    SpareFits,
    WaitsForSpare,
)
from core.upkeep.untold import between_failures, share_told
from core.upkeep.upkeep import advice, cycles, due
from core.upkeep.watch import WEEKS, Watch, spares_fitted

#: A machine is watched from after this many hours of printing: the first are those of setting it up.
LEAST_HOURS = 1.0


def reliability(watch: Watch, shelf: Stores) -> RoomUpkeep:
    """The room as the weeks of `watch` tell; `shelf` as of `core.stores.stores.stores`, for when spares come."""
    back = restored(watch.faults)
    return RoomUpkeep(
        at=watch.at, zone=watch.shop.zone, weeks=float(watch.weeks), due=due(watch), waits=_waits(watch, shelf),
        lost_waiting=math.fsum(fault.waited for fault in watch.faults),
        lost_cost=watch.cost((fault.machine, fault.waited) for fault in watch.faults), models=_models(watch),
        cumulative=_cumulative(watch), by_hours=_by_hours(watch), causes=_causes(watch), stands_out=standing_out(watch),
        advice=advice(watch, back.hours if back else 0.0), spares=_spares(watch),
    )  # fmt: skip


def _waits(watch: Watch, shelf: Stores) -> list[WaitsForSpare]:
    """The machines that wait for a spare, longest first."""
    names = {spare.spare: spare.name for spare in watch.setup.all(Spare, watch.at)}
    expected = {item.item: min((o.expected for o in item.orders), default=None) for item in shelf.items}
    return [
        WaitsForSpare(
            machine=fault.machine, spare=fault.spare, name=names.get(fault.spare, fault.spare), cause=fault.cause,
            since=instant(fault.began), hours=fault.waited, cost=watch.cost([(fault.machine, fault.waited)]),
            expected=expected.get(fault.spare),
        )
        for fault in watch.faults if fault.waits and fault.spare
    ]  # fmt: skip


def restored(faults: Sequence[Fault]) -> Restored | None:
    """The time to restore of the faults that are over; None of none."""
    over = [fault for fault in faults if fault.ended != FAR]
    if not over:
        return None
    parts = {name: math.fsum(getattr(fault, name) for fault in over) / len(over)
             for name in ("hours", "diagnosed", "waited", "mended")}  # fmt: skip
    return Restored(faults=len(over), **parts)


def _models(watch: Watch) -> list[ModelFailures]:
    found = []
    for row in watch.setup.all(Model, watch.at):
        mine = [machine for machine in watch.machines if machine.model == row.model]
        watched = [one for one in (watched_of(watch, machine.machine) for machine in mine) if one]
        if not watched:
            continue
        codes = {machine.machine for machine in mine}
        faults = [fault for fault in watch.faults if fault.machine in codes]
        hours, count = math.fsum(one.hours for one in watched), sum(len(one.failed) for one in watched)
        between, back, told = between_failures(count, hours, watch.today.learned), restored(faults), trend(watched)
        found.append(ModelFailures(
            model=row.model, name=row.name, machines=len(mine), hours=hours, failures=count, mtbf=between,
            untold=count * (1 / share_told(watch.today.learned) - 1),
            restored=back, availability=availability(between.best, back.hours) if back else None,
            trend=told.verdict, slope=told.slope, estimator=told.estimator,
        ))  # fmt: skip
    return found


def _cumulative(watch: Watch) -> list[Cumulative]:
    """The mean cumulative function of every model that failed."""
    found = []
    for row in watch.setup.all(Model, watch.at):
        mine = [watched_of(watch, machine.machine) for machine in watch.machines if machine.model == row.model]
        watched = [one for one in mine if one]
        if not any(one.failed for one in watched):
            continue
        told = mean_cumulative(watched)
        told_by = {name: getattr(told, name).tolist() for name in ("low", "best", "high")}
        found.append(Cumulative(model=row.model, name=row.name, hours=told.at.tolist(), **told_by))
    return found


def _by_hours(watch: Watch) -> list[FailuresByHours]:
    """How often machines fail by age, and by hours since each task that is due by hours."""
    every = [watched_of(watch, machine.machine) for machine in watch.machines]
    tasks = [task for task in watch.setup.all(UpkeepTask, watch.at) if task.every_hours]
    told: list[tuple[str | None, str, list[FailureTimes]]] = [(None, "", [one for one in every if one])]
    told += [(task.task, task.name, cycles(watch, task.task)) for task in tasks]
    return [
        FailuresByHours(task=task, name=name, bands=[_band(band) for band in bands(mine)], trend=trend(mine).verdict)
        for task, name, mine in told if any(one.failed for one in mine)
    ]  # fmt: skip


def _band(band: Band) -> FailureBand:
    return FailureBand(start=band.start, end=band.end, failures=band.failures, hours=band.hours,
                       per_100_hours=band.rate.scaled(100))  # fmt: skip


def watched_of(watch: Watch, machine: str) -> FailureTimes | None:
    """The failures of a machine on the scale of its own printing hours; None of one that printed nothing."""
    hours = watch.printed.at(machine, watch.now)
    if hours < LEAST_HOURS:
        return None
    at = [watch.printed.at(machine, fault.began) for fault in watch.faults if fault.machine == machine]
    # A fault before the first print of the watch is one of the time before it.
    return FailureTimes([t for t in at if 0 < t <= hours], hours)


def _causes(watch: Watch) -> list[CauseHours]:
    """The causes, most hours first."""
    found = []
    for cause in dict.fromkeys(fault.cause for fault in watch.faults):
        mine = [fault for fault in watch.faults if fault.cause == cause]
        found.append(CauseHours(
            cause=cause, times=len(mine), hours=math.fsum(fault.hours for fault in mine),
            waited=math.fsum(fault.waited for fault in mine),
            cost=watch.cost((fault.machine, fault.hours) for fault in mine),
        ))  # fmt: skip
    return sorted(found, key=lambda line: -line.hours)


def _spares(watch: Watch) -> list[SpareFits]:
    """Every spare with how many machines it serves, those of most use first."""
    used = Counter(spare for _, _, spare in spares_fitted(watch.faults, watch.upkeep))
    found = []
    for spare in watch.setup.all(Spare, watch.at):
        fits = [machine.model for machine in watch.machines if is_for(spare, machine.model)]
        found.append(SpareFits(spare=spare.spare, name=spare.name, machines=len(fits), models=len(set(fits)),
                               a_year=used[spare.spare] * WEEKS / watch.weeks))  # fmt: skip
    return sorted(found, key=lambda line: (-line.machines, -line.a_year))
