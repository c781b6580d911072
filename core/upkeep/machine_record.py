"""Everything that was ever done to one machine."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import fmean

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers
from core.epoch import FAR, HOUR, WEEK_HOURS, instant, micros
from core.errors import Refused
from core.estimate import Estimate
from core.habits.learned import Learned
from core.log.store import Log
from core.reading.reading import Reading, faults_told
from core.setup import Machine, Setup, Spare
from core.timeline.counts import removals
from core.timeline.faults import Fault
from core.upkeep.types import CardPut, CostSoFar, FaultTold, MachineRecord, Recurs, SpareFitted, UpkeepTold, WeekPrinted
from core.upkeep.untold import between_failures
from core.upkeep.watch import Watch, hour_costs, spares_fitted, upkeep_told, weeks_known, within
from core.window import Window, last_midnight

#: A cause recurs that a machine had so often, and so many times as often as the others of its model.
OFTEN, MORE = 3, 2.0


@dataclass(frozen=True)
class WeeksBefore:
    """The weeks of a machine before a midnight, as known by then, and the prints whose removal was noted in them."""

    midnight: datetime
    weeks: list[WeekPrinted]
    prints: int


def weeks_before(log: Log, machine: str, midnight: datetime, learned: Learned) -> WeeksBefore:
    """All weeks of a machine before a midnight; they stay as they are for the day, so a caller may keep them."""
    window = Window(midnight - timedelta(weeks=weeks_known(log, midnight)), midnight)
    read = Reading(log, window, midnight, learned, [machine])
    return WeeksBefore(midnight, _weeks(read), _prints(read))


def machine_record(
    log: Log,
    machine: str,
    at: datetime,
    learned: Learned,
    watch: Watch | None = None,
    before: WeeksBefore | None = None,
) -> MachineRecord:
    """The record of a machine; `watch` of the room, where there is one, tells how the others do. `before` as of
    `weeks_before`, if kept by the caller.

    `Refused` for an unknown machine.
    """
    setup = log.setup()
    row = setup.get(Machine, machine, at=at)
    if row is None:
        raise Refused("machine_is_known", f"There is no machine {machine} in the set-up: pick one from its rack.")
    before = before or weeks_before(log, machine, last_midnight(at, setup.zone), learned)
    today, since = Reading(log, Window(before.midnight, at), at, learned, [machine]), before.weeks[0].start
    window = Window(since, at)
    entries = log.machine_entries(window, at, [machine])
    told, upkeep = faults_told(entries, setup, window, at, learned), upkeep_told(entries, window)
    printed = math.fsum(week.printed for week in [*before.weeks, *_weeks(today)])
    others = _of_others(row, watch) if watch else None
    fitted = [SpareFitted(at=when, spare=spare) for _, when, spare in reversed(spares_fitted(told, upkeep))]
    return MachineRecord(
        machine=machine, model=row.model, at=at, zone=setup.shop(at).zone, since=since, printed=printed,
        prints=before.prints + _prints(today), weeks=before.weeks, faults=[_told(fault) for fault in reversed(told)],
        upkeep=_upkeep(upkeep), fitted=fitted, cards=_cards(within(entries, window)),
        recurs=_recurs(told, printed, *others) if others else [],
        mtbf=_mtbf(printed, told, today), others_mtbf=_mtbf(*others, today) if others else None,
        cost=_cost(setup, row, at, upkeep, fitted, told),
    )  # fmt: skip


def _prints(read: Reading) -> int:
    """The prints whose removal somebody noted in the window."""
    inside = pl.col("t").is_between(micros(read.window.start), micros(read.window.end), closed="left")
    return removals(read.reckoned.gaps).filter(inside).height


def _told(fault: Fault) -> FaultTold:
    return FaultTold(at=instant(fault.began), ended=None if fault.ended == FAR else instant(fault.ended),
                     cause=fault.cause, spare=fault.spare, fitted=list(fault.fitted), hours=fault.hours)  # fmt: skip


def _weeks(read: Reading) -> list[WeekPrinted]:
    """Every week of the window, by the likeliest line of states; the last one may be shorter."""
    count = math.ceil(read.window.hours / WEEK_HOURS)
    starts = [read.window.start + timedelta(weeks=n) for n in range(count)]
    edges = np.array([micros(start) for start in starts] + [micros(read.window.end)], dtype=np.int64)
    rows = read.reckoned.stretches
    hours = [
        _by_week(rows.filter(pl.col("state").is_in(states)), edges)
        for states in (["printing", "proving"], ["down", "waiting"])
    ]
    return [
        WeekPrinted(start=start, printed=float(printed), down=float(down))
        for start, printed, down in zip(starts, *hours, strict=True)
    ]


def by_fours(weeks: Sequence[WeekPrinted]) -> list[WeekPrinted]:
    """Hours a week in every four weeks, the last four being whole: the first may be of fewer."""
    fours = [weeks[max(end - 4, 0) : end] for end in range(len(weeks), 0, -4)]
    return [
        WeekPrinted(start=four[0].start, printed=fmean(w.printed for w in four), down=fmean(w.down for w in four))
        for four in reversed(fours)
    ]


def _by_week(rows: pl.DataFrame, edges: Micros) -> Numbers:
    """Hours of these stretches in every week."""
    start, end = rows["start"].to_numpy()[:, None], rows["end"].to_numpy()[:, None]
    inside = np.minimum(edges[1:], end) - np.maximum(edges[:-1], start)
    return np.asarray(np.maximum(inside, 0).sum(axis=0) / HOUR)


def _upkeep(rows: pl.DataFrame) -> list[UpkeepTold]:
    """Upkeep that was done, newest first."""
    return [UpkeepTold(**row) for row in rows.drop("machine").reverse().iter_rows(named=True)]


def _cards(entries: pl.DataFrame) -> list[CardPut]:
    """The cards that went into it, newest first."""
    rows = entries.filter(pl.col("kind") == "CardLoaded")
    return [CardPut(**row) for row in rows.select("at", "card_set", "revision").reverse().iter_rows(named=True)]


def _recurs(told: Sequence[Fault], printed: float, hours: float, faults: Sequence[Fault]) -> list[Recurs]:
    """The causes that this machine has far more often than the others of its model, by their hours and faults."""
    found = []
    for cause, times in Counter(fault.cause for fault in told).items():
        theirs = sum(fault.cause == cause for fault in faults)
        every = hours / theirs if theirs else math.inf
        if times >= OFTEN and printed and times / printed > MORE / every:
            found.append(Recurs(cause=cause, times=times, hours=printed, others=every))
    return sorted(found, key=lambda one: -one.times)


def _mtbf(hours: float, faults: Sequence[Fault], read: Reading) -> Estimate | None:
    return between_failures(len(faults), hours, read.learned) if hours else None


def _of_others(row: Machine, watch: Watch) -> tuple[float, list[Fault]]:
    """Hours printed by the other machines of a machine's model in the watch, and their faults."""
    others = {one.machine for one in watch.machines if one.model == row.model} - {row.machine}
    hours = math.fsum(watch.printed.at(other, watch.now) for other in others)
    return hours, [fault for fault in watch.faults if fault.machine in others]


def _cost(
    setup: Setup, row: Machine, at: datetime, upkeep: pl.DataFrame, fitted: Sequence[SpareFitted], told: Sequence[Fault]
) -> CostSoFar:
    """What it cost, at the prices of today."""
    packs = {spare.spare: (spare.price, spare.pack) for spare in setup.all(Spare, at)}
    prices = [price / pack if price is not None else None for price, pack in (packs[one.spare] for one in fitted)]
    known = [price for price in prices if price is not None]
    hand, hour = setup.shop(at).hand_cost, hour_costs(setup, at).get(row.machine)
    return CostSoFar(
        spares=math.fsum(known) if len(known) == len(prices) else None,
        upkeep=math.fsum(upkeep["minutes"]) / 60 * hand if hand is not None else None,
        down=math.fsum(fault.hours for fault in told) * hour if hour is not None else None,
    )
