"""Ranges of downtime: times people noted are off by minutes, and upkeep nobody noted can only add."""

import math
from dataclasses import replace

import pytest

from core.estimate import NINETY, Estimate
from core.habits.habits import Habits
from core.habits.learned import Learned
from core.hours.state_hours import state_hours
from core.hours.state_rows import StateHours
from core.window import Window
from tests.core.larkfield import EXACT, at_a1, clock, reckoned, when

WEEKS = [Window(when(7 * n), when(7 * n + 7)) for n in range(4)]
DOWN = ("upkeep", "down", "waiting")


def hours(forgets: float | None, windows: list[Window], learned: Learned = EXACT) -> StateHours:
    """A1 down for ten hours of each week and empty else, in a shop that forgets so many of its taps."""
    story = [at_a1("PartsOff", when(0))]
    for week in windows:
        story += [at_a1("WentDown", week.start, cause="nozzle"), at_a1("CameBack", week.start.replace(hour=10))]
    habits = None if forgets is None else Habits(forgets_start=forgets, forgets_off=forgets)
    whole = Window(windows[0].start, windows[-1].end)
    return state_hours(reckoned(story, whole), [], replace(learned, habits=habits), windows, clock(windows))


def width(estimate: Estimate) -> float:
    return estimate.high - estimate.low


def test_a_shop_that_has_learned_nothing_takes_downtime_at_its_word() -> None:
    assert hours(None, WEEKS[:1]).total(DOWN) == Estimate.exact(10.0)


def test_a_fault_noted_to_the_minute_is_off_by_minutes_unless_it_is_another_machines() -> None:
    told = hours(0.0, WEEKS[:1]).total(("down",))
    off = NINETY * math.hypot(0.05, 0.01 * 10, math.sqrt(0.03) * 10)
    assert (told.low, told.best, told.high) == pytest.approx((10 - off, 10, 10 + off))


def test_the_more_is_forgotten_the_wider_and_upward_further_than_downward() -> None:
    told = [hours(forgets, WEEKS[:1]).total(DOWN) for forgets in (0.0, 0.2, 0.4)]
    assert [one.best for one in told] == [10.0] * 3
    assert width(told[0]) < width(told[1]) < width(told[2])
    assert all(one.high - one.best > one.best - one.low for one in told[1:])


def test_upkeep_nobody_noted_may_be_anywhere_but_is_not_guessed() -> None:
    told = hours(0.4, WEEKS[:1]).total(("upkeep",))
    assert (told.low, told.best) == (0.0, 0.0)
    assert told.high == pytest.approx(NINETY * 0.8 * math.sqrt(0.4))


def test_doubts_of_weeks_apart_add_as_chance_does_and_the_shops_own_habit_as_a_whole() -> None:
    one, four = (hours(0.4, WEEKS[:n]).total(("upkeep",)).high for n in (1, 4))
    assert four == pytest.approx(2 * one)
    down = [hours(0.4, WEEKS[:n]).total(("down",)) for n in (1, 4)]
    assert 2 * width(down[0]) < width(down[1]) < 4 * width(down[0])
