"""Levels of stock, against printed examples.

A general-purpose library gives (40, 74) for Snyder and Shen's example 4.8 where the published rule gives (40, 57): its
power approximation leaves a case out. The product uses no such approximation, so none is checked here.
"""

import numpy as np
import pytest
from scipy.stats import poisson

from core.stores.amounts import CELLS, chance_short, law, least_stock
from core.stores.stocking import eoq
from core.stores.undershoot import visits

# Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019): the numbers as stockpyl 1.0.2 ships them.


@pytest.mark.parametrize(
    ("order_cost", "holding", "rate", "printed"),
    [(8, 0.225, 1300, 304.046780), (2250, 275, 182500, 1728.109845)],
    ids=["example 3.1", "problem 3.1"],
)
def test_the_cheapest_order(order_cost: float, holding: float, rate: float, printed: float) -> None:
    assert eoq(np.array(order_cost), np.array(holding), np.array(rate)) == pytest.approx(printed, abs=1e-6)


def test_the_least_stock_of_a_poisson_law() -> None:
    # Problem 4.8 (a): mean 18, holding 200 and shortage 270, so a service of 270 / 470.
    use = law(np.array([18.0]), np.sqrt([18.0]), np.ones(1), np.array([True]))
    assert least_stock(use, np.ones(1), np.array([270 / 470])).tolist() == [19]


@pytest.mark.parametrize(
    ("mean", "sd", "service", "printed"),
    [(50, 8, 0.7 / 0.88, 56.603956), (900, 60, 79 / 122, 922.721404), (100, 8 * 5**0.5, 0.7 / 0.88, 114.766894)],
    ids=["example 4.1", "problem 4.1", "example 4.4, of five periods less 150"],
)
def test_the_gamma_law_is_near_the_normal_one_of_the_examples(
    mean: float, sd: float, service: float, printed: float
) -> None:
    # The examples take demand to be normal. Gamma demand of such steadiness differs little: 2 % of the mean.
    step = np.array([mean / 100])
    use = law(np.array([mean]), np.array([sd]), step, np.array([False]))
    assert least_stock(use, step, np.array([service]))[0] == pytest.approx(printed, abs=0.02 * mean)


# Sherbrooke, Optimal Inventory Modeling of Systems, 2nd ed. (2004), table of expected backorders for mean 1, from
# memory, the chances recomputed: stock, mean, chance that all of it is out or less, and the same less the last.
POISSON = [
    (1, 0.5, 0.90980, 0.60653), (2, 0.5, 0.98561, 0.90980), (1, 1, 0.73576, 0.36788), (2, 1, 0.91970, 0.73576),
    (3, 1, 0.98101, 0.91970), (4, 1, 0.99634, 0.98101), (3, 2, 0.85712, 0.67668), (5, 2, 0.98344, 0.94735),
    (5, 3, 0.91608, 0.81526), (7, 3, 0.98810, 0.96649),
]  # fmt: skip


@pytest.mark.parametrize(("stock", "mean", "in_stock", "ready"), POISSON)
def test_single_pieces_run_out_as_often_as_printed(stock: int, mean: float, in_stock: float, ready: float) -> None:
    found = chance_short(np.array([stock, stock - 1.0]), np.array(mean), np.sqrt(mean))
    assert found == pytest.approx([1 - in_stock, 1 - ready], abs=5e-6)


@pytest.mark.parametrize(("stock", "mean", "in_stock", "ready"), POISSON)
def test_the_least_stock_is_the_one_that_serves_and_no_more(
    stock: int, mean: float, in_stock: float, ready: float
) -> None:
    wanted = np.array([in_stock - 1e-4, in_stock + 1e-4, ready + 1e-4])
    use = law(np.full(3, float(mean)), np.sqrt(np.full(3, mean)), np.ones(3), np.ones(3, bool))
    assert least_stock(use, np.ones(3), wanted).tolist() == [stock, stock + 1, stock]


@pytest.mark.parametrize(
    ("costs", "mean", "low", "high", "printed"),
    [((1, 4, 5), 6, 4, 10, 8.034112), ((40, 125, 150), 4, 2, 7, 223.574830)],
    ids=["example 4.7", "problem 4.31"],
)
def test_what_min_and_max_cost_by_the_reviews_at_each_position(
    costs: tuple[float, float, float], mean: float, low: int, high: int, printed: float
) -> None:
    # Poisson use: of the reviews from one order to the next so many find each position between min and max.
    holding, shortage, order = costs
    use, chance = np.arange(CELLS), poisson.pmf(np.arange(CELLS), mean)
    seen = visits(chance[None])[0, : high - low]
    left = np.arange(high, low, -1)[:, None] - use
    each = (holding * np.maximum(left, 0) + shortage * np.maximum(-left, 0)) @ chance
    assert (order + seen @ each) / seen.sum() == pytest.approx(printed, abs=5e-7)
