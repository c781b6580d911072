"""Rates of rare events, against printed limits and a general-purpose library."""

import pytest
from scipy.stats import poisson

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
