"""A round of one rack, tapped in a real browser."""

import re

import pytest
from playwright.sync_api import expect

from tests.floor.phones import entries_of

# Rack A holds machines that print or are done; rack C holds the rest, one set aside and two of no word.


@pytest.fixture
def looks(hand):
    def of(machine):
        return [(row["kind"], row.get("saw")) for row in entries_of(hand.serving, machine, hand.opened)]

    return of


def test_one_differs_and_the_other_eleven_are_confirmed_by_one_tap(hand, looks):
    hand.open("/round?rack=A&by=ro").tap("P03", "Stopped")
    hand.says("P03 stopped")
    hand.tap("The other 11 are as expected")
    hand.says("11 as expected")
    assert hand.taps == 3
    assert looks("P03") == [("Looked", "stopped")]
    assert looks("P01") == [("Looked", "printing")]
    assert looks("P12") == [("Looked", "done")]
    rounds = {row["round"] for m in ("P01", "P03", "P12") for row in hand.new(m)}
    assert len(rounds) == 1
    hand.tap("Next: Rack B")
    expect(hand.page.locator(".code")).to_have_text("Rack B")


def test_undo_takes_back_the_whole_confirmation(hand, looks):
    hand.open("/round?rack=B&by=ro").tap("All 12 are as expected")
    hand.says("12 as expected")
    hand.tap("Undo")
    hand.says("Taken back")
    assert looks("P13")[-1] == ("EntryVoided", None)
    expect(hand.button("All 12 are as expected")).to_be_visible()


def test_a_double_tap_confirms_once(hand, looks):
    hand.open("/round?rack=B&by=ro").tap_twice("All 12 are as expected", 80)
    hand.says("12 as expected")
    hand.page.wait_for_timeout(1000)
    assert len(looks("P14")) == 1


def test_what_nobody_can_predict_is_asked_and_never_confirmed_in_bulk(hand, looks, room):
    aside, *unknown = room[1]["aside"] + room[1]["no word"]
    hand.open("/round?rack=C&by=ro")
    expect(hand.page.get_by_text("tap and say what you see")).to_contain_text(", ".join(unknown))
    expect(hand.button(aside)).to_have_count(0)
    hand.tap("All ")
    hand.says("as expected")
    assert looks(unknown[0]) == []
    hand.tap(unknown[0], re.compile("^Empty"))
    hand.says(f"{unknown[0]} empty")
    assert looks(unknown[0]) == [("Looked", "empty")]


def test_a_machine_stands_in_its_place(hand):
    hand.open("/round?rack=A&by=ro")
    boxes = [hand.page.locator(f".st-key-place-P{n:02d}, .st-key-seen-P{n:02d}").bounding_box() for n in (1, 4, 5)]
    assert boxes[0]["y"] == boxes[1]["y"] < boxes[2]["y"]
    assert boxes[0]["x"] == boxes[2]["x"] < boxes[1]["x"]


def test_a_machines_own_page_is_one_tap_from_the_round(hand):
    hand.open("/round?rack=A&by=ro").tap("P05")
    hand.page.get_by_text("Check in at P05").tap()
    expect(hand.page.locator(".code")).to_have_text("P05")
    expect(hand.button("Parts off")).to_be_visible()
