"""Waits without a law, against waits whose law is known."""

import numpy as np
import pytest
from scipy import stats

from core.calc.hazard import AGES, Hazard, lasted, step_of

AGE = np.array([0.0, 0.05, 0.3, 0.75, 2.5, 7.0, 20.0])


def told(waits: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    ended = np.zeros(len(AGES) - 1)
    np.add.at(ended, step_of(waits), 1.0)
    return ended, lasted(np.zeros(len(waits)), waits).sum(axis=0)


def test_a_steady_chance_is_the_exponential_law() -> None:
    # scipy.stats.expon is the independent reference.
    steady = Hazard.steady(1.7)
    assert np.exp(-steady.gathered(AGE)) == pytest.approx(stats.expon.sf(AGE, scale=1.7))
    assert steady.rate(AGE) == pytest.approx(np.full(len(AGE), 1 / 1.7))


def test_age_and_gathered_hazard_undo_each_other() -> None:
    uneven = Hazard(tuple(np.linspace(0.2, 3.0, len(AGES) - 1)))
    assert uneven.age(uneven.gathered(AGE)) == pytest.approx(AGE)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_law_of_many_waits_is_found(seed: int) -> None:
    waits = np.random.default_rng(seed).weibull(1.6, 20_000) * 1.2
    learned = Hazard.rising(*told(waits))
    edges = AGES[1:6]
    # Of 20,000 waits a share is known to about one in a hundred.
    assert np.exp(-learned.gathered(edges)) == pytest.approx(stats.weibull_min.sf(edges, 1.6, scale=1.2), abs=0.01)


def test_a_rising_law_never_falls_and_is_the_counted_one_where_that_rises() -> None:
    waits = np.random.default_rng(4).exponential(0.5, 300)
    ended, waited = told(waits)
    rising, fitted = Hazard.rising(ended, waited), Hazard.fitted(ended, waited)
    assert (np.diff(rising.rates) >= 0).all()
    up = np.arange(1.0, len(AGES)) * 100
    assert Hazard.rising(up, np.full(len(up), 100.0)).rates == Hazard.fitted(up, np.full(len(up), 100.0)).rates
    assert min(fitted.rates) <= min(rising.rates)


def test_hours_at_every_age_add_up_to_the_wait() -> None:
    begin, end = np.array([0.0, 0.2, 3.0]), np.array([0.6, 9.0, 3.0])
    assert lasted(begin, end).sum(axis=1) == pytest.approx(end - begin)
