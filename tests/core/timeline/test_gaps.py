"""Where the shapes of gaps turn, to the minute: the ties that random histories seldom hit."""

from datetime import time

import pytest

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.habits import HOURS_LEFT
from core.habits.learned import Learned
from core.setup import WEEKDAYS, Shift
from core.window import Window
from tests.core.larkfield import a1_alone, at_a1, look, reckoned, start, when

ROUND_THE_CLOCK = [*a1_alone(), *(Shift(weekday=day, start=time(), end=time(), hands=1) for day in WEEKDAYS)]
TWO_HOURS = (2.0,) * HOURS_LEFT


def gap(learned: Learned, *entries: AnyEntry) -> dict[str, object]:
    """The gap after the first entry."""
    return reckoned(entries, Window(when(0), when(2)), ROUND_THE_CLOCK, learned).gaps.row(0, named=True)


# A clip takes two hours, so one started at 1:00 is done at 3:00; hands come after an hour, at 4:00.


@pytest.mark.parametrize(("minutes", "shape"), [(0, "ended"), (1, "changed")])
def test_a_wait_as_long_as_patience_is_still_a_wait(minutes: float, shape: str) -> None:
    learned = Learned(best=1.0, low=1.0, high=1.0, wait=1.0, patience=3.0, usual=TWO_HOURS)
    seen = look(when(hours=6, minutes=minutes), "done")
    assert gap(learned, start(when(hours=1), file="clip"), seen)["shape"] == shape


@pytest.mark.parametrize(("minutes", "shape"), [(0, "changed"), (-1, "ended")])
def test_a_change_needs_the_time_of_three_quarters_of_a_usual_print(minutes: float, shape: str) -> None:
    learned = Learned(best=1.0, low=1.0, high=1.0, wait=1.0, patience=0.5, usual=TWO_HOURS)
    seen = look(when(hours=5.5, minutes=minutes), "done")
    assert gap(learned, start(when(hours=1), file="clip"), seen)["shape"] == shape


@pytest.mark.parametrize(("minutes", "begin"), [(0, when(hours=1)), (2, when(hours=2.5, minutes=2))])
def test_a_print_seen_within_five_quarters_was_begun_by_the_hand_that_cleared(minutes: float, begin: object) -> None:
    # Cleared at 1:00 and seen printing at 3:30; two minutes later it began between 1:32 and 3:32, half-way 2:32.
    learned = Learned(best=1.0, low=1.0, high=1.0, usual=TWO_HOURS)
    seen = look(when(hours=3.5, minutes=minutes), "printing")
    assert gap(learned, at_a1("PartsOff", when(hours=1)), seen)["next_begin"] == micros(begin)


@pytest.mark.parametrize("saw", ["done", "stopped", "printing"])
def test_a_machine_first_spoken_of_in_the_midst_of_a_print_is_not_proving(saw: str) -> None:
    # The log may begin anywhere; what is unknown of a first print must not leave holes in the columns.
    found = gap(Learned(), look(when(hours=1), saw))
    assert (found["proving"], found["print"]) == (False, None)
    assert found["takes"] is not None
