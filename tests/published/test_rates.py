"""Rates of rare events, against printed limits and a general-purpose library."""

import numpy as np
import pytest
from scipy.stats import binomtest, poisson

from core.statistics.bad_actor import stands_out
from core.statistics.ranges import poisson_range

# Pearson and Hartley, Biometrika Tables for Statisticians I (1954), table 40 (after Garwood 1936), from memory.
PRINTED = {
    0: ("0.000", "3.689"), 1: ("0.0253", "5.572"), 2: ("0.242", "7.225"), 5: ("1.62", "11.67"), 10: ("4.80", "18.39"),
    20: ("12.22", "30.89"),
}  # fmt: skip


def as_printed(value: float, printed: str) -> str:
    """The value to as many decimals as are printed."""
    return f"{value:.{len(printed.partition('.')[2])}f}"


@pytest.mark.parametrize(("count", "limits"), PRINTED.items())
def test_the_printed_limits(count: int, limits: tuple[str, str]) -> None:
    found = poisson_range(count, confidence=0.95)
    assert (as_printed(found.low, limits[0]), as_printed(found.high, limits[1])) == limits


@pytest.mark.parametrize("count", [0, 1, 7, 60, 900])
def test_each_limit_leaves_half_of_the_rest_to_its_side(count: int) -> None:
    found = poisson_range(count)
    assert poisson.cdf(count, found.high) == pytest.approx(0.05)
    assert found.low == 0.0 if count == 0 else poisson.sf(count - 1, found.low) == pytest.approx(0.05)


# One rate beside another: given all failures, those of one machine are binomial (Przyborowski and Wilenski 1940), with
# Clopper and Pearson's limits; its hours and the others' make the odds of that share how many times as often it failed.


def share_of_failures(mine: int, others: int) -> tuple[float, float]:
    """The limits of a machine's share of all failures, by how many `times` as often it failed as four others alike."""
    counts = np.array([[mine, *(others // 4 + (place < others % 4) for place in range(4))]])
    times = stands_out(counts, np.full((1, 5), 100.0))[0].times
    assert times is not None
    low, high = (1.0 if np.isinf(odds) else odds / 4 / (1 + odds / 4) for odds in (times.low, times.high))
    return low, high


def test_four_of_twenty_failures() -> None:
    # NIST/SEMATECH e-Handbook 7.2.4.1, 90 % limits of 4 in 20: 0.0714 and 0.4010, from memory.
    assert share_of_failures(4, 16) == pytest.approx((0.0714, 0.4010), abs=5e-5)


@pytest.mark.parametrize(("mine", "others"), [(0, 20), (20, 0), (1, 28), (15, 133), (81, 182)])
def test_the_limits_of_a_share_of_failures_as_the_general_purpose_library(mine: int, others: int) -> None:
    expected = binomtest(mine, mine + others).proportion_ci(0.9, method="exact")
    assert share_of_failures(mine, others) == pytest.approx((expected.low, expected.high), abs=1e-9)
