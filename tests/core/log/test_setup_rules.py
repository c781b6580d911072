"""What set-up rows must satisfy together."""

from datetime import UTC, datetime, time

import pytest

from core.log.setup_rules import RULES, check
from core.setup import (
    Machine,
    Material,
    Model,
    PrintFile,
    Product,
    Rack,
    Setup,
    Shift,
    Spare,
    SpecialDay,
    Supply,
    UpkeepTask,
)

MAY, JUNE = (datetime(2025, month, 1, tzinfo=UTC) for month in (5, 6))

ROOM = [
    Model(model="bench-220", name="Bench 220"),
    Rack(rack="A", name="Rack A"),
    Machine(machine="A1", model="bench-220", rack="A", place=1),
    Material(material="petg", name="PETG"),
    Product(product="block", name="Block"),
]
FILE = PrintFile(
    file="block-x6", revision=1, product="block", parts=6, hours=6, grams=186, material="petg",
    models=("bench-220",),
)  # fmt: skip


def machine(code: str, place: int, **other: object) -> Machine:
    return Machine(**{"machine": code, "model": "bench-220", "rack": "A", "place": place} | other)


def broken(*rows, known=()) -> list[tuple[int, str]]:
    return [(found.index, found.rule) for found in check(Setup(known), rows)]


def test_rows_that_fit_together_are_taken_in_any_order():
    assert broken(FILE, *reversed(ROOM)) == []
    assert broken(FILE, machine("A2", 2), known=ROOM) == []


@pytest.mark.parametrize(
    ("row", "code", "table"),
    [
        (machine("A2", 2, model="bench"), "bench", "models"),
        (machine("A2", 2, rack="Z"), "Z", "racks"),
        (FILE.model_copy(update={"product": "clip"}), "clip", "products"),
        (FILE.model_copy(update={"material": "pla"}), "pla", "materials"),
        (FILE.model_copy(update={"models": ("bench-220", "bench")}), "bench", "models"),
        (Spare(spare="nozzle", name="Nozzle", models=("bench",)), "bench", "models"),
        (UpkeepTask(task="clean", name="Clean", models=("bench",)), "bench", "models"),
        (UpkeepTask(task="clean", name="Clean", spare="cloth"), "cloth", "spares"),
    ],
)
def test_what_a_row_names_must_be_known(row, code, table):
    (found,) = check(Setup(ROOM), [row])
    assert found.rule == "refers_to_known_things"
    assert f"'{code}', which {table} does not have" in found.sentence


def test_a_row_that_leans_on_a_bad_row_is_bad_as_well():
    rows = (Material(material="nozzle", name="Nozzle?"), FILE.model_copy(update={"material": "nozzle"}))
    known = [*ROOM, Spare(spare="nozzle", name="Nozzle")]
    assert broken(*rows, known=known) == [(0, "one_item_a_code"), (1, "refers_to_known_things")]


def test_two_machines_cannot_stand_in_one_place():
    (found,) = check(Setup(ROOM), [machine("A2", 1, since=MAY)])
    assert found.rule == "one_machine_a_place"
    assert found.sentence == ("Place 1 of rack A would hold A1 and A2 from 2025-05-01: give one of them another place.")
    assert broken(*ROOM, machine("A2", 2), machine("A3", 2)) == [(6, "one_machine_a_place")]


def test_a_place_is_free_once_its_machine_moved_or_left():
    moved = machine("A1", 4, since=MAY)
    gone = machine("A1", 1, in_service=False, since=MAY)
    assert broken(machine("A2", 1, since=MAY), moved, known=ROOM) == []
    assert broken(gone, machine("A2", 1, since=MAY), known=ROOM) == []
    assert broken(gone, machine("A2", 1), known=ROOM) == [(1, "one_machine_a_place")]


def test_two_machines_may_change_places():
    known = [*ROOM, machine("A2", 2)]
    assert broken(machine("A1", 2, since=MAY), machine("A2", 1, since=MAY), known=known) == []


def test_a_new_row_is_bad_that_stands_where_another_machine_is_due_later():
    known = [*ROOM, machine("A1", 4, since=JUNE)]
    assert broken(machine("A2", 4, since=MAY), known=known) == [(0, "one_machine_a_place")]


@pytest.mark.parametrize(
    ("row", "bad"),
    [
        (Shift(weekday="mon", start=time(7), end=time(7), hands=2), True),
        (Shift(weekday="mon", start=time(0), end=time(0), hands=2), True),
        (Shift(weekday="mon", start=time(7), end=time(7), hands=0), False),
        (Shift(weekday="mon", start=time(22), end=time(6), hands=2), False),
        (SpecialDay(day="2025-12-24", start=time(7), end=time(7), hands=1), True),
        (SpecialDay(day="2025-12-24"), False),
    ],
)
def test_worked_time_has_a_length(row, bad):
    assert broken(row) == ([(0, "shift_has_a_length")] if bad else [])


def test_a_code_is_one_item_only():
    known = [*ROOM, Spare(spare="nozzle", name="Nozzle")]
    assert broken(Supply(supply="nozzle", name="Nozzle"), known=known) == [(0, "one_item_a_code")]
    assert broken(Spare(spare="nozzle", name="Nozzle 0.4", since=MAY), known=known) == []


def test_no_rule_stands_outside_these_tests():
    assert [rule.__name__ for rule in RULES] == [
        "refers_to_known_things", "one_machine_a_place", "shift_has_a_length", "one_item_a_code",
    ]  # fmt: skip
