"""How often to overhaul what wears: against all other hours there are, and by its laws."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.statistics.replacement import Costs, Weibull, minimal_repair

laws = st.builds(Weibull, st.floats(50, 5000), st.floats(1.2, 6))
costs = st.builds(Costs, st.floats(1, 20), st.floats(25, 500))


def cost_an_hour(law: Weibull, price: Costs, hours: float) -> float:
    """An overhaul every so many hours, and all the failures that a power law expects between two."""
    return (price.planned + price.failure * (hours / law.scale) ** law.shape) / hours


@given(laws, costs)
def test_no_other_hours_between_overhauls_cost_less(law: Weibull, price: Costs) -> None:
    hours = minimal_repair(law, price)
    others = [cost_an_hour(law, price, hours * by) for by in (0.5, 0.9, 0.99, 1.01, 1.1, 2)]
    assert cost_an_hour(law, price, hours) <= min(others)


@given(laws, costs, st.floats(1.1, 5))
def test_dearer_failures_are_prevented_sooner_and_the_currency_does_not_matter(
    law: Weibull, price: Costs, by: float
) -> None:
    hours = minimal_repair(law, price)
    assert minimal_repair(law, Costs(price.planned, price.failure * by)) < hours
    assert minimal_repair(law, Costs(price.planned * by, price.failure * by)) == pytest.approx(hours, rel=1e-6)


@pytest.mark.parametrize("shape", [0.7, 1.0])
def test_what_does_not_wear_is_never_overhauled(shape: float) -> None:
    assert minimal_repair(Weibull(1000, shape), Costs(1, 50)) == math.inf


@pytest.mark.parametrize("numbers", [(0.0, 1.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_numbers_must_be_above_0(numbers: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Weibull(*numbers)
    with pytest.raises(ValueError, match="above 0"):
        Costs(*numbers)
