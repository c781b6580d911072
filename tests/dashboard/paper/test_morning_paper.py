"""The morning sheet: every machine on it, the same words as on the page, and what is left out said so."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from core import answers
from core.entries import PrintStarted, WentDown
from core.log.record import record
from core.log.store import Log
from core.setup import Cause, Machine, Model, PrintFile, Product, Rack, Row, Shop
from dashboard.words import owner_words
from demo.make import make
from tests.dashboard.sheets import sheet_of

NOW = datetime(2026, 11, 26, 6, tzinfo=UTC)
Sheet = Callable[[list[Row]], str]


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    """The sheet of a shop with these racks and machines, one of which prints and one is down."""

    def made(rows: list[Row]) -> str:
        known = [
            Shop(name="<b>Larkfield</b>", zone="Europe/Dublin"),
            Model(model="b220", name="Bench 220"),
            Product(product="clip", name="Clip"),
            PrintFile(
                file="F", revision=1, product="clip", parts=9, hours=4, grams=9, material="pla", models=("b220",)
            ),
            Cause(about="down", cause="fan", name="Fan <i>noisy</i>", place=1),
        ]
        machines = [row for row in rows if isinstance(row, Machine)]
        at = NOW - timedelta(hours=1)
        told = {"at": at, "noted_at": at, "by": "ha"}
        with Log.open(tmp_path / "shop.duckdb") as log:
            log.append_setup([*known, *rows])
            for machine in machines[:1]:
                record(log, [PrintStarted(machine=machine.machine, file="F", revision=1, **told)], at)
            for machine in machines[1:2]:
                record(log, [WentDown(machine=machine.machine, cause="fan", **told)], at)
            return sheet_of(log, NOW)

    return made


def room(codes: list[str], racks: int = 1, across: int = 4, apart: int = 1) -> list[Row]:
    """Racks with those machines on them, one after the other."""
    each = -(-len(codes) // racks)
    machines = [
        Machine(machine=code, model="b220", rack=f"R{n // each}", place=apart * (n % each) + 1)
        for n, code in enumerate(codes)
    ]
    return [*(Rack(rack=f"R{n}", name=f"Rack {n}", across=across) for n in range(racks)), *machines]


def cells(page: str) -> list[str]:
    """The codes in the cells, in their order."""
    return re.findall(r'class="paper-cell[^"]*"><b>([^<]*)</b>', page)


@pytest.mark.parametrize(("number", "racks", "across"), [(1, 1, 4), (36, 3, 4), (40, 5, 8), (60, 2, 20), (99, 3, 4)])
def test_every_machine_is_on_it_once(sheet, number, racks, across):
    codes = [f"M{n:02d}" for n in range(number)]
    assert cells(sheet(room(codes, racks, across))) == codes


def test_a_machine_says_what_it_does_when_it_is_due_off_and_that_it_needs_a_hand(sheet):
    printing, down, silent = sheet(room(["M1", "M2", "M3"])).split('class="paper-cell')[1:4]
    assert "~Printing" in printing
    assert "<span>09:00</span>" in printing
    assert down.startswith(' paper-hand"')
    assert "Down" in down
    assert "No word" in silent
    assert all("<i></i>" in cell for cell in (printing, down, silent))  # a box to write in


def test_machines_that_find_no_room_in_their_places_stand_one_after_the_other(sheet):
    codes = [f"M{n:02d}" for n in range(30)]
    page = sheet(room(codes, apart=5))
    assert cells(page) == codes
    assert owner_words.NOT_IN_PLACES in page


def test_of_more_machines_than_there_is_room_for_it_says_how_many(sheet):
    codes = [f"A-long-name-of-a-bench-in-the-back-room-{n:03d}" for n in range(120)]
    page = sheet(room(codes))
    assert 0 < len(cells(page)) < 120
    assert owner_words.not_in_places(120 - len(cells(page))) in page


def test_what_was_typed_in_is_text_and_never_markup(sheet):
    page = sheet(room(["M1", "<b>2</b>"]))
    assert "<h1>&lt;b&gt;Larkfield&lt;/b&gt;</h1>" in page
    assert "mend: fan &lt;i&gt;noisy&lt;/i&gt;" in page
    assert "<b>&lt;b&gt;2&lt;/b&gt;</b>" in page


def test_it_says_when_it_was_made_and_who_was_heard_from(sheet):
    page = sheet(room(["M1", "M2", "M3"]))
    assert "<b>as at 06:00, Thu 26 Nov 2026</b>" in page
    assert "Newest entry Thu 05:00. " in page


def test_a_shop_with_nothing_to_tell_says_so_in_every_block(sheet):
    page = sheet([])
    for sentence in (
        owner_words.NO_MACHINES,
        owner_words.NOTHING_NEEDED,
        owner_words.NOTHING_ASKED,
        "No order is open.",
    ):
        assert sentence in page


@pytest.mark.parametrize("machines", [8, pytest.param(99, marks=pytest.mark.full)])
def test_what_needs_a_hand_is_on_it_or_counted(tmp_path, machines):
    make(tmp_path / "shop.duckdb", machines=machines, weeks=1, until=NOW)
    with Log.open(tmp_path / "shop.duckdb") as log:
        page, needs = sheet_of(log, NOW), answers.report(log, NOW).needs
    block = page[page.index(f"<h2>{owner_words.NEEDS}</h2>") : page.index(f"<h2>{owner_words.ASKED}</h2>")]
    seen = block.count("paper-tick")
    hidden = sum(len(need.machines) for need in needs[seen:])
    assert seen >= 1
    assert (f"and {hidden} more machine" in block) == bool(hidden)
