"""Downloads in a real browser: a table, a table as Parquet and a chart come to the hand that taps for them."""

import csv
from pathlib import Path

import polars as pl
import pytest
from PIL import Image
from playwright.sync_api import Download, Page, expect

from demo.make import make
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import Phone, run_short

#: Words of an SVG that do not lie wholly inside it.
CUT = """() => { const edge = document.documentElement.getBoundingClientRect();
    return [...document.querySelectorAll("text")].filter(e => e.textContent.trim()).filter(e => {
        const r = e.getBoundingClientRect();
        return r.left < edge.left || r.top < edge.top || r.right > edge.right || r.bottom > edge.bottom;
    }).map(e => e.textContent); }"""


@pytest.fixture(scope="module")
def shop(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """The invented shop, small; whatever the hour, one of its spools runs out soon."""
    path = tmp_path_factory.mktemp("downloads") / "shop.duckdb"
    make(path, machines=6, weeks=3)
    run_short(path, "P01")
    return start(path)


def taken(page: Page, folded: str, link: str) -> Download:
    """Take one of a page's files, unfolding them first."""
    wanted = page.get_by_role("link", name=link, exact=True)
    if not wanted.is_visible():
        page.locator("summary").filter(has_text=folded).click()
    with page.expect_download() as coming:
        wanted.click()
    return coming.value


def test_a_table_and_a_chart_come_to_the_phone(hand: Phone, tmp_path: Path) -> None:
    page = hand.open("/downloads?by=ro").page
    table = taken(page, "The owner's page", "CSV: Where every machine stands")
    assert table.suggested_filename.startswith("owner-machines-20")
    table.save_as(tmp_path / "machines.csv")
    with (tmp_path / "machines.csv").open(encoding="utf-8", newline="") as file:
        machines = [row["machine"] for row in csv.DictReader(file)]
    assert len(machines) == 6
    expect(page.locator(".rs-take details").first).to_be_visible()  # the page is still there
    taken(page, "Stores", "Parquet: All items: on hand, levels, what to order").save_as(tmp_path / "items.parquet")
    assert pl.read_parquet(tmp_path / "items.parquet")["item"].n_unique() >= 15
    name = "PNG: Chart: Machine-hours that printed nothing, last seven days"
    taken(page, "The owner's page", name).save_as(tmp_path / "lost.png")
    with Image.open(tmp_path / "lost.png") as picture:
        assert picture.width == 1600


def test_a_machines_record_and_an_items_use_are_three_taps_away(hand: Phone, tmp_path: Path) -> None:
    page = hand.open("/downloads?by=ro").page
    page.locator("summary").filter(has_text="One machine's record").click()
    page.get_by_role("link", name="P03", exact=True).click()
    expect(page.locator(".rs-take h2")).to_have_text("One machine's record: P03")
    with page.expect_download() as coming:
        page.get_by_role("link", name="CSV: Its weeks", exact=True).click()
    coming.value.save_as(tmp_path / "weeks.csv")
    assert set(pl.read_csv(tmp_path / "weeks.csv")["machine"]) == {"P03"}
    page.get_by_role("link", name="All downloads").click()
    expect(page.locator("summary")).to_have_count(8)


@pytest.mark.parametrize(
    "chart",
    ["owner-losses", "owner-spools", "owner-good", "stores-use.svg?item=petg-grey", "plan-headroom",
     "machine-time.svg?machine=P03", "upkeep-failures.svg?model=bench-220"],
)  # fmt: skip
def test_no_word_of_a_chart_is_cut_in_a_browser_with_other_fonts(hand: Phone, tmp_path: Path, chart: str) -> None:
    address = chart if "." in chart else f"{chart}.svg"
    status, _, svg = hand.serving.download(f"/charts/{address}")
    assert status == 200, svg
    (tmp_path / "chart.svg").write_bytes(svg)
    hand.page.goto((tmp_path / "chart.svg").as_uri())
    assert hand.page.evaluate("document.querySelectorAll('text').length") > 3
    assert hand.page.evaluate(CUT) == []


def test_every_file_can_be_hit_and_reached_by_the_keyboard(hand: Phone) -> None:
    page = hand.open("/downloads?by=ro").page
    for place in range(page.locator("summary").count()):
        page.locator("summary").nth(place).click()
    for width in (320, 390, 1440):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth === document.documentElement.clientWidth"), width
        boxes = page.locator(".rs-take :is(a, summary)").evaluate_all(
            "all => all.map(e => [e.textContent, e.getBoundingClientRect().width, e.getBoundingClientRect().height])"
        )
        assert len(boxes) > 100
        assert [box for box in boxes if min(box[1:]) < 44] == [], width
    page.locator("summary").first.press("Tab")
    expect(page.get_by_role("link", name="CSV: What needs a hand", exact=True).first).to_be_focused()
