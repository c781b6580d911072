"""The floor and a round."""

import pytest

from core.errors import Refused
from core.floor.room import floor, rack_round
from core.log.store import Log
from core.setup import Machine
from tests.core.larkfield import EXACT, when
from tests.core.seven_machines import AT, machines


def test_the_floor_shows_every_rack_in_use_and_its_machines_by_place(log: Log) -> None:
    racks = floor(log, AT, EXACT)
    assert [(rack.rack, rack.name, rack.across) for rack in racks] == [("A", "Rack A", 4), ("B", "Rack B", 4)]
    assert [[machine.machine for machine in rack.machines] for rack in racks] == [
        ["A1", "A2", "A3", "A4"], ["B1", "B2", "B3"],
    ]  # fmt: skip
    assert [machine.place for machine in racks[0].machines] == [1, 2, 3, 4]


def test_a_machine_that_left_is_on_the_floor_no_more(log: Log) -> None:
    log.append_setup([Machine(machine="A4", model="bench-220", rack="A", place=4, in_service=False, since=when(8))])
    assert "A4" not in machines(floor(log, AT, EXACT))
    assert "A4" in machines(floor(log, when(7, 12), EXACT))


def test_a_round_asks_for_what_should_be_seen(log: Log) -> None:
    around = rack_round(log, "A", AT, EXACT)
    assert (around.rack, around.name, around.across) == ("A", "Rack A", 4)
    assert [(m.machine, m.place, m.state, m.expected) for m in around.machines] == [
        ("A1", 1, "done", "done"),
        ("A2", 2, "empty", "empty"),
        ("A3", 3, "waiting", "down"),
        ("A4", 4, "no word", None),
    ]


def test_a_round_passes_by_what_is_set_aside(log: Log) -> None:
    assert [(m.machine, m.expected) for m in rack_round(log, "B", AT, EXACT).machines] == [
        ("B2", "stopped"), ("B3", "down"),
    ]  # fmt: skip


def test_a_round_says_when_a_print_is_due(log: Log) -> None:
    grille = rack_round(log, "A", when(7, 14), EXACT).machines[0]
    assert (grille.state, grille.expected) == ("printing", "printing")
    assert grille.due is not None
    assert grille.due.best == when(8, 9)


def test_a_rack_that_is_not_there_is_refused(log: Log) -> None:
    with pytest.raises(Refused, match=r"no rack Z .*: pick") as refused:
        rack_round(log, "Z", AT, EXACT)
    assert refused.value.rule == "rack_is_known"
