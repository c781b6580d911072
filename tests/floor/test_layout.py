"""Every page on every width, and sizes and places on those that hands tap at, measured in a real browser."""

import pytest
from playwright.sync_api import expect

from dashboard.kit.menu import PAGES
from tests.floor.phones import MAIN, stands_still

WIDTHS = [320, 360, 390, 1440]
#: What hands tap at: an address, and what to tap there.
SCREENS = {
    "check-in": ("/checkin?machine={done}&by=ro", ()),
    "some scrap": ("/checkin?machine={done}&by=ro", ("some scrap",)),
    "down": ("/checkin?machine={printing}&by=ro", ("Down",)),
    "spool": ("/checkin?machine={printing}&by=ro", ("Spool changed",)),
    "upkeep done": ("/checkin?machine={empty}&by=ro", ("Upkeep done", "Clean and oil")),
    "which is wrong": ("/checkin?machine={empty}&by=ro", ("One of these is wrong",)),
    "take back": ("/checkin?machine={empty}&by=ro", ("One of these is wrong", "parts off")),
    "earlier": ("/checkin?machine={printing}&by=ro", ("It happened earlier",)),
    "on another day": ("/checkin?machine={printing}&by=ro", ("It happened earlier", "Yesterday")),
    "empty": ("/checkin?machine={empty}&by=ro", ()),
    "no word": ("/checkin?machine={no word}&by=ro", ()),
    "machines": ("/checkin?by=ro", ()),
    "people": ("/checkin", ()),
    "racks": ("/round?by=ro", ()),
    "round": ("/round?rack=A&by=ro", ()),
    "one machine of a round": ("/round?rack=A&by=ro", ("P02",)),
}

BOXES = (
    f"() => [...document.querySelectorAll('{MAIN} button, {MAIN} a')]"
    """
    .filter(e => e.checkVisibility())
    .map(e => { const r = e.getBoundingClientRect();
                return {words: e.innerText, x: r.x, y: r.y, width: r.width, height: r.height,
                        act: !!e.closest("[class*='st-key-main-'], [class*='st-key-apart-']"),
                        button: e.tagName === "BUTTON"} })"""
)

SMALLEST_TEXT = """main => {
    const walk = document.createTreeWalker(document.querySelector(main), NodeFilter.SHOW_TEXT);
    const sizes = [];
    while (walk.nextNode()) {
        const parent = walk.currentNode.parentElement;
        if (walk.currentNode.data.trim() && parent.checkVisibility())
            sizes.push(parseFloat(getComputedStyle(parent).fontSize));
    }
    return Math.min(...sizes);
}"""

#: Measured once, however often a page is told to.
SHIFTS = """() => { if (window.shifts) return; window.shifts = [];
    new PerformanceObserver(list => list.getEntries().forEach(e => window.shifts.push(e)))
        .observe({type: "layout-shift", buffered: true}); }"""


FITS = """main => [document.documentElement, document.querySelector(main)]
    .every(e => e.scrollWidth === e.clientWidth)"""

#: What can be come to or looked at, and has no name for those who cannot see it.
NAMELESS = """main => [...document.querySelectorAll("a, button, input, select, textarea, summary, img, [role=img]")]
    .filter(e => e.closest(main) && e.checkVisibility() && (e.tabIndex >= 0 || e.matches("img, [role=img]")))
    .filter(e => ![e.innerText, e.ariaLabel, e.title, e.alt, ...[...(e.labels || [])].map(l => l.innerText),
                   document.getElementById(e.getAttribute("aria-labelledby"))?.innerText].some(name => name?.trim()))
    .map(e => e.outerHTML)"""


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.title)
def test_every_page_fits_the_screen_can_be_read_and_names_all_that_can_be_come_to(page, hand):
    shown = hand.open(f"/{page.address}?by=ro").page
    expect(shown).to_have_title(page.title)
    expect(shown.locator(".st-key-menu a")).to_have_text([other.title for other in PAGES])
    for width in WIDTHS:
        shown.set_viewport_size({"width": width, "height": 844})
        shown.wait_for_function(FITS, arg=MAIN)  # charts follow
    assert shown.evaluate(NAMELESS, MAIN) == []
    assert shown.evaluate(SMALLEST_TEXT, MAIN) >= 16


@pytest.fixture
def at(hand, room):
    """Opens one of `SCREENS` by its name."""

    def opened(name):
        path, taps = SCREENS[name]
        hand.open(path.format(**{state: machines[-1] for state, machines in room[1].items()})).tap(*taps)
        stands_still(hand.page)
        return hand.page

    return opened


@pytest.mark.parametrize("name", SCREENS)
def test_nothing_scrolls_sideways_and_everything_is_big_enough_to_hit_and_read(name, at):
    page = at(name)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 844})
        wide, room = page.evaluate(
            "main => { const e = document.querySelector(main); return [e.scrollWidth, e.clientWidth]; }", MAIN
        )
        assert wide == room, width
        boxes = page.evaluate(BOXES)
        small = [b for b in boxes if b["height"] < (88 if b["act"] else 58) or b["width"] < 58]
        assert small == [], width
        assert close(boxes) == [], width
    assert page.evaluate(SMALLEST_TEXT, MAIN) >= 18


def close(boxes):
    """Pairs of buttons with less than 12 pixels between them (8 on the narrowest screens)."""
    buttons = [b for b in boxes if b["button"]]
    found = []
    for i, one in enumerate(buttons):
        for other in buttons[i + 1 :]:
            across = max(one["x"], other["x"]) - min(one["x"] + one["width"], other["x"] + other["width"])
            down = max(one["y"], other["y"]) - min(one["y"] + one["height"], other["y"] + other["height"])
            if max(across, down) < 8:
                found.append((one["words"], other["words"], across, down))
    return found


def test_down_stands_apart(at):
    page = at("check-in")
    down = page.locator(".st-key-apart-down button").bounding_box()
    above = page.locator(".st-key-main-spool button").bounding_box()
    assert down["y"] - above["y"] - above["height"] >= 24


@pytest.mark.parametrize("name", ["check-in", "round"])
def test_nothing_jumps_while_a_page_comes_up(name, at, hand):
    hand.page.add_init_script(f"({SHIFTS})()")
    page = at(name)
    assert page.evaluate("window.shifts.reduce((sum, e) => sum + e.value, 0)") <= 0.1


def test_a_tap_moves_nothing_above_what_is_tapped(hand, take):
    page = hand.check_in(take("done")).page
    stands_still(page)
    before = {key: page.locator(f".st-key-{key}").bounding_box() for key in ("head-machine", "slot")}
    hand.tap("next one started")
    hand.says("recorded")
    stands_still(page)
    assert {key: page.locator(f".st-key-{key}").bounding_box() for key in before} == before


def test_the_first_act_needs_neither_scrolling_nor_a_keyboard(at):
    page = at("check-in")
    act = page.locator(".st-key-main-off_next button").bounding_box()
    assert act["y"] + act["height"] < 844
    expect(page.locator("input, textarea, select")).to_have_count(0)


def test_a_page_asks_its_server_for_nothing_that_is_not_there(hand, room):
    failed = []
    hand.page.on("response", lambda response: failed.append(response.url) if response.status >= 400 else None)
    for path in (f"/checkin?machine={room[1]['done'][-1]}&by=ro", "/round?by=ro", "/stores?by=ro"):
        hand.open(path)
    assert failed == []
