"""Failures by hours since something: bands that lose nothing, and rates with their exact ranges."""

import numpy as np
import pytest

from core.statistics.by_hours import BANDS, bands
from core.statistics.failures import FailureTimes
from core.statistics.ranges import poisson_range


def some(seed: int, count: int = 60, mean: float = 180.0) -> list[FailureTimes]:
    draw = np.random.default_rng(seed)
    hours = draw.exponential(mean, count) + 1
    return [FailureTimes(sorted(draw.uniform(0.001, lasted, draw.poisson(lasted / 100))), lasted) for lasted in hours]


def test_nothing_watched_has_no_bands() -> None:
    assert bands([]) == []


@pytest.mark.parametrize("seed", range(5))
def test_bands_lose_no_hour_and_no_failure(seed: int) -> None:
    watched = some(seed)
    found = bands(watched)
    assert sum(band.failures for band in found) == sum(len(one.failed) for one in watched)
    assert sum(band.hours for band in found) == pytest.approx(sum(one.hours for one in watched))
    assert 2 <= len(found) <= BANDS
    assert found[0].start == 0
    assert found[-1].end == max(one.hours for one in watched)
    assert [band.end for band in found[:-1]] == [band.start for band in found[1:]]


def test_bands_are_of_a_round_width_but_for_the_last_which_takes_in_the_thin_end() -> None:
    found = bands([*(FailureTimes([], 260.0) for _ in range(50)), FailureTimes([], 700.0)])
    assert [band.start for band in found] == [0, 50, 100, 150, 200, 250]
    assert found[-1].end == 700
    long = bands([FailureTimes([], 50.0), FailureTimes([], 3000.0)])
    assert [band.start for band in long] == [0, 500, 1000, 1500, 2000, 2500]


def test_a_band_has_its_failures_by_its_hours_and_the_exact_range() -> None:
    first, *_ = bands([FailureTimes([10.0, 70.0, 71.0], 100.0), FailureTimes([15.0], 100.0)])
    assert (first.failures, first.hours) == (2, 40)
    assert first.rate.best == pytest.approx(2 / 40)
    assert (first.rate.low, first.rate.high) == pytest.approx((poisson_range(2).low / 40, poisson_range(2).high / 40))


def test_a_failure_where_two_bands_meet_is_counted_once() -> None:
    found = bands([FailureTimes([20.0, 100.0], 100.0)])
    assert [band.failures for band in found] == [0, 1, 0, 0, 1]
