"""Failures of machines that are mended: bounds, trends and mean counts, told by hand and by their laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from core.statistics.failures import (
    FailureTimes,
    availability,
    in_doubt,
    mean_cumulative,
    mil_hdbk_189,
    mtbf,
    slope,
    trend,
)

WORSE = FailureTimes((500, 800, 900, 950, 970, 985, 990, 995), 1000)
BETTER = FailureTimes((5, 10, 15, 30, 50, 100, 200, 500), 1000)
EVEN = FailureTimes(tuple(np.arange(1, 41) * 25.0 - 12.5), 1000)
FEW = FailureTimes((200, 700), 1000)

watches = st.builds(
    lambda shares, hours: FailureTimes(tuple(share * hours for share in shares), hours),
    st.lists(st.floats(0.01, 0.999), min_size=2, max_size=12, unique=True),
    st.floats(10, 5000),
)

# Mean hours between failures


@given(st.integers(0, 60), st.floats(1, 1e5))
def test_the_bounds_hold_the_best_and_scale_with_the_hours(failures: int, hours: float) -> None:
    found, twice = mtbf(failures, hours), mtbf(failures, 2 * hours)
    assert found.low < found.best
    assert twice.low == pytest.approx(2 * found.low)
    assert mtbf(failures + 1, hours).low < found.low
    assert mtbf(failures, hours, sure=0.95).low < found.low


def test_without_failures_there_is_a_low_bound_alone() -> None:
    found = mtbf(0, 500)
    assert (found.best, found.high) == (math.inf, math.inf)
    # As many hours between failures as make none in 500 h a chance of 5 %.
    assert math.exp(-500 / found.low) == pytest.approx(0.05)


@pytest.mark.parametrize("mean", [0.5, 3, 8, 22])
def test_nine_ranges_in_ten_hold_the_truth_at_least(mean: float) -> None:
    counts = np.arange(100)
    held = [mtbf(int(count), 1000).low <= 1000 / mean <= mtbf(int(count), 1000).high for count in counts]
    assert 0.9 <= poisson.pmf(counts, mean) @ held <= 1


@pytest.mark.parametrize(
    ("failures", "hours", "sure", "told"),
    [
        (3, 0, 0.9, "hours watched must be a number above 0, got 0"),
        (3, math.inf, 0.9, "hours watched must be a number above 0, got inf"),
        (-1, 100, 0.9, "counted from 0 up, got -1"),
        (3, 100, 90, "between 0 and 1, got 90"),
    ],
)
def test_numbers_that_are_none_are_told(failures: int, hours: float, sure: float, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        mtbf(failures, hours, sure)


def test_a_machine_that_never_fails_is_always_available() -> None:
    assert availability(math.inf, 5) == 1
    assert availability(95, 5) == pytest.approx(0.95)


# Watches


@pytest.mark.parametrize(
    ("failed", "hours", "by_failure", "told"),
    [
        ((), 0.0, False, "above 0, got 0"),
        ((0.0,), 10.0, False, "after 0 and within the 10.0 h watched, got 0.0"),
        ((4.0, 11.0), 10.0, False, "got 11.0"),
        ((math.nan,), 10.0, False, "got nan"),
        ((4.0,), 10.0, True, "must have one at its end, 10.0 h"),
    ],
)
def test_a_watch_holds_its_failures(failed: tuple[float, ...], hours: float, by_failure: bool, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        FailureTimes(failed, hours, by_failure)


# Trend


def test_failures_that_come_closer_together_are_getting_worse_and_the_other_way_round() -> None:
    assert trend([WORSE]).verdict == "worsening"
    assert trend([BETTER]).verdict == "improving"


def test_steady_is_claimed_only_of_many() -> None:
    assert trend([EVEN]).verdict == "steady"
    assert trend([FEW]).verdict == "cannot tell"
    assert trend([FEW] * 30).verdict == "steady"


def test_what_may_be_getting_much_better_is_not_steady() -> None:
    # Its slope is surely below 1.5 and may be 1, but the half of it as well.
    perhaps = FailureTimes((20, 60, 110, 200, 280, 390, 520, 640, 760, 900), 1000)
    found = slope([perhaps])
    assert found is not None
    assert found.low < 1 / 1.5 < 1 < found.high < 1.5
    assert trend([perhaps]).verdict == "cannot tell"


@pytest.mark.parametrize(
    "machines", [[], [FailureTimes((), 100)], [FailureTimes((50,), 100)], [FailureTimes((50, 100), 100, True)]]
)
def test_of_too_few_failures_there_is_no_trend(machines: list[FailureTimes]) -> None:
    found = trend(machines)
    assert (found.verdict, found.slope) == ("cannot tell", None)


def test_no_failures_are_no_test() -> None:
    assert mil_hdbk_189([FailureTimes((), 100)]) is None
    assert trend([FailureTimes((), 100)]).p is None


def test_the_estimator_is_named() -> None:
    by_failure = FailureTimes((10, 20, 40), 40, by_failure=True)
    assert trend([FEW]).estimator == "MIL-HDBK-189, time-terminated, slope unbiased"
    assert trend([FEW, by_failure]).estimator == "MIL-HDBK-189, failure and time-terminated, slope unbiased"


def test_machines_too_short_of_failures_tell_together() -> None:
    one = FailureTimes((300, 800, 900), 1000)
    assert trend([one]).verdict == "cannot tell"
    assert trend([one] * 4).verdict == "worsening"


def test_machines_with_rates_of_their_own_are_no_trend() -> None:
    # One fails twenty times as often as another that is watched longer: both evenly.
    seldom = FailureTimes((1000, 2000, 3000), 4000)
    assert trend([EVEN, seldom]).verdict == "steady"


@given(st.lists(watches, min_size=1, max_size=3), st.floats(0.01, 100), st.randoms())
def test_neither_order_nor_unit_matters(machines: list[FailureTimes], unit: float, chance) -> None:
    def other(one: FailureTimes) -> FailureTimes:
        at = list(one.failed)
        chance.shuffle(at)
        return FailureTimes(tuple(hours * unit for hours in at), one.hours * unit)

    found, again = trend(machines), trend([other(one) for one in machines][::-1])
    assert again.p == pytest.approx(found.p, abs=1e-9)
    assert again.verdict == found.verdict


@given(watches)
def test_a_verdict_of_a_trend_goes_with_its_p(one: FailureTimes) -> None:
    found = trend([one])
    assert found.p is not None
    assert (found.p < 0.1) == (found.verdict in {"improving", "worsening"})


def test_a_trend_is_seen_one_time_in_ten_where_there_is_none() -> None:
    draw = np.random.default_rng(6)
    lives = [FailureTimes(tuple(draw.uniform(0, 800, 9)), 800) for _ in range(800)]
    assert np.mean([mil_hdbk_189([life]).p < 0.1 for life in lives]) == pytest.approx(0.1, abs=0.025)
    assert np.mean([slope([life]).low <= 1 <= slope([life]).high for life in lives]) == pytest.approx(0.9, abs=0.025)


def test_failures_at_the_very_end_are_worse_and_no_error() -> None:
    late = FailureTimes((100, 100), 100)
    assert trend([late]).verdict == "worsening"


# Mean cumulative function


def test_machines_leave_when_their_watch_ends() -> None:
    found = mean_cumulative([FailureTimes((10, 30), 40), FailureTimes((20,), 25)])
    assert found.at.tolist() == [10, 20, 30]
    assert found.best.tolist() == [0.5, 1.0, 2.0]


def test_a_failure_at_the_end_of_another_watch_has_both_at_risk() -> None:
    assert mean_cumulative([FailureTimes((10,), 20), FailureTimes((), 10)]).best.tolist() == [0.5]


def test_one_machine_has_the_range_of_chance() -> None:
    found = mean_cumulative([EVEN])
    assert found.best.tolist() == list(range(1, 41))
    assert found.high[-1] / 40 == pytest.approx(math.exp(1.6449 / math.sqrt(40)), rel=1e-4)


def test_machines_that_are_alike_have_the_range_of_their_failures_together() -> None:
    # Twenty failures of four machines, five each: a Poisson count of twenty by four.
    found = mean_cumulative([FailureTimes((100, 200, 300, 400, 500), 1000)] * 4)
    assert found.high[-1] / 5 == pytest.approx(math.exp(1.6449 * math.sqrt(20) / 4 / 5), rel=1e-4)


def test_machines_that_differ_have_a_wider_range_than_chance_alone() -> None:
    alike = mean_cumulative([FailureTimes((100, 300, 500, 700), 1000)] * 8)
    apart = mean_cumulative(
        [FailureTimes((), 1000)] * 4 + [FailureTimes((100, 100, 300, 300, 500, 500, 700, 700), 1000)] * 4
    )
    assert apart.best == pytest.approx(alike.best)
    assert apart.high[-1] > alike.high[-1]


def test_no_failures_make_no_step_and_no_machines_no_mean() -> None:
    assert mean_cumulative([FailureTimes((), 50)]).best.size == 0
    with pytest.raises(ValueError, match="at least one machine"):
        mean_cumulative([])


@given(st.lists(watches, min_size=1, max_size=5))
def test_the_mean_only_rises_within_its_range_whatever_the_order(machines: list[FailureTimes]) -> None:
    found, again = mean_cumulative(machines), mean_cumulative(machines[::-1])
    assert (np.diff(found.best) > 0).all()
    assert ((found.low >= 0) & (found.low < found.best) & (found.best < found.high)).all()
    assert again.best == pytest.approx(found.best)
    assert again.high == pytest.approx(found.high)


@given(watches, st.integers(1, 5))
def test_of_machines_watched_as_long_it_ends_at_the_mean_count(one: FailureTimes, times: int) -> None:
    machines = [one, *[FailureTimes((), one.hours)] * times]
    assert mean_cumulative(machines).best[-1] == pytest.approx(len(one.failed) / (times + 1))


@given(failures=st.integers(1, 200), hours=st.floats(1, 1e5))
def test_with_every_failure_told_and_no_doubt_the_bounds_stay_exact(failures: int, hours: float) -> None:
    exact = mtbf(failures, hours)
    same = in_doubt(exact, 1.0, 0.0)
    assert (same.low, same.best, same.high) == pytest.approx((exact.low, exact.best, exact.high))


@given(failures=st.integers(1, 200), told=st.floats(0.1, 1), doubt=st.floats(0.01, 1))
def test_failures_that_nobody_told_come_between_and_doubt_only_widens(failures: int, told: float, doubt: float) -> None:
    exact, found = mtbf(failures, 1000), in_doubt(mtbf(failures, 1000), told, doubt)
    assert found.best == pytest.approx(told * exact.best)
    assert found.low / found.best < exact.low / exact.best
    assert found.high / found.best > exact.high / exact.best


def test_where_nothing_failed_the_least_comes_down_and_the_rest_stays_open() -> None:
    found = in_doubt(mtbf(0, 500), 0.8, 0.1)
    assert found.low < 0.8 * mtbf(0, 500).low
    assert found.best == found.high == math.inf


@pytest.mark.parametrize("told", [0.0, -0.1, 1.2])
def test_a_share_told_that_is_none_is_refused(told: float) -> None:
    with pytest.raises(ValueError, match="share told"):
        in_doubt(mtbf(3, 500), told, 0.1)
