"""When to replace a part that wears: against integrals, grids and laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from core.statistics.replacement import Costs, Weibull, age_cost, age_replacement, fitted, minimal_repair, repair_cost

laws = st.builds(Weibull, st.floats(50, 5000), st.floats(1.2, 6))
costs = st.builds(Costs, st.floats(1, 20), st.floats(25, 500))

# The law


@given(laws, st.floats(0.1, 2))
def test_the_hours_a_part_serves_are_the_area_under_its_survival(law: Weibull, share: float) -> None:
    age = share * law.scale
    area = quad(lambda at: math.exp(-((at / law.scale) ** law.shape)), 0, age)[0]
    assert law.served(age) == pytest.approx(area, rel=1e-6)
    assert law.failed(age) == pytest.approx(1 - math.exp(-(share**law.shape)))


def test_parts_that_do_not_wear_serve_their_scale_at_a_steady_hazard() -> None:
    law = Weibull(400, 1)
    assert law.mean == pytest.approx(400)
    assert law.hazard(1) == law.hazard(900) == pytest.approx(1 / 400)


# The fit


def drawn(law: Weibull, parts: int, until: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    ages = law.scale * np.random.default_rng(seed).weibull(law.shape, parts)
    return np.minimum(ages, until), ages <= until


def test_a_law_is_found_again() -> None:
    found = fitted(*drawn(Weibull(900, 2.5), 4000, 1000, 1))
    assert found.law.scale == pytest.approx(900, rel=0.03)
    assert found.law.shape == pytest.approx(2.5, rel=0.05)
    assert found.wears


def test_the_range_of_the_shape_holds_it_about_nine_times_in_ten() -> None:
    ranges = [fitted(*drawn(Weibull(500, 1.5), 30, 600, seed)).shape for seed in range(300)]
    assert 0.85 <= np.mean([one.low <= 1.5 <= one.high for one in ranges]) <= 0.95


def test_parts_that_fail_at_random_do_not_wear() -> None:
    assert np.mean([fitted(*drawn(Weibull(500, 1), 40, 600, seed)).wears for seed in range(200)]) < 0.1


def test_few_failures_do_not_show_wear() -> None:
    found = fitted(np.array([300.0, 420, 500, 500, 500]), np.array([True, True, False, False, False]))
    assert found.law.shape > 1
    assert not found.wears
    assert found.failures == 2


@given(st.lists(st.tuples(st.floats(1, 5000), st.booleans()), min_size=2, max_size=15), st.floats(0.1, 10))
def test_neither_order_nor_unit_matters(parts: list[tuple[float, bool]], unit: float) -> None:
    ages = np.array([age for age, _ in parts])
    failed = np.array([True, *(failed for _, failed in parts[1:])])
    found, again = fitted(ages, failed), fitted(ages[::-1] * unit, failed[::-1])
    assert found.shape.low <= found.law.shape <= found.shape.high
    assert again.law.shape == pytest.approx(found.law.shape, rel=1e-5)
    assert again.law.scale == pytest.approx(found.law.scale * unit, rel=1e-5)


@pytest.mark.parametrize(
    ("ages", "failed", "told"),
    [
        ([100.0, 200.0], [False, False], "at least one, got none of 2 parts"),
        ([100.0, 0.0], [True, True], "hours above 0, got 0.0"),
        ([100.0, math.nan], [True, True], "hours above 0, got nan"),
        ([100.0], [True, True], "got 1 ages, 2 told"),
        ([], [], "got none of 0 parts"),
    ],
)
def test_what_is_no_life_is_told(ages: list[float], failed: list[bool], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        fitted(np.array(ages), np.array(failed, dtype=bool))


# Intervals


@given(laws, costs)
def test_no_other_age_costs_less(law: Weibull, price: Costs) -> None:
    found = age_replacement(law, price)
    ages = np.geomspace(law.scale / 50, law.scale * 4, 60)
    assert found.cost <= min(age_cost(law, price, age) for age in ages) * (1 + 1e-9)
    assert found.cost <= price.failure / law.mean * (1 + 1e-9)


@given(laws, costs)
def test_no_other_hours_between_overhauls_cost_less(law: Weibull, price: Costs) -> None:
    found = minimal_repair(law, price)
    assert found.cost == pytest.approx(repair_cost(law, price, found.hours))
    assert found.cost <= min(repair_cost(law, price, found.hours * by) for by in (0.5, 0.9, 0.99, 1.01, 1.1, 2))


@given(laws, costs, st.floats(1.1, 5))
def test_dearer_failures_are_prevented_sooner_and_the_currency_does_not_matter(
    law: Weibull, price: Costs, by: float
) -> None:
    for policy in (age_replacement, minimal_repair):
        found = policy(law, price)
        assert policy(law, Costs(price.planned, price.failure * by)).hours < found.hours
        other = policy(law, Costs(price.planned * by, price.failure * by))
        assert other.hours == pytest.approx(found.hours, rel=1e-6)
        assert other.cost == pytest.approx(found.cost * by)


@pytest.mark.parametrize("shape", [0.7, 1.0])
def test_what_does_not_wear_is_not_replaced_by_age(shape: float) -> None:
    law, price = Weibull(1000, shape), Costs(1, 50)
    assert age_replacement(law, price).hours == math.inf
    assert age_replacement(law, price).cost == pytest.approx(50 / law.mean)
    assert minimal_repair(law, price).hours == math.inf


def test_a_failure_that_costs_no_more_is_waited_for() -> None:
    assert age_replacement(Weibull(1000, 3), Costs(5, 5)).hours == math.inf
    assert age_replacement(Weibull(1000, 3), Costs(5, 4)).cost == pytest.approx(4 / Weibull(1000, 3).mean)


def test_a_steady_machine_that_is_only_mended_costs_its_failures() -> None:
    assert minimal_repair(Weibull(200, 1), Costs(1, 50)).cost == pytest.approx(50 / 200)


@pytest.mark.parametrize("numbers", [(0.0, 1.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_numbers_must_be_above_0(numbers: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Weibull(*numbers)
    with pytest.raises(ValueError, match="above 0"):
        Costs(*numbers)
