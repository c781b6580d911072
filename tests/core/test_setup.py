"""Set-up keeps its history."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from core.errors import Refused
from core.setup import (
    ALWAYS,
    TABLES,
    Cause,
    Machine,
    Material,
    PrintFile,
    Rack,
    Setup,
    Shift,
    Shop,
    Spare,
    SpecialDay,
    Supply,
)
from tests.core.larkfield import MONDAY, ROWS

APRIL, MAY_3, JUNE = (datetime(2026, m, d, tzinfo=UTC) for m, d in ((4, 30), (5, 3), (6, 1)))


def clip(revision: int, hours: float, since: datetime = ALWAYS) -> PrintFile:
    return PrintFile(
        file="clip", revision=revision, product="clip", parts=12, hours=hours, grams=60,
        material="petg-black", models=(), since=since,
    )  # fmt: skip


def stands(machine: str, rack: str, place: int, *, since: datetime = ALWAYS, in_service: bool = True) -> Machine:
    return Machine(machine=machine, model="bench-220", rack=rack, place=place, in_service=in_service, since=since)


def test_a_change_of_the_third_of_may_does_not_change_april() -> None:
    setup = Setup([stands("A1", "A", 1), stands("A1", "B", 4, since=MAY_3)])
    assert [setup.get(Machine, "A1", at=at).rack for at in (APRIL, MAY_3, JUNE)] == ["A", "B", "B"]


def test_a_revision_of_the_third_of_may_is_not_the_newest_of_april() -> None:
    setup = Setup([clip(1, 2.0), clip(2, 1.8, since=MAY_3)])
    assert [[f.revision for f in setup.newest_files(at)] for at in (APRIL, MAY_3)] == [[1], [2]]
    assert [setup.file("clip", revision).hours for revision in (1, 2)] == [2.0, 1.8]


def test_a_thing_is_not_there_before_its_first_row() -> None:
    setup = Setup([clip(1, 2.0, since=MAY_3)])
    assert setup.get(PrintFile, "clip", 1, at=APRIL) is None
    assert setup.all(PrintFile, APRIL) == setup.newest_files(APRIL) == []
    assert setup.file("clip", 9) is None


def test_history_counts_by_when_it_holds_and_not_by_when_it_was_noted() -> None:
    late, early = stands("A1", "C", 1, since=JUNE), stands("A1", "B", 1, since=MAY_3)
    setup = Setup([late, early])
    assert setup.get(Machine, "A1", at=JUNE) == late
    assert setup.history(Machine) == [early, late]


def test_of_two_rows_with_the_same_since_the_later_noted_one_counts() -> None:
    wrong, right = stands("A1", "A", 1, since=MAY_3), stands("A1", "A", 2, since=MAY_3)
    assert Setup([wrong, right]).get(Machine, "A1", at=MAY_3) == right


@given(st.permutations([ALWAYS, APRIL, MAY_3, JUNE]), st.sampled_from([APRIL, MAY_3, JUNE]))
def test_the_row_in_force_is_the_last_that_began_by_then(order: list[datetime], at: datetime) -> None:
    rows = [stands("A1", "A", place, since=since) for place, since in enumerate(order, start=1)]
    found = Setup(rows).get(Machine, "A1", at=at)
    assert found is not None
    assert found.since == max(since for since in order if since <= at)


def test_a_machine_out_of_service_is_gone_from_then_on_and_may_come_back() -> None:
    setup = Setup([stands("A1", "A", 1), stands("A1", "A", 1, since=MAY_3, in_service=False),
                   stands("A1", "A", 1, since=JUNE)])  # fmt: skip
    assert [len(setup.machines(at)) for at in (APRIL, MAY_3, JUNE)] == [1, 0, 1]


def test_machines_stand_by_rack_and_place() -> None:
    setup = Setup([Rack(rack="B", name="B"), Rack(rack="A", name="A"), stands("x", "A", 1), stands("y", "B", 2),
                   stands("z", "B", 1), stands("w", "nowhere", 1)])  # fmt: skip
    assert [m.machine for m in setup.machines(MONDAY)] == ["z", "y", "x", "w"]


def test_a_shop_that_is_not_set_up_is_refused_with_the_way_on() -> None:
    with pytest.raises(Refused, match="template FOLDER") as refused:
        Setup().shop(MONDAY)
    assert refused.value.rule == "no_shop"


def test_the_zone_is_the_shops_and_utc_before_there_is_one() -> None:
    assert Setup(ROWS).zone == ZoneInfo("Europe/Dublin")
    assert Setup().zone == ZoneInfo("UTC")


@pytest.mark.parametrize("zone", ["Europe/Larkfield", "", "../etc/passwd", "/etc/localtime", "\0"])
def test_what_is_no_time_zone_is_refused_with_its_name(zone: str) -> None:
    with pytest.raises(ValidationError) as refused:
        Shop(name="Larkfield Hive Fittings", zone=zone)
    assert f"'{zone}' is not a time zone; use a name such as" in str(refused.value)


@pytest.mark.parametrize("table", TABLES)
def test_rows_never_change_and_have_no_other_fields(table: str) -> None:
    assert TABLES[table].model_config["frozen"]
    with pytest.raises(ValidationError, match="nonsense"):
        TABLES[table].model_validate({"nonsense": 1})


@pytest.mark.parametrize("table", TABLES)
def test_the_fields_that_name_a_thing_are_fields_of_its_row(table: str) -> None:
    assert set(TABLES[table].key) <= TABLES[table].model_fields.keys()


def test_a_row_cannot_be_changed() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        clip(1, 2.0).hours = 3.0


def test_times_of_a_row_are_kept_in_utc() -> None:
    local = datetime(2026, 5, 3, 0, 0, tzinfo=ZoneInfo("Europe/Dublin"))
    assert clip(1, 2.0, since=local).since == datetime(2026, 5, 2, 23, tzinfo=UTC)
    assert clip(1, 2.0, since=local).since.tzinfo is UTC
    with pytest.raises(ValidationError, match="timezone"):
        clip(1, 2.0, since=datetime(2026, 5, 3))  # noqa: DTZ001


def test_several_codes_are_one_text_joined_by_semicolons() -> None:
    spare = Spare(spare="belt", name="Belt", models="bench-220 ; bench-300")
    assert spare.models == ("bench-220", "bench-300")
    assert spare.model_dump()["models"] == "bench-220; bench-300"
    assert Spare.model_validate_json(spare.model_dump_json()) == spare


@pytest.mark.parametrize(("start", "end"), [(time(8), None), (None, time(12))])
def test_a_special_day_has_both_times_or_none(start: time | None, end: time | None) -> None:
    with pytest.raises(ValidationError, match="give both start and end, or neither"):
        SpecialDay(day=date(2026, 3, 17), start=start, end=end)


@pytest.mark.parametrize(
    ("row", "values"),
    [
        (Shop, {"name": "Larkfield", "zone": "UTC", "planning_downtime": 1}),
        (Shop, {"name": "Larkfield", "zone": "UTC", "word_holds": 0}),
        (Shift, {"weekday": "Montag", "start": "08:00", "end": "16:00", "hands": 1}),
        (Shift, {"weekday": "mon", "start": "08:00", "end": "16:00", "hands": -1}),
        (Cause, {"about": "down", "cause": "belt", "name": "Belt", "place": 9}),
        (Supply, {"supply": "box", "name": "Box", "price": -1}),
    ],
)
def test_a_value_that_cannot_be_is_refused(row: type[Shop], values: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        row.model_validate(values)


def test_a_stock_item_is_a_material_a_spare_or_a_supply() -> None:
    setup = Setup(ROWS)
    kinds = [type(setup.item(code, MONDAY)) for code in ("petg-black", "belt-220", "box-s", "nothing")]
    assert kinds == [Material, Spare, Supply, type(None)]


def test_causes_stand_in_their_fixed_places() -> None:
    second, first = (Cause(about="down", cause=c, name=c, place=p) for c, p in (("belt", 2), ("nozzle", 1)))
    scrap = Cause(about="scrap", cause="warped", name="warped", place=1)
    assert Setup([second, scrap, first]).causes("down", MONDAY) == [first, second]
