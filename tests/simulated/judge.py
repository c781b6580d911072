"""The judge of the reckoning: simulated shops whose true life is known, entries alone given to Roundsheet.

Shares no code with what it judges: true hours are added up here from the simulator's own stretches.
`python -m tests.simulated.judge [SEEDS]` prints how far off the reckoning was, in points of machine time.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from core import answers
from core.log.store import Log
from core.window import Window
from demo.make import Truth, make
from demo.people import NO_SLIPS, ONE_IN_FIVE, Slips

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


def true_hours(truth: Truth, window: Window) -> dict[str, float]:
    """True machine-hours per state in the window."""
    hours: dict[str, float] = {}
    for _, start, end, state in truth.stretches.select("machine", "start", "end", "state").iter_rows():
        lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
        if lasted > 0:
            hours[state] = hours.get(state, 0.0) + lasted
    return hours


def main() -> None:
    """Print the greatest and the mean error of many shop-weeks."""
    seeds = range(1, 1 + int(sys.argv[1] if len(sys.argv) > 1 else 3))
    for name, slips in (("every entry made", NO_SLIPS), ("one in five missing", ONE_IN_FIVE)):
        with tempfile.TemporaryDirectory() as folder:
            weeks = [week for seed in seeds for week in judged_weeks(Path(folder), slips, seed)]
        printing = [100 * (week.printing[1] - week.true_printing) for week in weeks]
        down = [100 * (week.down[1] - week.true_down) for week in weeks]
        held = sum(week.printing[0] <= week.true_printing <= week.printing[2] for week in weeks)
        print(f"{name}, {len(weeks)} shop-weeks: printing {_off(printing)}; downtime {_off(down)}; "  # noqa: T201
              f"the range of printing held the truth in {held}")  # fmt: skip


def _off(points: list[float]) -> str:
    return f"at most {max(map(abs, points)):.2f} points off, {sum(points) / len(points):+.2f} on average"


if __name__ == "__main__":
    main()
