"""What Pydantic says, said to a person."""

from datetime import UTC, datetime

import pytest
from pydantic import ValidationError

from core.entries import KINDS, entry_adapter
from core.log.sentences import rule_of, sentence_of
from core.setup import Machine, Material, Shop, SpecialDay, Supply

TOLD = {"at": datetime(2025, 5, 5, tzinfo=UTC), "noted_at": datetime(2025, 5, 5, tzinfo=UTC), "by": "RT"}
START = {**TOLD, "kind": "PrintStarted", "machine": "A1", "file": "block", "revision": 1}
LOOKED = {**TOLD, "kind": "Looked", "machine": "A1", "saw": "done"}
AIR = {**TOLD, "kind": "AirRead", "place": "by the door"}


def fault(make, *args, **values) -> ValidationError:
    with pytest.raises(ValidationError) as caught:
        make(*args, **values)
    return caught.value


@pytest.mark.parametrize(
    ("entry", "rule", "sentence"),
    [
        (START | {"revision": "0"}, "bad_revision", "revision is '0': it must be 1 or more"),
        (START | {"revision": "1.5"}, "bad_revision", "revision is '1.5': it must be a whole number"),
        (START | {"revision": 1.5}, "bad_revision", "revision is '1.5': it must be a whole number"),
        (START | {"proving": "perhaps"}, "bad_proving", "proving is 'perhaps': it must be yes or no"),
        (START | {"machine": " "}, "missing_machine", "machine is empty: fill it in"),
        (START | {"machine": 7}, "bad_machine", "machine is '7': it must be text"),
        (START | {"file": "f" * 61}, "bad_file",
         f"file is '{'f' * 40}...': it must be 60 characters or fewer"),
        (START | {"grams": 3}, "unknown_grams",
         "grams is '3': a PrintStarted has no grams, so leave it empty"),
        (LOOKED | {"saw": "asleep"}, "bad_saw",
         "saw is 'asleep': it must be 'printing', 'done', 'stopped', 'empty', 'down' or 'upkeep'"),
        (LOOKED | {"round": "x"}, "bad_round",
         "round is 'x': it must be an id such as 6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11"),
        (AIR | {"celsius": "99"}, "bad_celsius", "celsius is '99': it must be 80 or less"),
        (AIR | {"celsius": "12,5"}, "bad_celsius", "celsius is '12,5': it must be a number such as 12.5"),
        (AIR | {"pm25_ug_m3": "nan"}, "bad_pm25_ug_m3", "pm25_ug_m3 is 'nan': it must be a number"),
        (AIR | {"at": "today"}, "bad_at",
         "at is 'today': it must be a time such as 2026-05-03T14:30:00+02:00"),
        (AIR | {"at": "2025-05-05T08:00"}, "bad_at",
         "at is '2025-05-05T08:00': it must be a time with its offset, such as 2026-05-03T14:30:00+02:00"),
        ({"kind": "Lookd"}, "bad_kind", f"kind is 'Lookd': it must be one of {', '.join(KINDS)}"),
        ({}, "missing_kind", "kind is empty: fill it in"),
    ],
)  # fmt: skip
def test_a_fault_of_an_entry_is_one_plain_sentence(entry, rule, sentence):
    error = fault(entry_adapter.validate_python, entry)
    assert rule_of(error) == rule
    assert sentence_of(error) == f"{sentence}; correct it and send it again."


@pytest.mark.parametrize(
    ("table", "values", "rule", "sentence"),
    [
        (Supply, {"supply": "tape", "name": "Tape", "lead_days": "0"}, "bad_lead_days",
         "lead_days is '0': it must be more than 0"),
        (Supply, {"supply": "tape", "name": "Tape", "pack": "-5"}, "bad_pack", "pack is '-5': it must be more than 0"),
        (Material, {"material": "petg", "name": "PETG", "pack": "1"}, "bad_pack", "pack is '1': it must be 50 or more"),
        (Shop, {"name": "Larkfield", "zone": "Larkfield"}, "bad_zone",
         "'Larkfield' is not a time zone; use a name such as Europe/Dublin"),
        (Shop, {"name": "Larkfield", "zone": "UTC", "planning_downtime": 1}, "bad_planning_downtime",
         "planning_downtime is '1': it must be less than 1"),
        (Shop, {"name": "Larkfield", "zone": "UTC", "word_holds": 0}, "bad_word_holds",
         "word_holds is '0': it must be more than 0"),
        (SpecialDay, {"day": "24.12.2025"}, "bad_day",
         "day is '24.12.2025': it must be a date such as 2026-05-03"),
        (SpecialDay, {"day": "2025-12-24", "start": "08:00"}, "bad_row",
         "give both start and end, or neither for a day off"),
        (Machine, {"machine": "A1", "rack": "A", "place": 1, "model": "m", "colour": "red"}, "unknown_colour",
         "colour is 'red': this table has no colour, so leave it empty"),
    ],
)  # fmt: skip
def test_a_fault_of_a_set_up_row_is_one_plain_sentence(table, values, rule, sentence):
    error = fault(table, **values)
    assert rule_of(error) == rule
    assert sentence_of(error, then="correct row 2") == f"{sentence}; correct row 2."


def test_several_faults_stand_in_one_sentence():
    error = fault(Machine, machine="A1", model="", rack="A", place="first")
    assert sentence_of(error) == (
        "model is empty: fill it in; place is 'first': it must be a whole number; correct it and send it again."
    )
