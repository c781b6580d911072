"""What a figure owes to its weekday."""

from datetime import date, timedelta

import numpy as np
import pytest

from core.statistics.weekdays import SEVERAL, weekday_effects

MONDAY = date(2026, 11, 2)


def working_days(weeks: int) -> list[date]:
    """Mondays to Saturdays."""
    return [MONDAY + timedelta(days=day) for day in range(7 * weeks) if day % 7 < 6]


def test_a_short_saturday_is_what_a_saturday_owes_and_the_effects_are_nothing_on_average() -> None:
    days = working_days(SEVERAL)
    found = weekday_effects(days, np.array([2.0 if day.weekday() == 5 else 8.0 for day in days]))
    # Six hours less on one day in six: one hour up for all, five down for it.
    assert found.tolist() == [-5.0 if day.weekday() == 5 else 1.0 for day in days]


def test_a_weekday_is_told_from_the_others_after_several_of_it_and_not_before() -> None:
    few = working_days(SEVERAL - 1)
    assert weekday_effects(few, np.array([2.0 if day.weekday() == 5 else 8.0 for day in few])) == pytest.approx(0)


def test_one_day_far_out_makes_no_usual() -> None:
    days = working_days(5)
    values = np.full(len(days), 8.0)
    values[5] = 900.0
    assert weekday_effects(days, values) == pytest.approx(0)


def test_no_days_owe_nothing() -> None:
    assert weekday_effects([], np.zeros(0)).size == 0
