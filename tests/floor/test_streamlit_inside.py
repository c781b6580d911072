"""Canaries in a real browser: whether our rules still reach what Streamlit draws, and its programs ask where told.

Each says in plain words what broke and where to look; its breakage is planted in the browser to see it say so.
"""

from collections.abc import Iterable
from itertools import chain
from typing import Any

import pytest
from playwright.sync_api import Page, Request, Route, expect
from playwright.sync_api import TimeoutError as Timeout

from dashboard.kit.streamlit_inside import HERE, SHEET
from tests.dashboard.serving import Serving
from tests.floor.phones import BUTTONS, CHARTS, MAIN, Phone
from tests.patience import DEADLINE

#: Pages that between them have one of everything a rule is for: address, taps, what is there then, width of the screen,
#: screen or paper.
VISITS = [
    ("/?by=ro", (), "[class*='st-key-answers-'] button", 1440, "screen"),
    ("/?by=ro", (), "[class*='st-key-answers-'] button", 1000, "screen"),
    ("/checkin?machine={done}&by=ro", ("next one started",), ".st-key-undo button", 390, "screen"),
    ("/checkin?machine={empty}&by=ro", ("Upkeep done", "Clean and oil"), "[class*='st-key-stepper-']", 390, "screen"),
    ("/checkin?machine={printing}&by=ro", ("It happened earlier",), ".st-key-tiles-when button", 390, "screen"),
    ("/round?rack=A&by=ro", ("P02",), "[class*='st-key-picked-'] button", 320, "screen"),
    ("/round?rack=A&by=ro", ("P02", "Stopped", "P03"), "[class*='st-key-picked-P03'] button", 390, "screen"),
    ("/plan?by=ro", (), f"{MAIN}:has(.st-key-load table) {CHARTS}", 1440, "print"),
]

#: Of every rule of a sheet, by its selector and its `@media`: how many elements it reaches on this page, and which of
#: its properties have its value on one of them (told by setting it by force, which then changes nothing).
REACHED = """sheet => {
    const rules = new CSSStyleSheet(), found = {};
    rules.replaceSync(sheet);
    document.head.appendChild(document.createElement("style")).textContent = "* { transition: none !important }";
    const holds = (element, name, value) => {
        const had = [element.style.getPropertyValue(name), element.style.getPropertyPriority(name)];
        const now = getComputedStyle(element).getPropertyValue(name);
        element.style.setProperty(name, value, "important");
        const forced = getComputedStyle(element).getPropertyValue(name);
        element.style.setProperty(name, ...had);
        return now === forced;
    };
    const apart = selectors => {
        let depth = 0;
        const parts = [""];
        for (const letter of selectors) {
            depth += (letter === "(") - (letter === ")");
            if (letter === "," && !depth) parts.push("");
            else parts[parts.length - 1] += letter;
        }
        return parts.map(each => each.trim());
    };
    const look = (list, media) => { for (const rule of list) {
        if (rule.media) look(rule.cssRules, `@media ${rule.media.mediaText} `);
        else for (const selector of apart(rule.selectorText)) {
            const here = !media || matchMedia(media.slice(7)).matches;
            const all = here ? [...document.querySelectorAll(selector.replace(":focus-visible", ""))] : [];
            const names = selector.includes(":focus") ? [] : [...rule.style];
            found[media + selector] = {
                reached: all.length,
                lost: names.filter(name => !all.some(each => holds(each, name, rule.style.getPropertyValue(name)))),
            };
        }
    } };
    look(rules.cssRules, "");
    return found;
}"""


Found = dict[str, dict[str, Any]]

BUTTONS_RENAMED = "() => document.querySelectorAll('.stButton').forEach(e => e.classList.replace('stButton', 'other'))"
STRONGER = (
    "() => { document.body.appendChild(document.createElement('style')).textContent ="
    " '#root .stPageLink a p { font-size: 14px }'; }"
)


def reached(page: Page) -> Found:
    """What of the sheet reaches something on this page."""
    found: Found = page.evaluate(REACHED, SHEET.read_text(encoding="utf-8"))
    return found


