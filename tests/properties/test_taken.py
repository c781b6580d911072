"""Whatever contradicts no more than other entries is taken, and what follows from it stays possible.

Every law is tried on a week of taps in no sensible order: removals of what nobody started, more scrap than parts,
orders gone before they were taken, returns of machines that never went down. A story is read off a string of bytes, as
in `histories`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.answers import all_answers, machine_page, report
from core.entries import AnyEntry
from core.epoch import micros
from core.errors import Refused
from core.estimate import Estimate
from core.log.frames import entry_frame
from core.log.known import Known
from core.log.record import record
from core.log.rules import REFUSALS
from core.log.store import Log
from core.morning.types import Report
from core.orders import covers, flows, lags, order_book, packings
from core.setup import Setup
from core.staffed import Staffed
from core.timeline.counts import contradicted, perhaps_good, removals
from core.timeline.reckon import Reckoned, reckon
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, tell, when
from tests.properties.histories import Dice
from tests.tiers import examples

#: After every story; who asks then hears of all that was told.
NOW = when(8)
#: What names an order that nobody has told of yet, or names one twice, is turned away all the same.
NOT_TOLD_YET = {"order_is_known", "order_is_new"}
MACHINES = ("A1", "A2", "B1")
#: So many taps make a story, each read off so many bytes.
TAPS, SHARE = 24, 16
ALWAYS = Staffed([(micros(when(0)), micros(NOW))])
FILES = {"clip": ("clip", 1.0), "grille": ("grille", 1.0), "feeder": ("grille", 1.0)}


def started(dice: Dice) -> dict[str, object]:
    return {"kind": "PrintStarted", "file": dice.pick(("clip", "grille")), "revision": 1}


def off(dice: Dice) -> dict[str, object]:
    """Parts off: all that any file holds may be scrap, whatever was started."""
    on = dice.pick((None, None, 12, 6, 1))
    scrap = dice.below((on or 12) + 1)
    ended = dice.pick(("itself", "stopped"))
    return {"kind": "PartsOff", "on_platform": on, "scrap": scrap, "scrap_cause": "warped" if scrap else None,
            "ended": ended}  # fmt: skip


def spool(dice: Dice) -> dict[str, object]:
    weights = (20.0, 750.0, 1000.0, 3000.0)
    left = dice.pick((None, 0.0, 400.0, 2900.0))
    return {"kind": "SpoolFitted", "material": "petg-black", "grams": dice.pick(weights), "left_grams": left}


def looked(dice: Dice) -> dict[str, object]:
    return {"kind": "Looked", "saw": dice.pick(("printing", "done", "stopped", "empty", "down", "upkeep"))}


def declared(dice: Dice) -> dict[str, object]:
    return dice.pick((
        {"kind": "WentDown", "cause": "belt"}, {"kind": "CameBack"}, {"kind": "SetAside"}, {"kind": "PutBack"},
        {"kind": "UpkeepDone", "task": "clean", "minutes": 30},
    ))  # fmt: skip


def of_an_order(dice: Dice) -> dict[str, object]:
    return dice.pick((
        {"kind": "OrderTaken", "product": "clip", "quantity": 24, "due": when(20)},
        {"kind": "OrderPacked", "quantity": 12}, {"kind": "OrderShipped"},
    ))  # fmt: skip


AT_MACHINES = (started, off, off, spool, looked, declared)


def stories() -> st.SearchStrategy[list[AnyEntry]]:
    return st.binary(min_size=SHARE * TAPS, max_size=SHARE * TAPS).map(_story)


def _story(rolled: bytes) -> list[AnyEntry]:
    """Taps of a week in any order of time."""
    told = []
    for begin in range(0, len(rolled), SHARE):
        dice = Dice(rolled[begin : begin + SHARE])
        at = when(minutes=dice.below(7 * 24 * 60))
        if dice.below(5):
            fields = {"machine": dice.pick(MACHINES), **dice.pick(AT_MACHINES)(dice)}
        else:
            fields = {"order": "0007", **of_an_order(dice)}
        told.append(tell(str(fields.pop("kind")), at, **fields))
    return told


@contextmanager
def shop() -> Iterator[Log]:
    with TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.duckdb") as log:
        log.append_setup(ROWS)
        yield log


def taken(log: Log, story: list[AnyEntry], now: datetime = NOW) -> tuple[list[AnyEntry], set[str]]:
    """What the log took of a story, tap by tap, and the rules that turned the rest away."""
    kept: list[AnyEntry] = []
    refused = set()
    for entry in story:
        try:
            kept += record(log, [entry], now=now).recorded
        except Refused as refusal:
            refused.add(refusal.rule)
    return kept, refused


def reckoned(entries: list[AnyEntry]) -> Reckoned:
    setup, week = Setup(ROWS), Window(when(0), NOW)
    return reckon(entry_frame(entries), setup, week, Staffed.of(setup, week), EXACT)


def drawn(number: int) -> settings:
    return settings(examples(number), derandomize=True)


@drawn(200)
@given(stories())
def test_nothing_that_can_be_true_of_the_shop_is_turned_away(story: list[AnyEntry]) -> None:
    known = Known(Setup(ROWS), NOW)
    for entry in story:
        broken = {rule.__name__ for rule in REFUSALS if rule(entry, known)}
        assert broken <= NOT_TOLD_YET
        if not broken:
            known.add(entry)


@drawn(200)
@given(stories())
def test_no_count_goes_below_zero_and_all_scrap_counts(story: list[AnyEntry]) -> None:
    gaps = reckoned(story).gaps
    found = removals(gaps)
    told = found.drop_nulls("parts")
    assert (told["good"] >= 0).all()
    assert (told["good"] + told["scrap"] == told["parts"]).all()
    assert found["scrap"].sum() == sum(entry.scrap for entry in story if entry.kind == "PartsOff")
    assert (contradicted(gaps)["scrap"] > contradicted(gaps)["parts"]).all()
    assert (perhaps_good(gaps)["parts"] > 0).all()


@drawn(200)
@given(stories())
def test_no_finished_running_or_ordered_part_is_owed_and_no_order_took_less_than_no_time(story: list[AnyEntry]) -> None:
    entries, gaps = entry_frame(story), reckoned(story).gaps
    moved = flows(gaps, FILES, 0.0)
    assert (moved["stock"] >= 0).all()
    assert (moved.group_by("product").agg(pl.col("running").sum())["running"] >= 0).all()
    book = order_book(entries)
    packed = packings(entries, book)
    both = covers(moved, entries, book, ["clip", "grille"], 0)
    for cover in both:
        assert min([*cover.stock, *cover.running, *cover.ordered], default=0.0) >= 0
    assert (lags(book, packed, dict(zip(["clip", "grille"], both, strict=True)), ALWAYS) >= 0).all()


@pytest.mark.full
@drawn(15)
@given(stories())
def test_the_owner_is_told_of_possible_numbers_and_every_machine_has_its_page(story: list[AnyEntry]) -> None:
    with shop() as log:
        taken(log, story)
        page = report(log, NOW, EXACT)
        for machine in MACHINES:
            machine_page(log, machine, NOW, EXACT)
    assert possible(page)


def possible(page: Report) -> bool:
    """Whether no figure of a period is below nothing, nor its range the wrong way round."""
    return all(
        isinstance(good, Estimate) and 0 <= good.low <= good.best <= good.high and scrap >= 0
        for good, scrap in ((period.good, period.scrap) for period in (page.yesterday, page.week))
    )


def test_every_answer_comes_of_a_log_full_of_contradictions() -> None:
    story = [
        tell("PrintStarted", when(1), machine="A1", file="grille", revision=1),
        tell("PartsOff", when(3), machine="A1", scrap=12, scrap_cause="warped"),
        tell("PartsOff", when(3.5), machine="A1", scrap=8, scrap_cause="warped"),
        tell("CameBack", when(4), machine="A2"),
        tell("SpoolFitted", when(1), machine="B1", material="petg-black", grams=750),
        tell("SpoolFitted", when(5), machine="B1", material="petg-black", grams=1000, left_grams=2900),
        tell("OrderTaken", when(6), order="0007", product="clip", quantity=24, due=when(20)),
        tell("OrderPacked", when(5), order="0007", quantity=12), tell("OrderShipped", when(5.5), order="0007"),
    ]  # fmt: skip
    with shop() as log:
        kept, refused = taken(log, story)
        assert (len(kept), refused) == (len(story), set())
        told = list(all_answers(log, NOW + timedelta(hours=12)))
    assert told
