"""The owner's page in a real browser: what fits on a screen, what moves, what is read without colour."""

from collections.abc import Iterator
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize, expect

from core.entries import SetAside, WentDown
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from core.setup import Machine
from demo.make import make
from demo.shop import shop_rows
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import MAIN, run_short, tell

MONITOR = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}
#: Every layout shift: when, how much of it there was, and what went from where to where.
SHIFTS = """
window.shifted = [];
const place = rect => [rect.y, rect.height].map(Math.round).join("+");
new PerformanceObserver(list => {
  for (const entry of list.getEntries()) if (!entry.hadRecentInput) window.shifted.push([
    Math.round(entry.startTime), entry.value,
    entry.sources.map(s => `${s.node?.className ?? s.node?.data} ${place(s.previousRect)} ${place(s.currentRect)}`)]);
}).observe({type: "layout-shift", buffered: true});
"""
#: Every element with text of its own that is drawn: the size of its text, and its beginning.
TEXTS = (
    f"() => [...document.querySelectorAll('{MAIN} *')]"
    """
  .filter(e => e.getClientRects().length && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
  .map(e => [parseFloat(getComputedStyle(e).fontSize), e.textContent.trim().slice(0, 40)])"""
)


@pytest.fixture(scope="module")
def pane(chromium: Browser) -> Iterator[Page]:
    """One browser for all, so that it reads the page's programs once."""
    with chromium.new_context(viewport=MONITOR) as context:
        page = context.new_page()
        page.add_init_script(SHIFTS)
        yield page


@pytest.fixture
def glass(pane: Page) -> Iterator[Page]:
    """A monitor that adds up how far what it shows has moved."""
    yield pane
    pane.goto("about:blank")


def look_at(page: Page, serving: Serving, by: str = "ro", size: ViewportSize = MONITOR) -> Page:
    """The owner's page, drawn to its last chart."""
    page.set_viewport_size(size)
    page.goto(f"{serving.owner.url}/?by={by}")
    expect(page.locator(".rs-foot")).to_be_visible()
    expect(page.locator(".st-key-menu")).to_be_visible()
    page.wait_for_load_state("networkidle")
    return page


@pytest.fixture
def monitor(glass: Page, room: tuple[Serving, dict[str, list[str]]]) -> Page:
    """The page on the owner's monitor."""
    return look_at(glass, room[0])


