"""Reliability of machines that are mended, against printed values and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest

from core.statistics.failures import Watched, availability, laplace, mean_cumulative, mil_hdbk_189, mtbf, power_law
from core.statistics.replacement import Costs, Weibull, age_replacement, fitted, minimal_repair

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


# Power law and trend

#: NIST/SEMATECH e-Handbook 8.2.2 and 8.4.5.2, from memory; it prints 0.5165, 0.2913 and 310.2.
NIST = (5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0)


def test_the_power_law_of_the_handbook() -> None:
    found = power_law(Watched(NIST, 1500))
    assert found is not None
    assert 1 - found.slope == pytest.approx(0.5165, abs=5e-5)
    assert found.factor == pytest.approx(0.2913, abs=5e-5)
    assert found.mtbf().best == pytest.approx(310.2, abs=0.05)
    # More digits, computed apart from this code.
    assert (found.slope, found.factor) == pytest.approx((0.483506, 0.291300), abs=5e-7)
    assert found.mtbf().best == pytest.approx(310.234, abs=5e-4)


def test_the_same_failures_by_maximum_likelihood() -> None:
    # Computed apart from this code; those ended by a failure also by two libraries (surpyval 0.25, reliability 0.9.0).
    by_time = power_law(Watched(NIST, 1500), unbiased=False)
    by_failure = power_law(Watched(NIST, 1478, by_failure=True), unbiased=False)
    assert by_time is not None
    assert by_failure is not None
    assert (by_time.slope, by_time.factor) == pytest.approx((0.537229, 0.196658), abs=5e-7)
    assert by_time.mtbf().best == pytest.approx(279.211, abs=5e-4)
    assert by_failure.slope == pytest.approx(0.541527, abs=5e-7)
    assert by_failure.factor ** (-1 / by_failure.slope) == pytest.approx(21.0400, abs=5e-5)


#: The data set system_growth of the library reliability 0.9.0: 22 failures, ended by the last of them.
GROWTH = Watched(
    (
        2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6, 328.2, 366.2,
        396.7, 421.1, 438.2, 501.2, 620.0,
    ), 620.0, by_failure=True,
)  # fmt: skip


def test_a_system_that_grows() -> None:
    # As that library prints it, and as computed apart from this code.
    found = power_law(GROWTH, unbiased=False)
    assert found is not None
    assert (found.slope, found.factor) == pytest.approx((0.6142104, 0.4239422), abs=5.001e-8)
    assert GROWTH.hours / found.failures == pytest.approx(28.18182, abs=5e-6)
    assert found.mtbf().best == pytest.approx(45.88300, abs=5e-6)


def test_the_trend_of_a_system_that_grows() -> None:
    # The same library for the chi-square and computed apart from this code: 42 degrees of freedom.
    middle, logs = laplace([GROWTH]), mil_hdbk_189([GROWTH])
    assert middle is not None
    assert logs is not None
    assert middle.statistic == pytest.approx(-2.78316, abs=5e-6)
    assert middle.p == pytest.approx(0.00538, abs=5e-6)
    assert logs.statistic == pytest.approx(71.6367, abs=5e-5)
    assert GROWTH.free.size * 2 == 42


def test_twelve_failures_of_one_system() -> None:
    # The data set load_g1_kaminskiy_krivtsov of the library surpyval 0.25, and what it prints.
    at = (3.0, 9.0, 20.0, 25.0, 41.0, 50.0, 69.0, 91.0, 128.0, 151.0, 182.0, 227.0)
    found = power_law(Watched(at, 227.0, by_failure=True), unbiased=False)
    assert found is not None
    assert found.slope == pytest.approx(0.6410213, abs=5e-8)
    assert found.factor ** (-1 / found.slope) == pytest.approx(4.7042637, abs=5e-8)


# Mean cumulative function

#: The data set MCF_1 of the library reliability 0.9.0: the last number of each is the end of its watch.
SYSTEMS = ((5, 10, 15, 17), (6, 13, 17, 19), (12, 20, 25, 26), (13, 15, 24), (16, 22, 25, 28))


def test_the_mean_cumulative_function_of_five_systems() -> None:
    # As that library prints it, and as computed apart from this code.
    found = mean_cumulative([Watched(times, end) for *times, end in SYSTEMS])
    assert found.at.tolist() == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    printed = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.333333, 2.666667, 3.666667]
    assert found.best == pytest.approx(printed, abs=5e-7)


# Replacement


def test_age_replacement_and_minimal_repair() -> None:
    # Barlow and Proschan, Mathematical Theory of Reliability (1965), 4.2; computed apart from this code. The library
    # reliability 0.9.0 gives 493.19 on a grid for the first, and for the second 1618.64, its two costs swapped.
    law, costs = Weibull(1000, 2.5), Costs(planned=1, failure=5)
    by_age, mended = age_replacement(law, costs), minimal_repair(law, costs)
    assert by_age.hours == pytest.approx(493.047, abs=5e-4)
    assert by_age.cost == pytest.approx(0.00346204, abs=5e-9)
    assert costs.failure / law.mean == pytest.approx(0.00563530, abs=5.1e-9)
    assert mended.hours == pytest.approx(446.658, abs=5e-4)
    assert mended.cost == pytest.approx(0.00373141, abs=5e-9)


def test_the_ball_bearings() -> None:
    # Lieblein and Zelen, J. Res. Nat. Bur. Stand. 57 (1956) 273, as fitted by Lawless, Statistical Models and Methods
    # for Lifetime Data (1982): 2.10 and 81.88. Data and values from memory; reliability 0.9.0 gives 2.10185, 81.8746.
    ages = np.array([
        17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
        93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
    ])  # fmt: skip
    found = fitted(ages, np.ones(23, dtype=bool))
    assert found.law.shape == pytest.approx(2.10, abs=5e-3)
    assert found.law.shape == pytest.approx(2.10185, abs=5e-6)
    assert found.law.scale == pytest.approx(81.8746, abs=5e-5)
    assert found.wears


def test_lives_of_which_most_are_not_over() -> None:
    # The data set automotive of the library reliability 0.9.0 and its maximum likelihood: 134651.1 and 1.154425.
    failed = [5248, 7454, 16890, 17200, 38700, 45000, 49390, 69040, 72280, 131900]
    runs = [
        3961, 4007, 4734, 6054, 7298, 10190, 23060, 27160, 28690, 37100, 40060, 45670, 53000, 67000, 69630, 77350,
        78470, 91680, 105700, 106300, 150400,
    ]  # fmt: skip
    found = fitted(np.array(failed + runs, dtype=float), np.arange(31) < 10)
    assert found.law.shape == pytest.approx(1.154425, abs=2e-6)
    assert found.law.scale == pytest.approx(134651.1, abs=0.1)
    assert not found.wears
