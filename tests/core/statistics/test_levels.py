"""The level of a figure over some days: its range holds the true level as often as it says."""

from collections.abc import Callable

import numpy as np
import pytest

from core.estimate import Estimate
from core.statistics import levels

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
