"""A shop whose machines stand in every state, and a phone that taps."""

import csv
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from re import Pattern
from typing import Any

from playwright.sync_api import Browser, Locator, Page, expect

from core.entries import AnyEntry, PartsOff, PrintStarted, SpoolFitted, entry_adapter
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from dashboard.commands.desk import ask
from dashboard.kit.parts import SECOND_TAP
from demo.shop import shop_rows
from tests.dashboard.serving import Serving

PHONE = {"width": 390, "height": 844}

#: What of Streamlit's own the tests look for: the page without its header, the buttons, the charts of Altair's.
MAIN, BUTTONS, CHARTS = ".stMain", "[data-testid='stButton'] button", "[data-testid='stVegaLiteChart']"

FAN = {"cause": "fan"}
#: What was noted of a machine, by the state it is in now: kind, hours ago, further fields.
HISTORIES: dict[str, list[tuple[str, float, dict[str, Any]]]] = {
    "printing": [("PrintStarted", 2, {"file": "F-005", "revision": 1})],
    "done": [("PrintStarted", 9, {"file": "F-005", "revision": 1})],
    "empty": [("PrintStarted", 7, {"file": "F-001", "revision": 1}), ("PartsOff", 1, {})],
    "stopped": [("PrintStarted", 3, {"file": "F-005", "revision": 1}), ("Looked", 0.5, {"saw": "stopped"})],
    "down": [("PrintStarted", 9, {"file": "F-001", "revision": 1}), ("PartsOff", 2, {}), ("WentDown", 1, FAN)],
    "aside": [("SetAside", 1, {})],
    "no word": [],
    "uncounted": [("PrintStarted", 5, {"file": "F-001", "revision": 1}), ("Looked", 1, {"saw": "empty"})],
}  # fmt: skip
#: Machines that stand in each state, first to last place.
STATES = {
    "printing": 10, "done": 9, "empty": 8, "stopped": 1, "down": 3, "aside": 1, "no word": 2, "uncounted": 2,
}  # fmt: skip


def machines_by_state(rows: list[Any]) -> dict[str, list[str]]:
    """Which machines are put into which state; a rack is a mixture."""
    codes = iter(sorted(row.machine for row in rows if row.table == "machines"))
    return {state: [next(codes) for _ in range(number)] for state, number in STATES.items()}


def make_room(path: Path) -> dict[str, list[str]]:
    """A shop of 36 machines in `path`, the first of them in the states of `STATES`; which is which."""
    now = utc_now()
    rows = shop_rows(36, now - timedelta(days=30))
    by_state = machines_by_state(rows)
    with Log.open(path) as log:
        log.append_setup(rows)
        machines = [(machine, state) for state, codes in by_state.items() for machine in codes]
        record(log, [entry for machine, state in machines for entry in _told(machine, state, now)])
    return by_state


def run_short(path: Path, machine: str) -> None:
    """A print begins on a machine whose spool will not feed it, so that whatever the hour a spool runs out soon."""
    now = utc_now()
    told = {"machine": machine, "at": now, "noted_at": now, "by": "ro"}
    with Log.open(path) as log:
        record(log, [
            PartsOff(**told), SpoolFitted(**told, material="petg-grey", grams=40),
            PrintStarted(**told, file="F-005", revision=1),
        ])  # fmt: skip


def _told(machine: str, state: str, now: datetime) -> list[AnyEntry]:
    made = []
    for kind, hours, fields in HISTORIES[state]:
        at = now - timedelta(hours=hours)
        common = {"kind": kind, "machine": machine, "at": at, "noted_at": at, "by": "ro"}
        made.append(entry_adapter.validate_python(common | fields))
    return made


def entries_of(serving: Serving, machine: str, since: datetime) -> list[dict[str, str]]:
    """What was noted of a machine since a moment, in the order of writing, as the exported table has it."""
    folder = serving.shop.parent / f"out-{utc_now():%H%M%S%f}"
    ask(serving.shop, "export", folder=str(folder))
    with (folder / "entries.csv").open(encoding="utf-8", newline="") as file:
        rows = [{k: v for k, v in row.items() if v} for row in csv.DictReader(file)]
    ours = {row["id"] for row in rows if row.get("machine") == machine}
    return [
        row
        for row in rows
        if (row["id"] in ours or row.get("which") in ours) and datetime.fromisoformat(row["noted_at"]) >= since
    ]


