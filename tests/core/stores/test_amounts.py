import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gamma, nbinom, poisson

from core.stores.amounts import CELLS, chance_short, law, least_stock, together

Numbers = npt.NDArray[np.float64]
NAN = float("nan")
CELL = np.arange(CELLS)


def one(mean: float, sd: float, step: float = 1.0, pieces: bool = False) -> Numbers:
    """The law of one item."""
    return law(*(np.array([number]) for number in (mean, sd, step)), np.array([pieces]))


def test_the_chance_of_running_out_is_that_of_more_use_than_there_is() -> None:
    assert chance_short(np.array([2.0]), np.array([1.5]), np.sqrt([3.0])) == pytest.approx(nbinom.sf(2, 1.5, 0.5))
    assert chance_short(np.array([0.0, -1.0]), np.array([0.0, 0.0]), np.zeros(2)).tolist() == [0, 1]
    assert np.isnan(chance_short(np.array([3.0]), np.array([NAN]), np.array([NAN]))).all()


@given(st.floats(0.01, 19), st.floats(0.5, 6))
def test_pieces_have_the_chances_of_their_law(mean: float, cluster: float) -> None:
    sd = float(np.sqrt(cluster * mean))
    beyond = 1 - np.cumsum(one(mean, sd, pieces=True)[0])
    assert beyond[:-1] == pytest.approx(chance_short(CELL[:-1], np.array(mean), np.array(sd)), abs=1e-9)


def test_pieces_are_poisson_or_clustered() -> None:
    assert one(3.0, 3.0**0.5, pieces=True)[0] == pytest.approx(poisson.pmf(CELL, 3.0), abs=1e-12)
    assert one(3.0, 3.0, pieces=True)[0] == pytest.approx(nbinom.pmf(CELL, 1.5, 1 / 3), abs=1e-12)


@given(st.floats(0.01, 100), st.floats(0.0, 1.0), st.floats(0.5, 8))
def test_what_is_measured_keeps_its_mean_on_any_grid(mean: float, apart: float, step: float) -> None:
    found = one(mean * step, apart * mean * step, step)[0]
    assert found.min() >= 0
    assert found.sum() == pytest.approx(1)
    if apart * mean < 20:
        assert (CELL * found).sum() == pytest.approx(mean, rel=1e-3)


def test_what_is_measured_is_gamma() -> None:
    found = np.cumsum(one(800.0, 240.0, 10.0)[0])
    assert found == pytest.approx(gamma.cdf((CELL + 0.5) * 10, 800**2 / 240**2, scale=240**2 / 800), abs=2e-3)


def test_means_and_variances_add() -> None:
    both = together(one(30.0, 5.0), one(40.0, 12.0))[0]
    cells = np.arange(2 * CELLS)
    mean = (cells * both).sum()
    assert mean == pytest.approx(70)
    # What is shared out between two cells adds at most a quarter.
    assert 169 <= ((cells - mean) ** 2 * both).sum() <= 169.5


@given(st.floats(0.05, 19), st.floats(1, 6), st.floats(0.5, 0.995))
def test_the_least_stock_leaves_no_more_than_the_chance_allowed(mean: float, cluster: float, service: float) -> None:
    found = one(mean, float(np.sqrt(cluster * mean)), pieces=True)
    least = int(least_stock(found, np.ones(1), np.array([service]))[0])
    assert found[0, : least + 1].sum() >= service - 2e-9
    assert found[0, :least].sum() < service


@given(st.floats(20, 5000), st.floats(0.05, 0.8), st.floats(0.5, 0.98))
def test_the_least_stock_of_what_is_measured_is_that_of_a_gamma_law(mean: float, apart: float, service: float) -> None:
    step = np.array([max(mean * (1 + 5 * apart) / CELLS, 1.0)])
    least = least_stock(one(mean, apart * mean, float(step[0])), step, np.array([service]))
    assert least == pytest.approx(gamma.ppf(service, apart**-2, scale=mean * apart**2), abs=1 + 0.3 * step[0])
