"""Faults: what begins, keeps and ends one, and what its time went to."""

import pytest

from core.entries import AnyEntry
from core.epoch import FAR, HOUR, micros
from core.log.frames import entry_frame
from core.setup import Setup
from core.staffed import Staffed
from core.timeline.facts import facts
from core.timeline.faults import Fault, around, faults
from core.timeline.gaps import find_gaps
from core.timeline.reckon import spells
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, at_a1, look, reckoned, start, tell, when

WINDOW = Window(when(0), when(9))


def went(hour: float, cause: str = "belt", **fields: object) -> AnyEntry:
    return at_a1("WentDown", when(0, hour), cause=cause, **fields)


def back(hour: float, **fields: object) -> AnyEntry:
    return at_a1("CameBack", when(0, hour), **fields)


def came(hour: float, item: str = "fan") -> AnyEntry:
    return tell("StockReceived", when(0, hour), item=item, quantity=1)


def told(*entries: AnyEntry, now: float = 100) -> list[Fault]:
    return faults(reckoned(entries, WINDOW, ROWS).gaps, micros(when(0, now)))


def hours(fault: Fault) -> tuple[float, float]:
    """From and to which hour it lasted."""
    return tuple((moment - micros(when(0))) / HOUR for moment in (fault.began, fault.ended))  # type: ignore[return-value]


def parts(fault: Fault) -> tuple[float, float, float]:
    return fault.diagnosed, fault.waited, fault.mended


def test_a_fault_lasts_from_going_down_to_coming_back() -> None:
    (one,) = told(went(2), back(7))
    assert (one.machine, one.cause, one.spare, hours(one), one.over) == ("A1", "belt", None, (2, 7), True)
    assert parts(one) == (0, 0, 5)
    assert one.hours == 5


# What keeps it and what ends it

WORDS: dict[str, tuple[AnyEntry, float | None]] = {
    "seen down": (look(when(0, 6), "down"), None),
    "parts off": (at_a1("PartsOff", when(0, 6)), None),
    "the parts of a stopped print off": (at_a1("PartsOff", when(0, 6), ended="stopped"), None),
    "a spool": (at_a1("SpoolFitted", when(0, 6), material="petg-black", grams=1000), None),
    "upkeep": (at_a1("UpkeepDone", when(0, 6), task="clean", minutes=15), None),
    "a card": (at_a1("CardLoaded", when(0, 6), card_set="spring", revision=1), None),
    "told again": (went(6), None),
    "came back": (back(6), 6),
    "a start": (start(when(0, 6)), 6),
    "set aside": (at_a1("SetAside", when(0, 6)), 6),
    "put back": (at_a1("PutBack", when(0, 6)), 6),
    "upkeep begun": (look(when(0, 6), "upkeep"), 6),
    # Nobody is ever said to be in: it was back in the middle of the time since the last word.
    "seen empty": (look(when(0, 6), "empty"), 4),
    "seen printing": (look(when(0, 6), "printing"), 4),
}


@pytest.mark.parametrize(("word", "ended"), WORDS.values(), ids=WORDS.keys())
def test_every_word_of_a_machine_that_is_down_keeps_its_fault_or_ends_it(word: AnyEntry, ended: float | None) -> None:
    (one,) = told(start(when(0, 1)), went(2), word)
    assert hours(one)[0] == 2
    assert (hours(one)[1] if one.over else None) == ended


def test_parts_taken_off_leave_it_down_with_its_cause_and_its_spare() -> None:
    story = [start(when(0, 1)), went(2, spare="fan"), at_a1("PartsOff", when(0, 3)), look(when(0, 5), "down"), back(8)]
    (one,) = told(*story)
    assert (one.cause, one.spare, hours(one)) == ("belt", "fan", (2, 8))
    # With the parts on it and without, it is one spell.
    states = spells(reckoned(story, WINDOW).stretches)["state"].to_list()
    assert states == ["no word", "printing", "stopped", "waiting", "empty"]


def test_a_fault_nobody_told_of_begins_where_its_hours_do() -> None:
    (one,) = told(look(when(0, 4), "empty"), look(when(0, 8), "down"), went(10), back(12))
    assert hours(one) == (6, 12)
    assert parts(one) == (4, 0, 2)