#: Resolves when no run of the page is under way and nothing on it has moved for so many pictures in a row.
STILL = """pictures => new Promise(done => {
    const place = e => { const r = e.getBoundingClientRect(); return [r.x, r.y, r.width, r.height].map(Math.round); };
    const now = () => document.querySelector(".stApp").dataset.testScriptState !== "notRunning" ? null
        : [...document.querySelectorAll("body *")].map(place).join();
    let last = null, same = 0;
    const look = () => {
        const next = now();
        same = next !== null && next === last ? same + 1 : 0;
        last = next;
        same < pictures ? requestAnimationFrame(look) : done();
    };
    look();
})"""


def stands_still(page: Page) -> None:
    """Wait until a page is drawn and nothing on it moves any more."""
    page.evaluate(STILL, 20)


@dataclass
class Phone:
    """A page on a phone that counts its taps."""

    page: Page
    serving: Serving
    opened: datetime = field(default_factory=utc_now)
    taps: int = 0

    def open(self, path: str) -> "Phone":
        """Open a page of the server and wait until it is drawn."""
        self.page.goto(f"{self.serving.owner.url}{path}")
        expect(self.page.locator(".st-key-menu a").first).to_be_visible()
        return self

    def check_in(self, machine: str, by: str = "ro") -> "Phone":
        """Open the check-in of a machine."""
        self.open(f"/checkin?machine={machine}&by={by}")
        expect(self.page.locator(".code")).to_have_text(machine)
        return self

    def button(self, words: str | Pattern[str]) -> Locator:
        """The first button that holds these words."""
        return self.page.locator(BUTTONS).filter(has_text=words).first

    def tap(self, *labels: str | Pattern[str]) -> "Phone":
        """Tap buttons one after the other."""
        for words in labels:
            self.button(words).tap()
            self.taps += 1
        return self

    def tap_twice(self, words: str, milliseconds: int) -> "Phone":
        """Tap a button and, so much later, whatever has come to stand in its place."""
        self.button(words).tap(trial=True)  # it can be hit by now
        box = self.button(words).bounding_box()
        assert box is not None
        middle = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, milliseconds]
        self.page.evaluate(
            """([x, y, pause]) => new Promise(done => {
                const hit = () => document.elementFromPoint(x, y)?.closest("button")?.click();
                hit();
                setTimeout(() => { hit(); done(); }, pause);
            })""",
            middle,
        )
        return self

    def taps_are_answered(self) -> None:
        """Taps are answered in their order, so none is on its way any more when this harmless one at a machine is."""
        stands_still(self.page)
        self.button("It happened earlier").tap()
        expect(self.page.locator(".st-key-tiles-when")).to_be_visible()

    def calm(self) -> None:
        """Lift the finger for as long as the rule of the second tap asks: that time is what is put to the test."""
        now = self.page.evaluate("performance.now()")
        self.page.wait_for_function("until => performance.now() > until", arg=now + 1000 * SECOND_TAP)

    def says(self, words: str) -> None:
        """The receipt says so."""
        expect(self.page.locator(".st-key-receipt")).to_contain_text(words)

    def new(self, machine: str) -> list[dict[str, str]]:
        """What was noted of a machine since this phone was opened."""
        return entries_of(self.serving, machine, self.opened)


def phone(browser: Browser, serving: Serving) -> Phone:
    """A phone of its own, with touch."""
    return Phone(browser.new_context(viewport=PHONE, has_touch=True).new_page(), serving)


def tell(serving: Serving, machine: str, *fields: dict[str, Any]) -> None:
    """Somebody else notes something of a machine, on another device."""
    now = utc_now().isoformat()
    common = {"machine": machine, "at": now, "noted_at": now, "by": "mi"}
    ask(serving.shop, "entries", entries=[common | each for each in fields])
