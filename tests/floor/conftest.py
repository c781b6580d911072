"""One server with machines in every state for the tests that tap at machines of their own."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest

from tests.dashboard.conftest import start  # noqa: F401 - a fixture
from tests.dashboard.serving import Serving, Start
from tests.floor.phones import PHONE, Phone, make_room

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


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
def screen(chromium: "Browser") -> Iterator["Page"]:
    """One phone for the tests of a module, so that it reads the pages' programs once."""
    with chromium.new_context(viewport=PHONE, has_touch=True) as context:
        yield context.new_page()


@pytest.fixture(scope="module")
def shop(room: tuple[Serving, dict[str, list[str]]]) -> Serving:
    """The shop that hands tap at; a module may have another."""
    return room[0]


@pytest.fixture
def hand(screen: "Page", shop: Serving) -> Iterator[Phone]:
    """The phone, on no page yet."""
    screen.set_viewport_size(PHONE)
    yield Phone(screen, shop)
    screen.goto("about:blank")
