"""Facts: a visit's taps in the order in which its work must have gone, and what is told from memory."""

import math
from datetime import datetime, timedelta

import pytest

from core.entries import AnyEntry
from core.habits.learned import Learned
from core.log.frames import entry_frame
from core.setup import Setup
from core.timeline.facts import facts
from tests.core.larkfield import ROWS, at_a1, look, start, when


def at(hour: float, minutes: float = 0) -> datetime:
    return when(0, hour, minutes)


def off(hour: float, minutes: float = 0) -> AnyEntry:
    return at_a1("PartsOff", at(hour, minutes))


def told(*entries: AnyEntry) -> list[tuple[str, str]]:
    """What the facts leave, in their order, with the kind of each."""
    rows = facts(entry_frame(entries), Setup(ROWS), Learned())
    return list(zip(rows["kind"], rows["leaves"], strict=True))


START, OFF = ("PrintStarted", "printing"), ("PartsOff", "empty")

# A clip was started at six and is done at eight.
MISPLACED: dict[str, list[AnyEntry]] = {
    "done, told after the next start": [start(at(6)), off(9), start(at(9, 2)), look(at(9, 10), "done")],
    "empty, told after the next start": [start(at(6)), off(9), start(at(9, 2)), look(at(9, 10), "empty")],
    "done, told after the removal": [start(at(6)), off(9), look(at(9, 10), "done"), start(at(9, 15))],
    "printing, told before the start": [start(at(6)), off(9), look(at(9, 5), "printing"), start(at(9, 20))],
    "empty, told before the removal": [start(at(6)), look(at(8, 50), "empty"), off(9), start(at(9, 2))],
}


@pytest.mark.parametrize("story", MISPLACED.values(), ids=MISPLACED.keys())
def test_a_look_told_on_the_wrong_side_of_a_change_is_left_out(story: list[AnyEntry]) -> None:
    assert told(*story) == [START, OFF, START]


KEPT: dict[str, list[AnyEntry]] = {
    "a print that stopped at once": [start(at(9)), look(at(9, 10), "stopped")],
    "a start that nobody noted": [start(at(6)), off(9), look(at(9, 10), "printing")],
    "printing half an hour before a start": [start(at(6)), off(9), look(at(9, 10), "printing"), start(at(9, 45))],
    "empty half an hour before a removal": [start(at(6)), look(at(8, 20), "empty"), off(9)],
    "done half an hour after a start": [start(at(6)), look(at(6, 30), "done")],
}


@pytest.mark.parametrize("story", KEPT.values(), ids=KEPT.keys())
def test_a_look_that_may_be_right_is_kept(story: list[AnyEntry]) -> None:
    assert [kind for kind, _ in told(*story)] == [type(entry).__name__ for entry in story]


def test_a_removal_told_after_the_next_start_was_seen_printing_is_put_before_it() -> None:
    story = [start(at(6)), start(at(9)), look(at(9, 5), "printing"), off(9, 20)]
    assert told(*story) == [START, OFF, START, ("Looked", "printing")]


@pytest.mark.parametrize(("late", "half"), [(4, 0), (10, 10), (30, 15), (60, 30), (600, 30)])
def test_what_is_told_from_memory_may_lie_half_a_step_off(late: int, half: int) -> None:
    entry = start(at(9), noted_at=at(9) + timedelta(minutes=late))
    (blur,) = facts(entry_frame([entry]), Setup(ROWS), Learned())["blur"]
    # Evenly spread over half a step to either side.
    assert blur == pytest.approx(half / 60 / math.sqrt(3))


def test_a_machine_carries_what_was_last_told_of_it() -> None:
    spool = at_a1("SpoolFitted", at(12), material="petg-grey", grams=1000)
    story = [look(at(5), "empty"), start(at(6)), off(9), spool, off(13), look(at(11, 45), "empty")]
    rows = facts(entry_frame(story), Setup(ROWS), Learned())
    assert rows["loaded"].to_list() == [None, "petg-black", "petg-black", "petg-black", "petg-grey"]
    # What it is to carry counts where it is told within half an hour.
    assert rows["loads"].to_list() == [None, "petg-black", None, "petg-grey", None]


def test_a_return_told_after_the_next_start_is_put_before_it() -> None:
    down = at_a1("WentDown", at(6), cause="nozzle")
    story = [down, start(at(9)), at_a1("CameBack", at(9, 20)), off(15)]
    assert told(*story) == [("WentDown", "down"), ("CameBack", "empty"), START, OFF]
    # Much later it is another story: that the machine had gone down meanwhile nobody noted.
    late = [down, start(at(9)), at_a1("CameBack", at(12)), off(15)]
    assert told(*late)[1:3] == [START, ("CameBack", "empty")]


def spool(hour: float, minutes: float = 0) -> AnyEntry:
    return at_a1("SpoolFitted", at(hour, minutes), material="petg-black", grams=1000)


@pytest.mark.parametrize("before", [[], [look(at(8), "printing")]], ids=["no look", "seen printing"])
def test_a_spool_fitted_in_the_midst_of_a_print_says_that_it_had_run_out(before: list[AnyEntry]) -> None:
    rows = facts(entry_frame([start(at(6)), *before, spool(12), off(20)]), Setup(ROWS), Learned())
    fitted = rows.filter(rows["kind"] == "SpoolFitted")
    assert (fitted["found"].to_list(), fitted["leaves"].to_list()) == (["stopped"], ["printing"])


@pytest.mark.parametrize(
    "story",
    [
        [start(at(6)), spool(19, 45), off(20)],
        [start(at(6)), spool(6, 20), off(20)],
        [start(at(6)), look(at(11), "done"), spool(12), off(20)],
        [start(at(6)), off(11), spool(12), start(at(13))],
    ],
    ids=["as the parts come off", "as it starts", "after it was seen done", "on an empty machine"],
)
def test_other_spools_tell_nothing_of_what_a_machine_did(story: list[AnyEntry]) -> None:
    assert "SpoolFitted" not in [kind for kind, _ in told(*story)]