def test_a_machine_that_came_back_was_down_though_nobody_said_so() -> None:
    (one,) = told(look(when(0, 4), "empty"), back(8, spares=("fan",)))
    assert (hours(one), one.cause, one.fitted, parts(one)) == ((6, 8), "dont-know", ("fan",), (2, 0, 0))


def test_a_start_ends_a_fault_and_the_next_one_is_another() -> None:
    found = told(
        went(4), start(when(0, 6)), start(when(0, 9)), went(20, "fan"),
        tell("WentDown", when(0, 5), machine="A2", cause="fan"), tell("SetAside", when(0, 8), machine="A2"),
    )  # fmt: skip
    assert [(one.machine, one.cause, one.hours) for one in found] == [
        ("A1", "belt", 2),
        ("A2", "fan", 3),
        ("A1", "fan", 80),
    ]


def test_coming_back_without_having_been_down_is_no_fault() -> None:
    assert told(back(4), came(5)) == []


def test_what_is_down_still_lasts_until_now() -> None:
    (one,) = told(went(4), now=10)
    assert one.ended == FAR
    assert one.hours == 6


# What its time went to


def test_until_the_cause_is_known_it_is_looked_for() -> None:
    (one,) = told(went(2, "dont-know"), went(5, "fan"), back(9))
    assert parts(one) == (3, 0, 4)
    assert one.cause == "fan"


def test_a_cause_nobody_ever_told_is_looked_for_to_the_end() -> None:
    (one,) = told(went(2, "dont-know"), back(9))
    assert parts(one) == (7, 0, 0)


def test_the_wait_for_a_spare_ends_with_its_delivery() -> None:
    story = [went(2, "dont-know"), went(4, "fan", spare="fan"), came(3), came(20, "belt-220"), came(24), back(30)]
    (one,) = told(*story)
    assert parts(one) == (2, 20, 6)
    assert one.spare == "fan"
    lasted = reckoned(story, WINDOW).stretches.filter(state="waiting").select("start", "end").rows()
    assert lasted == [(micros(when(0, 4)), micros(when(0, 24)))]


def test_a_look_on_the_way_does_not_begin_a_wait_anew() -> None:
    story = [went(4, "fan", spare="fan"), came(5), look(when(0, 6), "down"), came(20), back(30)]
    assert parts(told(*story)[0]) == (0, 1, 25)


def test_where_no_delivery_was_noted_it_waited_until_it_came_back() -> None:
    (one,) = told(went(4, spare="fan"), back(30))
    assert parts(one) == (0, 26, 0)


def test_a_spare_that_is_needed_after_all_no_more_is_not_waited_for() -> None:
    (one,) = told(went(4, spare="fan"), went(6), now=10)
    assert (one.spare, one.waits, parts(one)) == (None, False, (0, 2, 4))


@pytest.mark.parametrize(("delivered", "waits"), [((), True), ((came(3),), True), ((came(8),), False)])
def test_a_machine_waits_until_its_spare_is_there(delivered: tuple[AnyEntry, ...], waits: bool) -> None:
    (one,) = told(went(4, spare="fan"), *delivered, now=10)
    assert one.waits is waits


def test_what_went_in_is_what_was_told_or_else_what_was_waited_for() -> None:
    waits = went(2, "fan", spare="fan")
    assert told(waits, back(7))[0].fitted == ("fan",)
    assert told(waits, start(when(0, 7)))[0].fitted == ("fan",)
    assert told(waits, back(7, spares=("belt", "nozzle")))[0].fitted == ("belt", "nozzle")
    assert told(went(2, "fan"), back(7, spares=("fan",)))[0].fitted == ("fan",)
    assert told(went(2, "fan"), back(7))[0].fitted == ()
    assert told(waits, at_a1("SetAside", when(0, 7)))[0].fitted == ()
    assert told(waits)[0].fitted == ()


def test_the_facts_around_a_fault_tell_of_it_alone() -> None:
    story = [start(when(0, 1)), look(when(0, 4), "empty"), look(when(0, 8), "down"), back(12)]
    story += [start(when(0, hour)) for hour in (13, 16)]
    rows = facts(entry_frame(story), Setup(ROWS), EXACT)
    few = around(rows)
    assert few["kind"].to_list() == ["Looked", "Looked", "CameBack", "PrintStarted"]
    gaps = find_gaps(few, Staffed.of(Setup(ROWS), WINDOW), EXACT)
    assert faults(gaps, micros(when(9))) == told(*story, now=9 * 24)
