"""The pace of hands: between rounds the clock nearly stands, and a room visited evenly keeps that of its shifts."""

from datetime import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arrays import Micros, Numbers
from core.entries import AnyEntry
from core.epoch import HOUR, MINUTE, micros
from core.habits.pace import (
    BINS_A_DAY,
    ENOUGH_REMOVALS,
    MOST_SHAPE,
    TAKING_OFF,
    Pace,
    Presence,
    learn_pace,
    paced,
    taking_off,
    visits,
)
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import ROWS, look, start, tell, when

WINDOW = Window(when(0), when(56))
SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=2) for day in WEEKDAYS[:5]]
STAFFED = Staffed.of(Setup([row for row in ROWS if not isinstance(row, Shift)] + SHIFTS), WINDOW)
DUBLIN = ZoneInfo("Europe/Dublin")
FIRST, LAST = (int(moment) for moment in STAFFED.worked(np.array([micros(WINDOW.start), micros(WINDOW.end)])))


def seen(moments: Micros) -> Presence:
    return Presence(np.sort(moments), micros(WINDOW.start), micros(WINDOW.end))


def evenly(a_day: float) -> Micros:
    """Visits at any time in which people are in."""
    chance = np.random.default_rng(1)
    return STAFFED.reaching(chance.integers(FIRST, LAST, int(a_day * 40)))


def on_rounds(of_the_day: tuple[float, ...], off_by: float = 0.0, machines: int = 30) -> Micros:
    """A visit of every machine on rounds of an hour that begin so many staffed hours after opening, give or take."""
    days = np.arange(40)[:, None, None] * 9.0
    walk = np.arange(machines) / machines
    late = off_by * np.random.default_rng(2).uniform(-1, 1, (40, len(of_the_day), 1))
    hours = days + np.array(of_the_day)[None, :, None] + late + walk
    return STAFFED.reaching(FIRST + (hours.ravel() * HOUR).astype(np.int64))


def hours(clock: Staffed, day: int, *clock_hours: float) -> Numbers:
    """Hours on a clock between times of a day."""
    worked = clock.worked(np.array([micros(when(day, hour)) for hour in clock_hours]))
    return np.diff(worked) / HOUR


def test_taps_at_one_machine_at_a_time_are_one_visit_and_those_from_memory_none() -> None:
    taps = [
        start(when(0, 9)), look(when(0, 9, 4), "printing"), look(when(0, 9, 30), "printing"),
        look(when(0, 10), "printing", noted_at=when(0, 11)),
        tell("StockCounted", when(0, 10), item="nozzle", quantity=3),
    ]  # fmt: skip
    assert visits(entry_frame(taps)).tolist() == [micros(when(0, 9)), micros(when(0, 9, 30))]


def cleared(minutes: float, machines: int, **said: object) -> list[AnyEntry]:
    """Parts taken off one machine after the other, each so many minutes after the last."""
    return [
        tell("PartsOff", when(0, 9, n * minutes), machine=f"A{1 + n % 3}", by="MB", **said) for n in range(machines)
    ]


@pytest.mark.parametrize("minutes", [1.5, 4, 12])
def test_how_long_parts_take_to_come_off_is_told_by_going_from_machine_to_machine(minutes: float) -> None:
    taps = cleared(minutes, ENOUGH_REMOVALS + 1)
    # Somebody else is at work as well, and goes elsewhere between two machines.
    others = [tell("PartsOff", when(0, 9, 2 * n), machine="B1", by="JT") for n in range(30)]
    pauses = [tell("PartsOff", when(1, 9, 45 * n), machine=f"A{1 + n % 3}", by="MB") for n in range(8)]
    assert taking_off(entry_frame([*taps, *others, *pauses])) == pytest.approx(minutes / 60)


def test_few_removals_or_such_told_from_memory_leave_the_usual_time_of_taking_parts_off() -> None:
    assert taking_off(entry_frame(cleared(9, ENOUGH_REMOVALS))) == TAKING_OFF
    late = cleared(9, 3 * ENOUGH_REMOVALS, noted_at=when(0, 23))
    assert taking_off(entry_frame(late)) == TAKING_OFF


def test_between_rounds_the_clock_nearly_stands_and_on_them_it_runs_faster() -> None:
    told = seen(on_rounds((0.0, 4.0, 7.5)))
    clock = paced(STAFFED, learn_pace(told, STAFFED, DUBLIN), DUBLIN, told)
    # Rounds at eight, at noon and at half past three.
    first, between, second = hours(clock, 8, 8, 9.5, 11.5, 13.0)
    assert between < 0.2
    assert min(first, second) > 1.8
    assert hours(clock, 8, 8, 17)[0] == pytest.approx(9, rel=0.1)


def test_where_rounds_come_at_any_time_each_is_seen_where_it_was() -> None:
    told = seen(on_rounds((4.0,), off_by=2.5))
    clock = paced(STAFFED, learn_pace(told, STAFFED, DUBLIN), DUBLIN, told)
    for day in (1, 8, 15):
        (began,) = told.visits[(told.visits > micros(when(day))) & (told.visits < micros(when(day + 1)))][:1]
        at = (int(began) - micros(when(day))) / HOUR
        on_it, whole = hours(clock, day, at - 0.25, at + 1.25)[0], hours(clock, day, 0, 24)[0]
        assert on_it > 0.8 * whole
    # Of a day nobody has told of yet the usual times are all that is known.
    assert hours(clock, 70, 12, 13.5)[0] < 0.5 * hours(clock, 70, 0, 24)[0]


def test_a_room_visited_evenly_keeps_the_clock_of_its_shifts() -> None:
    told = seen(evenly(60))
    pace = learn_pace(told, STAFFED, DUBLIN)
    assert pace.shape > 10
    clock = paced(STAFFED, pace, DUBLIN, told)
    for day in range(5):
        assert hours(clock, day, 8, 11, 14, 17) == pytest.approx(3, rel=0.2)


def test_where_nobody_was_seen_the_pace_is_the_usual_one() -> None:
    nobody = seen(np.zeros(0, dtype=np.int64))
    assert learn_pace(nobody, STAFFED, DUBLIN).shape == MOST_SHAPE
    clock = paced(STAFFED, Pace(), DUBLIN, Presence(evenly(60), 0, 0))
    assert hours(clock, 1, 0, 12, 24) == pytest.approx([4, 5])


@given(st.lists(st.integers(micros(WINDOW.start), micros(WINDOW.end)), max_size=60), st.floats(0.3, 50))
def test_the_clock_never_runs_back_nor_while_nobody_is_in(moments: list[int], shape: float) -> None:
    told = seen(np.array(moments, dtype=np.int64))
    clock = paced(STAFFED, Pace(2.0, shape, np.ones(BINS_A_DAY)), DUBLIN, told)
    every = np.arange(micros(when(3)), micros(when(6)), 7 * MINUTE)
    passed = np.diff(clock.worked(every))
    staffed = np.diff(STAFFED.worked(every))
    assert (passed >= 0).all()
    assert (passed[staffed == 0] == 0).all()
    assert (passed[staffed > 0] > 0).all()
