"""The likeliest distribution of times that were only found at the next look."""

import math
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from core.errors import Refused
from core.statistics.turnbull import Masses, turnbull

#: Few different ends, so that they meet; about one time in four is exact or without an end.
TIMES = st.integers(0, 9)
INTERVALS = st.tuples(TIMES, TIMES).map(lambda ends: (float(min(ends)), float(max(ends))))
ENDLESS = TIMES.map(lambda left: (float(left), math.inf))
SEEN = st.lists(INTERVALS | INTERVALS | ENDLESS, min_size=1, max_size=25)


def of(seen: list[tuple[float, float]]) -> Masses:
    return turnbull([left for left, _ in seen], [right for _, right in seen])


def inside(masses: Masses, left: float, right: float) -> np.ndarray:
    """Which innermost intervals lie in (left, right], or at the one moment that both ends are."""
    later = masses.left == left if left == right else (masses.left > left) | (masses.left == left) & ~exact(masses)
    return later & (masses.right <= right)


def exact(masses: Masses) -> np.ndarray:
    return masses.left == masses.right


def log_likelihood(masses: Masses, mass: np.ndarray, seen: list[tuple[float, float]]) -> float:
    return sum(math.log(mass[inside(masses, left, right)].sum()) for left, right in seen)


@given(SEEN)
def test_masses_are_a_distribution_on_intervals_in_order(seen: list[tuple[float, float]]) -> None:
    found = of(seen)
    assert found.mass.sum() == pytest.approx(1, abs=1e-12)
    assert (found.mass > 0).all()
    assert (found.left <= found.right).all()
    assert (found.right[:-1] <= found.left[1:]).all()


@given(SEEN, st.randoms(use_true_random=False))
def test_the_order_in_which_they_were_seen_does_not_matter(seen: list[tuple[float, float]], chance: Random) -> None:
    shuffled = list(seen)
    chance.shuffle(shuffled)
    one, other = of(seen), of(shuffled)
    assert (one.left == other.left).all()
    assert (one.right == other.right).all()
    assert (one.mass == other.mass).all()


@given(SEEN)
def test_seen_twice_as_often_it_is_as_likely(seen: list[tuple[float, float]]) -> None:
    once, twice = of(seen), of(seen * 2)
    assert once.left.tolist() == twice.left.tolist()
    assert once.mass == pytest.approx(twice.mass)


@given(SEEN)
def test_every_mass_is_the_mean_of_what_each_interval_gives_it(seen: list[tuple[float, float]]) -> None:
    # Turnbull's self-consistency: an interval gives its share to the masses in it, in proportion to them.
    found = of(seen)
    given_by = [np.where(inside(found, *ends), found.mass, 0.0) for ends in seen]
    mean = np.mean([each / each.sum() for each in given_by], axis=0)
    assert mean == pytest.approx(found.mass, abs=1e-7)


@given(SEEN, st.integers(0, 2**32 - 1))
def test_no_other_distribution_is_likelier(seen: list[tuple[float, float]], seed: int) -> None:
    found = of(seen)
    best = log_likelihood(found, found.mass, seen)
    chance = np.random.default_rng(seed)
    for other in chance.dirichlet(np.ones(len(found.mass)), 20):
        for near in (other, 0.99 * found.mass + 0.01 * other):
            assert log_likelihood(found, near, seen) <= best + 1e-8


@given(SEEN)
def test_mass_anywhere_else_would_not_be_likelier(seen: list[tuple[float, float]]) -> None:
    # The likelihood rises towards a moment if the intervals that hold it are less likely than so many on average.
    found = of(seen)
    chances = [found.mass[inside(found, *ends)].sum() for ends in seen]
    for moment in np.arange(0, 11, 0.5):
        holds = [left < moment <= right or left == moment == right for left, right in seen]
        pull = sum(held / chance for held, chance in zip(holds, chances, strict=True)) / len(seen)
        assert pull <= 1 + 1e-6


@given(st.lists(TIMES, min_size=1, max_size=40))
def test_exact_times_give_their_empirical_distribution(times: list[int]) -> None:
    values, counts = np.unique(times, return_counts=True)
    found = turnbull(times, times)
    assert (found.left == values).all()
    assert (found.right == values).all()
    assert found.mass == pytest.approx(counts / len(times), abs=1e-9)


@given(st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=40))
def test_exact_and_endless_times_give_the_product_limit(times: list[tuple[int, bool]]) -> None:
    # scipy.stats.ecdf of right-censored data (Kaplan and Meier) is the independent reference.
    value, censored = np.array([time for time, _ in times], float), np.array([late for _, late in times])
    found = turnbull(value, np.where(censored, np.inf, value))
    reference = stats.ecdf(stats.CensoredData.right_censored(value, censored)).cdf
    happened = np.array([found.mass[found.right <= moment].sum() for moment in reference.quantiles])
    assert happened == pytest.approx(reference.probabilities, abs=1e-8)


