"""Ranges of downtime: times people noted are off by minutes, and upkeep nobody noted can only add."""

import math
from dataclasses import replace
from datetime import time

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.epoch import micros
from core.estimate import NINETY, Estimate
from core.habits.habits import Habits
from core.habits.learned import Learned
from core.habits.silences import Silences
from core.hours.state_hours import state_hours
from core.hours.state_rows import StateHours
from core.setup import NOBODY_TOLD, WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, at_a1, clock, reckoned, start, when

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


def test_a_shop_of_which_nothing_is_learned_is_taken_to_forget_as_much_as_people_do() -> None:
    assert hours(None, WEEKS[:1]).total(DOWN) == hours(0.2, WEEKS[:1]).total(DOWN)


def silent(chance: float) -> tuple[StateHours, StateHours]:
    """A1 stood empty from Monday morning to Friday noon: taken at its word, and as down by a chance."""
    story, week = [at_a1("PartsOff", when(0)), start(when(4, 12))], Window(when(0), when(5))
    found = Silences(0.1, pl.DataFrame({"machine": ["A1"], "start": [micros(when(0))], "end": [micros(when(4, 12))],
                                        "down": [chance]}))  # fmt: skip
    learned = replace(EXACT, habits=Habits(forgets_start=0.0, forgets_off=0.0))
    shifts = [Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5]]
    staffed = Staffed.of(Setup([*ROWS, *shifts]), week)
    plain, suspected = (
        state_hours(reckoned(story, week), [], replace(learned, silences=of), [week], staffed)
        for of in (Silences(0.0), found)
    )
    return plain, suspected


@given(st.floats(0.01, 0.99))
def test_hours_a_machine_was_down_by_a_chance_are_taken_from_what_it_seemed_to_do(chance: float) -> None:
    plain, suspected = silent(chance)
    assert suspected.hours == pytest.approx(plain.hours) == pytest.approx(120)
    stood = plain.total(("empty",)).best
    assert suspected.total(("empty",)).best == pytest.approx((1 - chance) * stood)
    assert suspected.total(("idle",)).best == pytest.approx((1 - chance) * plain.total(("idle",)).best)
    assert suspected.total(("down",)).best == pytest.approx(chance * stood)
    assert suspected.total(("printing",)).best == pytest.approx(plain.total(("printing",)).best)


def test_a_silence_that_may_be_either_has_a_range_over_both_and_a_sure_one_is_narrow() -> None:
    sure, even = (silent(chance)[1].total(("down",)) for chance in (0.99, 0.5))
    assert even.low < 20
    assert even.high > 100
    assert width(sure) < width(even) / 2


def test_downtime_that_nobody_told_has_a_cause_that_says_so() -> None:
    rows = silent(0.5)[1].rows
    assert rows.filter(pl.col("cause") == NOBODY_TOLD)["state"].unique().to_list() == ["down"]


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


def test_downtime_of_which_nobody_told_the_return_may_have_been_over_long_before() -> None:
    down, week = at_a1("WentDown", when(0), cause="nozzle"), Window(when(0), when(5))
    told, forgotten = (
        state_hours(reckoned([down, *back, start(when(2))], week), [], EXACT, [week], clock([week])).total(("down",))
        for back in ([at_a1("CameBack", when(2))], [])
    )
    assert told.best == forgotten.best == 48
    assert forgotten.low < 24 < told.low
    assert forgotten.high == pytest.approx(told.high)
