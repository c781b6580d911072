"""A number that says how sure it is."""

import math
from statistics import NormalDist

import pytest
from pydantic import ValidationError

from core.estimate import NINETY, Estimate


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


def test_nine_normal_errors_in_ten_lie_within_ninety() -> None:
    assert math.isclose(NINETY, NormalDist().inv_cdf(0.95), rel_tol=1e-12)
