"""What can be noted at a machine, and what a round should find there."""

from typing import get_args

import pytest

from core.entries import AnyEntry, Sight
from core.epoch import micros
from core.habits.silences import Silences
from core.timeline.possible import acts, expected_sight
from core.timeline.questions import questions
from core.timeline.reckon import STATES, Reckoned
from core.timeline.standing import standing
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, when

NOW = when(1, 12)

#: A story of A1 for every state it can be in at noon of the second day; a vent grille takes a day.
STORIES: dict[str, list[AnyEntry]] = {
    "printing": [start(when(1))],
    "proving": [start(when(1), proving=True)],
    "done": [start(when(0))],
    "stopped": [start(when(1)), look(when(1, 6), "stopped")],
    "empty": [start(when(0)), at_a1("PartsOff", when(1, 6))],
    "upkeep": [look(when(1), "empty"), look(when(1, 6), "upkeep")],
    "down": [at_a1("WentDown", when(1), cause="belt")],
    "waiting": [at_a1("WentDown", when(1), cause="belt", spare="belt-220")],
    "aside": [at_a1("SetAside", when(1))],
    "no word": [],
}
PARTS_THERE = {"printing", "proving", "done", "stopped"}
REMOVALS = {"off_next", "off", "off_scrap", "failed"}
STARTS = {"started_same", "started_other"}


def told(*entries: AnyEntry) -> tuple[str, Reckoned]:
    """The state A1 is in an hour after noon, and what that comes from."""
    found = reckoned(entries, Window(when(0), when(1, 13)))
    return standing(found)["state"].item(), found


def test_there_is_a_story_for_every_state() -> None:
    assert {state: told(*story)[0] for state, story in STORIES.items()} == {state: state for state in STATES}


@pytest.mark.parametrize("state", STATES)
def test_every_state_offers_something_and_nothing_twice(state: str) -> None:
    offered = acts(state)
    assert offered
    assert len(set(offered)) == len(offered)


@pytest.mark.parametrize("state", STATES)
def test_prints_start_where_nothing_is_known_to_be_on_the_platform(state: str) -> None:
    assert bool(set(acts(state)) & STARTS) == (state in {"empty", "upkeep", "no word"})


@pytest.mark.parametrize("state", STATES)
def test_parts_come_off_where_there_can_be_some_a_forgotten_start_among_them(state: str) -> None:
    assert bool(set(acts(state)) & REMOVALS) == (state in PARTS_THERE | {"empty", "no word"})


@pytest.mark.parametrize("state", STATES)
def test_a_machine_goes_down_once_and_comes_back_from_there_alone(state: str) -> None:
    offered = set(acts(state))
    is_down = state in {"down", "waiting"}
    assert ("back" in offered) == is_down
    assert ("down" in offered) == (not is_down and state != "aside")


def test_a_machine_set_aside_can_only_be_put_back() -> None:
    assert acts("aside") == ("put_back",)
    assert [state for state in STATES if "put_back" in acts(state)] == ["aside"]


def test_a_machine_that_waits_for_its_spare_is_not_asked_for_it_again() -> None:
    assert "waits_for_spare" in acts("down")
    assert "waits_for_spare" not in acts("waiting")


def test_only_a_stopped_print_goes_on_with_a_new_spool() -> None:
    assert [state for state in STATES if "goes_on" in acts(state)] == ["stopped"]


@pytest.mark.parametrize(
    ("state", "first"),
    [("done", "off_next"), ("stopped", "failed"), ("empty", "started_same"), ("down", "back"), ("upkeep", "upkeep")],
)
def test_the_most_likely_comes_first(state: str, first: str) -> None:
    assert acts(state)[0] == first


def test_nobody_knows_what_a_machine_of_no_word_does_and_nobody_looks_at_one_set_aside() -> None:
    assert [state for state in STATES if expected_sight(state) is None] == ["aside", "no word"]


@pytest.mark.parametrize("state", [state for state in STATES if state not in ("aside", "no word")])
def test_a_round_that_finds_what_it_expects_changes_nothing(state: str) -> None:
    sight = expected_sight(state)
    assert sight in get_args(Sight)
    after, found = told(*STORIES[state], look(NOW, sight))
    assert after == state
    assert questions(found, micros(when(0)), [], ["belt"], Silences(), micros(when(0))) == []
