"""Scores of a steady figure are standard normal, whatever its level; each is the exact chance given the past."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import binom, hypergeom, norm, ttest_ind

from core.statistics import scores

RNG = np.random.default_rng(20)
ALL = np.ones(60)


def _normal(draw: np.random.Generator) -> np.ndarray:  # type: ignore[type-arg]
    return scores.individuals(draw.normal(draw.uniform(-5, 50), draw.uniform(0.1, 9), 60), ALL)


def _shares(draw: np.random.Generator) -> np.ndarray:  # type: ignore[type-arg]
    of = draw.integers(5, 40, 60)
    return scores.shares(draw.binomial(of, draw.uniform(0.05, 0.5)).astype(float), of.astype(float), ALL)


def _rates(draw: np.random.Generator) -> np.ndarray:  # type: ignore[type-arg]
    units = draw.uniform(5, 60, 60)
    return scores.rates(draw.poisson(units * draw.uniform(0.05, 0.3)).astype(float), units, ALL)


def _waits(draw: np.random.Generator) -> np.ndarray:  # type: ignore[type-arg]
    return scores.waits(draw.exponential(draw.uniform(1, 900), 60), ALL)


def _gaps(draw: np.random.Generator) -> np.ndarray:  # type: ignore[type-arg]
    return scores.gaps((draw.geometric(draw.uniform(0.02, 0.2), 60) - 1).astype(float), ALL)


@pytest.mark.parametrize("figure", [_normal, _shares, _rates, _waits, _gaps])
def test_the_scores_of_a_steady_figure_are_independent_and_no_wider_than_standard_normal(figure) -> None:
    z = np.array([figure(RNG) for _ in range(400)])[:, 3:]
    z = z[~np.isnan(z).any(axis=1)]
    count = z.size
    assert abs(z.mean()) < 0.06
    assert z.std() < 1 + 4 / np.sqrt(2 * count)
    assert (np.abs(z) > 3).mean() < 0.0027 + 4 * np.sqrt(0.0027 / count)
    assert abs(np.mean(z[:, 1:] * z[:, :-1])) < 4 / np.sqrt(count)


def test_a_single_value_is_judged_by_students_test_against_those_before() -> None:
    values = np.array([3.0, 5.0, 4.0, 9.0])
    z = scores.individuals(values, np.ones(4))
    assert np.isnan(z[:2]).all()
    p = ttest_ind(values[3:], values[:3], alternative="less").pvalue
    assert z[3] == pytest.approx(norm.ppf(p))


def test_a_share_is_judged_by_fishers_exact_chance_with_half_of_its_own() -> None:
    z = scores.shares(np.array([2.0, 4.0]), np.array([20.0, 10.0]), np.ones(2))
    law = hypergeom(30, 6, 10)
    assert z[1] == pytest.approx(norm.ppf(law.cdf(3) + law.pmf(4) / 2))


def test_a_rate_is_judged_by_the_binomial_of_its_part_in_all() -> None:
    z = scores.rates(np.array([3.0, 5.0]), np.array([30.0, 10.0]), np.ones(2))
    law = binom(8, 0.25)
    assert z[1] == pytest.approx(norm.ppf(law.cdf(4) + law.pmf(5) / 2))


def test_a_gap_is_judged_by_all_ways_to_share_out_the_good_ones() -> None:
    counts = np.array([4.0, 1.0, 2.0])
    z = scores.gaps(counts, np.ones(3))
    ways = [way for way in product(range(8), repeat=3) if sum(way) == 7]
    below = sum(way[2] < 2 for way in ways) / len(ways)
    same = sum(way[2] == 2 for way in ways) / len(ways)
    assert z[2] == pytest.approx(-norm.ppf(below + same / 2))


def test_what_comes_often_scores_above_nothing_whatever_is_counted() -> None:
    assert scores.waits(np.array([50.0, 60.0, 1.0]), np.ones(3))[2] > 1
    assert scores.gaps(np.array([50.0, 60.0, 0.0]), np.ones(3))[2] > 1
    assert scores.rates(np.array([1.0, 1.0, 9.0]), np.full(3, 10.0), np.ones(3))[2] > 1


def test_what_is_no_past_changes_nothing() -> None:
    values = np.array([3.0, 5.0, 4.0, 900.0, 6.0])
    past = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
    without = scores.individuals(np.delete(values, 3), np.ones(4))
    assert scores.individuals(values, past)[4] == pytest.approx(without[3])


def test_nothing_is_said_where_nothing_came_before() -> None:
    assert np.isnan(scores.individuals(np.full(5, 2.0), np.ones(5))).all()
    assert np.isnan(scores.shares(np.zeros(3), np.full(3, 9.0), np.ones(3))).all()
    assert np.isnan(scores.shares(np.array([1.0, 0.0]), np.array([5.0, 0.0]), np.ones(2))[1])
