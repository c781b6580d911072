"""What all tests share: Hypothesis without deadlines, and the rule for tests that need a browser."""

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# A slow machine is no failure.
settings.register_profile("roundsheet", deadline=None)
settings.load_profile("roundsheet")

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


#: Folders whose files take longest come first, or one process would be left with one of them at the end.
LONG = ("tests", "properties", "simulated", "floor", "dashboard")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: LONG.index(folder) if (folder := item.path.parent.name) in LONG else len(LONG))
    for item in items:
        if "chromium" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)


def browser_path() -> str | None:
    """A Chromium of this computer."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


@pytest.fixture(scope="session")
def chromium() -> Iterator["Browser"]:
    """A running headless Chromium; a test opens its own context in it."""
    from playwright.sync_api import sync_playwright

    path = browser_path()
    if path is None:
        missing = f"none of {', '.join(BROWSERS)} is on the path: install Chromium to run the browser tests"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_OPTIONS))
        yield browser
        browser.close()
