"""Check-ins at one machine, tapped in a real browser; what lands in the log is read from the log."""

import signal
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from core.epoch import utc_now
from dashboard.kit.parts import SECOND_TAP
from tests.floor.phones import entries_of, make_room, phone, tell

#: Before anything was noted.
EVER = datetime(2000, 1, 1, tzinfo=UTC)
NEXT = "next one started"
EMPTY = "left empty"

#: state, what is tapped, how many taps it may take, the entries that land: kind and what matters of them
CHECK_INS = {
    "parts off, next started": ("done", [NEXT], 1, [
        ("PartsOff", {"ended": "itself", "scrap": "0"}),
        ("PrintStarted", {"file": "F-005"}),
    ]),
    "parts off, left empty": ("done", [EMPTY], 1, [("PartsOff", {"scrap": "0"})]),
    "parts off while it was thought to print": ("printing", [NEXT], 1, [("PartsOff", {}), ("PrintStarted", {})]),
    "print started": ("empty", ["Print started"], 1, [("PrintStarted", {"file": "F-001"})]),
    "another file started": ("empty", ["Another file", "F-013 started"], 2, [("PrintStarted", {"file": "F-013"})]),
    "two scrap and why": ("done", ["some scrap", "+", "Warped"], 4, [
        ("PartsOff", {"scrap": "2", "scrap_cause": "warped"}),
    ]),
    "print failed": ("printing", ["Print failed", "Came loose"], 2, [
        ("PartsOff", {"scrap": "12", "scrap_cause": "came-loose", "ended": "stopped"}),
    ]),
    "spool changed": ("printing", ["Spool changed", "Same again"], 2, [("SpoolFitted", {"grams": "1000.0"})]),
    "spool ran out, print goes on": ("stopped", ["Spool changed", "PETG grey"], 2, [
        ("SpoolFitted", {"material": "petg-grey"}),
        ("Looked", {"saw": "printing"}),
    ]),
    "down and why": ("printing", ["Down", "Fan noisy"], 2, [("WentDown", {"cause": "fan"})]),
    "waiting for a spare": ("down", ["Waiting for a spare", "Cooling fan"], 2, [
        ("WentDown", {"cause": "fan", "spare": "fan"}),
    ]),
    "cause now known": ("down", ["cause now known", "Belt"], 2, [("WentDown", {"cause": "belt"})]),
    "running again": ("down", ["Running again"], 1, [("CameBack", {})]),
    "upkeep": ("empty", ["Upkeep done", "Clean and oil", "Clean and oil: done"], 3, [
        ("UpkeepDone", {"task": "clean-oil", "minutes": "20.0"}),
    ]),
    "upkeep begun": ("empty", ["Upkeep begun"], 1, [("Looked", {"saw": "upkeep"})]),
    "set aside": ("empty", ["Set aside"], 1, [("SetAside", {})]),
    "put back": ("aside", ["Put back"], 1, [("PutBack", {})]),
    "parts off where nobody knows the print": ("no word", ["left empty", "Nobody counted"], 2, [
        ("PartsOff", {"scrap": "0"}),
    ]),
}  # fmt: skip


@pytest.mark.parametrize("name", CHECK_INS)
def test_a_check_in_takes_few_taps_and_lands_in_the_log(name, hand, take):
    state, taps, most, expected = CHECK_INS[name]
    machine = take(state)
    hand.check_in(machine).tap(*taps)
    hand.says(f"{machine} recorded")
    assert hand.taps <= most
    landed = hand.new(machine)
    assert [row["kind"] for row in landed] == [kind for kind, _ in expected]
    for row, (_, fields) in zip(landed, expected, strict=True):
        assert fields.items() <= row.items()
        assert row["by"] == "ro"


@pytest.mark.parametrize("pause", [0, 80, 150, 300])
def test_a_double_tap_is_one_record(pause, hand, take):
    machine = take("done")
    hand.check_in(machine).tap_twice(NEXT, pause)
    hand.says("recorded")
    hand.taps_are_answered()
    assert [row["kind"] for row in hand.new(machine)] == ["PartsOff", "PrintStarted"]


def test_the_second_tap_does_not_land_on_what_came_in_place_of_the_first(hand, take):
    machine = take("empty")
    hand.check_in(machine).tap_twice("Print started", 300)
    hand.says("recorded")
    hand.taps_are_answered()
    assert [row["kind"] for row in hand.new(machine)] == ["PrintStarted"]


def test_a_double_tap_on_down_records_no_cause(hand, take):
    machine = take("printing")
    hand.check_in(machine).tap_twice("Down", 150)
    expect(hand.page.get_by_text("Down: what is the cause?")).to_be_visible()
    hand.tap("Back").taps_are_answered()
    assert hand.new(machine) == []


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="this system cannot stall a process")
def test_an_impatient_second_tap_on_a_stalled_connection_is_one_record(hand, take):
    machine = take("printing")
    hand.check_in(machine)
    hand.serving.process.send_signal(signal.SIGSTOP)
    try:
        hand.tap_twice(NEXT, 1000)
    finally:
        hand.serving.process.send_signal(signal.SIGCONT)
    hand.says("recorded")
    hand.taps_are_answered()
    assert [row["kind"] for row in hand.new(machine)] == ["PartsOff", "PrintStarted"]


