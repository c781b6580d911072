"""Silent machines: which stood untouched for long, and how many of them were down with nobody telling."""

from datetime import time

import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.learned import Learned
from core.habits.silences import USUAL, Silences
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.timeline.facts import facts
from core.timeline.gaps import find_gaps
from core.timeline.silence import learn_silences, passed_over, share_down, silences
from core.window import Window
from tests.core.larkfield import ROWS, at_a1, look, start, tell, when

SETUP = Setup([*(row for row in ROWS if not isinstance(row, Shift)),
               *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5])])  # fmt: skip
STAFFED = Staffed.of(SETUP, Window(when(0), when(60)))
NOW = micros(when(60))


def gaps_of(*entries: AnyEntry) -> pl.DataFrame:
    return find_gaps(facts(entry_frame(entries), SETUP, Learned()), STAFFED, Learned())


def days_down(day: float, days: float) -> list[AnyEntry]:
    return [at_a1("WentDown", when(day, 9), cause="nozzle"), at_a1("CameBack", when(day + days, 9))]


def test_a_machine_untouched_for_two_shifts_is_silent_and_one_that_waited_a_night_is_not() -> None:
    story = [start(when(0, 9), file="clip"), at_a1("PartsOff", when(1, 9)), start(when(3, 9), file="clip")]
    found = silences(gaps_of(*story, at_a1("PartsOff", when(3, 12))), STAFFED, NOW)
    # Empty from Tuesday to Thursday; and since Thursday noon nobody has spoken of it.
    assert found["start"].to_list() == [micros(when(1, 9)), micros(when(3, 12))]
    assert found["end"][0] == micros(when(3, 9))


def test_a_print_is_not_silent_while_it_runs() -> None:
    found = silences(gaps_of(start(when(0, 9), file="grille"), at_a1("PartsOff", when(4, 10))), STAFFED, NOW)
    assert found["start"].to_list()[0] == micros(when(1, 9))


def test_what_was_declared_is_no_silence() -> None:
    assert silences(gaps_of(*days_down(0, 7)), STAFFED, NOW)["start"].to_list() == [micros(when(7, 9))]


def test_the_more_long_faults_were_told_and_the_more_is_forgotten_the_likelier_a_silence_is_one() -> None:
    idle = [look(when(30, 9), "empty"), look(when(35, 9), "empty")]
    none, one, two = (
        share_down(gaps_of(*(entry for n in range(count) for entry in days_down(10 * n, 5)), *idle), STAFFED, 0.2, NOW)
        for count in range(3)
    )
    assert 0 < none < one < two <= 1
    assert share_down(gaps_of(*days_down(0, 5), *idle), STAFFED, 0.4, NOW) > one


def test_without_any_silence_the_usual_share_is_taken() -> None:
    assert share_down(gaps_of(), STAFFED, 0.2, NOW) == pytest.approx(USUAL)


def test_what_stands_since_minutes_is_no_silence() -> None:
    now = micros(when(3, 13))
    told = gaps_of(start(when(0, 9), file="clip"), at_a1("PartsOff", when(3, 12)))
    assert silences(told, STAFFED, now)["end"].to_list() == [micros(when(3, 12))]
    assert silences(told, STAFFED, micros(when(8, 12)))["start"].to_list()[-1] == micros(when(3, 12))


def beside(days: int) -> list[AnyEntry]:
    """A2 prints a clip every morning and every noon of so many days, and A1 stands empty from the first morning on."""
    prints = [
        tell(kind, when(day, hour + later), machine="A2", **told)
        for day in range(days)
        for hour in (9, 13)
        for kind, later, told in (("PrintStarted", 0, {"file": "clip", "revision": 1}), ("PartsOff", 3, {}))
    ]
    return [at_a1("PartsOff", when(0, 8, 30)), *prints]


def test_a_machine_is_passed_over_by_every_start_beside_it_shared_with_those_that_stood_too() -> None:
    # Twelve hours with people in are over at half past twelve on Tuesday: one start on that day, two on each of the
    # next three. At every one of them both A1 and A2 stood, so it passes over A1 by half.
    passed = passed_over(gaps_of(*beside(5)), STAFFED, micros(when(5)), 12.0)
    assert passed.tolist() == [pytest.approx(3.5)]


def test_the_longer_others_are_started_beside_a_silent_machine_the_likelier_it_is_down() -> None:
    short, long = (
        learn_silences(gaps_of(*beside(days)), STAFFED, 0.1, micros(when(days))).found["down"].to_list()
        for days in (4, 30)
    )
    assert short[0] < 0.5 < long[0]


def test_where_nobody_starts_anything_a_silent_machine_is_hardly_suspected() -> None:
    found = learn_silences(gaps_of(at_a1("PartsOff", when(0, 9))), STAFFED, 0.1, micros(when(20)))
    assert found.found["down"].to_list()[0] < USUAL


def test_a_silence_found_later_has_the_chance_it_was_learned_with_and_a_new_one_the_usual() -> None:
    learned = Silences(0.3, pl.DataFrame({"machine": ["A1"], "start": [10], "end": [50], "down": [0.9]}))
    asked = pl.DataFrame({"machine": ["A1", "A1", "A2"], "start": [40, 50, 20], "end": [70, 60, 30]})
    assert learned.weighed(asked)["down"].to_list() == [0.9, 0.3, 0.3]
