"""One server with machines in every state for the tests that tap at machines of their own."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest

from tests.dashboard.conftest import start  # noqa: F401 - a fixture
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import PHONE, Phone, make_room

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext


@pytest.fixture(scope="module")
def room(start: Start, tmp_path_factory: pytest.TempPathFactory) -> tuple[Serving, dict[str, list[str]]]:  # noqa: F811
    """A server and which of its machines stand in which state."""
    shop = tmp_path_factory.mktemp("floor") / "shop.duckdb"
    by_state = make_room(shop)
    return start(shop), by_state


@pytest.fixture(scope="module")
def take(room: tuple[Serving, dict[str, list[str]]]) -> Callable[[str], str]:
    """A machine in a state, that no other test has tapped."""
    left = {state: list(machines) for state, machines in room[1].items()}
    return lambda state: left[state].pop(0)


@pytest.fixture(scope="module")
def pocket(chromium: "Browser") -> Iterator["BrowserContext"]:
    """One phone for the tests of a module: it loads the pages' programs once."""
    context = chromium.new_context(viewport=PHONE, has_touch=True)
    yield context
    context.close()


@pytest.fixture
def hand(pocket: "BrowserContext", room: tuple[Serving, dict[str, list[str]]]) -> Iterator[Phone]:
    """The phone with a page of its own."""
    page = pocket.new_page()
    yield Phone(page, room[0])
    page.close()
