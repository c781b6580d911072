"""How long things take: `python -m tests.benchmarks.speed`. Not a test: a clock says nothing on a busy machine.

Every time stands beside its ratio to one fixed piece of work (sorting two million numbers), done in the same
run, so that runs on different machines can be compared.
"""

import re
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page, sync_playwright

from core import answers
from core.epoch import utc_now
from core.log.lock import read_owner
from core.log.store import Log
from core.window import Window
from demo.make import make
from tests.conftest import BROWSER_OPTIONS, browser_path
from tests.dashboard.serving import ENVIRONMENT, ROUNDSHEET
from tests.floor.phones import BUTTONS

OWNERS = {"width": 1440, "height": 900}
PHONES = {"width": 390, "height": 844}
#: Pages and what has to be seen of each.
OPENED = (
    ("owner's page, navigation to what needs a hand", "/", ".rs-needs li"),
    ("a machine's record, navigation to its story", "/upkeep?machine=P07", ".rs-told"),
    ("weekly review, navigation to its tables", "/review?by=ha", ".rs-cards >> nth=5"),
)
#: What is recorded at once, unless the spool is asked about.
ONE_TAP, ASKED = re.compile(r"Parts off, all \d+ good|Print started.+again", re.DOTALL), "too short"


def main() -> None:
    """Measure the invented shop of 36 machines and 26 weeks, from its making to a tap on a phone."""
    with tempfile.TemporaryDirectory() as folder:
        shop = Path(folder) / "larkfield.duckdb"
        unit = _middle(lambda: np.sort(np.random.default_rng(1).random(2_000_000)), 5)
        print(f"one piece of work: {unit:.3f} s")
        _say("demo: 36 machines, 26 weeks made", _seconds(lambda: make(shop)), unit)
        _answers(shop, unit)
        _pages(shop, unit)


def _answers(shop: Path, unit: float) -> None:
    with Log.open(shop) as log:
        now = log.last_noted(utc_now()) or utc_now()
        year = log.span() or Window(now, now)
        _say("report", _middle(lambda: answers.report(log, now), 5), unit)
        _say("machine page", _middle(lambda: answers.machine_page(log, "P07", now), 5), unit)
        _say("stores", _middle(lambda: answers.stores(log, now), 5), unit)
        outlook = answers.Outlook(log, now, answers.learned_at(log, now))
        _say("plan, the room put together and played 500 times", _seconds(lambda: answers.plan(outlook)), unit)
        _say("the room played again for a promise", _seconds(lambda: answers.promise(outlook, "feeder-cap", 300)), unit)
        _say("capacity", _seconds(lambda: answers.capacity(outlook)), unit)
        _say("what would give more", _seconds(lambda: answers.gains(outlook)), unit)
        _say("loading list", _seconds(lambda: answers.loading(outlook, answers.stores(log, now), None)), unit)
        learned = answers.learned_at(log, now)
        watch = answers.Watch(log, now, learned)
        _say("upkeep and repairs", _seconds(lambda: answers.reliability(watch, answers.stores(log, now))), unit)
        _say("a machine's record", _middle(lambda: answers.machine_record(log, "P07", now, learned, watch), 3), unit)
        _say("weekly review", _middle(lambda: answers.review(answers.last_quarter(log, now, learned)), 3), unit)
        _say("hours by machine, 26 weeks", _middle(lambda: answers.hours(log, year, "machine", now), 3), unit)
    report = [*ROUNDSHEET, "report", "--shop", str(shop)]
    whole = _middle(lambda: subprocess.run(report, check=True, env=ENVIRONMENT, stdout=subprocess.DEVNULL), 3)
    _say("roundsheet report, Python's start included", whole, unit)


def _pages(shop: Path, unit: float) -> None:
    server = subprocess.Popen([*ROUNDSHEET, "serve", "--shop", str(shop), "--port", "0"], env=ENVIRONMENT,
                              stdout=subprocess.DEVNULL)  # fmt: skip
    try:
        url = _url(shop)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=browser_path(), args=list(BROWSER_OPTIONS))
            for what, address, seen in OPENED:
                _say(f"{what} (warm browser)", _opened(browser, f"{url}{address}", seen), unit)
            taps = _taps(browser, url)
            browser.close()
        _say("tap to recorded, half of the taps", statistics.median(taps), unit)
        _say("tap to recorded, 95th of 100 taps", statistics.quantiles(taps, n=20)[-1], unit)
    finally:
        server.terminate()
        server.wait()


def _url(shop: Path) -> str:
    for _ in range(600):
        if (owner := read_owner(shop)) and owner.url:
            return owner.url
        time.sleep(0.1)
    raise TimeoutError("the server has not answered in a minute")


def _opened(browser: Browser, url: str, seen: str) -> float:
    """Seconds to open a page that was opened before."""
    page = browser.new_context(viewport=OWNERS).new_page()

    def open_it() -> None:
        page.goto(url)
        page.locator(seen).first.wait_for(timeout=120_000)

    open_it()
    usual = _middle(open_it, 9)
    page.context.close()  # an open one reckons anew after every tap, for the better part of a second
    return usual


def _taps(browser: Browser, url: str) -> list[float]:
    """Start a print or take parts off, on machine after machine."""
    page = browser.new_context(viewport=PHONES, has_touch=True).new_page()
    times: list[float] = []
    for number in range(1, 37):
        page.goto(f"{url}/checkin?machine=P{number:02}&by=ro")
        page.locator(".code", has_text=f"P{number:02}").wait_for()
        button = page.locator(BUTTONS).filter(has_text=ONE_TAP, has_not_text=ASKED).first
        if button.is_visible():
            times.append(_tap(page, button.tap))
    return times


def _tap(page: Page, tap: Callable[[], None]) -> float:
    said = page.locator(".st-key-receipt").inner_text()
    began = time.perf_counter()
    tap()
    page.wait_for_function("said => document.querySelector('.st-key-receipt').innerText !== said", arg=said)
    return time.perf_counter() - began


def _middle(work: Callable[[], object], times: int) -> float:
    return statistics.median(_seconds(work) for _ in range(times))


def _seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _say(what: str, seconds: float, unit: float) -> None:
    print(f"{what}: {seconds:.3f} s ({seconds / unit:.1f} pieces of work)", flush=True)


if __name__ == "__main__":
    main()
