"""Quiet stretches: staffed hours in which nobody tapped anything at any machine."""

from datetime import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from core.arrays import Micros
from core.epoch import HOUR, MINUTE, micros
from core.habits.learned import Learned
from core.habits.pace import Pace, Presence, paced, quiet_of
from core.habits.quiet import NEVER_QUIET, Quiet
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import ROWS, look, when

WINDOW = Window(when(0), when(2))
SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=2) for day in WEEKDAYS]
STAFFED = Staffed.of(Setup([row for row in ROWS if not isinstance(row, Shift)] + SHIFTS), WINDOW)
DUBLIN = ZoneInfo("Europe/Dublin")


def hours(*of_the_first_day: float) -> Micros:
    return np.array([micros(when(0, hour)) for hour in of_the_first_day])


def told(*taps: float, late: float = 0.0) -> Presence:
    """Looks at those hours of the first day, tapped so many hours later."""
    entries = [look(when(0, hour), "printing", noted_at=when(0, hour + late)) for hour in taps]
    return Presence.of(entry_frame(entries), micros(WINDOW.start), micros(WINDOW.end))


def found(seen: Presence) -> list[list[float]]:
    """The quiet stretches of the first day: from and to, hours."""
    edges = (quiet_of(STAFFED, seen) - micros(when(0))) / HOUR
    return edges[edges[:, 0] < 24].tolist()


def test_hours_without_a_tap_are_quiet_if_they_are_many_and_somebody_is_in() -> None:
    assert found(told(8.1, 9.1, 14.1, 16.1)) == [[9.25, 14.0]]
    assert found(told(8.1, 9.1)) == [[9.25, 17.0]]
    assert found(told(8.1, 10.1, 12.1, 14.1, 16.1)) == []


def test_what_is_told_from_memory_breaks_the_quiet_where_it_was_and_when_it_was_told() -> None:
    assert found(told(8.1, 11.1, late=2.5)) == [[13.75, 17.0]]


def test_a_quiet_stretch_ends_with_the_shift() -> None:
    both = quiet_of(STAFFED, told(8.1))
    assert ((both - micros(when(0))) / HOUR).tolist() == [[8.25, 17.0], [32.0, 41.0]]


QUIET = Quiet(hours(9, 14), hours(12, 16), np.array([0.8, 0.1]))


def test_how_likely_people_worked_is_told_of_quiet_stretches_alone() -> None:
    assert QUIET.at(hours(8, 9, 11.9, 12, 15, 16)).tolist() == [0.0, 0.8, 0.8, 0.0, 0.1, 0.0]
    assert NEVER_QUIET.at(hours(9, 15)).tolist() == [0.0, 0.0]


def test_hands_that_work_in_the_quiet_tell_nothing() -> None:
    # By Bayes' rule: they went at the usual pace with chance 0.8, or else at a fifth of it.
    assert QUIET.unnoted(hours(10, 13), 0.2) == pytest.approx([0.8 / (0.8 + 0.2 * 0.2), 0.0])


@pytest.mark.parametrize(("worked", "ran"), [(0.0, 0.5), (1.0, 1.0), (0.5, 0.75)])
def test_the_clock_of_hands_runs_in_the_quiet_as_likely_as_people_worked(worked: float, ran: float) -> None:
    pace, seen = Pace(mean=2.0, shape=2.0), told(8.1, 16.9)
    assert pace.unseen == 0.5
    clock = paced(STAFFED, pace, DUBLIN, seen, Quiet(hours(10), hours(15), np.array([worked])))
    assert clock.hours(hours(11), hours(14)) == pytest.approx([3 * ran])


def test_what_was_learned_of_a_quiet_stretch_is_kept_and_others_are_like_all_of_the_shop() -> None:
    learned = Learned(quiet=Quiet(hours(10), hours(15), np.array([0.9])), worked=0.25)
    mine = learned.quiet_in(STAFFED, told(8.1, 9.9, 15.1))
    assert mine.worked.tolist() == [0.9, 0.25]
    assert learned.quiet_in(STAFFED, Presence(hours(), 0, MINUTE)) is NEVER_QUIET


def test_what_was_done_in_a_quiet_stretch_is_off_as_a_whole_and_the_less_the_surer_people_worked() -> None:
    quiet = Quiet(np.array([0, 10, 20]), np.array([5, 15, 25]), np.array([0.2, 0.5, 0.99]))
    unlikely, even, sure, tapped = quiet.doubt(np.array([2, 12, 22, 7]))
    assert unlikely == pytest.approx(2.0)  # a throw of one in five: four fifths of the time it was nothing
    assert even == pytest.approx(1.0)
    assert sure == pytest.approx(1 / 3)  # as of one who is sure by nine in ten
    assert tapped == 0
