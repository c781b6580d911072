"""A round of one rack, tapped in a real browser."""

import re

import pytest
from playwright.sync_api import expect

from tests.floor.phones import entries_of, stands_still

# Rack A holds machines that print or are done; rack C holds the rest, one set aside and two of no word.


@pytest.fixture
def looks(hand):
    def of(machine):
        return [(row["kind"], row.get("saw")) for row in entries_of(hand.serving, machine, hand.opened)]

    return of


def asked_openly(hand, rack, at_first):
    """The machine of which the round shows nothing though something is held of it, and those not so at first."""
    hand.open(f"/round?rack={rack}&by=ro")
    hidden = hand.page.locator("[class*='st-key-unknown-'] button")
    expect(hidden.first).to_be_visible()
    codes = [text.split()[0] for text in hidden.all_inner_texts()]
    return [code for code in codes if code not in at_first]


def test_one_differs_one_is_asked_openly_and_the_other_ten_are_confirmed_by_one_tap(hand, looks):
    (asked,) = asked_openly(hand, "A", ())
    differs, same = [code for code in ("P02", "P03", "P04") if code != asked][:2]
    hand.tap(differs, "Stopped")
    hand.says(f"{differs} stopped")
    hand.tap("The other 10 are as expected")
    hand.says("10 as expected")
    hand.tap(re.compile("^Done"))
    hand.says(f"{asked} done")
    assert hand.taps == 4
    assert looks(differs) == [("Looked", "stopped")]
    assert looks(same) == [("Looked", "printing")]
    assert looks(asked) == [("Looked", "done")]
    rows = {code: hand.new(code)[0] for code in (differs, same, asked)}
    assert len({row["round"] for row in rows.values()}) == 1
    assert [rows[code].get("reckoned") is not None for code in (differs, same, asked)] == [False, False, True]
    hand.tap("Next: Rack B")
    expect(hand.page.locator(".code")).to_have_text("Rack B")


def test_undo_takes_back_the_whole_confirmation(hand, looks):
    (asked,) = asked_openly(hand, "B", ())
    confirmed = "P13" if asked != "P13" else "P14"
    hand.tap("All 11 are as expected")
    hand.says("11 as expected")
    hand.tap("Undo")
    hand.says("Taken back")
    assert looks(confirmed)[-1] == ("EntryVoided", None)
    expect(hand.button("All 11 are as expected")).to_be_visible()


def test_a_double_tap_confirms_once_and_answers_nothing(hand, looks):
    (asked,) = asked_openly(hand, "B", ())
    confirmed = "P14" if asked != "P14" else "P15"
    hand.tap_twice("All 11 are as expected", 80)
    hand.says("11 as expected")
    stands_still(hand.page)
    hand.tap("P16")  # answered after whatever was tapped before it
    expect(hand.page.get_by_text("Check in at P16")).to_be_visible()
    assert len(looks(confirmed)) == 1
    assert looks(asked) == []


def test_what_nobody_can_predict_is_asked_and_never_confirmed_in_bulk(hand, looks, room):
    aside, *unknown = room[1]["aside"] + room[1]["no word"]
    asked_openly(hand, "C", unknown)
    for code in unknown:
        expect(hand.page.get_by_text("say what you see")).to_contain_text(code)
    expect(hand.button(aside)).to_have_count(0)
    hand.tap("All ")
    hand.says("as expected")
    assert looks(unknown[0]) == []
    hand.tap(unknown[0], re.compile("^Empty"))
    hand.says(f"{unknown[0]} empty")
    assert looks(unknown[0]) == [("Looked", "empty")]


def test_a_machine_stands_in_its_place(hand):
    hand.open("/round?rack=A&by=ro")
    tiles = (f".st-key-{look}-P{{0:02d}}" for look in ("place", "seen", "unknown"))
    any_look = ", ".join(tiles)
    boxes = [hand.page.locator(any_look.format(n)).bounding_box() for n in (1, 4, 5)]
    assert boxes[0]["y"] == boxes[1]["y"] < boxes[2]["y"]
    assert boxes[0]["x"] == boxes[2]["x"] < boxes[1]["x"]


def test_a_machines_own_page_is_one_tap_from_the_round(hand):
    hand.open("/round?rack=A&by=ro").tap("P05")
    hand.page.get_by_text("Check in at P05").tap()
    expect(hand.page.locator(".code")).to_have_text("P05")
    expect(hand.button("Parts off")).to_be_visible()
