"""What lies ahead of A1, told as small stories: a grille takes a day and 300 g, and people are in from 8 to 18.

It is Monday, two in the afternoon: the grille begun at eight has used a quarter of its grams, 75.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.entries import AnyEntry
from core.epoch import FAR, micros
from core.habits.habits import Habits
from core.habits.learned import Learned
from core.habits.usage import Usage
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.spools.ahead import RunOut, ahead, run_outs
from core.spools.spools import spools
from core.staffed import Staffed
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, a1_alone, at_a1, start, tell, when
from tests.tiers import examples

SHIFTS = [Shift(weekday=day, start=time(8), end=time(18), hands=1) for day in WEEKDAYS[:5]]
ALONE = Setup([*a1_alone(), *SHIFTS])
NOW, TOMORROW_NOON = when(0, 14), when(1, 12)
#: The grille, by an id of its own: chance is drawn from it.
GRILLE = start(when(0, 8), id=UUID("6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11"))
#: A shop that has learned how it works, in which no print stops and nobody changes a spool before it runs out.
KNOWING = replace(EXACT, habits=Habits(stops=1e-9), usage=Usage(runs_out=(1.0, 1.0)))


def fit(grams: float, machine: str = "A1") -> AnyEntry:
    return tell("SpoolFitted", when(0, 7), machine=machine, material="petg-black", grams=grams)


def played(
    story: Sequence[AnyEntry], until: datetime = TOMORROW_NOON, learned: Learned = KNOWING, setup: Setup = ALONE
) -> list[RunOut]:
    """The run-outs of the story, as known now."""
    window, entries, now = Window(when(-1), NOW), entry_frame(story), micros(NOW)
    staffed = Staffed.of(setup, window)
    gaps = reckon(entries, setup, window, staffed, learned).gaps
    future = ahead(gaps, setup, staffed, learned, now, micros(until))
    held, _ = spools(gaps, [], entries.filter(kind="SpoolFitted"), setup, now, learned.usage)
    return run_outs(held, future, setup, learned.usage, now) if future else []


def run_out(grams: float, until: datetime = TOMORROW_NOON) -> RunOut:
    """Of a spool that so much was on when the grille began."""
    (found,) = played([fit(grams), GRILLE], until)
    return found


def test_a_shop_that_has_learned_nothing_yet_is_told_nothing() -> None:
    assert played([fit(100), GRILLE], learned=replace(KNOWING, habits=None)) == []


def test_a_spool_with_plenty_never_runs_out() -> None:
    found = run_out(5000)
    assert found == RunOut("A1", 0.0, 0.0, FAR, FAR, FAR)
    assert not found.announced


def test_a_spool_too_short_runs_out_in_the_print_that_runs_now() -> None:
    found = run_out(100)
    # 25 g are left, and 300 g in 24 hours are 12.5 an hour: two hours, give or take what a spool is off.
    assert (found.this, found.chance) == pytest.approx((1, 1))
    assert found.best == pytest.approx(micros(when(0, 16)), abs=micros(when(0, 0, 15)) - micros(when(0)))
    assert micros(when(0, 15)) < found.low < found.best < found.high < micros(when(0, 17))
    assert found.announced


def test_a_spool_that_should_be_empty_by_now_runs_out_now() -> None:
    # 50 g could not feed the 75 that were used; in the two hours since somebody may have changed it without a word.
    found = run_out(50)
    assert found.this == pytest.approx(0.95, abs=0.02)
    assert found.low == found.best == micros(NOW)


def test_a_spool_that_lasts_for_this_print_runs_out_in_the_next() -> None:
    # 20 g are left at its end, tomorrow at eight: an hour of whatever comes next.
    found = run_out(340, until=when(2, 12))
    assert found.this < 0.1
    assert found.chance > 0.8
    assert micros(when(1, 8)) < found.best < micros(when(1, 18))


def test_the_chance_grows_with_the_time_looked_at_and_falls_with_what_is_on_the_spool() -> None:
    horizons = [run_out(1000, until=when(days, 12)).chance for days in (1, 2, 4, 8)]
    assert horizons == sorted(horizons)
    assert horizons[0] < 0.05
    assert horizons[-1] > 0.95
    grams = [run_out(on).chance for on in (250, 300, 320, 340, 400)]
    assert grams == sorted(grams, reverse=True)


def test_the_same_entries_give_the_same_futures() -> None:
    story = [fit(320), GRILLE]
    assert played(story) == played(story) == played(story[::-1])


def test_a_machine_that_is_down_or_whose_spool_nobody_noted_is_not_told_of() -> None:
    running = [fit(100), GRILLE]
    assert len(played(running)) == 1
    assert played([*running, at_a1("WentDown", when(0, 10), cause="nozzle")]) == []
    assert played(running[1:]) == []


def test_every_machine_is_told_of_by_itself() -> None:
    both = Setup([*ROWS, *SHIFTS])
    mine = [fit(100), GRILLE]
    other = [fit(5000, "A2"), tell("PrintStarted", when(0, 8), machine="A2", file="grille", revision=1)]
    found = played([*other, *mine], setup=both)
    assert [end.machine for end in found] == ["A1", "A2"]
    assert found[:1] == played(mine)
    assert found[1].chance == 0


@examples(20)
@given(grams=st.floats(0, 700), hours=st.floats(1, 72))
def test_a_run_out_is_a_chance_and_a_range_within_the_time_looked_at(grams: float, hours: float) -> None:
    until = when(0, 14 + hours)
    found = run_out(grams, until)
    assert 0 <= found.this <= found.chance + 1e-9 <= 1 + 1e-6
    assert found.low <= found.best <= found.high
    if found.chance:
        assert micros(NOW) <= found.low
        assert found.high <= micros(until)
