"""How far off the reckoning is and how often its ranges hold the truth, on invented shops whose true life is known.

Shares no code with what it judges: true hours are added up here from the stretches of the demo, and
the answers are those that the pages show. The shops differ: 12 to 60 machines, one or two shifts, prints that take
0.9 to 1.15 of what they state; so many entries are missing, others late, some wrong.
"""

from __future__ import annotations

import os
import random
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from core import answers
from core.estimate import Estimate
from core.log.store import Log
from core.window import Window
from demo.make import Truth, make
from demo.people import USUAL

#: The shares of entries that are missing.
MISSING = (0.0, 0.2, 0.4)
#: Ten weeks of entries, of which four are judged; a Sunday midnight in Dublin's summer.
WEEKS, JUDGED_WEEKS = 10, 4
UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)
DOWN = ("upkeep", "down", "waiting")
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
    """A shop, judged: printing and downtime of its weeks (points of machine time) and of each machine's weeks (hours),
    and what files take (hours) that were seen often enough.
    """

    missing: float
    printing: list[Judged] = field(default_factory=list)
    down: list[Judged] = field(default_factory=list)
    machines_printing: list[Judged] = field(default_factory=list)
    machines_down: list[Judged] = field(default_factory=list)
    files: list[Judged] = field(default_factory=list)


def how_sure(shops: int, progress: Callable[[float], None] = lambda _: None) -> str:
    """The report over so many shops, each with every share of entries missing; `progress` is told the share done."""
    jobs = [(seed, missing) for seed in range(1, shops + 1) for missing in MISSING]
    trials = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for done in as_completed([pool.submit(trial, *job) for job in jobs]):
            trials.append(done.result())
            progress(len(trials) / len(jobs))
    return "\n\n".join(_of([t for t in trials if t.missing == missing], missing) for missing in MISSING)


def trial(seed: int, missing: float) -> Trial:
    """The last weeks but one of a shop of which a share of the entries is missing."""
    draw = random.Random(f"room {seed}")
    machines, shifts, slower = draw.randint(12, 60), draw.choice((1, 1, 2)), draw.uniform(0.9, 1.15)
    found = Trial(missing)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.duckdb"
        truth = make(path, machines, WEEKS, seed, UNTIL, replace(USUAL, missing=missing), shifts, slower)
        with Log.open(path) as log:
            for n in range(JUDGED_WEEKS + 1, 1, -1):
                judge_week(log, truth, Window(UNTIL - timedelta(weeks=n), UNTIL - timedelta(weeks=n - 1)), found)
            _judge_files(log, truth, found)
    return found


def true_hours(truth: Truth, window: Window) -> dict[tuple[str, str], float]:
    """True hours per machine and state in the window."""
    hours: dict[tuple[str, str], float] = {}
    for machine, start, end, state in truth.stretches.select("machine", "start", "end", "state").iter_rows():
        lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
        if lasted > 0:
            hours[machine, state] = hours.get((machine, state), 0.0) + lasted
    return hours


def judge_week(log: Log, truth: Truth, window: Window, found: Trial) -> None:
    """Judge one week, as it stands when the entries end."""
    got, true = answers.hours(log, window, "machine", truth.end), true_hours(truth, window)
    point = 100 / sum(true.values())
    printing, down = _of_machines(true, ("printing",)), _of_machines(true, DOWN)
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


def _judge_files(log: Log, truth: Truth, found: Trial) -> None:
    for told in answers.report(log, truth.end - timedelta(hours=1)).print_times:
        if told.seen >= SIGHTINGS:
            true = told.stated * truth.factors[told.file, told.revision, told.model]
            found.files.append(_judged(true, told.takes))


def _of(trials: Sequence[Trial], missing: float) -> str:
    shops = "1 shop" if len(trials) == 1 else f"{len(trials)} shops"
    title = f"{missing:.0%} of the entries missing: {shops}, {JUDGED_WEEKS} weeks of each"
    of = {each.name: [one for t in trials for one in getattr(t, each.name)] for each in fields(Trial)[1:]}
    files, printing, down = of["files"], of["machines_printing"], of["machines_down"]
    close = np.mean([abs(f.best / f.true - 1) <= 0.01 for f in files]) if files else 0.0
    lines = [
        "share of machine time, points   median off   95th   mean    range   held the truth",
        _line("printing, a shop's week", of["printing"]),
        _line("downtime, a shop's week", of["down"]),
        f"a machine's week: printing held in {_held(printing)}, downtime in {_held(down)}",
        f"what a file takes, seen {SIGHTINGS} times or more: within 1 % in {close:.1%}, held in {_held(files)}",
        "",
        "How far off printing was, points of machine time; a bar for every half point",
        *_bars([week.best - week.true for week in of["printing"]]),
    ]
    return "\n".join([title, *(f"  {line}".rstrip() for line in lines)])


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
