"""Whether a daily figure changes beyond its usual spread."""

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from core.statistics.changes import ENOUGH, RUN, Signal, UsualRange, limits, signal
from core.statistics.control_limits import D2, REACH

#: So many mean moving ranges lie the limits from the mean.
LIMIT_FACTOR = REACH / D2

STEADY = UsualRange(mean=10, lower=5, upper=15)


def test_the_limit_factor_is_three_over_the_mean_range_of_two_normal_values() -> None:
    # d2 for two values: the mean of |X - Y| for standard normal X, Y; X - Y has the standard deviation sqrt(2).
    d2, _ = integrate.quad(lambda x: 2 * x * stats.norm.pdf(x, scale=math.sqrt(2)), 0, 40)
    assert math.isclose(d2, 2 / math.sqrt(math.pi), rel_tol=1e-9)
    assert math.isclose(LIMIT_FACTOR, 3 / d2, rel_tol=1e-9)
    # As the tables of control chart factors print them.
    assert round(d2, 3) == 1.128
    assert round(LIMIT_FACTOR, 2) == 2.66


def test_limits_worked_by_hand() -> None:
    # Mean 11; every move is 2, so the limits lie 2.66 x 2 = 5.32 away.
    usual = limits([10, 12] * 10)
    assert usual is not None
    assert usual.mean == 11
    assert [round(value, 2) for value in (usual.lower, usual.upper)] == [5.68, 16.32]


def test_limits_come_from_the_moves_and_not_from_the_spread() -> None:
    step = limits([0] * 10 + [9] * 10)
    assert step is not None
    assert math.isclose(step.upper - step.mean, LIMIT_FACTOR * 9 / 19)


def test_too_few_days_have_no_limits() -> None:
    assert limits([1.0] * (ENOUGH - 1)) is None
    assert limits([1.0] * ENOUGH) is not None


def test_limits_hold_nearly_every_value_of_a_steady_figure() -> None:
    chance = Random(3)
    values = [chance.gauss(50, 4) for _ in range(4000)]
    usual = limits(values)
    assert usual is not None
    assert usual.upper - usual.mean == pytest.approx(3 * 4, rel=0.03)
    outside = sum(not usual.lower <= value <= usual.upper for value in values)
    assert outside / len(values) == pytest.approx(0.0027, abs=0.0025)


@pytest.mark.parametrize(("value", "upward"), [(15.1, True), (4.9, False)])
def test_a_value_beyond_a_limit_is_a_change(value: float, upward: bool) -> None:
    values = [9, 11] * 10 + [value, 9]
    assert signal(values, STEADY) == Signal("limit", 20, upward)


@pytest.mark.parametrize("value", [5, 15])
def test_a_value_at_a_limit_is_none(value: float) -> None:
    assert signal([9, 11] * 10 + [value, 9 if value > 10 else 11], STEADY) is None


def test_a_value_beyond_a_limit_is_told_for_so_many_days() -> None:
    values = [9, 11] * 10 + [16] + [9, 11] * 3
    assert signal(values, STEADY) == Signal("limit", 20, upward=True)
    assert signal([*values, 9], STEADY) is None
    assert signal([*values, 9], STEADY, recent=8) == Signal("limit", 20, upward=True)


def test_the_newest_of_several_changes_is_told() -> None:
    assert signal([9, 11] * 10 + [16, 4, 11], STEADY) == Signal("limit", 21, upward=False)


@pytest.mark.parametrize(("side", "upward"), [(11, True), (9, False)])
def test_so_many_days_on_one_side_are_a_shift(side: float, upward: bool) -> None:
    before = [9, 11] * 8 + [9 if upward else 11]
    assert signal(before + [side] * RUN, STEADY) == Signal("run", len(before), upward)
    assert signal(before + [side] * (RUN - 1), STEADY) is None


def test_a_run_that_has_ended_is_no_change() -> None:
    assert signal([9, 11, 9] + [11] * 12 + [9], STEADY) is None


def test_fewer_days_than_are_recent_are_all_looked_at() -> None:
    assert signal([16, 9, 11], STEADY) == Signal("limit", 0, upward=True)


@given(st.floats(0, 1, allow_subnormal=False), st.integers(ENOUGH, 40))
def test_a_figure_that_is_always_the_same_does_not_change(value: float, days: int) -> None:
    values = [value] * days
    usual = limits(values)
    assert usual is None or signal(values, usual) is None
