"""Every page of the menu once in a real browser, drawn to its end; what is tapped there is tested in `floor`."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboard.kit.menu import PAGES
from demo.make import make
from tests.dashboard.conftest import start  # noqa: F401 - a fixture
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import stands_still

#: What is asked of each page of the menu, and what is there when it is drawn to its end.
LAST = {
    "": ("by=ro", ".rs-foot"),
    "checkin": ("machine=P01&by=ro", ".st-key-quiet-who button"),
    "round": ("rack=A&by=ro", ".st-key-quiet-who button"),
    "stores": ("by=ro", ".rs-item"),
    "plan": ("by=ro", ".st-key-finished input"),
    "upkeep": ("by=ro", ".rs-take"),
    "review": ("by=ro", ".paper"),
    "downloads": ("by=ro", ".rs-take"),
}


@pytest.fixture(scope="module")
def serving(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:  # noqa: F811
    """A small invented shop."""
    path = tmp_path_factory.mktemp("smoke") / "shop.duckdb"
    make(path, machines=4, weeks=3)
    return start(path)


@pytest.fixture(scope="module")
def screen(chromium: Browser) -> Iterator[Page]:
    """The owner's monitor."""
    with chromium.new_context(viewport={"width": 1440, "height": 900}) as context:
        yield context.new_page()


@pytest.mark.parametrize("address", [page.address for page in PAGES], ids=lambda address: address or "owner")
def test_a_page_comes_up_whole_and_nothing_goes_wrong_on_it(screen: Page, serving: Serving, address: str) -> None:
    asked, last = LAST[address]
    wrong: list[str] = []
    screen.on("response", lambda response: wrong.append(response.url) if response.status >= 400 else None)
    screen.on("pageerror", lambda error: wrong.append(error.message))
    screen.goto(f"{serving.owner.url}/{address}?{asked}")
    screen.locator(last).first.wait_for(state="attached")
    stands_still(screen)
    expect(screen.locator(".stException, .refused")).to_have_count(0)
    assert wrong == []


def test_the_menu_leads_to_these_pages_and_no_other(screen: Page, serving: Serving) -> None:
    screen.goto(f"{serving.owner.url}/?by=ro")
    expect(screen.locator(".st-key-menu a")).to_have_count(len(PAGES))
    links = screen.locator(".st-key-menu a").evaluate_all("all => all.map(a => new URL(a.href).pathname)")
    assert sorted(links) == sorted(f"/{address}" for address in LAST)
