"""The judge of the reckoning: simulated shops whose true life is known, entries alone given to Roundsheet.

Shares no code with what it judges: true hours are added up here from the simulator's own stretches.
`python -m tests.simulated.judge [SHOPS]` prints, for shops of every kind (12 to 60 machines, one or two shifts, prints
that take 0.9 to 1.15 of what they state), how far off the reckoning was in points of machine time, and how often its
ranges held the truth.
"""

from __future__ import annotations

import random
import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from core import answers
from core.log.store import Log
from core.window import Window
from demo.make import Truth, make
from demo.people import USUAL, Slips

UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)  # a Sunday midnight in Dublin's summer
DOWN = ("upkeep", "down", "waiting")


@dataclass(frozen=True)
class Week:
    """One shop-week: the true share of machine time, and the reckoned one as low, best, high.

    `parts` are the reckoned hours of all states added up.
    """

    true_printing: float
    printing: tuple[float, float, float]
    true_down: float
    down: tuple[float, float, float]
    parts: float


def judged_weeks(folder: Path, slips: Slips, seed: int, machines: int = 36, weeks: int = 13) -> list[Week]:
    """`weeks` - 5 weeks of a simulated shop, judged as they stand a week after the last of them.

    The first four weeks teach the shop its pace; of the last one, nobody has come back from the weekend yet.
    """
    path = folder / f"shop{seed}.duckdb"
    truth = make(path, machines=machines, weeks=weeks, seed=seed, until=UNTIL, slips=slips)
    with Log.open(path) as log:
        return [_week(log, truth, UNTIL - timedelta(weeks=n)) for n in range(weeks - 4, 1, -1)]


def _week(log: Log, truth: Truth, start: datetime) -> Week:
    window = Window(start, start + timedelta(weeks=1))
    got = answers.hours(log, window, None, truth.end).whole
    true = true_hours(truth, window)
    known = got.total
    printing, down = got.apt, got.adot
    return Week(
        true_printing=true.get("printing", 0.0) / sum(true.values()),
        printing=(printing.low / known, printing.best / known, printing.high / known),
        true_down=sum(true.get(state, 0.0) for state in DOWN) / sum(true.values()),
        down=(down.low / known, down.best / known, down.high / known),
        parts=sum(hours.best for hours in got.hours.values()),
    )


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
    """A simulated shop, judged: printing and downtime of shop-weeks (shares), printing of machine-weeks (hours)."""

    printing: list[Judged]
    down: list[Judged]
    machines: list[Judged]


def trial(folder: Path, seed: int, missing: float, weeks: int = 10) -> Trial:
    """The last weeks but one of a shop of some kind, of whose entries a share is missing and some are late."""
    draw = random.Random(f"room {seed}")
    machines, shifts, slower = draw.randint(12, 60), draw.choice((1, 1, 2)), draw.uniform(0.9, 1.15)
    path = folder / f"{seed}-{missing}.duckdb"
    slips = replace(USUAL, missing=missing)
    truth = make(path, machines, weeks, seed, UNTIL, slips, shifts, slower)
    found = Trial([], [], [])
    with Log.open(path) as log:
        for n in range(5, 1, -1):
            _try_week(log, truth, Window(UNTIL - timedelta(weeks=n), UNTIL - timedelta(weeks=n - 1)), found)
    path.unlink()
    return found


def _try_week(log: Log, truth: Truth, window: Window, found: Trial) -> None:
    got = answers.hours(log, window, "machine", truth.end)
    true = true_hours_by_machine(truth, window)
    whole = sum(true.values())
    for told, states, judged in (
        (got.whole.apt, ("printing",), found.printing), (got.whole.adot, DOWN, found.down)
    ):  # fmt: skip
        share = sum(hours for (_, state), hours in true.items() if state in states) / whole
        judged.append(Judged(share, *(end / got.whole.total for end in (told.low, told.best, told.high))))
    for group in got.groups:
        told, hours = group.apt, true.get((group.group, "printing"), 0.0)
        found.machines.append(Judged(hours, told.low, told.best, told.high))


def true_hours(truth: Truth, window: Window) -> dict[str, float]:
    """True machine-hours per state in the window."""
    hours: dict[str, float] = {}
    for (_, state), lasted in true_hours_by_machine(truth, window).items():
        hours[state] = hours.get(state, 0.0) + lasted
    return hours


def true_hours_by_machine(truth: Truth, window: Window) -> dict[tuple[str, str], float]:
    """True hours per machine and state in the window."""
    hours: dict[tuple[str, str], float] = {}
    for machine, start, end, state in truth.stretches.select("machine", "start", "end", "state").iter_rows():
        lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
        if lasted > 0:
            hours[machine, state] = hours.get((machine, state), 0.0) + lasted
    return hours


def main() -> None:
    """Print how far off the figures are and how often their ranges hold, for entries all made and some missing."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    for missing in (0.0, 0.2, 0.4):
        with tempfile.TemporaryDirectory() as folder:
            trials = [trial(Path(folder), seed, missing) for seed in range(1, shops + 1)]
        print(f"{missing:.0%} of the entries missing, {shops} shops")  # noqa: T201 - that is what it is for
        for name in ("printing", "down"):
            weeks = [week for one in trials for week in getattr(one, name)]
            off = sorted(100 * abs(week.best - week.true) for week in weeks)
            mean = sum(100 * (week.best - week.true) for week in weeks) / len(weeks)
            width = sum(100 * (week.high - week.low) for week in weeks) / len(weeks)
            print(f"  {name}: median error {off[len(off) // 2]:.2f} points, 95th percentile "  # noqa: T201
                  f"{off[int(0.95 * len(off))]:.2f}, mean {mean:+.2f}; range {width:.1f} points wide, "
                  f"held in {_held(weeks)} of {len(weeks)} shop-weeks")  # fmt: skip
        machines = [week for one in trials for week in one.machines]
        print(f"  printing of a machine held in {_held(machines)} of {len(machines)} machine-weeks")  # noqa: T201


def _held(weeks: list[Judged]) -> int:
    return sum(week.held for week in weeks)


if __name__ == "__main__":
    main()
