"""Check-ins: one class a kind, never changed, in UTC."""

from datetime import UTC, datetime, timedelta, timezone
from uuid import UUID

import pytest
from pydantic import ValidationError

from core.entries import KINDS, SAME_MOMENT, AtMachine, Entry, Looked, UpkeepDone, columns, entry_adapter, moment
from tests.core.larkfield import LEAST, STAMP, at_a1, look, start, when


def made(kind: str, **fields: object) -> Entry:
    return entry_adapter.validate_python({**STAMP, **LEAST[kind], "kind": kind, **fields})


def test_every_kind_stands_in_this_table() -> None:
    assert LEAST.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", KINDS)
def test_the_kind_says_which_class_an_entry_is_and_it_survives_json(kind: str) -> None:
    entry = made(kind)
    assert type(entry) is KINDS[kind]
    assert entry_adapter.validate_json(entry.model_dump_json()) == entry


@pytest.mark.parametrize("kind", KINDS)
def test_an_entry_never_changes(kind: str) -> None:
    with pytest.raises(ValidationError, match="frozen"):
        made(kind).by = "JO"


@pytest.mark.parametrize("kind", KINDS)
def test_a_field_nobody_knows_is_refused(kind: str) -> None:
    with pytest.raises(ValidationError, match="colour"):
        made(kind, colour="black")


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_kind_must_say_cannot_be_left_out(kind: str) -> None:
    for name in [*STAMP, *LEAST[kind]]:
        told = {**STAMP, **LEAST[kind], "kind": kind}
        del told[name]
        missing = name in STAMP or KINDS[kind].model_fields[name].is_required()
        if missing:
            with pytest.raises(ValidationError, match=name):
                entry_adapter.validate_python(told)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(ValidationError, match="Printed"):
        entry_adapter.validate_python({**STAMP, "kind": "Printed", "machine": "A1"})


def test_times_are_kept_in_utc_whatever_offset_they_came_with() -> None:
    local = datetime(2026, 5, 3, 14, tzinfo=timezone(timedelta(hours=2)))
    entry = look(local, "done")
    assert entry.at == entry.noted_at == datetime(2026, 5, 3, 12, tzinfo=UTC)
    assert entry.at.tzinfo is UTC


def test_a_time_without_an_offset_is_refused() -> None:
    with pytest.raises(ValidationError, match="timezone"):
        made("CameBack", at="2026-03-02T09:00:00")


def test_every_entry_gets_an_id_of_its_own_unless_it_brings_one() -> None:
    assert made("CameBack").id != made("CameBack").id
    given = UUID("6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11")
    assert made("CameBack", id=str(given)).id == given


def test_several_codes_are_one_text_joined_by_semicolons() -> None:
    upkeep = made("UpkeepDone", spares="belt-220; nozzle-04 ;")
    assert isinstance(upkeep, UpkeepDone)
    assert upkeep.spares == ("belt-220", "nozzle-04")
    assert upkeep.model_dump()["spares"] == "belt-220; nozzle-04"
    assert made("UpkeepDone", spares=upkeep.model_dump()["spares"]).spares == upkeep.spares


@pytest.mark.parametrize(
    ("kind", "field", "value"),
    [
        ("PrintStarted", "revision", 0),
        ("PartsOff", "scrap", -1),
        ("PartsOff", "scrap", 1.5),
        ("PartsOff", "on_platform", 1_000_001),
        ("PartsOff", "ended", "failed"),
        ("Looked", "saw", "idle"),
        ("SpoolFitted", "grams", -1),
        ("SpoolFitted", "grams", float("nan")),
        ("SpoolFitted", "grams", float("inf")),
        ("UpkeepDone", "minutes", 1e6),
        ("AirRead", "humidity_pct", 101),
        ("AirRead", "celsius", -41),
        ("CameBack", "machine", "  "),
        ("CameBack", "machine", "A" * 61),
        ("CameBack", "note", "x" * 501),
        ("EntryVoided", "which", "A1"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_its_field(kind: str, field: str, value: object) -> None:
    with pytest.raises(ValidationError) as refused:
        made(kind, **{field: value})
    assert field in refused.value.errors()[0]["loc"]


def test_codes_lose_the_blanks_around_them() -> None:
    assert made("CameBack", machine=" A1 ").machine == "A1"


def test_the_columns_are_every_field_of_every_kind_once() -> None:
    assert columns()[:7] == ["kind", "id", "at", "noted_at", "arrived_at", "by", "machine"]
    assert len(columns()) == len(set(columns()))
    assert set(columns()) == {name for kind in KINDS.values() for name in kind.model_fields}


def test_two_entries_of_one_moment_stand_in_the_order_of_a_visit() -> None:
    nine = when(hours=9)
    visit = [look(nine, "done"), at_a1("PartsOff", nine), at_a1("SpoolFitted", nine, material="petg-black", grams=1000),
             start(nine), look(nine, "printing")]  # fmt: skip
    backwards = list(reversed(visit))
    assert sorted(backwards, key=moment) == visit


def test_an_entry_of_an_earlier_moment_comes_first_whatever_it_is() -> None:
    assert moment(start(when(hours=8))) < moment(at_a1("PartsOff", when(hours=9)))


def test_ties_of_one_kind_go_by_id_and_not_by_order_of_writing() -> None:
    low, high = (look(when(hours=9), "done", id=UUID(int=number)) for number in (1, 2))
    assert sorted([high, low], key=moment) == [low, high]


def test_every_telling_kind_has_its_place_in_a_moment() -> None:
    sights = {f"Looked {saw}" for saw in Looked.model_fields["saw"].annotation.__args__}
    told = {name for name, kind in KINDS.items() if issubclass(kind, AtMachine) and name != "Looked"}
    assert set(SAME_MOMENT) == sights | told
