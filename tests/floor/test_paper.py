"""The morning sheet out of a real browser: one page, A4 landscape, every machine, no word cut off."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from core.epoch import utc_now
from core.log.store import Log
from core.setup import Machine, Material, Model, Product, Rack, Row, Shop
from dashboard.paper.paper import document
from demo.make import make
from demo.shop import shop_rows
from tests.dashboard.serving import Serving, Start, run
from tests.dashboard.sheets import sheet_of
from tests.floor.printing import must_be_one_whole_sheet

CODES = [f"P{n:02d}" for n in range(1, 37)]


@pytest.fixture(scope="module")
def larkfield(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """The invented shop, with a history."""
    path = tmp_path_factory.mktemp("paper") / "shop.duckdb"
    make(path, weeks=2)
    return start(path)


@pytest.fixture
def desk(chromium: Browser) -> Iterator[BrowserContext]:
    """A browser to print from."""
    with chromium.new_context(viewport={"width": 1440, "height": 900}) as context:
        yield context


def test_the_owners_page_prints_as_one_sheet_and_nothing_of_it_is_seen_on_the_screen(desk, larkfield):
    page = desk.new_page()
    page.goto(f"{larkfield.owner.url}/?by=ro")
    sheet = page.locator(".paper")
    sheet.wait_for(state="attached")
    expect(sheet).not_to_be_visible()
    told = must_be_one_whole_sheet(page)
    assert [code for code in CODES if code not in told] == []
    assert "Check-in" not in told  # the menu
    assert page.locator(".paper img").evaluate_all("all => all.every(one => one.naturalWidth)")


def test_the_command_line_gives_the_same_sheet(desk, larkfield, tmp_path):
    asked = run("report", "--shop", larkfield.shop, "--html", "sheet.html", cwd=tmp_path)
    assert asked.returncode == 0, asked.stderr
    page = desk.new_page()
    page.goto((tmp_path / "sheet.html").as_uri())
    told = must_be_one_whole_sheet(page)
    assert [code for code in CODES if code not in told] == []


def test_the_loading_list_prints_as_before(desk, larkfield):
    page = desk.new_page()
    page.goto(f"{larkfield.owner.url}/plan?by=ro")
    page.locator(".rs-room").wait_for()
    pdf = page.pdf(prefer_css_page_size=True)
    upright = {float(wide) < float(high) for wide, high in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)}
    assert upright == {True}


def long_names(number: int) -> list[Row]:
    """A shop in which everything has a long name."""
    name = "The shop in the yard behind the old mill, first floor"
    machines = (
        Machine(machine=f"BENCH-NORTH-{n:03d}", model="b220", rack=f"R{n % 9}", place=n // 9 + 1) for n in range(number)
    )
    return [
        Shop(name=name, zone="Europe/Dublin"), Model(model="b220", name=name), Product(product="clip", name=name),
        Material(material="pla", name=name), *(Rack(rack=f"R{n}", name=f"{name} {n}") for n in range(9)), *machines,
    ]  # fmt: skip


@pytest.mark.parametrize(("number", "face"), [(1, "Arial"), (60, "Sheet"), (99, "Arial")])
def test_any_room_and_any_usual_face_find_room_on_it(desk, tmp_path: Path, number: int, face: str):
    at = utc_now()
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(shop_rows(number, at - timedelta(days=20)))
        page = desk.new_page()
        page.set_content(
            document("Sheet", sheet_of(log, at, crowd=30)).replace("font-family: Arial", f"font-family: {face}")
        )
    told = must_be_one_whole_sheet(page)
    assert [code for code in (f"P{n + 1:02d}" for n in range(number)) if code not in told] == []


def test_long_names_are_not_cut_off(desk, tmp_path):
    at = utc_now()
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(long_names(60))
        page = desk.new_page()
        page.set_content(document("Sheet", sheet_of(log, at, crowd=30)))
    told = must_be_one_whole_sheet(page)
    assert told.count("BENCH") >= 60
