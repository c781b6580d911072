"""Reliability of machines that are mended, against printed values and general-purpose libraries."""

from __future__ import annotations

import pytest

from core.statistics.failures import FailureTimes, availability, mean_cumulative, mil_hdbk_189, mtbf, slope
from core.statistics.replacement import Costs, Weibull, minimal_repair

# Bounds


def test_two_failures_in_800_hours() -> None:
    # NIST/SEMATECH e-Handbook 8.4.5.1; the formula as printed there, the numbers of its example from memory.
    found = mtbf(2, 800)
    assert found.best == 400
    assert (found.low, found.high) == pytest.approx((127.069, 2251.229), abs=5e-4)


#: The table of factors of the same section, by failures: lower and upper. Its printed table was not seen; the values
#: were computed from the printed formula apart from this code, to 4 decimals.
FACTORS = {
    0.60: {1: (0.3340, 4.4814), 2: (0.4674, 2.4260), 3: (0.5440, 1.9543), 5: (0.6324, 1.6184), 10: (0.7326, 1.3719)},
    0.80: {1: (0.2571, 9.4912), 2: (0.3758, 3.7607), 3: (0.4490, 2.7222), 5: (0.5391, 2.0554), 10: (0.6491, 1.6074)},
    0.90: {1: (0.2108, 19.4957), 2: (0.3177, 5.6281), 3: (0.3869, 3.6689), 5: (0.4756, 2.5379), 10: (0.5895, 1.8432)},
    0.95: {1: (0.1795, 39.4979), 2: (0.2768, 8.2573), 3: (0.3422, 4.8491), 5: (0.4285, 3.0798), 10: (0.5438, 2.0853)},
}


@pytest.mark.parametrize(
    ("sure", "failures", "factors"), [(sure, n, pair) for sure, row in FACTORS.items() for n, pair in row.items()]
)
def test_factors_of_the_bounds(sure: float, failures: int, factors: tuple[float, float]) -> None:
    found = mtbf(failures, failures * 1.0, sure)
    assert (found.low, found.high) == pytest.approx(factors, abs=5.001e-5)


def test_no_failures_in_500_hours() -> None:
    # The same section: T / -ln(a), one-sided, as printed; 166.904 for a = 5 % computed.
    assert mtbf(0, 500, sure=0.90).low == pytest.approx(166.904, abs=5e-4)


def test_breakdowns_a_month() -> None:
    # A worked example at qammunity.org (18673090): none in 4 months, one in 8, two in 5, three in 2, four in 1: 1.4.
    breakdowns = 8 * 1 + 5 * 2 + 2 * 3 + 1 * 4
    assert 1 / mtbf(breakdowns, 20).best == pytest.approx(1.4)


def test_ten_failures_in_1500_hours_are_not_eleven() -> None:
    # A library prints (n + 1) / sum = 0.0074 for the rate; the maximum likelihood of a steady one is 10 / 1500.
    assert 1 / mtbf(10, 1500).best == pytest.approx(0.00667, abs=5e-6)


def test_inherent_availability() -> None:
    # By its definition, MTBF / (MTBF + MTTR).
    assert availability(100, 2) == pytest.approx(0.980392, abs=5e-7)


# Trend

#: NIST/SEMATECH e-Handbook 8.2.2 and 8.4.5.2, from memory: ten failures in 1500 h.
NIST = (5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0)


def test_the_slope_of_the_handbook() -> None:
    # The formula of 8.4.5.2 as printed there, (r - 1) / sum ln(T / t); 1 less the slope is 0.5165, from memory.
    found = slope([FailureTimes(NIST, 1500)])
    assert found is not None
    assert 1 - found.best == pytest.approx(0.5165, abs=5e-5)
    # More digits, computed apart from this code.
    assert found.best == pytest.approx(0.483506, abs=5e-7)


#: The data set system_growth of the library reliability 0.9.0: 22 failures, ended by the last of them.
GROWTH = FailureTimes(
    (
        2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6, 328.2, 366.2,
        396.7, 421.1, 438.2, 501.2, 620.0,
    ), 620.0, by_failure=True,
)  # fmt: skip


def test_the_trend_of_a_system_that_grows() -> None:
    # The same library for the chi-square, and computed apart from this code.
    found = mil_hdbk_189([GROWTH])
    assert found is not None
    assert found.statistic == pytest.approx(71.6367, abs=5e-5)


# Mean cumulative function

#: The data set MCF_1 of the library reliability 0.9.0: the last number of each is the end of its watch.
SYSTEMS = ((5, 10, 15, 17), (6, 13, 17, 19), (12, 20, 25, 26), (13, 15, 24), (16, 22, 25, 28))


def test_the_mean_cumulative_function_of_five_systems() -> None:
    # As that library prints it, and as computed apart from this code.
    found = mean_cumulative([FailureTimes(times, end) for *times, end in SYSTEMS])
    assert found.at.tolist() == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    printed = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.333333, 2.666667, 3.666667]
    assert found.best == pytest.approx(printed, abs=5e-7)


# Replacement


def test_minimal_repair() -> None:
    # Barlow and Proschan, Mathematical Theory of Reliability (1965), 4.2; computed apart from this code. The library
    # reliability 0.9.0 gives 1618.64, its two costs swapped.
    assert minimal_repair(Weibull(1000, 2.5), Costs(planned=1, failure=5)) == pytest.approx(446.658, abs=5e-4)
