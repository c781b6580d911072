"""What is reckoned from entries alone against what a simulated shop truly did, week by week.

`roundsheet report --how-sure` judges shops of every kind; here two shops are followed for two months.
"""

from datetime import timedelta
from pathlib import Path

import pytest

from core.log.store import Log
from core.window import Window
from dashboard.commands.trials import JudgedWeek, judged_week, trial
from demo.make import make
from demo.people import NO_SLIPS, ONE_IN_FIVE, Slips
from demo.rooms.larkfield import UNTIL, told_of

MACHINES, WEEKS = 36, 13


def judged(folder: Path, slips: Slips, seed: int) -> list[JudgedWeek]:
    """Every other of eight weeks: the first four teach the shop its pace, and nobody is back from the last weekend."""
    truth = make(folder / f"{seed}.duckdb", machines=MACHINES, weeks=WEEKS, seed=seed, until=UNTIL, slips=slips)
    told = told_of(truth, seed, "one shift")
    windows = [Window(UNTIL - timedelta(weeks=n), UNTIL - timedelta(weeks=n - 1)) for n in range(WEEKS - 4, 1, -2)]
    with Log.open(folder / f"{seed}.duckdb") as log:
        return [judged_week(log, told, window) for window in windows]


@pytest.mark.parametrize(
    ("slips", "printing_within", "downtime_within"),
    [(NO_SLIPS, 1.5, 1.0), (ONE_IN_FIVE, 3.0, 2.0)],
    ids=["every entry made", "one in five missing"],
)
def test_every_shop_week_is_near_the_truth(
    tmp_path: Path, slips: Slips, printing_within: float, downtime_within: float
) -> None:
    weeks = [week.shop for seed in (1, 2) for week in judged(tmp_path, slips, seed)]
    printing = [week.printing for week in weeks]
    assert len(printing) == 8
    assert max(abs(week.best - week.true) for week in printing) <= printing_within
    assert max(abs(week.down.best - week.down.true) for week in weeks) <= downtime_within
    # The reckoning must follow the shop, not sit at its average.
    assert max(printing, key=lambda w: w.true).best > min(printing, key=lambda w: w.true).best
    assert all(week.low <= week.best <= week.high for week in printing)


def test_ranges_hold_the_truth_about_nine_times_in_ten() -> None:
    trials = [trial("larkfield", seed, missing, weeks=4) for seed, missing in ((4, 0.0), (11, 0.2), (20, 0.4))]
    machines = [hours.printing.held for one in trials for week in one.weeks for hours in week.machines]
    # 248 machine-weeks; those of one shop share its errors, so they count as fewer than they are.
    assert 0.78 <= sum(machines) / len(machines) <= 0.98
    widths = [sum(week.shop.printing.high - week.shop.printing.low for week in one.weeks) for one in trials]
    assert widths == sorted(widths), "the more is missing, the wider the ranges"
