"""How well the record is kept, by rack and shift."""

from datetime import time

import pytest

from core.entries import AnyEntry
from core.habits.unnoted import by_rack_and_shift, visits
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import staffed_spells
from core.window import Window
from tests.core.larkfield import ROWS, reckoned, tell, when

SHIFTS = [
    Shift(weekday=day, shift=number, start=time(begins), end=time(ends), hands=1)
    for day in WEEKDAYS
    for number, begins, ends in ((1, 6, 14), (2, 14, 22))
]
WINDOW = Window(when(0), when(2))


def clip(machine: str, hour: float) -> AnyEntry:
    return tell("PrintStarted", when(0, hour), machine=machine, file="clip", revision=1)


def off(machine: str, hour: float) -> AnyEntry:
    return tell("PartsOff", when(0, hour), machine=machine)


def counted(*entries: AnyEntry) -> list[tuple[object, ...]]:
    rows = [*ROWS, *SHIFTS]
    seen = visits(reckoned(entries, WINDOW, rows).gaps, shortest=2.0)
    racks = {"A1": "A", "A2": "A", "B1": "B"}
    return by_rack_and_shift(seen, racks, staffed_spells(Setup(rows), WINDOW)).rows()


def test_every_rack_and_shift_has_its_own_counts() -> None:
    assert counted(
        clip("A1", 7), off("A1", 9.5), clip("A1", 9.6), clip("A1", 12),  # a removal forgotten
        clip("A2", 7), off("A2", 9.5), clip("A2", 9.6),
        clip("B1", 14.5), off("B1", 17), off("B1", 20),  # a start forgotten
    ) == [
        ("A", 1, "removal", 1, 3),
        ("A", 1, "start", 0, 2),
        ("B", 2, "start", 1, 1),
    ]  # fmt: skip


@pytest.mark.parametrize(("hour", "shift"), [(13.9, 1), (14.1, 2), (23.5, 2)])
def test_what_is_told_after_closing_counts_to_the_shift_before(hour: float, shift: int) -> None:
    assert counted(clip("A1", 7), clip("A1", hour)) == [("A", shift, "removal", 1, 1)]


def test_no_visit_no_count() -> None:
    assert counted() == []
