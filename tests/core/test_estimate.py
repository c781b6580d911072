"""A number that says how sure it is."""

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from core.estimate import NINETY, Estimate, total


@pytest.mark.parametrize(("low", "best", "high"), [(2, 1, 3), (1, 3, 2), (0, math.nan, 1)])
def test_a_best_value_outside_its_interval_cannot_be(low: float, best: float, high: float) -> None:
    with pytest.raises(ValidationError, match=f"got {float(low)}, {float(best)}, {float(high)}"):
        Estimate(low=low, best=best, high=high)


def test_an_estimate_never_changes_and_has_no_other_fields() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        Estimate.exact(1.0).best = 2.0
    with pytest.raises(ValidationError, match="mean"):
        Estimate(low=0, best=1, high=2, mean=1)


def test_an_exact_value_has_no_width() -> None:
    assert Estimate.exact(3.5) == Estimate(low=3.5, best=3.5, high=3.5)


def test_another_unit_scales_all_three() -> None:
    assert Estimate(low=1, best=2, high=4).scaled(60) == Estimate(low=60, best=120, high=240)


def test_independent_estimates_add_and_their_widths_add_in_quadrature() -> None:
    parts = [Estimate(low=7, best=10, high=16), Estimate(low=1, best=5, high=13)]
    assert total(parts) == Estimate(low=10, best=15, high=25)


def test_nothing_adds_up_to_nothing() -> None:
    assert total([]) == Estimate.exact(0.0)


halves = st.floats(0, 1e6)


@given(st.lists(st.tuples(st.floats(-1e6, 1e6), halves, halves), max_size=8))
def test_a_sum_is_surer_than_its_parts_laid_end_to_end(parts: list[tuple[float, float, float]]) -> None:
    estimates = [Estimate(low=best - below, best=best, high=best + above) for best, below, above in parts]
    whole = total(estimates)
    assert whole.best == math.fsum(e.best for e in estimates)
    assert whole.low >= math.fsum(e.low for e in estimates) - 1e-6
    assert whole.high <= math.fsum(e.high for e in estimates) + 1e-6


def test_nine_normal_errors_in_ten_lie_within_ninety() -> None:
    assert math.isclose(NINETY, NormalDist().inv_cdf(0.95), rel_tol=1e-12)
