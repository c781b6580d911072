"""The judge of the reckoning: simulated shops whose true life is known, entries alone given to Roundsheet.

Shares no code with what it judges. `roundsheet report --how-sure` judges shops of every kind; here one shop is
followed week by week.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from core import answers
from core.log.store import Log
from core.window import Window
from dashboard.how_sure import DOWN, UNTIL, true_hours
from demo.make import Truth, make
from demo.people import Slips


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
    true: dict[str, float] = {}
    for (_, state), lasted in true_hours(truth, window).items():
        true[state] = true.get(state, 0.0) + lasted
    known = got.total
    printing, down = got.apt, got.adot
    return Week(
        true_printing=true.get("printing", 0.0) / sum(true.values()),
        printing=(printing.low / known, printing.best / known, printing.high / known),
        true_down=sum(true.get(state, 0.0) for state in DOWN) / sum(true.values()),
        down=(down.low / known, down.best / known, down.high / known),
        parts=sum(hours.best for hours in got.hours.values()),
    )
