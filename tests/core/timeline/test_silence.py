"""Silent machines: which stood untouched for long, and how many of them were down with nobody telling."""

from datetime import time

import numpy as np
import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.learned import Learned
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.timeline.facts import facts
from core.timeline.gaps import find_gaps
from core.timeline.silence import STEADY, USUAL, share_down, silences, within
from core.window import Window
from tests.core.larkfield import ROWS, at_a1, look, start, when

SETUP = Setup([*(row for row in ROWS if not isinstance(row, Shift)),
               *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5])])  # fmt: skip
STAFFED = Staffed.of(SETUP, Window(when(0), when(60)))


def gaps_of(*entries: AnyEntry) -> pl.DataFrame:
    return find_gaps(facts(entry_frame(entries), SETUP, Learned()), STAFFED, Learned())


def days_down(day: float, days: float) -> list[AnyEntry]:
    return [at_a1("WentDown", when(day, 9), cause="nozzle"), at_a1("CameBack", when(day + days, 9))]


def test_a_machine_untouched_for_two_shifts_is_silent_and_one_that_waited_a_night_is_not() -> None:
    story = [start(when(0, 9), file="clip"), at_a1("PartsOff", when(1, 9)), start(when(3, 9), file="clip")]
    found = silences(gaps_of(*story, at_a1("PartsOff", when(3, 12))), STAFFED)
    # Empty from Tuesday to Thursday; and since Thursday noon nobody has spoken of it.
    assert found["start"].to_list() == [micros(when(1, 9)), micros(when(3, 12))]
    assert found["end"][0] == micros(when(3, 9))


def test_a_print_is_not_silent_while_it_runs() -> None:
    found = silences(gaps_of(start(when(0, 9), file="grille"), at_a1("PartsOff", when(4, 10))), STAFFED)
    assert found["start"].to_list()[0] == micros(when(1, 9))


def test_what_was_declared_is_no_silence() -> None:
    assert silences(gaps_of(*days_down(0, 7)), STAFFED)["start"].to_list() == [micros(when(7, 9))]


def test_the_more_long_faults_were_told_and_the_more_is_forgotten_the_likelier_a_silence_is_one() -> None:
    idle = [look(when(30, 9), "empty"), look(when(35, 9), "empty")]
    none, one, two = (
        share_down(gaps_of(*(entry for n in range(count) for entry in days_down(10 * n, 5)), *idle), STAFFED, 0.2)
        for count in range(3)
    )
    assert 0 < none < one < two <= 1
    assert share_down(gaps_of(*days_down(0, 5), *idle), STAFFED, 0.4) > one


def test_without_any_silence_the_usual_share_is_taken() -> None:
    assert share_down(gaps_of(), STAFFED, 0.2) == pytest.approx(STEADY * USUAL / STEADY)


def test_a_silence_is_shared_out_to_the_windows_it_lies_in() -> None:
    found = silences(gaps_of(at_a1("PartsOff", when(0, 12)), start(when(4, 12), file="clip")), STAFFED)[:1]
    days = Window(when(0), when(7)).days(SETUP.zone)
    edges = [micros(day.start) for day in days] + [micros(days[-1].end)]
    rows = within(found, np.array(edges))
    assert rows["hours"].to_list() == [12, 24, 24, 24, 12]
    assert rows["window"].to_list() == [0, 1, 2, 3, 4]
