"""Waits without a law, against waits whose law is known."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from core.arrays import Numbers
from core.statistics.hazard import AGES, PRIOR, Hazard, lasted, step_of

AGE = np.array([0.0, 0.05, 0.3, 0.75, 2.5, 7.0, 20.0])
STEPS = len(AGES) - 1
UNEVEN = Hazard(tuple(np.linspace(3.0, 0.2, STEPS)))
SEEDS = pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])


def told(waits: Numbers, until: float = np.inf, since: float = 0.0) -> tuple[Numbers, Numbers]:
    """Ends and hours by age of waits that are watched from an age `since` on, and no longer than `until`."""
    waits = waits[waits > since]
    ended = np.bincount(step_of(waits[waits <= until]), minlength=STEPS).astype(float)
    return ended, lasted(np.full(len(waits), since), np.minimum(waits, until)).sum(axis=0)


# Closed forms


@pytest.mark.parametrize("mean", [0.05, 1.7, 40.0])
def test_a_steady_chance_is_the_exponential_law(mean: float) -> None:
    # scipy.stats.expon is the independent reference.
    steady = Hazard.steady(mean)
    assert np.exp(-steady.gathered(AGE)) == pytest.approx(stats.expon.sf(AGE, scale=mean))
    assert steady.rate(AGE) == pytest.approx(np.full(len(AGE), 1 / mean))
    share = np.array([0.0, 0.1, 0.5, 0.9, 0.999])
    assert steady.age(-np.log1p(-share)) == pytest.approx(stats.expon.ppf(share, scale=mean))


@pytest.mark.parametrize("hazard", [UNEVEN, Hazard(UNEVEN.rates[::-1]), Hazard.steady(0.3)])
def test_age_and_gathered_hazard_undo_each_other(hazard: Hazard) -> None:
    ages = np.concatenate([AGE, AGES[:-1]])
    assert hazard.age(hazard.gathered(ages)) == pytest.approx(ages)
    gathered = np.linspace(0.0, 30.0, 61)
    assert hazard.gathered(hazard.age(gathered)) == pytest.approx(gathered)


def test_the_gathered_hazard_grows_by_the_chance_an_hour() -> None:
    brief = 1e-6
    grown = (UNEVEN.gathered(AGE + brief) - UNEVEN.gathered(AGE)) / brief
    assert grown == pytest.approx(UNEVEN.rate(AGE), rel=1e-6)


def test_an_age_between_two_steps_belongs_to_the_later_one() -> None:
    assert step_of(AGES[:-1]).tolist() == list(range(STEPS))
    assert step_of(np.nextafter(AGES[1:], 0)).tolist() == list(range(STEPS))
    assert step_of(np.array([AGES[-1], 2 * AGES[-1]])).tolist() == [STEPS - 1] * 2


def test_waits_drawn_by_age_follow_the_law() -> None:
    share = (np.arange(20_000) + 0.5) / 20_000
    waits = np.sort(UNEVEN.age(-np.log1p(-share)))
    assert np.mean(waits[:, None] > AGE, axis=0) == pytest.approx(np.exp(-UNEVEN.gathered(AGE)), abs=1 / 20_000)


# Learned from waits


def chances(law: stats.rv_continuous, *shape: float, scale: float) -> Numbers:
    """The chance an hour of each step: those who outlast its begin but not its end, by the hours they wait in it."""
    frozen = law(*shape, scale=scale)
    hours = [quad(frozen.sf, *step)[0] for step in pairwise(AGES[:-1])]
    return -np.diff(frozen.sf(AGES[:-1])) / hours


def assert_known(learned: Hazard, true: Numbers, ended: Numbers) -> None:
    """A count of n is known to its square root (Poisson): four of these either way."""
    seen = ended[: len(true)] >= 100
    assert seen.sum() >= 3
    off = np.array(learned.rates)[: len(true)][seen] / true[seen] - 1
    assert (np.abs(off) < 4 / np.sqrt(ended[: len(true)][seen])).all()


@SEEDS
@pytest.mark.parametrize(("until", "since"), [(np.inf, 0.0), (0.9, 0.0), (np.inf, 0.2)])
def test_the_chance_of_exponential_waits_is_found_at_every_age(seed: int, until: float, since: float) -> None:
    ended, waited = told(np.random.default_rng(seed).exponential(0.8, 20_000), until, since)
    assert_known(Hazard.fitted(ended, waited), np.full(STEPS, 1 / 0.8), ended)


@SEEDS
@pytest.mark.parametrize("shape", [0.7, 1.6])
def test_the_chance_of_weibull_waits_is_found_at_every_age(seed: int, shape: float) -> None:
    # scipy.stats.weibull_min is the independent reference.
    ended, waited = told(np.random.default_rng(seed).weibull(shape, 20_000) * 1.2)
    assert_known(Hazard.fitted(ended, waited), chances(stats.weibull_min, shape, scale=1.2), ended)


@SEEDS
def test_a_chance_that_truly_rises_is_found_by_a_rising_law(seed: int) -> None:
    ended, waited = told(np.random.default_rng(seed).weibull(1.6, 20_000) * 1.2)
    assert_known(Hazard.rising(ended, waited), chances(stats.weibull_min, 1.6, scale=1.2), ended)


def test_an_age_at_which_nobody_waited_has_the_chance_of_all_ages() -> None:
    ended, waited = np.zeros(STEPS), np.zeros(STEPS)
    ended[3], waited[3] = 4000.0, 2000.0
    rates = np.array(Hazard.fitted(ended, waited).rates)
    assert rates == pytest.approx(np.full(STEPS, 2.0), rel=1e-3)


def test_one_end_alone_moves_a_chance_less_than_many() -> None:
    # Of a thousand hours that ended twice an hour, the last step has the same share of ends, but fewer.
    ended, waited = np.zeros(STEPS), np.zeros(STEPS)
    ended[0], waited[0] = 2000.0, 1000.0
    for ends, least, most in ((1.0, 2.0, 3.0), (400.0, 5.0, 6.0)):
        ended[-1], waited[-1] = ends, ends / 6
        assert least < Hazard.fitted(ended, waited).rates[-1] < most


def counts(most: float) -> st.SearchStrategy[Numbers]:
    return st.lists(st.floats(0, most), min_size=STEPS, max_size=STEPS).map(np.array)


@given(ended=counts(500), waited=counts(500))
def test_a_rising_law_never_falls(ended: Numbers, waited: Numbers) -> None:
    rates = np.array(Hazard.rising(ended, waited).rates)
    assert (np.diff(rates) >= -1e-12 * rates[1:]).all()
    assert (rates > 0).all()


@given(ended=counts(500), hours=st.floats(1, 500))
def test_a_rising_law_is_the_counted_one_where_that_rises_already(ended: Numbers, hours: float) -> None:
    # As many hours at every age, so that the ends alone order the chances.
    counted = np.sort(ended), np.full(STEPS, hours)
    assert Hazard.rising(*counted).rates == pytest.approx(Hazard.fitted(*counted).rates)


def test_where_the_chance_would_fall_both_ages_have_that_of_the_two_together() -> None:
    # Counts so large that what is believed before them (`PRIOR`) moves them by less than one in a thousand.
    waited = np.full(STEPS, 1e4 * PRIOR)
    ended = np.array([1, 2, 5, 3, 6, 7, 8, 9, 10, 11]) * 1e4 * PRIOR
    expected = [1, 2, 4, 4, 6, 7, 8, 9, 10, 11]
    assert Hazard.rising(ended, waited).rates == pytest.approx(expected, rel=1e-3)


# The life table


@given(
    edges=st.lists(
        st.tuples(st.floats(0, 1e5, allow_subnormal=False), st.floats(0, 1e5, allow_subnormal=False)),
        min_size=1,
        max_size=20,
    )
)
def test_hours_at_every_age_add_up_to_the_wait(edges: list[tuple[float, float]]) -> None:
    begins, ends = np.sort(np.array(edges), axis=1).T
    hours = lasted(begins, ends)
    assert hours.shape == (len(edges), STEPS)
    assert (hours >= 0).all()
    assert hours.sum(axis=1) == pytest.approx(ends - begins, abs=1e-9)


def test_a_wait_lasts_at_the_ages_it_went_through() -> None:
    hours = lasted(np.array([0.0, 0.3, 20.0]), np.array([0.4, 2.5, 21.0]))
    assert hours == pytest.approx(
        np.array([[0.1, 0.15, 0.15, *[0] * 7], [0, 0, 0.2, 0.5, 1, 0.5, *[0] * 4], [*[0] * 9, 1.0]])
    )
