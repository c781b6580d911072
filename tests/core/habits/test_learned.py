"""What is usual in a shop, how long its people let prints wait, and how its clock of hands runs."""

import math
from collections.abc import Sequence
from datetime import time, timedelta

import numpy as np
import pytest

from core.entries import AnyEntry
from core.epoch import HOUR, micros
from core.habits.habits import HOURS_LEFT
from core.habits.learned import ENOUGH, NEVER, Learned, usual_by_hours_left, with_patience
from core.habits.print_times import PrintTimes
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.timeline.facts import facts
from core.window import Window
from tests.core.larkfield import EXACT, a1_alone, at_a1, look, reckoned, start, when

DAY_SHIFT = [
    *a1_alone(),
    *(Shift(weekday=day, start=time(8), end=time(18), hands=1) for day in ("mon", "tue", "wed", "thu", "fri")),
]


# What is usual


def usual(*entries: AnyEntry) -> tuple[float, ...]:
    """Learned in a shop in which people are in from 8 to 18, Monday to Friday."""
    setup = Setup(DAY_SHIFT)
    told = facts(entry_frame(entries), setup, Learned())
    return usual_by_hours_left(told, Staffed.of(setup, Window(when(0), when(300))))


def daily(hour: float, file: str, days: range) -> list[AnyEntry]:
    """A print begun every working day at that hour and off the next morning."""
    return [
        entry
        for day in days
        if day % 7 < 4
        for entry in (start(when(day, hour), file=file), at_a1("PartsOff", when(day + 1, 8)))
    ]


def test_without_any_start_the_usual_print_stays_as_it_was() -> None:
    assert usual() == Learned().usual
    assert usual(look(when(0, 9), "printing")) == Learned().usual


def test_long_prints_are_loaded_before_people_leave() -> None:
    took = usual(*daily(9.5, "clip", range(70)), *daily(17.5, "grille", range(70, 140)))
    assert len(took) == HOURS_LEFT
    assert (took[8], took[0]) == (2.0, 24.0)


def test_a_print_that_another_one_followed_in_its_shift_says_nothing_of_the_last_one() -> None:
    day = [start(when(0, 9), file="clip"), at_a1("PartsOff", when(0, 12)), start(when(0, 12), file="grille")]
    assert set(usual(*day)) == {24.0}


def test_hours_with_few_starts_take_in_their_neighbours() -> None:
    assert usual(*daily(9.5, "clip", range(28)), *daily(12.5, "grille", range(28, 56)))[8] == 13.0


ROUND_THE_CLOCK = [*a1_alone(), *(Shift(weekday=day, start=time(), end=time(), hands=1) for day in WEEKDAYS)]


def clips(prints: int, wait: float, forgotten: Sequence[int] = (), unannounced: Sequence[int] = ()) -> list[AnyEntry]:
    """Clips one after the other, two hours each and so long until the parts came off."""
    told = []
    for number in range(prints):
        began = when(hours=number * (2 + wait))
        told += [] if number in unannounced else [start(began, file="clip")]
        told += [] if number in forgotten else [at_a1("PartsOff", began + timedelta(hours=2 + wait))]
    return told


def patience(entries: Sequence[AnyEntry]) -> Learned:
    window = Window(when(0), when(30))
    gaps = reckoned(entries, window, ROUND_THE_CLOCK).gaps
    return with_patience(EXACT, gaps, Staffed.of(Setup(ROUND_THE_CLOCK), window))


def test_the_mean_wait_comes_from_the_median() -> None:
    # Half of all waits of an exponential law are shorter than its mean times ln 2.
    learned = patience(clips(40, wait=1.0))
    assert learned.wait == pytest.approx(1 / math.log(2))
    assert learned.patience == NEVER


def test_patience_ends_where_two_forgotten_taps_are_likelier_than_the_wait() -> None:
    # Two removals of forty and two starts of forty were forgotten.
    learned = patience(clips(40, wait=1.0, forgotten=(10, 20), unannounced=(15, 30)))
    assert math.exp(-learned.patience / learned.wait) == pytest.approx(2 / 38 * 2 / 40)


def test_a_few_waits_teach_no_patience() -> None:
    assert patience(clips(ENOUGH - 1, wait=1.0)) == EXACT


# Ratios and the clock of hands


def test_a_print_takes_its_own_ratio_and_one_nobody_knows_the_shops() -> None:
    times = PrintTimes((("clip", 1, "bench-220"),), np.array([math.log(1.1)]), np.array([[0.0]]), (30,))
    learned = Learned(best=1.05, times=times)
    assert learned.ratio("clip", 1, "bench-220") == pytest.approx(1.1)
    assert [learned.ratio("clip", 2, "bench-220"), learned.ratio("clip", 1, "bench-300")] == [1.05, 1.05]


def test_a_day_of_few_hands_counts_less_on_their_clock() -> None:
    setup = Setup(DAY_SHIFT)
    staffed = Staffed.of(setup, Window(when(0), when(14)))
    hands = Learned(quick=(1.0, 1.0, 0.5, 2.0, 1.0, 1.0, 1.0)).hands(staffed, setup.zone)
    # Of the ten hours of each of four days from Monday on, Wednesday's count half and Thursday's twice.
    days = np.array([[micros(when(day)), micros(when(day + 1))] for day in range(4)])
    assert hands.hours(days[:, 0], days[:, 1]) == pytest.approx([10.0, 10.0, 5.0, 20.0])
    an_hour = hands.reaching(hands.worked(days[:, 0]) + HOUR)
    assert an_hour.tolist() == [micros(when(day, hour)) for day, hour in ((0, 9), (1, 9), (2, 10), (3, 8.5))]
