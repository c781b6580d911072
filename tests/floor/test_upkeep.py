"""Upkeep and repairs in a real browser: what is due, a machine that waits for a spare by itself, and a record."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from core.entries import entry_adapter
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from demo.shop import shop_rows
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import Phone, entries_of

BELT = "[class*='st-key-tile-used-belt'] button"


@pytest.fixture(scope="module")
def shop(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """Six machines; P01 was oiled too long ago, no fan is on the shelf, and two belts are."""
    path = tmp_path_factory.mktemp("upkeep") / "shop.duckdb"
    now = utc_now()
    told = [
        (60, {"kind": "UpkeepDone", "machine": "P01", "task": "clean-oil", "minutes": 20}),
        (30, {"kind": "StockCounted", "item": "fan", "quantity": 0}),
        (30, {"kind": "StockCounted", "item": "belt", "quantity": 2}),
        (20, {"kind": "WentDown", "machine": "P02", "cause": "belt"}),
        (19, {"kind": "CameBack", "machine": "P02"}),
        (0.1, {"kind": "Looked", "machine": "P03", "saw": "empty"}),
        (0.1, {"kind": "Looked", "machine": "P04", "saw": "empty"}),
    ]
    with Log.open(path) as log:
        log.append_setup(shop_rows(6, now - timedelta(days=90)))
        for days, fields in told:
            at = now - timedelta(days=days)
            record(log, [entry_adapter.validate_python({"at": at, "noted_at": at, "by": "ha", **fields})])
    return start(path)


def test_what_is_due_is_told_with_why_and_leads_to_the_record(hand: Phone) -> None:
    hand.open("/upkeep?by=ro")
    line = hand.page.locator(".rs-tasks .rs-told").filter(has_text="P01: Clean and oil")
    expect(line).to_contain_text("due, 60 days since, 45 planned, last ")
    expect(line).to_contain_text("the maker says")
    expect(hand.page.locator(".hands")).to_contain_text("power off and unplugged")
    line.locator("a").click()
    expect(hand.page.locator(".ask").first).to_have_text("Record of P01")
    expect(hand.page.get_by_text("Clean and oil, 20 min")).to_be_visible()


def test_a_cause_whose_spare_is_not_on_the_shelf_waits_for_it_by_itself(hand: Phone) -> None:
    hand.check_in("P03").tap("Down", "Fan noisy")
    hand.says("waits for Cooling fan")
    (entry,) = [row for row in hand.new("P03") if row["kind"] == "WentDown"]
    assert (entry["cause"], entry["spare"]) == ("fan", "fan")
    hand.open("/upkeep?by=ro")
    expect(hand.page.get_by_text("P03: Cooling fan")).to_be_visible()
    expect(hand.page.get_by_text("none on order")).to_be_visible()


def test_a_cause_whose_spare_is_there_is_down_alone(hand: Phone, shop: Serving) -> None:
    hand.check_in("P04").tap("Down", "Belt")
    hand.says("down, Belt")
    (entry,) = [row for row in entries_of(shop, "P04", hand.opened) if row["kind"] == "WentDown"]
    assert "spare" not in entry


def test_what_upkeep_used_goes_off_the_shelf_and_undo_brings_it_back(hand: Phone) -> None:
    hand.check_in("P05").tap("Upkeep done", "Clean and oil", "+")
    for taps in (1, 2):
        hand.page.locator(BELT).tap()
        expect(hand.button("Clean and oil: done")).to_contain_text(f"25 min, {taps} x Belt")
    hand.tap("Clean and oil: done")
    hand.says("upkeep, Clean and oil, 25 min, 2 x Belt")
    (entry,) = hand.new("P05")
    assert (entry["minutes"], entry["spares"]) == ("25.0", "belt; belt")
    opened = utc_now()
    hand.check_in("P06").tap("Down", "Belt")
    hand.says("waits for Belt")
    hand.tap("Undo")
    hand.says("Taken back")
    hand.check_in("P05").tap("Undo")
    hand.says("Taken back")
    hand.check_in("P06").tap("Down", "Belt")
    hand.says("down, Belt")
    went = [row for row in entries_of(hand.serving, "P06", opened) if row["kind"] == "WentDown"]
    assert [row.get("spare") for row in went] == ["belt", None]


def test_the_spare_a_task_usually_takes_comes_first_and_none_went_in_unless_it_is_tapped(hand: Phone) -> None:
    hand.check_in("P05").tap("Upkeep done", "Overhaul")
    spares = hand.page.locator("[class*='st-key-tile-used-'] button")
    expect(spares.first).to_contain_text("Nozzle")
    hand.tap("Nozzle")
    expect(spares.first).to_contain_text("1 went in")
    hand.tap("No spare after all", "+", "Overhaul and calibrate on the bench: done")
    hand.says("15 h 30")
    (entry,) = [row for row in hand.new("P05") if row["kind"] == "UpkeepDone"]
    assert (entry["minutes"], entry.get("spares")) == ("930.0", None)


def test_two_taps_a_moment_apart_both_count(hand: Phone) -> None:
    hand.check_in("P05").tap("Upkeep done", "Clean and oil")
    plus = "[class*='st-key-step-minutes-more'] button"
    expect(hand.page.locator(BELT)).to_be_visible()
    for taps, apart in enumerate((0, 2, 5, 10, 20, 40), start=1):
        hand.page.evaluate(
            "([plus, belt, apart]) => { document.querySelector(plus).click();"
            "setTimeout(() => document.querySelector(belt).click(), apart) }",
            [plus, BELT, apart],
        )
        expect(hand.button("Clean and oil: done")).to_contain_text(f"{20 + 5 * taps} min, {taps} x Belt")


def test_a_repair_with_a_spare_of_the_shelf_takes_it_off(hand: Phone) -> None:
    hand.check_in("P02").tap("Down", "Belt")
    hand.says("down, Belt")
    hand.tap("Running again, a spare went in")
    expect(hand.page.locator("[class*='st-key-tile-used-'] button").first).to_contain_text("Belt")
    hand.tap("Belt", "Running again")
    hand.says("running again, 1 x Belt")
    (entry,) = [row for row in hand.new("P02") if row["kind"] == "CameBack"]
    assert entry["spares"] == "belt"


def test_an_unknown_machine_is_refused_and_the_records_there_are_are_offered(hand: Phone) -> None:
    hand.open("/upkeep?machine=P99&by=ro")
    expect(hand.page.locator(".refused")).to_contain_text("There is no machine P99")
    record = hand.page.locator(".rs-take").get_by_role("link", name="P01", exact=True)
    expect(record).to_have_attribute("href", "/upkeep?machine=P01&by=ro")
    hand.open("/checkin?machine=P01&by=ro")
    hand.page.get_by_role("link", name="Record of P01").click()
    expect(hand.page.get_by_role("heading", name="Record of P01")).to_be_visible()
    hand.page.get_by_role("link", name="Take its record along").click()
    expect(hand.page.locator(".rs-take")).to_contain_text("Its faults")


def test_an_unknown_machine_has_no_files_and_those_there_are_are_offered(hand: Phone) -> None:
    hand.open("/downloads?machine=P99&by=ro")
    expect(hand.page.locator(".refused")).to_contain_text("There is nothing called 'P99' to download")
    expect(hand.page.locator(".rs-take").get_by_text("One machine's record")).to_be_visible()
