"""What is reckoned from entries alone against what a simulated shop truly did, week by week.

`python -m tests.simulated.judge` shows the figures of as many shops as one likes.
"""

from pathlib import Path

import pytest

from dashboard.how_sure import trial
from demo.people import NO_SLIPS, ONE_IN_FIVE, Slips
from tests.simulated.judge import Week, judged_weeks

MACHINES, SEEDS = 36, (1, 2)


def weeks_of(folder: Path, slips: Slips) -> list[Week]:
    return [week for seed in SEEDS for week in judged_weeks(folder, slips, seed, MACHINES)]


@pytest.mark.parametrize(
    ("slips", "printing_within", "downtime_within"),
    [(NO_SLIPS, 0.015, 0.01), (ONE_IN_FIVE, 0.03, 0.02)],
    ids=["every entry made", "one in five missing"],
)
def test_every_shop_week_is_near_the_truth(
    tmp_path: Path, slips: Slips, printing_within: float, downtime_within: float
) -> None:
    weeks = weeks_of(tmp_path, slips)
    assert len(weeks) == 8 * len(SEEDS)
    off = [(week.printing[1] - week.true_printing, week.down[1] - week.true_down) for week in weeks]
    assert max(abs(printing) for printing, _ in off) <= printing_within
    assert max(abs(down) for _, down in off) <= downtime_within
    # The reckoning must follow the shop, not sit at its average.
    busiest, idlest = max(weeks, key=lambda w: w.true_printing), min(weeks, key=lambda w: w.true_printing)
    assert busiest.printing[1] > idlest.printing[1]
    for week in weeks:
        assert week.parts == pytest.approx(MACHINES * 7 * 24, rel=1e-12)
        assert week.printing[0] <= week.printing[1] <= week.printing[2]


def test_ranges_hold_the_truth_about_nine_times_in_ten() -> None:
    trials = [trial(seed, missing) for seed, missing in ((4, 0.0), (11, 0.2), (20, 0.4))]
    machines = [week.held for one in trials for week in one.machines]
    # 248 machine-weeks; those of one shop share its errors, so they count as fewer than they are.
    assert 0.78 <= sum(machines) / len(machines) <= 0.98
    widths = [sum(week.high - week.low for week in one.printing) for one in trials]
    assert widths == sorted(widths), "the more is missing, the wider the ranges"
