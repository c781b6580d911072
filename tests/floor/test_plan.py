"""The plan in a real browser: orders at risk, a question about one more, and a count of finished parts."""

import csv
import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from core.entries import entry_adapter
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from dashboard.commands.desk import ask
from demo.shop import shop_rows
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import Phone

HOPELESS, LATE = 60_000.0, 60.0


@pytest.fixture(scope="module")
def shop(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """A small room with an order that no room could serve in time, one that may be late, and twenty finished caps.

    One machine is known to be empty, with a spool for frame spacers on it.
    """
    path = tmp_path_factory.mktemp("plan") / "shop.duckdb"
    now = utc_now()
    orders = [("7001", "entrance-block", HOPELESS, 2), ("7002", "frame-spacer", LATE, 6)]
    told = [{"kind": "OrderTaken", "order": code, "product": product, "quantity": n, "due": now + timedelta(days=days)}
            for code, product, n, days in orders]  # fmt: skip
    told.append({"kind": "StockCounted", "item": "feeder-cap", "quantity": 20})
    with Log.open(path) as log:
        log.append_setup(shop_rows(6, now - timedelta(days=30)))
        at = now - timedelta(hours=2)
        told += [{"kind": "SpoolFitted", "machine": "P03", "material": "petg-grey", "grams": 1000.0},
                 {"kind": "Looked", "machine": "P03", "saw": "empty"}]  # fmt: skip
        record(log, [entry_adapter.validate_python({"at": at, "noted_at": at, "by": "ha", **one}) for one in told])
    return start(path)


def ask_for(page: Page, parts: str) -> None:
    """Ask the form about so many feeder caps."""
    page.get_by_label("Parts").first.fill(parts)
    page.get_by_role("combobox").first.click()
    page.get_by_role("option", name="Feeder cap").click()
    page.get_by_role("button", name="When?").click()


def test_the_order_most_at_risk_comes_first_and_says_how_much_is_short(hand: Phone) -> None:
    hand.open("/plan?by=ha")
    first = hand.page.locator(".rs-order").first
    expect(first).to_contain_text("Order 7001: 60,000 Entrance block")
    expect(first).to_contain_text("short ")
    expect(first).to_contain_text("0 % to leave in time")
    expect(hand.page.locator(".rs-due .rs-order").nth(1)).to_contain_text("Order 7002")


def test_finished_parts_can_be_promised_at_once_and_no_parts_are_no_order(hand: Phone) -> None:
    hand.open("/plan?by=ha")
    told = hand.page.locator(".st-key-promise")
    ask_for(hand.page, "20")
    expect(told).to_contain_text("20 Feeder cap can be promised for")
    ask_for(hand.page, "0")
    expect(told).to_contain_text("0 parts are no order: give how many are wanted.")


def test_finished_parts_are_counted_by_a_number_and_a_tap(hand: Phone, shop: Serving) -> None:
    hand.open("/plan?by=ha")
    hand.page.get_by_label("Parts").last.fill("35")
    hand.page.get_by_label("Parts").last.press("Enter")
    hand.tap("Record")
    expect(hand.page.locator(".st-key-receipt")).to_contain_text("35 counted")
    folder = Path(shop.shop).parent / "out"
    ask(shop.shop, "export", folder=str(folder))
    with (folder / "entries.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == "StockCounted" and row["quantity"] == "35.0"]
    assert len(rows) == 1


def test_the_owner_sees_what_is_due(hand: Phone) -> None:
    hand.open("/")
    expect(hand.page.locator(".rs-due .rs-order").first).to_contain_text("Order 7001")


def test_the_plan_fits_the_screen(hand: Phone) -> None:
    hand.open("/plan?by=ha")
    hand.page.locator(".rs-room").wait_for()
    for width in (320, 390, 1440):
        hand.page.set_viewport_size({"width": width, "height": 800})
        # Charts follow.
        hand.page.wait_for_function("width => document.scrollingElement.scrollWidth <= width", arg=width)


def test_one_tap_at_the_machine_starts_what_the_list_says(hand: Phone) -> None:
    hand.open("/plan?by=ha")
    listed = hand.page.locator(".rs-load tbody tr").filter(has_text="P03")
    expect(listed).to_contain_text("Frame spacer")
    hand.check_in("P03", by="ha")
    first = hand.page.locator(".stButton button[kind='primary']").first
    expect(first).to_contain_text("on the list")
    # A list made anew meanwhile may have another file.
    (file,) = set(re.findall(r"F-\d+", first.inner_text()))
    first.tap()
    hand.says("recorded")
    hand.says(f"{file} started")
    hand.open("/plan?by=ha")
    expect(hand.page.locator(".rs-load, .rs-room").nth(1)).to_be_visible()
    expect(listed.filter(has_text="\N{BALLOT BOX}")).to_have_count(0)
