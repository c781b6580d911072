"""Spools and the shelf, tapped in a real browser; what lands in the log is read from the log."""

import csv
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from core.entries import entry_adapter
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from dashboard.commands.desk import ask
from demo.shop import shop_rows
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import PHONE, Phone, entries_of

#: P01 to P04 hold 62 g or so of PETG grey; a print of F-005 needs 138 g. Boxes were counted, tape is on order.
SHORT = [
    ("SpoolFitted", 10, {"material": "petg-grey", "grams": 200}),
    ("PrintStarted", 9, {"file": "F-005", "revision": 1}),
]
SHELF = [
    ("StockCounted", 200, {"item": "box-small", "quantity": 80}),
    ("StockCounted", 30, {"item": "box-small", "quantity": 30}),
    ("StockCounted", 30, {"item": "petg-grey", "quantity": 12_000}),
    ("StockCounted", 30, {"item": "tape", "quantity": 4}),
    ("StockOrdered", 20, {"item": "tape", "quantity": 36}),
]  # fmt: skip


@pytest.fixture(scope="module")
def shop(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """A small room whose spools are nearly empty, and a shelf."""
    path = tmp_path_factory.mktemp("stores") / "shop.duckdb"
    now = utc_now()
    with Log.open(path) as log:
        log.append_setup(shop_rows(6, now - timedelta(days=30)))
        told = [(m, *each) for m in ("P01", "P02", "P03", "P04") for each in SHORT] + [(None, *each) for each in SHELF]
        for machine, kind, hours, fields in told:
            at = now - timedelta(hours=hours)
            where = {"machine": machine} if machine else {}
            record(
                log,
                [
                    entry_adapter.validate_python(
                        {"kind": kind, "at": at, "noted_at": at, "by": "ro", **where, **fields}
                    )
                ],
            )
    return start(path)


def stock_noted(serving: Serving, phone: Phone, item: str) -> list[tuple[str, float]]:
    """What was noted of an item since the phone was opened."""
    folder = Path(serving.shop).parent / f"out-{utc_now():%H%M%S%f}"
    ask(serving.shop, "export", folder=str(folder))
    with (folder / "entries.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["item"] == item]
    return [(row["kind"], float(row["quantity"])) for row in rows if row["noted_at"] >= phone.opened.isoformat()]


def test_a_start_on_a_short_spool_is_asked_about_and_takes_one_tap_more(hand: Phone) -> None:
    hand.check_in("P01")
    expect(hand.page.locator(".spool")).to_contain_text("about 60 g")
    hand.tap("too short")
    expect(hand.page.locator(".question")).to_contain_text("needs about 138 g; about 60 g")
    hand.tap("New spool on")
    hand.says("P01 recorded")
    landed = hand.new("P01")
    assert [row["kind"] for row in landed] == ["PartsOff", "SpoolFitted", "PrintStarted"]
    assert landed[1]["grams"] == "1000.0"
    expect(hand.page.locator(".spool")).to_contain_text("left")


@pytest.mark.parametrize(
    ("machine", "answer", "kinds"),
    [
        ("P02", "Half", ["PartsOff", "SpoolFitted", "PrintStarted"]),
        ("P03", "Start anyway", ["PartsOff", "PrintStarted"]),
    ],
)
def test_whoever_stands_there_knows_better_than_the_book(
    hand: Phone, machine: str, answer: str, kinds: list[str]
) -> None:
    hand.check_in(machine).tap("too short", answer)
    hand.says(f"{machine} recorded")
    assert [row["kind"] for row in hand.new(machine)] == kinds


def test_a_spool_can_be_weighed_when_it_comes_off(hand: Phone) -> None:
    hand.check_in("P04").tap("Spool changed", "was weighed")
    hand.page.get_by_role("spinbutton").fill("55")
    hand.page.get_by_role("spinbutton").press("Enter")
    hand.tap("Same again")
    hand.says("P04 recorded")
    (row,) = entries_of(hand.serving, "P04", hand.opened)
    assert (row["kind"], row["left_grams"]) == ("SpoolFitted", "55.0")


def test_an_item_of_which_nothing_is_known_says_so_and_can_be_counted(hand: Phone) -> None:
    hand.open("/stores?by=ha&item=box-large")
    expect(hand.page.locator(".state")).to_have_text("No count yet: count it once.")
    expect(hand.page.locator(".entry").first).to_contain_text("nothing is known of its use")
    hand.tap("Counted", "Record")
    hand.says("Box, large recorded")


def test_a_delivery_that_was_expected_is_one_tap(hand: Phone, shop: Serving) -> None:
    hand.open("/stores?by=ro&item=tape").tap("Received")
    hand.says("36 came in")
    assert hand.taps == 1
    assert stock_noted(shop, hand, "tape") == [("StockReceived", 36.0)]


@pytest.mark.parametrize(("item", "typed", "quantity"), [("box-small", "25", 25.0), ("petg-grey", "9", 9000.0)])
def test_a_count_is_two_taps_and_a_number(
    hand: Phone, shop: Serving, tap_count: Callable[[Phone, str], None], item: str, typed: str, quantity: float
) -> None:
    hand.open(f"/stores?by=ro&item={item}")
    tap_count(hand, typed)
    hand.says("recorded")
    assert hand.taps == 2
    assert stock_noted(shop, hand, item) == [("StockCounted", quantity)]


@pytest.fixture
def tap_count() -> Callable[[Phone, str], None]:
    """Count: the number typed over what the book has."""

    def count(hand: Phone, typed: str) -> None:
        hand.tap("Counted")
        hand.page.get_by_role("spinbutton").fill(typed)
        hand.page.get_by_role("spinbutton").press("Enter")
        hand.tap("Record")

    return count


@pytest.mark.parametrize(
    ("typed", "said"), [("-5", "-5 is no amount"), ("2.5", "no whole number"), ("9999999", "more")]
)
def test_a_number_that_cannot_be_is_said_to_be_and_cannot_be_recorded(hand: Phone, typed: str, said: str) -> None:
    hand.open("/stores?by=ro&item=box-small").tap("Counted")
    hand.page.get_by_role("spinbutton").fill(typed)
    hand.page.get_by_role("spinbutton").press("Enter")
    expect(hand.page.locator(".refused").first).to_contain_text(said)
    expect(hand.page.get_by_role("button", name="Record")).to_have_count(0)


def test_a_delivery_tapped_on_two_phones_is_recorded_once(chromium: Browser, hand: Phone, shop: Serving) -> None:
    hand.open("/stores?by=ro&item=sensor").tap("Ordered", "Record").says("recorded")
    with chromium.new_context(viewport=PHONE, has_touch=True) as context:
        other = Phone(context.new_page(), shop).open("/stores?by=mi&item=sensor")
        hand.tap("Received")
        hand.says("came in")
        other.tap("Received")
        expect(other.page.locator(".refused").first).to_contain_text("meanwhile")
    assert [kind for kind, _ in stock_noted(shop, hand, "sensor")] == ["StockOrdered", "StockReceived"]


def test_what_was_noted_of_an_item_can_be_taken_back_after_a_reload(hand: Phone) -> None:
    hand.open("/stores?by=ro&item=pla-white").tap("Received", "Record").says("came in")
    hand.open("/stores?by=ro&item=pla-white").says("Last: ")
    hand.tap("Undo").says("Taken back")
    hand.open("/stores?by=ro&item=pla-white").says("Nothing recorded here yet")


def test_a_quantity_in_the_wrong_unit_is_asked_back_and_not_recorded(
    hand: Phone, shop: Serving, tap_count: Callable[[Phone, str], None]
) -> None:
    hand.open("/stores?by=ro&item=petg-grey")
    tap_count(hand, "0.01")
    expect(hand.page.locator(".refused").first).to_contain_text("is that kilograms, or spools?")
    assert stock_noted(shop, hand, "petg-grey") == []


def test_the_shelf_fits_the_screen(hand: Phone) -> None:
    hand.open("/stores?by=ro")
    expect(hand.page.locator(".rs-item").first).to_be_visible()
    for width in (320, 390, 1440):
        hand.page.set_viewport_size({"width": width, "height": 800})
        assert hand.page.evaluate("document.documentElement.scrollWidth === document.documentElement.clientWidth"), (
            width
        )
    assert hand.page.locator(".rs-item").count() >= 15
