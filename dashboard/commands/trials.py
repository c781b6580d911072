"""Trials of the reckoning: invented rooms whose truth is known, each judged over some of its weeks.

Shares no code with what it judges: true hours are added up here from the turns of the rooms, and the answers are those
that the pages show.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise, product
from pathlib import Path
from zoneinfo import ZoneInfo

from core import answers
from core.estimate import Estimate
from core.log.record import record_many
from core.log.store import Log
from core.setup import WEEKDAYS, Machine, Shift, Shop, SpecialDay
from core.window import Window
from dashboard.commands.plain_reader import plain_hours
from demo.rooms.families import FAMILIES
from demo.rooms.told import OUT_OF_SERVICE, Told

#: A file's time is judged from so many sightings on.
SIGHTINGS = 20
#: Kinds of weeks: people had a day off, nobody tapped anything in a half day with people in, and all others.
DAY_OFF, SILENT, USUAL = "a day off", "a silent half day", "usual"
#: Half days meet at this hour of the shop's clock, and are one if people were in for so many hours.
MIDDLE, HALF_DAY = time(13), 3.0


@dataclass(frozen=True)
class Judged:
    """One figure: its true value and the reckoned low, best, high."""

    true: float
    low: float
    best: float
    high: float

    @property
    def held(self) -> bool:
        """Whether the range holds the truth."""
        return self.low - 1e-9 <= self.true <= self.high + 1e-9

    @property
    def off(self) -> float:
        """How far the best value is above the truth."""
        return self.best - self.true


@dataclass(frozen=True)
class JudgedHours:
    """What is judged together: printing and downtime of the shop (points of machine time) or of a machine (hours)."""

    printing: Judged
    down: Judged


@dataclass(frozen=True)
class JudgedWeek:
    """One week of a room: its kind, the shop's hours and each machine's, and how far off a plain reader's printing is
    (points of machine time).
    """

    kind: str
    shop: JudgedHours
    machines: list[JudgedHours]
    plain: float


@dataclass(frozen=True)
class Trial:
    """A room, judged: its weeks, and what files take (hours) that were seen often enough."""

    family: str
    pattern: str
    missing: float
    weeks: list[JudgedWeek]
    files: list[Judged]


def trials(
    rooms: int,
    families: Iterable[str],
    missing: Sequence[float],
    weeks: int,
    progress: Callable[[float], None] = lambda _: None,
) -> list[Trial]:
    """So many rooms of each of these families, with each of these shares of entries missing.

    `progress` is told the share done.
    """
    jobs = list(product(families, range(1, rooms + 1), missing))
    found = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for done in as_completed([pool.submit(trial, *job, weeks) for job in jobs]):
            found.append(done.result())
            progress(len(found) / len(jobs))
    return found


def trial(family: str, seed: int, missing: float, weeks: int) -> Trial:
    """Some weeks of a room of which a share of the entries is missing."""
    told = FAMILIES[family](seed, missing)
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.duckdb") as log:
        log.append_setup(list(told.rows), noted_at=told.start)
        record_many(log, list(told.entries), now=told.end)
        judged = [judged_week(log, told, week) for week in judged_windows(told, weeks)]
        return Trial(family, told.pattern, missing, judged, _files(log, told))


def judged_windows(told: Told, weeks: int) -> list[Window]:
    """So many weeks of a room, the newest but the last."""
    return [
        Window(told.end - timedelta(weeks=n), told.end - timedelta(weeks=n - 1)) for n in range(weeks + 1, 1, -1)
    ]  # fmt: skip


def judged_week(log: Log, told: Told, window: Window) -> JudgedWeek:
    """Judge one week, as it stands when the entries end."""
    got, true = answers.hours(log, window, "machine", told.end), true_hours(told, window)
    point = 100 / sum(true.values())
    printing, down = of_machines(true, ("printing",)), of_machines(true, OUT_OF_SERVICE)
    shop = JudgedHours(
        _judged(sum(printing.values()), got.whole.productive_time, point),
        _judged(sum(down.values()), got.whole.equipment_downtime, point),
    )
    machines = [
        JudgedHours(_judged(printing.get(one.group, 0.0), one.productive_time),
              _judged(down.get(one.group, 0.0), one.equipment_downtime))
        for one in got.groups
    ]  # fmt: skip
    plain = point * (plain_hours(told, window) - sum(printing.values()))
    return JudgedWeek(kind_of_week(told, window), shop, machines, plain)


def true_hours(told: Told, window: Window) -> dict[tuple[str, str], float]:
    """True hours per machine and state in the window."""
    hours: dict[tuple[str, str], float] = {}
    for machine, steps in told.turns.items():
        for (start, state), (end, _) in pairwise([*steps, (told.end, "")]):
            lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
            if lasted > 0:
                hours[machine, state] = hours.get((machine, state), 0.0) + lasted
    return hours


def of_machines(true: dict[tuple[str, str], float], states: Sequence[str]) -> dict[str, float]:
    """True hours of each machine in any of these states."""
    hours: dict[str, float] = {}
    for (machine, state), lasted in true.items():
        if state in states:
            hours[machine] = hours.get(machine, 0.0) + lasted
    return hours


def kind_of_week(told: Told, window: Window) -> str:
    """Whether people had a day off in the week, or left a half day without a tap, or neither."""
    zone = next(ZoneInfo(row.zone) for row in told.rows if isinstance(row, Shop))
    days = [(window.start + timedelta(hours=12 + 24 * n)).astimezone(zone).date() for n in range(7)]
    off = {row.day for row in told.rows if isinstance(row, SpecialDay) and row.start is None}
    if off & set(days):
        return DAY_OFF
    tapped = {_half(entry.noted_at.astimezone(zone)) for entry in told.entries}
    return SILENT if set(_worked_halves(told, days)) - tapped else USUAL


def _half(moment: datetime) -> tuple[date, bool]:
    return moment.date(), moment.time() >= MIDDLE


def _worked_halves(told: Told, days: Sequence[date]) -> Iterator[tuple[date, bool]]:
    """The half days in which people were usually in for some hours."""
    for day, row in product(days, told.rows):
        if isinstance(row, Shift) and row.hands and row.weekday == WEEKDAYS[day.weekday()]:
            start, end, middle = (t.hour + t.minute / 60 for t in (row.start, row.end, MIDDLE))
            end = end if end > start else 24.0
            if min(end, middle) - start >= HALF_DAY:
                yield day, False
            if end - max(start, middle) >= HALF_DAY:
                yield day, True


def _judged(true: float, told: Estimate, unit: float = 1.0) -> Judged:
    return Judged(*(unit * value for value in (true, told.low, told.best, told.high)))


def _files(log: Log, told: Told) -> list[Judged]:
    """The times of files against those of their last prints: a machine's new software may have changed them."""
    models = {row.machine: row.model for row in told.rows if isinstance(row, Machine)}
    true = {(run.file, run.revision, models[run.machine]): run.whole for run in told.runs}
    times = answers.report(log, told.end - timedelta(hours=1)).print_times
    seen = {(time.file, time.revision, time.model): time.takes for time in times if time.seen >= SIGHTINGS}
    return [_judged(true[file], takes) for file, takes in seen.items() if file in true]
