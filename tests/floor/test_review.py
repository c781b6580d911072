"""The weekly review in a real browser: read, an action agreed on and ended, two periods side by side."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from demo.make import make
from tests.dashboard.serving import Serving, Start, run
from tests.floor.phones import CHARTS, PHONE, Phone, stands_still
from tests.floor.printing import must_be_one_whole_sheet


@pytest.fixture(scope="module")
def shop(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """Six machines and seven weeks of entries; one action is open, one is done."""
    path = tmp_path_factory.mktemp("review") / "shop.duckdb"
    make(path, machines=6, weeks=7)
    return start(path)


def test_the_page_says_what_changed_and_how_much_of_it_is_chance(hand: Phone) -> None:
    hand.open("/review?by=ha")
    expect(hand.page.get_by_text("The week from ")).to_be_visible()
    chance = hand.page.locator(".rs-note").filter(has_text="changes a quarter would be called here by chance")
    expect(chance).to_be_visible()
    for title in ("What did the week cost?", "Were the promises kept?", "Does fast printing give more?"):
        expect(hand.page.get_by_role("heading", name=title)).to_be_visible()
    assert hand.page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_an_action_is_agreed_on_and_ended(hand: Phone) -> None:
    hand.open("/review?by=ha")
    what = hand.page.get_by_label("What", exact=True)
    expect(what).to_be_visible()
    what.fill("Dry every spool")
    hand.page.get_by_role("button", name="Agree on it").click()
    hand.says("Agreed: Dry every spool")
    line = hand.page.locator(".rs-told").filter(has_text="Dry every spool")
    expect(line).to_contain_text("cannot tell yet, too few days")
    hand.page.get_by_role("button", name="Dropped").first.click()
    hand.says("Dry every spool: dropped")
    expect(line).to_contain_text("dropped")


def test_an_action_without_words_is_refused_in_a_sentence(hand: Phone) -> None:
    hand.open("/review?by=ha")
    agree = hand.page.get_by_role("button", name="Agree on it")
    expect(agree).to_be_visible()
    agree.click()
    expect(hand.page.locator(".refused")).to_contain_text("say what is tried")


def test_what_is_refused_stays_to_be_corrected_and_what_is_agreed_leaves_an_empty_form(hand: Phone) -> None:
    hand.open("/review?by=ha")
    what = hand.page.get_by_label("What", exact=True)
    expect(what).to_be_visible()
    what.fill("x" * 501)
    hand.page.get_by_role("button", name="Agree on it").click()
    expect(hand.page.locator(".refused")).to_contain_text("501 characters")
    expect(what).to_have_value("x" * 501)
    what.fill("Wipe the platforms")
    hand.page.get_by_role("button", name="Agree on it").click()
    hand.says("Agreed: Wipe the platforms")
    expect(what).to_have_value("")
    hand.page.get_by_role("button", name="Undo").click()
    hand.says("Wipe the platforms")


def test_any_two_periods_are_put_side_by_side(hand: Phone) -> None:
    hand.open("/review?by=ha")
    compare = hand.page.get_by_role("button", name="Compare")
    expect(compare).to_be_visible()
    compare.click()
    expect(hand.page.get_by_text("More or less is said where the 90 % range")).to_be_visible()


def test_groups_are_compared_a_tap_away(hand: Phone) -> None:
    hand.open("/review?by=ha")
    by = hand.page.get_by_label("By", exact=True)
    hand.page.locator(".paper").wait_for(state="attached")  # the page is told to its end
    by.scroll_into_view_if_needed()
    stands_still(hand.page)  # an open list closes where its page still scrolls
    by.click()
    hand.page.get_by_role("option", name="model").click()
    hand.page.get_by_role("button", name="Compare").click()
    group = hand.page.locator("details").filter(has_text="Bench 220: ")
    expect(group).to_have_count(1)
    expect(group.locator("table")).not_to_be_visible()
    group.locator("summary").click()
    expect(group.locator("table")).to_contain_text("Downtime, share of the hours, days with people in")


def test_a_period_that_is_not_over_is_refused_and_nothing_else_is_compared(hand: Phone) -> None:
    hand.open("/review?by=ha")
    for end in ("end", "start"):
        year = hand.page.get_by_role("spinbutton", name=f"year, Second period {end} date")
        expect(year).to_be_visible()
        year.click()
        year.press_sequentially(f"{datetime.now(UTC).year + 1}")
    hand.page.get_by_role("button", name="Compare").click()
    expect(hand.page.locator(".refused")).to_contain_text("is not over yet")
    expect(hand.page.get_by_text("More or less is said where the 90 % range")).not_to_be_attached()


def test_any_other_figure_can_be_looked_at(hand: Phone) -> None:
    hand.open("/review?by=ha")
    other = hand.page.get_by_label("Any other figure")
    hand.page.locator(".paper").wait_for(state="attached")  # the page is told to its end
    marks = hand.page.locator("svg.marks")
    before = hand.page.locator(CHARTS).count()
    expect(marks).to_have_count(before)  # and drawn
    other.scroll_into_view_if_needed()
    stands_still(hand.page)  # an open list closes where its page still scrolls
    other.click()
    hand.page.get_by_role("option").first.click()
    expect(marks).to_have_count(before + 1)


@pytest.fixture
def desk(chromium: Browser) -> Iterator[BrowserContext]:
    """A browser to print from."""
    with chromium.new_context(viewport={"width": 1440, "height": 900}) as context:
        yield context


def test_the_page_prints_as_one_sheet(desk: BrowserContext, shop: Serving) -> None:
    page = desk.new_page()
    page.goto(f"{shop.owner.url}/review?by=ha")
    sheet = page.locator(".paper")
    sheet.wait_for(state="attached")
    expect(sheet).not_to_be_visible()
    told = must_be_one_whole_sheet(page)
    assert "What do we try next?" in told
    assert "Check-in" not in told  # the menu


def test_the_command_line_gives_the_week_as_a_sheet(desk: BrowserContext, shop: Serving, tmp_path: Path) -> None:
    asked = run("review", "--shop", shop.shop, "--html", "week.html", cwd=tmp_path)
    assert asked.returncode == 0, asked.stderr
    page = desk.new_page()
    page.goto((tmp_path / "week.html").as_uri())
    assert "What did the week cost?" in must_be_one_whole_sheet(page)
