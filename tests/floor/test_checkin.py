"""Check-ins at one machine, tapped in a real browser; what lands in the log is read from the log."""

from datetime import datetime, timedelta

import pytest
from playwright.sync_api import expect

from tests.floor.phones import phone

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
    "upkeep": ("empty", ["Upkeep done", "Clean and oil"], 2, [("UpkeepDone", {"task": "clean-oil", "minutes": "20.0"})]),
    "set aside": ("empty", ["Set aside"], 1, [("SetAside", {})]),
    "put back": ("aside", ["Put back"], 1, [("PutBack", {})]),
    "parts off where nobody knows the print": ("no word", ["left empty", "\N{MINUS SIGN}", "left empty"], 3, []),
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
