import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gamma, poisson

from core.stores.amounts import CELLS
from core.stores.undershoot import undershoot, visits

Numbers = npt.NDArray[np.float64]
CELL = np.arange(CELLS)


def steady(cells: int) -> Numbers:
    """Exactly so much every time."""
    return (cells == CELL)[None].astype(float)


def below(use: Numbers, lot: int, pack: int = 1, single: bool = True) -> Numbers:
    """The law of one item."""
    return undershoot(use, np.array([lot]), np.array([pack]), np.array([single]))[0]


@pytest.mark.parametrize(("lot", "left"), [(6, 0), (7, 2), (8, 1), (9, 0), (1, 2)])
def test_steady_use_is_seen_at_the_first_review_at_min_or_below(lot: int, left: int) -> None:
    assert below(steady(3), lot)[left] == pytest.approx(1)


def test_what_lies_anywhere_in_the_cell_of_min_is_below_it_half_of_the_times() -> None:
    found = below(steady(3), 6, single=False)
    assert found[[0, 3]] == pytest.approx([0.5, 0.5])


def test_a_lot_a_little_longer_than_whole_reviews_is_seen_late() -> None:
    use = poisson.pmf(CELL, 70)[None]
    mean = {lot: float((CELL * below(use, lot)).sum()) for lot in (60, 80, 130, 150)}
    assert mean[80] > mean[60] + 20
    assert mean[150] > mean[130] + 15


def test_units_used_one_by_one_pass_min_by_nothing() -> None:
    assert below(poisson.pmf(CELL, 1e-4)[None], 12)[0] == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("cluster", [8.0, 20.0])
def test_clusters_pass_min_by_what_renewals_leave(cluster: float) -> None:
    # The excess of a renewal process has the mean E2 / 2 E1 and the second moment E3 / 3 E1 (Cox, Renewal Theory,
    # 1962, chapter 5, from memory); use comes in gamma clusters, now and then one.
    size = np.diff(gamma.cdf(np.arange(CELLS + 1) - 0.5, 2, scale=cluster / 2))
    use = 0.01 * size + 0.99 * (CELL == 0)
    first, second, third = ((CELL**n * size).sum() for n in (1, 2, 3))
    found = below(use[None] / use.sum(), 200, single=False)
    assert (CELL * found).sum() == pytest.approx(second / (2 * first), rel=0.01)
    assert (CELL**2 * found).sum() == pytest.approx(third / (3 * first), rel=0.01)


@given(st.integers(1, 60), st.floats(2, 40), st.floats(0.1, 1.0))
def test_the_position_of_a_lot_of_one_pack_is_anywhere_between_min_and_max(lot: int, mean: float, apart: float) -> None:
    # After a review it is at each unit alike (Hadley and Whitin, Analysis of Inventory Systems, 1963, chapter 5, from
    # memory): so it passes min by u as often as more than u, but no more than u + lot, is used.
    use = np.diff(gamma.cdf(np.arange(CELLS + 1) - 0.5, apart**-2, scale=mean * apart**2))
    use[-1] += 1 - use.sum()
    expected = np.array([use[u + 1 : u + 1 + lot].sum() for u in CELL])
    assert np.cumsum(below(use[None], lot, lot)) == pytest.approx(np.cumsum(expected / expected.sum()), abs=0.02)


def stationary(use: Numbers, lot: int, pack: int) -> Numbers:
    """What is below min when it is ordered, from the chain of positions above min from review to review."""
    chain, passing = np.zeros((lot, lot)), np.zeros((lot, CELLS))
    for height in range(1, lot + 1):
        for used, chance in enumerate(use):
            if used < height:
                chain[height - 1, height - used - 1] += chance
            else:
                passing[height - 1, used - height] += chance
                chain[height - 1, lot - (used - height) % pack - 1] += chance
    where = np.linalg.matrix_power(0.5 * (chain + np.eye(lot)), 4096)[0]
    found = where @ passing
    return np.asarray(found / found.sum())


@pytest.mark.parametrize(("lot", "pack"), [(24, 1), (24, 4), (24, 8), (24, 24), (40, 20), (7, 7), (5, 1)])
@pytest.mark.parametrize(("mean", "apart"), [(8.0, 0.15), (8.0, 0.5), (12.0, 0.1), (3.0, 1.0), (30.0, 0.3)])
def test_it_is_what_the_chain_of_positions_comes_to(lot: int, pack: int, mean: float, apart: float) -> None:
    use = np.diff(gamma.cdf(np.arange(CELLS + 1) - 0.5, apart**-2, scale=mean * apart**2))
    expected = stationary(use, lot, pack)
    assert np.cumsum(below(use[None], lot, pack)) == pytest.approx(np.cumsum(expected), abs=0.02)


def test_an_item_alone_gives_the_same_as_among_others() -> None:
    use = poisson.pmf(CELL, np.array([[3.0], [40.0], [0.2]]))
    lots, packs = np.array([9, 120, 4]), np.array([3, 40, 1])
    among = undershoot(use, lots, packs, np.ones(3, bool))
    for item in range(3):
        assert among[item] == pytest.approx(below(use[[item]], int(lots[item]), int(packs[item])), abs=1e-12)


def test_reviews_that_find_so_much_used_are_those_of_a_renewal_series() -> None:
    use = poisson.pmf(CELL, 2.5)
    series = [1 / (1 - use[0])]
    for cell in range(1, CELLS):
        series.append(sum(use[i] * series[cell - i] for i in range(1, cell + 1)) / (1 - use[0]))
    assert visits(use[None])[0] == pytest.approx(series, rel=1e-6)
