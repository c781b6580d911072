"""The level of a figure over some days: its range holds the true level as often as it says."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import chisquare, ttest_1samp
from scipy.stats import t as student

from core.estimate import Estimate
from core.statistics import levels
from core.statistics.ranges import poisson_range

Draw = Callable[[np.random.Generator], Estimate]


def _share(draw: np.random.Generator) -> Estimate:
    of = draw.integers(3, 12, 24)
    return levels.share(draw.binomial(of, 0.1).astype(float), of.astype(float))


def _clustered(draw: np.random.Generator) -> Estimate:
    """Days differ: their shares are beta with mean 0.1."""
    of = draw.integers(10, 30, 24)
    return levels.share(draw.binomial(of, draw.beta(1.0, 9.0, 24)).astype(float), of.astype(float))


def _rate(draw: np.random.Generator) -> Estimate:
    units = draw.uniform(20, 80, 24)
    return levels.rate(draw.poisson(0.1 * units).astype(float), units)


def _mean(draw: np.random.Generator) -> Estimate:
    return levels.mean(draw.normal(0.1, 3.0, 24))


@pytest.mark.parametrize("figure", [_share, _clustered, _rate, _mean])
def test_the_range_holds_the_true_level_nine_times_in_ten(figure: Draw) -> None:
    draw = np.random.default_rng(11)
    held = np.mean([found.low <= 0.1 <= found.high for found in (figure(draw) for _ in range(1000))])
    assert 0.86 <= held <= 0.97


def test_days_that_go_on_from_each_other_count_for_fewer() -> None:
    draw = np.random.default_rng(2)
    slow = np.cumsum(draw.normal(size=24))
    alone, held = levels.mean(draw.permutation(slow)), levels.mean(slow)
    assert held.high - held.low > alone.high - alone.low


def test_counts_that_vary_more_than_chance_have_a_wider_range() -> None:
    even, lumpy = np.full(10, 4.0), np.array([0.0, 0, 20, 0, 0, 0, 0, 20, 0, 0])
    units = np.full(10, 50.0)
    widths = [(found := levels.rate(counts, units)).high - found.low for counts in (even, lumpy)]
    assert widths[1] > 2 * widths[0]


def test_values_that_do_not_go_on_have_students_range() -> None:
    values = np.array([4.0, 9.0, 3.0, 8.0, 5.0, 7.0])
    expected = ttest_1samp(values, 0.0).confidence_interval(0.9)
    found = levels.mean(values)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high))


def test_values_that_go_on_count_for_as_few_as_their_correlation_leaves() -> None:
    # n (1 - r) / (1 + r) of them (Bayley and Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184-197, for a first-order
    # process, from memory); here r = 1/4, so the four tell as much as 2.4.
    found = levels.mean(np.array([0.0, 0.0, 1.0, 1.0]))
    assert found.high - found.best == pytest.approx(student.ppf(0.95, 1.4) * np.sqrt(1 / 3 / 2.4))


def test_a_rate_is_in_doubt_by_pearsons_chi_square_by_its_degrees() -> None:
    counts = np.array([2.0, 6.0, 4.0, 12.0])
    found, plain = levels.rate(counts, np.full(4, 50.0)), poisson_range(24)
    wider = np.sqrt(chisquare(counts).statistic / 3)
    assert found.high * 200 == pytest.approx(24 + wider * (plain.high - 24))
    assert found.low * 200 == pytest.approx(24 - wider * (24 - plain.low))