def test_undo_takes_back_every_entry_of_the_tap(hand, take):
    machine = take("done")
    hand.check_in(machine).tap(NEXT)
    hand.says("12 good, next started: F-005")
    hand.tap("Undo")
    hand.says("Taken back")
    recorded, voided = hand.new(machine)[:2], hand.new(machine)[2:]
    assert [row["kind"] for row in voided] == ["EntryVoided", "EntryVoided"]
    assert [row["which"] for row in voided] == [row["id"] for row in recorded]
    expect(hand.page.locator(".state")).to_contain_text("Done")


def test_an_older_entry_that_is_wrong_is_taken_back_and_no_other(hand, take):
    machine = take("empty")
    hand.check_in(machine).tap("One of these is wrong")
    asked = utc_now()
    hand.tap("parts off, all good", "Take it back")  # at once, as a nervous finger does
    expect(hand.page.get_by_text("What is taken back stays so.")).to_be_visible()
    hand.calm()
    hand.tap("Take it back")
    hand.says("parts off, all good")
    expect(hand.page.locator(".said").first).to_contain_text("Taken back: ")
    expect(hand.page.locator(".entry").filter(has_text="parts off")).to_have_count(0)
    expect(hand.page.get_by_role("button", name="Undo")).to_have_count(0)
    (voided,) = hand.new(machine)
    assert voided["kind"] == "EntryVoided"
    assert datetime.fromisoformat(voided["noted_at"]) - asked > timedelta(seconds=SECOND_TAP)  # the second tap, then
    assert next(r for r in entries_of(hand.serving, machine, EVER) if r["id"] == voided["which"])["kind"] == "PartsOff"


def test_the_receipt_stays_for_whoever_opens_the_machine_next(hand, take):
    machine = take("done")
    hand.check_in(machine).tap(EMPTY)
    hand.says("recorded")
    hand.check_in(machine, by="mi")
    hand.says("Rory: parts off, all good")
    hand.tap("Undo")
    hand.says("Taken back")
    assert [row["by"] for row in hand.new(machine)] == ["ro", "mi"]


def test_what_happened_earlier_is_noted_now_for_then(hand, take):
    machine = take("empty")
    hand.check_in(machine).tap("It happened earlier", "30 min ago")
    hand.says("The next tap counts as")
    hand.tap("Print started")
    hand.says("recorded")
    (row,) = hand.new(machine)
    at, noted = datetime.fromisoformat(row["at"]), datetime.fromisoformat(row["noted_at"])
    assert timedelta(minutes=29) < noted - at < timedelta(minutes=32)
    assert utc_now() - noted < timedelta(minutes=5)
    hand.tap(EMPTY)
    hand.says("good")
    later = hand.new(machine)[-1]
    assert later["at"] == later["noted_at"]


def test_what_happened_on_another_day_is_noted_for_its_hour(hand, take):
    machine = take("no word")
    hand.check_in(machine).tap("It happened earlier", "Yesterday", "09:00")
    hand.says(" 09:00, from memory")
    hand.tap("left empty", "Nobody counted")
    hand.says("recorded")
    (row,) = hand.new(machine)
    at = datetime.fromisoformat(row["at"]).astimezone(ZoneInfo("Europe/Dublin"))
    assert (at.date(), at.hour, at.minute) == (datetime.now(at.tzinfo).date() - timedelta(days=1), 9, 0)


def test_a_tap_on_what_somebody_noted_meanwhile_is_refused_and_the_machine_shown_as_it_is(hand, take):
    machine = take("printing")
    hand.check_in(machine).tap("Print failed")
    tell(hand.serving, machine, {"kind": "PartsOff"}, {"kind": "PrintStarted", "file": "F-001", "revision": 1})
    hand.tap("Warped")
    hand.says("Somebody noted this machine meanwhile: look again before you tap.")
    assert [row["by"] for row in hand.new(machine)] == ["mi", "mi"]
    hand.calm()
    hand.tap("Warped")
    hand.says("5 scrap (Warped)")
    assert hand.new(machine)[-1]["scrap"] == "5"


def test_an_open_question_is_answered_by_one_tap(hand, take):
    machine = take("uncounted")
    hand.check_in(machine).tap("All 5 good")
    hand.says("5 good")
    (row,) = hand.new(machine)
    assert (row["kind"], row["on_platform"]) == ("PartsOff", "5")
    expect(hand.page.get_by_text("were never counted")).to_have_count(0)


def test_the_address_on_a_sticker_leads_to_its_machine_and_initials_are_asked_once(hand, take):
    machine = take("uncounted")
    hand.open(f"/?machine={machine}").tap("MI")
    expect(hand.page.locator(".code")).to_have_text(machine)
    hand.page.reload()
    expect(hand.page.locator(".code")).to_have_text(machine)
    hand.tap("Mika is tapping", "Rory", "Print started")
    hand.says("recorded")
    assert [row["by"] for row in hand.new(machine)] == ["ro"]


def test_a_machine_that_is_not_there_leads_to_the_racks(hand):
    hand.open("/checkin?machine=P99&by=ro")
    expect(hand.page.get_by_text("There is no machine P99")).to_be_visible()
    hand.tap("P36")
    expect(hand.page.locator(".code")).to_have_text("P36")


def test_a_restart_of_the_server_loses_nothing(chromium, start, tmp_path):
    shop = tmp_path / "shop.duckdb"
    machine = make_room(shop)["done"][0]
    serving = start(shop)
    hand = phone(chromium, serving)
    hand.check_in(machine).tap(EMPTY)
    hand.says("recorded")
    serving.stop()
    hand.serving = start(shop, "--port", serving.port)
    hand.tap("Print started")
    hand.says("F-005 started")
    assert [row["kind"] for row in hand.new(machine)] == ["PartsOff", "PrintStarted"]
    hand.page.context.close()
