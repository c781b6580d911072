"""What all tests share: the two tiers and their order, how much Hypothesis draws, and the rule for a browser."""

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

from tests import tiers
from tests.patience import DEADLINE

if TYPE_CHECKING:
    from playwright.sync_api import Browser

#: The first of these there is: one without windows does with less.
BROWSERS = (
    "chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome",
    "msedge",
)  # fmt: skip

BROWSER_OPTIONS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # A page of ours may ask this computer only: every other name leads nowhere.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
)

#: How many tests were left to the full tier.
LEFT = pytest.StashKey[int]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--full", action="store_true", help="run everything, not the quick tier alone")


def pytest_configure(config: pytest.Config) -> None:
    told = getattr(config, "workerinput", None)  # a process of xdist is told by the first one
    config.option.full = told["full"] if told else tiers.whole(config)
    settings.load_profile("full" if config.option.full else "quick")
    if not config.option.full:
        tiers.take_one_thread()


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    node.workerinput["full"] = node.config.option.full


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    return tiers.processes(config)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if tiers.asks_for(item, "chromium"):
            item.add_marker(pytest.mark.browser)
    left = set() if config.option.full else set(filter(tiers.is_full, items))
    config.stash[LEFT] = len(left)
    config.hook.pytest_deselected(items=[item for item in items if item in left])
    items[:] = tiers.long_files_first([item for item in items if item not in left])


def pytest_sessionfinish(session: pytest.Session) -> None:
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["left"] = session.config.stash.get(LEFT, 0)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """A process of xdist is done; each collected the same."""
    node.config.stash[LEFT] = getattr(node, "workeroutput", {}).get("left", 0)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if left := config.stash.get(LEFT, 0):
        terminalreporter.write_line(f"The quick tier: {left} tests were left out, which --full runs as well.")


def browser_path() -> str | None:
    """A Chromium of this computer."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


@pytest.fixture(scope="session")
def chromium() -> Iterator["Browser"]:
    """A running headless Chromium; a test opens its own context in it."""
    from playwright.sync_api import expect, sync_playwright

    path = browser_path()
    if path is None:
        missing = f"none of {', '.join(BROWSERS)} is on the path: install Chromium to run the browser tests"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    expect.set_options(timeout=1000 * DEADLINE)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_OPTIONS))
        browser.on("context", lambda context: context.set_default_timeout(1000 * DEADLINE))
        yield browser
        browser.close()
