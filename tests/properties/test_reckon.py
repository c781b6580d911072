"""The reckoning against a slow plain one, and the laws it must keep, on generated histories.

The draws are the same on every run (`derandomize`), so that a red run is red for everybody and the
counts of what occurred cannot fail by luck.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import count, pairwise, product
from pathlib import Path
from random import Random
from uuid import uuid5

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core.entries import AnyEntry, AtMachine, EntryVoided
from core.epoch import HOUR
from core.log.frames import entry_frame
from core.log.store import Log
from core.setup import Machine
from core.staffed import Staffed
from core.timeline.facts import facts
from core.timeline.faults import around, faults
from core.timeline.gaps import find_gaps
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.timeline.plain_clock import Clock, Usual, micros
from tests.core.timeline.plain_clock import joined as spans_joined
from tests.core.timeline.plain_facts import Fact, facts_of, pairs
from tests.core.timeline.plain_reckoner import Stretch, plain_reckon, shape
from tests.properties.histories import BEGINNING, MACHINES, History, histories, moments
from tests.tiers import examples

#: Long after every history, and later still.
KNOWN = BEGINNING + timedelta(days=300)
LATER = KNOWN + timedelta(days=1)
ALL_OF_IT = Window(BEGINNING - timedelta(days=1), BEGINNING + timedelta(days=70))

LEFT = ("printing", "done", "stopped", "empty", "down", "waiting", "aside", "upkeep")
FOUND = ("printing", "done", "stopped", "empty", "down", "aside", "upkeep", "clear", "any")
OFTEN = 15


def drawn(number: int) -> settings:
    """So many examples, the same on every run; big histories are wanted, so their size is no complaint."""
    sizes = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example]
    return settings(examples(number), derandomize=True, suppress_health_check=sizes)


def compared(number: int) -> Counter[str]:
    """What occurred in so many draws of histories, of which both reckonings say the same."""
    occurred: Counter[str] = Counter()

    @drawn(number)
    @given(histories())
    def check(history: History) -> None:
        plain = plain_reckon(
            history.entries, history.rows, history.window, history.spans, history.learned, history.word_holds
        )
        assert stretches(history) == plain
        occurred.update(occurrences(history))
        occurred.update(f"{state} {basis}" for _, _, _, state, basis, *_ in plain)
        occurred.update("spare came" for *_, state, _, _, _, spare in plain if state == "down" and spare)

    check()
    return occurred


def test_the_reckoning_equals_the_plain_one() -> None:
    assert compared(100)["histories"] > 0


@pytest.mark.full
def test_the_reckoning_equals_the_plain_one_on_thousands_of_histories() -> None:
    occurred = compared(260)
    assert occurred["histories"] >= 2000
    assert {name: occurred[name] for name in expected() if occurred[name] < OFTEN} == {}


@drawn(60)
@given(histories(5))
def test_stretches_cover_the_service_in_order_and_bracket_their_ends(history: History) -> None:
    rows = reckoned(history, history.entries, history.window).rows(named=True)
    for before, after in pairwise(rows):
        assert (before["machine"], before["end"]) <= (after["machine"], after["start"])
    for row in rows:
        assert row["start"] < row["end"]
        assert row["start_low"] <= row["start"] <= row["start_high"]
        assert row["end_low"] <= row["end"] <= row["end_high"]
    for machine in MACHINES:
        covered = sum(row["end"] - row["start"] for row in rows if row["machine"] == machine)
        assert covered == service(history, machine)


@drawn(60)
@given(histories(5))
def test_faults_are_the_time_in_which_machines_are_down(history: History) -> None:
    always = [Machine(machine=machine, model="B220", rack="A", place=1) for machine in MACHINES]
    shop = replace(history, rows=[*(row for row in history.rows if not isinstance(row, Machine)), *always])
    setup, staffed = shop.setup, Staffed(shop.spans)
    found = reckon(entry_frame(shop.entries), setup, ALL_OF_IT, staffed, shop.learned)
    told = faults(found.gaps, micros(ALL_OF_IT.end))
    for machine in MACHINES:
        mine = [fault for fault in told if fault.machine == machine]
        rows = found.stretches.filter(machine=machine)
        down = rows.filter(pl.col("state").is_in(["down", "waiting"])).select("start", "end").rows()
        lasted = [(fault.began, min(fault.ended, micros(ALL_OF_IT.end))) for fault in mine]
        assert spans_joined(lasted) == spans_joined(down)
        assert [fault.hours for fault in mine] == pytest.approx([(end - start) / HOUR for start, end in lasted])
        waiting = rows.filter(state="waiting").select((pl.col("end") - pl.col("start")).sum()).item()
        assert sum(fault.waited for fault in mine) == pytest.approx(waiting / HOUR)
        assert any(fault.waits for fault in mine) == (rows["state"][-1] == "waiting")
    few = around(facts(entry_frame(shop.entries), setup, shop.learned))
    assert faults(find_gaps(few, staffed, shop.learned), micros(ALL_OF_IT.end)) == told


@drawn(40)
@given(histories(5), st.randoms(use_true_random=False))
def test_the_order_of_writing_changes_nothing(history: History, random: Random) -> None:
    shuffled = list(history.entries)
    random.shuffle(shuffled)
    assert stretches(history, shuffled) == stretches(history)


@drawn(60)
@given(histories(5), moments() | st.integers(0, 200))
def test_splitting_a_window_changes_nothing(history: History, where: datetime | int) -> None:
    first, second = split(history, where)
    glued = joined(stretches(history, window=first) + stretches(history, window=second))
    assert glued == stretches(history)


def test_splitting_changes_nothing_when_each_part_is_read_from_the_log(tmp_path: Path) -> None:
    logs = fresh_logs(tmp_path)

    @drawn(30)
    @given(histories(5), moments() | st.integers(0, 200))
    def check(history: History, where: datetime | int) -> None:
        first, second = split(history, where)
        whole = stretches(history)
        with next(logs) as log:
            log.append(history.entries)
            parts = [from_log(log, history, window) for window in (first, second)]
            assert from_log(log, history, history.window) == whole
        assert joined(parts[0] + parts[1]) == whole

    check()


def test_an_entry_noted_late_counts_as_if_in_time(tmp_path: Path) -> None:
    logs = fresh_logs(tmp_path)

    @drawn(20)
    @given(histories(5), st.integers(2, 5))
    def check(history: History, every: int) -> None:
        late = [e.model_copy(update={"noted_at": LATER}) for e in history.entries[::every]]
        in_time = without(history.entries, history.entries[::every])
        with next(logs) as log:
            log.append(in_time)
            log.append(late)
            assert from_log(log, history, history.window, as_of=LATER) == stretches(history)
            assert from_log(log, history, history.window, as_of=KNOWN) == stretches(history, in_time)

    check()


def test_a_voided_entry_was_never_entered(tmp_path: Path) -> None:
    logs = fresh_logs(tmp_path)

    @drawn(20)
    @given(histories(5), st.integers(2, 5))
    def check(history: History, every: int) -> None:
        wrong = history.entries[::every]
        with next(logs) as log:
            log.append(history.entries)
            log.append([void(entry) for entry in wrong])
            right = without(history.entries, wrong)
            assert from_log(log, history, history.window, as_of=LATER) == stretches(history, right)
            assert from_log(log, history, history.window, as_of=KNOWN) == stretches(history)

    check()


# Both sides of a comparison


def reckoned(history: History, entries: list[AnyEntry], window: Window) -> pl.DataFrame:
    return reckon(entry_frame(entries), history.setup, window, Staffed(history.spans), history.learned).stretches


def plain_rows(frame: pl.DataFrame) -> list[Stretch]:
    return frame.select("machine", "start", "end", "state", "basis", "print", "cause", "spare").rows()


def stretches(history: History, entries: list[AnyEntry] | None = None, window: Window | None = None) -> list[Stretch]:
    told = history.entries if entries is None else entries
    return plain_rows(reckoned(history, told, window or history.window))


def from_log(log: Log, history: History, window: Window, as_of: datetime = KNOWN) -> list[Stretch]:
    """The reckoning as the shop makes it: with the entries and the staffed clock of the window alone."""
    setup = history.setup
    entries = log.machine_entries(window, as_of)
    return plain_rows(reckon(entries, setup, window, Staffed.of(setup, window), history.learned).stretches)


def split(history: History, where: datetime | int) -> tuple[Window, Window]:
    """The window in two, at a time or at an entry."""
    if isinstance(where, int):
        times = [entry.at for entry in history.entries] or [BEGINNING]
        where = times[where % len(times)]
    where = min(max(where, history.window.start), history.window.end)
    return Window(history.window.start, where), Window(where, history.window.end)


def joined(rows: list[Stretch]) -> list[Stretch]:
    """Rows in order, those that touch and tell the same made one."""
    found: list[Stretch] = []
    for row in sorted(rows, key=lambda row: row[:2]):
        if found and (found[-1][0], found[-1][2], found[-1][3:]) == (row[0], row[1], row[3:]):
            row = (*found.pop()[:2], *row[2:])  # noqa: PLW2901
        found.append(row)
    return found


def fresh_logs(folder: Path) -> Iterator[Log]:
    return (Log.open(folder / f"{number}.duckdb") for number in count())


def without(entries: list[AnyEntry], some: list[AnyEntry]) -> list[AnyEntry]:
    gone = {entry.id for entry in some}
    return [entry for entry in entries if entry.id not in gone]


def void(entry: AnyEntry) -> EntryVoided:
    return EntryVoided(id=uuid5(entry.id, "void"), at=LATER, noted_at=LATER, by="MK", which=entry.id, why="")


def service(history: History, machine: str) -> int:
    """How long the machine was in service within the window, from one change to the next."""
    window = history.window
    rows = [row for row in history.rows if isinstance(row, Machine) and row.machine == machine]
    rows.sort(key=lambda row: row.since)
    edges = [*(min(max(row.since, window.start), window.end) for row in rows), window.end]
    spans = zip(rows, pairwise(map(micros, edges)), strict=True)
    return sum(end - start for row, (start, end) in spans if row.in_service)


# What must have occurred for the comparison to mean anything


def expected() -> list[str]:
    """Every row of the text's tables, both sides of its conditions, every state with every basis."""
    names = [f"{left}, found {found}" for left, found in product(LEFT, FOUND)]
    turned = [f"printing, found {found}" for found in ("printing", "clear", "empty", "any")]
    begun = [f"empty, found {found}" for found in ("printing", "done", "stopped")]
    names = [name for name in names if name not in turned + begun]
    names += [f"{name} {side} the turn" for name in turned for side in ("before", "after")]
    names += [f"{name}, begun {when}" for name in begun for when in ("at once", "some time")]
    names += [
        f"{left}, found {found}, changed unseen" for left, found in product(("printing", "done"), ("done", "clear"))
    ]
    names += [f"{left}, open" for left in LEFT]
    names += [f"{state} {basis}" for state, basis in product((*LEFT, "proving"), ("seen", "reckoned"))]
    return [*names, "no word no word", "resumed", "upkeep ended", "overdue", "sighted first", "still waiting",
            "cleared while down", "cleared while waiting", "spare came"]  # fmt: skip


def occurrences(history: History) -> Iterator[str]:
    clock = Clock(history.spans)
    usual = Usual(clock, history.learned)
    first, last = micros(history.window.start), micros(history.window.end)
    for machine in MACHINES:
        own = [entry for entry in history.entries if isinstance(entry, AtMachine) and entry.machine == machine]
        facts = facts_of(own, history.rows, clock, history.learned)
        if own:
            yield "histories"
        for a, b in pairs(facts):
            if a.at < last and (b is None or b.at > max(a.at, first)):
                yield shape(a, b, clock, usual)
                yield from remarkable(a, first_of_all=a is facts[0])


def remarkable(a: Fact, first_of_all: bool) -> Iterator[str]:
    if a.kind == "SpoolFitted":
        yield "resumed"
    if a.kind == "UpkeepDone":
        yield "upkeep ended"
    if a.kind == "Looked" and a.found == "printing" and first_of_all:
        yield "sighted first"
    if a.overdue:
        yield "overdue"
    if a.kind == "Looked" and a.leaves == "waiting":
        yield "still waiting"
    if a.kind == "PartsOff" and a.leaves in ("down", "waiting"):
        yield f"cleared while {a.leaves}"