def together(pages: Iterable[Found]) -> Found:
    """What of the sheet reaches something on any of the pages."""
    seen: Found = {}
    for rule, found in chain.from_iterable(page.items() for page in pages):
        before = seen.setdefault(rule, {"reached": 0, "lost": found["lost"]})
        before["reached"] += found["reached"]
        before["lost"] = [name for name in before["lost"] if name in found["lost"]]
    return seen


def broken(seen: Found) -> list[str]:
    """A sentence for every rule that does nothing any more."""
    nothing = [
        f"`{rule}` reaches nothing: Streamlit draws it otherwise now. Find it in dashboard/kit/streamlit.css, which "
        "says what it is for, and look in a browser what stands there instead."
        for rule, found in seen.items() if not found["reached"]
    ]  # fmt: skip
    weaker = [
        f"`{rule}` no longer sets {', '.join(found['lost'])}: a rule of Streamlit's is stronger now. Find it in "
        "dashboard/kit/streamlit.css and make it stronger."
        for rule, found in seen.items() if found["reached"] and found["lost"]
    ]  # fmt: skip
    return nothing + weaker


def visit(hand: Phone, path: str, taps: tuple[str, ...], there: str, width: int, media: Any) -> Found:
    """One page, tapped at until something is there; what of the sheet reaches something on it."""
    hand.page.set_viewport_size({"width": width, "height": 844})
    hand.open(path)
    for words in taps:
        expect(hand.button(words)).to_be_visible(timeout=DEADLINE * 1000)
        hand.tap(words)
    expect(hand.page.locator(there).first).to_be_visible(timeout=DEADLINE * 1000)
    hand.page.emulate_media(media=media)
    found = reached(hand.page)
    hand.page.emulate_media(media="screen")
    return found


def test_every_rule_reaches_what_streamlit_draws(hand: Phone, room: tuple[Serving, dict[str, list[str]]]) -> None:
    named = {state: machines[-1] for state, machines in room[1].items()}
    found = broken(together([visit(hand, path.format(**named), *rest) for path, *rest in VISITS]))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("selector", [MAIN, BUTTONS, CHARTS])
def test_what_other_tests_look_for_is_there(hand: Phone, selector: str) -> None:
    hand.open("/plan?by=ro")
    try:
        expect(hand.page.locator(selector).first).to_be_visible(timeout=DEADLINE * 1000)
    except AssertionError:
        pytest.fail(f"Streamlit draws no {selector} any more: name in tests/floor/phones.py what stands there now.")


@pytest.mark.parametrize(
    ("breakage", "sentence"),
    [
        (BUTTONS_RENAMED, "`.stMain .stButton button` reaches nothing"),
        (STRONGER, "`.stMain .stPageLink a p` no longer sets font-size"),
    ],
)
def test_a_rule_that_does_nothing_any_more_is_named(
    hand: Phone, room: tuple[Serving, dict[str, list[str]]], breakage: str, sentence: str
) -> None:
    page = hand.check_in(room[1]["done"][-1]).page
    assert sentence not in "\n".join(broken(reached(page)))
    page.evaluate(breakage)
    assert sentence in "\n".join(broken(reached(page)))


def in_vain(request: Request) -> bool:
    """Whether the pages' programs ask below the address of a page, where nothing is."""
    return "/checkin/_stcore" in request.url


def test_the_pages_programs_ask_where_they_are_told(hand: Phone) -> None:
    asked: list[str] = []
    hand.page.on("request", lambda request: asked.append(request.url) if in_vain(request) else None)
    hand.open("/checkin?by=ro")
    assert asked == [], (
        "Streamlit's programs no longer go by window.__streamlit.BACKEND_BASE_URL: every page asks in vain first and "
        "comes up 0.2 s later. See streamlit_inside.HERE."
    )


def test_not_told_they_ask_in_vain(hand: Phone) -> None:
    def untold(route: Route) -> None:
        answer = route.fetch()
        assert HERE in answer.body()
        route.fulfill(response=answer, body=answer.body().replace(HERE, b""))

    hand.page.route("**/checkin", untold)
    try:
        with hand.page.expect_request(in_vain):
            hand.page.goto(f"{hand.serving.owner.url}/checkin")
    except Timeout:
        pytest.fail("Streamlit's programs find their server by themselves now: streamlit_inside.HERE may go.")
    finally:
        hand.page.unroute("**/checkin")