def test_a_known_time_is_inside_an_interval_that_ends_then_and_not_in_one_that_begins_then() -> None:
    assert turnbull([1, 0], [1, 1]).mass.tolist() == [1]
    apart = turnbull([1, 1], [1, 2])
    assert (apart.left.tolist(), apart.right.tolist()) == ([1, 1], [1, 2])
    assert apart.mass == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize("seed", range(4))
def test_many_intervals_come_to_the_maximum_too(seed: int) -> None:
    chance = np.random.default_rng(seed)
    ends = np.sort(chance.random((2000, 2)), axis=1).T
    ends[1, chance.random(2000) < 0.2] = np.inf
    ends[1, :200] = ends[0, :200]
    found = turnbull(*ends)
    chances = np.array([found.mass[inside(found, *pair)].sum() for pair in ends.T])
    distinct = np.unique(ends)
    moments = np.concatenate([ends[0, :200], distinct[:-2] + np.diff(distinct[:-1]) / 2, [2.0]])
    holds = (ends[0] < moments[:, None]) & (moments[:, None] <= ends[1])
    holds |= (ends[0] == moments[:, None]) & (moments[:, None] == ends[1])
    assert (holds / chances).mean(axis=1).max() <= 1 + 1e-6


# Quantiles


def test_a_mass_is_spread_evenly_over_its_interval() -> None:
    masses = Masses(np.array([0.0, 2.0, 3.0]), np.array([1.0, 2.0, 7.0]), np.array([0.5, 0.25, 0.25]))
    shares = [0, 0.25, 0.5, 0.6, 0.75, 0.875, 1]
    assert masses.quantile(shares) == pytest.approx([0, 0.5, 1, 2, 2, 5, 7])


@given(SEEN)
def test_quantiles_rise_and_stay_inside_the_intervals(seen: list[tuple[float, float]]) -> None:
    found = of(seen)
    drawn = found.quantile(np.linspace(0, 1, 101))
    assert (drawn[:-1] <= drawn[1:]).all()
    for time in drawn:
        assert ((found.left <= time) & (time <= found.right)).any()


def test_a_share_that_falls_beyond_the_last_look_has_no_time() -> None:
    found = turnbull([0, 4], [2, np.inf])
    assert found.quantile([0.25, 0.5, 0.51, 1]).tolist() == [1, 2, math.inf, math.inf]
    assert turnbull([4], [np.inf]).quantile([0, 0.5]).tolist() == [math.inf, math.inf]


def test_quantiles_keep_the_shape_they_are_asked_in() -> None:
    found = turnbull([0, 4], [2, 6])
    assert found.quantile(0.75).shape == ()
    assert float(found.quantile(0.75)) == 5
    assert found.quantile(np.full((3, 2), 0.25)).tolist() == [[1, 1]] * 3


# What cannot be taken


def test_no_intervals_are_no_masses_and_have_no_quantile() -> None:
    nothing = turnbull([], [])
    assert nothing.left.size == nothing.right.size == nothing.mass.size == 0
    with pytest.raises(Refused, match="no quantile") as refused:
        nothing.quantile(0.5)
    assert refused.value.rule == "no_times"


@pytest.mark.parametrize(
    ("left", "right"),
    [(3, 2), (math.nan, 2), (1, math.nan), (math.inf, math.inf), (-math.inf, 2), (1, -math.inf)],
)
def test_ends_that_are_no_interval_are_refused_with_their_place(left: float, right: float) -> None:
    with pytest.raises(Refused) as refused:
        turnbull([0, left, 5], [1, right, 4])
    assert refused.value.rule == "no_interval"
    assert f"({float(left)}, {float(right)}] in place 1 " in refused.value.sentence


@pytest.mark.parametrize(("left", "right"), [([1], [2, 3]), ([1, 2], 3), ([[1]], [[2]]), (1, 2)])
def test_uneven_lists_are_refused(left: object, right: object) -> None:
    with pytest.raises(Refused) as refused:
        turnbull(left, right)
    assert refused.value.rule == "uneven"


@pytest.mark.parametrize("share", [-0.1, 1.1, math.nan])
def test_what_is_no_share_is_refused(share: float) -> None:
    with pytest.raises(Refused, match=f"{share} is no share") as refused:
        turnbull([0], [1]).quantile([0.5, share])
    assert refused.value.rule == "not_a_share"
