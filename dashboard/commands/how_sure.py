"""How far off the reckoning is and how often its ranges hold the truth, on families of invented rooms.

Shares no code with what it judges: true hours are added up here from the turns of the rooms, and the answers are those
that the pages show. The family that fares worst comes first. Constants were found on some of the families; those set
apart nobody looked at meanwhile.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field, fields
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

from core import answers
from core.estimate import Estimate
from core.log.record import record_many
from core.log.store import Log
from core.setup import Machine
from core.window import Window
from demo.rooms.families import FAMILIES, SET_APART
from demo.rooms.told import OUT_OF_SERVICE, Told

#: The shares of entries that are missing.
MISSING = (0.0, 0.2, 0.4)
#: Of ten weeks of entries four are judged, all but the last of the last five.
JUDGED_WEEKS = 4
#: A file's time is judged from so many sightings on.
SIGHTINGS = 20
#: Half the width of a bar of the chart, in points; the bars reach so far.
STEP, REACH, WIDEST = 0.25, 3.0, 48


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


@dataclass(frozen=True)
class Trial:
    """A room, judged: printing and downtime of its weeks (points of machine time) and of each machine's weeks (hours),
    and what files take (hours) that were seen often enough.
    """

    family: str
    pattern: str
    missing: float
    printing: list[Judged] = field(default_factory=list)
    down: list[Judged] = field(default_factory=list)
    machines_printing: list[Judged] = field(default_factory=list)
    machines_down: list[Judged] = field(default_factory=list)
    files: list[Judged] = field(default_factory=list)


def how_sure(rooms: int, families: Sequence[str] = (), progress: Callable[[float], None] = lambda _: None) -> str:
    """The report over so many rooms of each of these families (or all), with every share of entries missing.

    `progress` is told the share done.
    """
    jobs = [
        (family, seed, missing)
        for family in families or FAMILIES for seed in range(1, rooms + 1) for missing in MISSING
    ]  # fmt: skip
    trials = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for done in as_completed([pool.submit(trial, *job) for job in jobs]):
            trials.append(done.result())
            progress(len(trials) / len(jobs))
    return "\n\n".join(_of_share(trials, missing) for missing in MISSING)


def trial(family: str, seed: int, missing: float) -> Trial:
    """Some weeks of a room of which a share of the entries is missing."""
    told = FAMILIES[family](seed, missing)
    found = Trial(family, told.pattern, missing)
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.duckdb") as log:
        log.append_setup(list(told.rows), noted_at=told.start)
        record_many(log, list(told.entries), now=told.end)
        for n in range(JUDGED_WEEKS + 1, 1, -1):
            judge_week(log, told, Window(told.end - timedelta(weeks=n), told.end - timedelta(weeks=n - 1)), found)
        _judge_files(log, told, found)
    return found


def true_hours(told: Told, window: Window) -> dict[tuple[str, str], float]:
    """True hours per machine and state in the window."""
    hours: dict[tuple[str, str], float] = {}
    for machine, steps in told.turns.items():
        for (start, state), (end, _) in pairwise([*steps, (told.end, "")]):
            lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
            if lasted > 0:
                hours[machine, state] = hours.get((machine, state), 0.0) + lasted
    return hours


def judge_week(log: Log, told: Told, window: Window, found: Trial) -> None:
    """Judge one week, as it stands when the entries end."""
    got, true = answers.hours(log, window, "machine", told.end), true_hours(told, window)
    point = 100 / sum(true.values())
    printing, down = _of_machines(true, ("printing",)), _of_machines(true, OUT_OF_SERVICE)
    found.printing.append(_judged(sum(printing.values()), got.whole.productive_time, point))
    found.down.append(_judged(sum(down.values()), got.whole.equipment_downtime, point))
    for group in got.groups:
        found.machines_printing.append(_judged(printing.get(group.group, 0.0), group.productive_time))
        found.machines_down.append(_judged(down.get(group.group, 0.0), group.equipment_downtime))


def _of_machines(true: dict[tuple[str, str], float], states: Sequence[str]) -> dict[str, float]:
    hours: dict[str, float] = {}
    for (machine, state), lasted in true.items():
        if state in states:
            hours[machine] = hours.get(machine, 0.0) + lasted
    return hours


def _judged(true: float, told: Estimate, unit: float = 1.0) -> Judged:
    return Judged(*(unit * value for value in (true, told.low, told.best, told.high)))


def _judge_files(log: Log, told: Told, found: Trial) -> None:
    """The times of files against those of their last prints: a machine's new software may have changed them."""
    models = {row.machine: row.model for row in told.rows if isinstance(row, Machine)}
    true = {(run.file, run.revision, models[run.machine]): run.whole for run in told.runs}
    for time in answers.report(log, told.end - timedelta(hours=1)).print_times:
        if time.seen >= SIGHTINGS and (time.file, time.revision, time.model) in true:
            found.files.append(_judged(true[time.file, time.revision, time.model], time.takes))


