"""The sentences of the floor pages."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from core.entries import KINDS, CameBack, EntryVoided, Looked, PartsOff, PrintStarted, SpoolFitted, UpkeepDone, WentDown
from core.estimate import Estimate
from core.floor.types import Expected, FileChoice
from core.reading.types import Due, MachineNow, SpoolNow
from core.timeline.possible import ACTS
from dashboard.words import acts, names, owner_words, receipt_words
from dashboard.words import floor_words as say
from dashboard.words.written import Clock

NOW = datetime(2026, 11, 25, 11, 42, tzinfo=UTC)
CLOCK = Clock(ZoneInfo("Europe/Dublin"), NOW)
NAMES = names.Names(
    products={"entrance-block": "Entrance block"},
    materials={"petg-green": "PETG green"},
    down={"fan": "Fan noisy or stopped"},
    scrap={"warped": "Warped"},
    spares={"fan": "Cooling fan"},
    tasks={"clean-oil": "Clean and oil"},
    people={"ro": "Rory"},
    models={},
    racks={},
)
FILE = FileChoice(
    file="F-002",
    revision=1,
    product="entrance-block",
    name="Entrance block",
    parts=12,
    hours=6.6,
    grams=138,
    material="petg-green",
    lasts=None,
)
STAMP = {"at": NOW, "noted_at": NOW, "by": "ro", "machine": "P07"}


def now(**changes):
    plain = {
        "machine": "P07", "model": "bench-220", "rack": "A", "place": 7, "state": "empty", "basis": "reckoned",
        "since": at(6, 10), "due": None, "file": None, "revision": None, "product": None, "parts": None,
        "last_file": None, "last_revision": None, "cause": None, "spare": None, "last_word": at(6, 10),
    }  # fmt: skip
    return MachineNow.model_validate(plain | changes)


def at(hour, minute=0, day=25):
    return datetime(2026, 11, day, hour, minute, tzinfo=UTC)


PRINTING = {
    "state": "printing",
    "file": "F-002",
    "product": "entrance-block",
    "parts": 12,
    "due": Due(low=at(11), best=at(11, 40), high=at(12)),
}


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (PRINTING, "Printing since 06:10 - 12\N{NO-BREAK SPACE}x Entrance block - due off about 11:40"),
        ({"state": "done", "since": at(10, 5)}, "Done since about 10:05 (reckoned)"),
        ({"state": "done", "basis": "seen"}, "Done, seen 06:10"),
        ({"since": at(6, 10, 23), "last_word": at(6, 10, 23)}, "Empty since Mon 06:10"),
        ({"state": "no word", "basis": "no word", "last_word": at(10, 20, 24)}, "No word since Tue 10:20"),
        ({"state": "no word", "basis": "no word", "last_word": None}, "No word yet"),
        ({"state": "down", "basis": "seen", "cause": "fan"}, "Down since 06:10 - Fan noisy or stopped"),
        (
            {"state": "waiting", "basis": "seen", "cause": "dont-know", "spare": "fan"},
            "Waiting for a spare since 06:10 - Cooling fan",
        ),
        (
            {"state": "waiting", "basis": "seen", "cause": "fan", "spare": "fan"},
            "Waiting for a spare since 06:10 - Cooling fan - Fan noisy or stopped",
        ),
    ],
)
def test_the_state_of_a_machine_is_one_line(fields, sentence):
    assert say.state_line(now(**fields), CLOCK, NAMES) == sentence


@pytest.mark.parametrize(
    ("entries", "sentence"),
    [
        (
            [PartsOff(**STAMP), PrintStarted(**STAMP, file="F-002", revision=1)],
            "P07 recorded 11:42: 12 good, next started: F-002.",
        ),
        (
            [PartsOff(**STAMP, scrap=2, scrap_cause="warped")],
            "P07 recorded 11:42: 10 good, 2 scrap (Warped).",
        ),
        (
            [PartsOff(**STAMP, scrap=12, scrap_cause="dont-know", ended="stopped")],
            "P07 recorded 11:42: print failed, 12 scrap (Don't know yet).",
        ),
        (
            [WentDown(**STAMP, cause="fan", spare="fan")],
            "P07 recorded 11:42: down, Fan noisy or stopped, waits for Cooling fan.",
        ),
        ([SpoolFitted(**STAMP, material="petg-green", grams=750)], "P07 recorded 11:42: spool PETG green, 750 g."),
        ([CameBack(**STAMP)], "P07 recorded 11:42: running again."),
        ([CameBack(**STAMP, spares=("fan",))], "P07 recorded 11:42: running again, 1 x Cooling fan."),
        ([UpkeepDone(**STAMP, task="clean-oil", minutes=20)], "P07 recorded 11:42: upkeep, Clean and oil, 20 min."),
        (
            [UpkeepDone(**STAMP, task="clean-oil", minutes=210, spares=("fan", "fan"))],
            "P07 recorded 11:42: upkeep, Clean and oil, 3 h 30, 2 x Cooling fan.",
        ),
        (
            [Looked(**STAMP | {"at": NOW - timedelta(minutes=30)}, saw="empty")],
            "P07 recorded 11:42 for 11:12: seen empty.",
        ),
    ],
)
def test_a_receipt_says_what_was_recorded(entries, sentence):
    assert receipt_words.receipt(entries, 12, CLOCK, NAMES) == sentence


def test_a_count_nobody_knows_is_not_made_up():
    assert receipt_words.receipt([PartsOff(**STAMP)], None, CLOCK, NAMES) == "P07 recorded 11:42: parts off, all good."


def test_every_kind_that_names_a_machine_has_words_of_its_own():
    spoken = {kind: receipt_words.told(entry, None, NAMES) for kind, entry in every_entry().items()}
    assert [kind for kind, said in spoken.items() if said == kind] == []


def every_entry():
    fields = {
        "file": "F-002", "revision": 1, "saw": "done", "cause": "fan", "material": "petg-green", "grams": 1000.0,
        "task": "clean-oil", "minutes": 20.0, "card_set": "C1",
    }  # fmt: skip
    return {
        name: kind(**STAMP, **{key: value for key, value in fields.items() if key in kind.model_fields})
        for name, kind in KINDS.items()
        if "machine" in kind.model_fields and kind is not EntryVoided
    }


@pytest.mark.parametrize("act", sorted({act for acts_of in ACTS.values() for act in acts_of}))
def test_every_possible_act_has_words_and_either_records_or_asks(act):
    label, _ = say.act_label(act, 12, FILE)
    assert label[0].isupper()
    assert act in say.ASKS or act in ("back", "set_aside", "put_back", "started_same", "upkeep_begun")


def test_the_likeliest_act_names_the_count_and_the_next_file():
    assert say.act_label("off_next", 12, FILE) == ("Parts off, all 12 good", "next one started: F-002")
    assert say.act_label("off", None, None) == ("Parts off, all good", "left empty")


def test_an_act_says_that_its_print_is_on_the_loading_list():
    assert say.act_label("off_planned", 12, FILE) == ("Parts off, all 12 good", "on the list, started: F-002")
    assert say.act_label("started_planned", None, FILE) == ("F-002 started", "on the list: 12 x Entrance block")
    same = say.act_label("off_next", 12, FILE, as_listed=True)
    assert same == ("Parts off, all 12 good", "next one started: F-002, as on the list")
    again = say.act_label("started_same", None, FILE, as_listed=True)
    assert again == ("Print started", "F-002 again, 12 x Entrance block, as on the list")


def test_a_button_says_why_the_spool_is_asked_about():
    other = SpoolNow(material="petg-grey", since=None, left=Estimate.exact(700.0))
    short = other.model_copy(update={"material": "petg-green", "left": Estimate.exact(60.0)})
    assert say.spool_short("off_next", FILE, short) == "next: F-002, the spool may be too short"
    assert say.spool_short("off_planned", FILE, other) == "on the list: F-002, another spool"
    assert say.spool_short("started_planned", FILE, short) == "on the list: F-002, the spool may be too short"


def test_a_revision_shows_from_the_second_on():
    assert say.file_name(FILE.model_copy(update={"revision": 2})) == "F-002 rev 2"


def test_a_tile_says_what_was_seen_else_what_should_be_else_asks():
    machine = Expected(machine="P07", place=7, state="done", expected="done", due=None)
    unknown = machine.model_copy(update={"state": "no word", "expected": None})
    assert say.sight_label(machine, None) == ("P07", "done")
    assert say.sight_label(unknown, None) == ("P07", "ask")
    assert say.sight_label(unknown, "empty") == ("P07 \N{CHECK MARK}", "empty")


@pytest.mark.parametrize(
    ("codes", "left", "seen", "label"),
    [
        (["P01", "P02"], 2, 0, "All 2 are as expected"),
        (["P01", "P02"], 2, 1, "The other 2 are as expected"),
        (["P01"], 1, 3, "P01 is as expected"),
        (["P01", "P12"], 20, 0, "P01 to P12 are as expected"),
    ],
)
def test_the_bulk_button_says_for_whom_it_speaks(codes, left, seen, label):
    assert say.bulk_label(codes, left, seen) == label


def test_a_round_receipt_names_one_machine_and_counts_many():
    looks = [Looked(**STAMP, saw="empty", round=uuid4())] * 3
    assert receipt_words.round_receipt(looks[:1], CLOCK) == "Recorded 11:42: P07 empty."
    assert receipt_words.round_receipt(looks, CLOCK) == "Recorded 11:42: 3 as expected."


def test_states_have_the_words_of_the_house():
    assert set(ACTS) == set(owner_words.STATE_WORDS)
    assert acts.SPOOLS[0] == 1000
