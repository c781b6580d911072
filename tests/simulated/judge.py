"""The judge of the reckoning: simulated shops whose true life is known, entries alone given to Roundsheet.

Shares no code with what it judges: true hours are added up here from the simulator's own stretches.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from core import answers
from core.log.store import Log
from core.window import Window
from demo.make import Truth, make
from demo.people import Slips

UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)  # a Sunday midnight in Dublin's summer
DOWN = ("upkeep", "down", "waiting")


@dataclass(frozen=True)
class Week:
    """One shop-week: the true and the reckoned share of machine time, and the reckoned 90 % range."""

    true_printing: float
    printing: tuple[float, float, float]
    true_down: float
    down: tuple[float, float, float]


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
    )


def true_hours(truth: Truth, window: Window) -> dict[str, float]:
    """True machine-hours per state in the window."""
    hours: dict[str, float] = {}
    for _, start, end, state in truth.stretches.select("machine", "start", "end", "state").iter_rows():
        lasted = (min(end, window.end) - max(start, window.start)).total_seconds() / 3600
        if lasted > 0:
            hours[state] = hours.get(state, 0.0) + lasted
    return hours