@pytest.fixture(scope="module")
def larkfield(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """The invented shop, with a history, and a spool that runs out soon."""
    path = tmp_path_factory.mktemp("larkfield") / "shop.duckdb"
    make(path, weeks=5)
    run_short(path, "P05")
    return start(path)


@pytest.fixture
def desk(glass: Page, larkfield: Serving) -> Page:
    """The page of a shop with a history on the owner's monitor."""
    return look_at(glass, larkfield)


@pytest.fixture(scope="module")
def quiet(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """A room in which nothing needs a hand."""
    path: Path = tmp_path_factory.mktemp("quiet") / "shop.duckdb"
    now = utc_now()
    rows = shop_rows(36, now)
    with Log.open(path) as log:
        log.append_setup(rows)
        aside = {"at": now, "noted_at": now, "by": "ro"}
        record(log, [SetAside(machine=row.machine, **aside) for row in rows if isinstance(row, Machine)])
    return start(path)


def bottom(page: Page, section: str) -> float:
    box = page.locator(f"section.rs-{section}").first.bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def test_nothing_is_wider_than_the_screen(desk):
    for width in (320, 360, 390, 768, 1440):
        desk.set_viewport_size({"width": width, "height": 800})
        for element in ("document.documentElement", f"document.querySelector('{MAIN}')"):
            desk.wait_for_function(f"{element}.scrollWidth === {element}.clientWidth")  # charts follow


def test_the_first_four_questions_are_answered_on_one_screen(desk):
    for section in ("trust", "needs", "where", "gave", "all"):
        assert bottom(desk, section) <= MONITOR["height"], section
    expect(desk.locator(".st-key-owner-lost svg.marks")).to_be_visible()


def test_the_first_screen_of_a_phone_holds_trust_and_what_needs_a_hand(glass, room):
    lines = look_at(glass, room[0], size=PHONE).locator("section.rs-needs > ol > li")
    assert lines.count() == 5
    box = lines.last.bounding_box()
    assert box["y"] + box["height"] <= PHONE["height"]


def test_no_text_is_small_also_in_charts(desk):
    expect(desk.locator("svg.marks")).to_have_count(6)
    texts = desk.evaluate(TEXTS)
    assert len(texts) > 100
    assert [text for text in texts if text[0] < 16] == []


def test_a_single_reason_is_read_whole(glass, start, tmp_path):
    now = utc_now()
    down = WentDown(
        at=now - timedelta(hours=30), noted_at=now - timedelta(hours=30), by="ro", machine="P01", cause="fan"
    )
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(shop_rows(2, now - timedelta(days=10)))
        record(log, [down])
    page = look_at(glass, start(tmp_path / "shop.duckdb"))
    chart = page.locator(".st-key-owner-lost svg.marks")
    box = chart.bounding_box()
    reasons = chart.locator("text").all()
    assert reasons
    for words in reasons:
        told = words.bounding_box()
        assert box["y"] <= told["y"]
        assert told["y"] + told["height"] <= box["y"] + box["height"]


@pytest.mark.parametrize("viewport", [MONITOR, PHONE], ids=["monitor", "phone"])
def test_what_has_been_drawn_stays_where_it_is(glass, larkfield, viewport):
    shifts = look_at(glass, larkfield, size=viewport).evaluate("window.shifted")
    assert sum(value for _, value, _ in shifts) <= 0.1, shifts


def test_what_needs_a_hand_has_a_word_and_a_shape_besides_its_colour(monitor):
    for level, word in (("now", "Now"), ("today", "Today")):
        line = monitor.locator("section.rs-needs li", has=monitor.locator(f".rs-mark-{level}")).first
        expect(line.locator(".rs-level")).to_have_text(word)
    shapes = {
        level: monitor.locator(f".rs-mark-{level}").first.evaluate(
            "e => ['clipPath', 'borderRadius', 'transform'].map(name => getComputedStyle(e)[name]).join()"
        )
        for level in ("now", "today", "waiting")
    }
    assert len(set(shapes.values())) == 3


def test_the_other_lines_are_a_tap_away_and_by_keyboard_too(monitor):
    more = monitor.locator("section.rs-needs summary")
    hidden = monitor.locator("section.rs-needs details li").first
    expect(hidden).not_to_be_visible()
    more.focus()
    monitor.keyboard.press("Enter")
    expect(hidden).to_be_visible()


def test_a_machine_leads_to_its_check_in(monitor, room):
    machine = room[1]["down"][0]
    monitor.locator(".rs-cell", has_text=machine).click()
    expect(monitor.locator(".code")).to_have_text(machine)


def test_an_entry_on_another_device_shows_by_itself(monitor, room):
    machine = room[1]["empty"][0]
    cell = monitor.locator(".rs-cell", has_text=machine)
    expect(cell).to_contain_text("Empty")
    tell(room[0], machine, {"kind": "WentDown", "cause": "fan"})
    expect(cell).to_contain_text("Down")


def test_one_tap_answers_a_question(monitor, room):
    machine = room[1]["uncounted"][-1]
    asked = monitor.get_by_text(f"{machine}: the parts of the print started")
    expect(asked).to_be_visible()
    answers = monitor.locator("[class*='st-key-answers-']").filter(has_text="All 5 good")
    answers.first.get_by_role("button", name="All 5 good").click()
    expect(monitor.locator(".st-key-receipt")).to_contain_text("recorded: all 5 good")


def test_a_quiet_day_is_grey(glass, quiet):
    page = look_at(glass, quiet)
    expect(page.locator("section.rs-needs")).to_contain_text("Nothing needs a hand.")
    shot = Image.open(BytesIO(page.screenshot())).convert("HSV")
    saturations = shot.getchannel("S").histogram()
    assert sum(saturations[:26]) / sum(saturations) >= 0.9


def test_a_quiet_day_keeps_its_places(glass, quiet, room):
    there, busy = (look_at(glass, shop).locator("section.rs-where").bounding_box() for shop in (quiet, room[0]))
    assert abs(there["y"] - busy["y"]) <= 40  # the line that leads to further needs is not there