def _of_share(trials: Sequence[Trial], missing: float) -> str:
    """All families with this share of entries missing, the one whose ranges hold least often first."""
    mine = [trial for trial in trials if trial.missing == missing]
    families = dict.fromkeys(trial.family for trial in mine)
    worst = sorted(families, key=lambda family: _least_held([t for t in mine if t.family == family]))
    told = [_of([trial for trial in mine if trial.family == family]) for family in worst]
    return "\n\n".join([f"{missing:.0%} of the entries missing, the worst family first", *told])


def _least_held(trials: Sequence[Trial]) -> float:
    weeks = [week for t in trials for week in t.printing], [week for t in trials for week in t.down]
    return min(float(np.mean([week.held for week in of])) for of in weeks)


def _of(trials: Sequence[Trial]) -> str:
    """One family."""
    family = trials[0].family
    rooms = "1 room" if len(trials) == 1 else f"{len(trials)} rooms"
    apart = ", set apart" if family in SET_APART else ""
    of = {each.name: [one for t in trials for one in getattr(t, each.name)] for each in fields(Trial)[3:]}
    files, printing, down = of["files"], of["machines_printing"], of["machines_down"]
    close = np.mean([abs(f.best / f.true - 1) <= 0.02 for f in files]) if files else 0.0
    lines = [
        "share of machine time, points   median off   95th   mean    range   held the truth",
        _line("printing, a shop's week", of["printing"]),
        *_by_pattern(trials),
        _line("downtime, a shop's week", of["down"]),
        f"a machine's week: printing held in {_held(printing)}, downtime in {_held(down)}",
        f"what a file takes, seen {SIGHTINGS} times or more: within 2 % in {close:.1%}, held in {_held(files)}",
        "",
        "How far off printing was, points of machine time; a bar for every half point",
        *_bars([week.best - week.true for week in of["printing"]]),
    ]
    title = f"{family}{apart}: {rooms}, {JUDGED_WEEKS} weeks of each"
    return "\n".join([title, *(f"  {line}".rstrip() for line in lines)])


def _by_pattern(trials: Sequence[Trial]) -> list[str]:
    """The printing of each pattern of shifts, where there are several."""
    patterns = sorted({trial.pattern for trial in trials})
    weeks = {name: [week for t in trials if t.pattern == name for week in t.printing] for name in patterns}
    return [_line(f"  {name}", weeks[name]) for name in patterns] if len(patterns) > 1 else []


def _line(name: str, weeks: Sequence[Judged]) -> str:
    off = np.array([week.best - week.true for week in weeks])
    width = np.mean([week.high - week.low for week in weeks])
    return (
        f"{name:30}  {np.median(np.abs(off)):10.2f}  {np.quantile(np.abs(off), 0.95):5.2f}  {off.mean():+5.2f}  "
        f"{width:5.1f}   {_held(weeks)}"
    )


def _held(judged: Sequence[Judged]) -> str:
    return f"{np.mean([one.held for one in judged]):.1%} of {len(judged)}" if judged else "none of none"


def _bars(off: Sequence[float]) -> list[str]:
    """A bar a line: how often the error was about so much; the ends take in what lies beyond."""
    middles = np.arange(-REACH, REACH + STEP, 2 * STEP)
    near = np.clip(np.round(np.array(off) / (2 * STEP)) + len(middles) // 2, 0, len(middles) - 1).astype(int)
    counts = np.bincount(near, minlength=len(middles))
    return [
        f"{middle:+5.1f}  {'#' * round(WIDEST * count / counts.max())} {count or ''}"
        for middle, count in zip(middles, counts, strict=True)
    ]
