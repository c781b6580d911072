"""A window is read with what bears on it and no more."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import count
from pathlib import Path

import polars as pl
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from core.entries import AnyEntry, EntryVoided
from core.habits.learned import Learned
from core.log.frames import entry_frame
from core.log.store import Log
from core.setup import Row, Setup
from core.staffed import Staffed
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.larkfield import a1_alone, at_a1, ids, look, start, tell, when
from tests.properties import histories
from tests.tiers import examples

NOW = when(days=10)
A_DAY = Window(when(1), when(2))


def test_a_window_is_read_from_the_last_start_before_it_to_the_first_word_after_it(log: Log) -> None:
    story = [start(when(-3)), look(when(-2), "done"), start(when(-1)), look(when(0), "printing"),
             look(when(1, hours=5), "done"), at_a1("PartsOff", when(4)), start(when(4, hours=1))]  # fmt: skip
    log.append(story)
    assert ids(log.machine_entries(A_DAY, NOW)) == [entry.id for entry in story[2:6]]


def test_looks_settle_nothing_so_a_window_is_read_past_them(log: Log) -> None:
    story = [start(when(1)), look(when(2, 8), "printing"), look(when(3), "done"), at_a1("PartsOff", when(4)),
             look(when(5), "empty")]  # fmt: skip
    log.append(story)
    assert ids(log.machine_entries(A_DAY, NOW)) == [entry.id for entry in story[:4]]


def test_work_that_began_in_a_window_and_ended_after_it_belongs_to_it(log: Log) -> None:
    clean = at_a1("UpkeepDone", when(2, hours=1), task="clean", minutes=90)
    log.append([look(when(1), "empty"), look(when(2), "empty"), clean])
    assert clean.id in ids(log.machine_entries(A_DAY, NOW))


def test_deliveries_are_told_with_the_machines_that_may_wait_for_them(log: Log) -> None:
    def came(day: float) -> AnyEntry:
        return tell("StockReceived", when(day), item="belt-220", quantity=1)

    waits = [start(when(-2)), at_a1("WentDown", when(-1), cause="belt", spare="belt-220")]
    within = [came(0), came(1), tell("StockCounted", when(1), item="belt-220", quantity=1)]
    log.append([came(-3), *waits, *within, look(when(1.5), "down"), came(5)])
    told = log.machine_entries(A_DAY, NOW)
    assert told.filter(kind="StockReceived")["at"].to_list() == [when(0), when(1)]
    assert "StockCounted" not in told["kind"]


def stretches(entries: pl.DataFrame, rows: list[Row], window: Window, learned: Learned) -> pl.DataFrame:
    setup = Setup(rows)
    return reckon(entries, setup, window, Staffed.of(setup, window), learned).stretches


def around(entries: list[AnyEntry], first: int, last: int) -> Window:
    """From a quarter of an hour after one entry to as long before another: where the reach matters most."""
    times = [entry.at for entry in entries] or [when(0)]
    start, end = sorted((times[first % len(times)], times[last % len(times)]))
    return Window(start + timedelta(minutes=15), max(end, start + timedelta(minutes=45)) - timedelta(minutes=15))


def fresh_logs(folder: Path) -> Iterator[Log]:
    return (Log.open(folder / f"{number}.duckdb") for number in count())


def test_a_window_read_with_its_reach_says_the_same_as_the_whole_log(tmp_path: Path) -> None:
    logs = fresh_logs(tmp_path)

    @settings(examples(12), derandomize=True, phases=[Phase.generate])
    @given(histories.histories(5), st.integers(0, 100), st.integers(0, 100), st.integers(2, 6))
    def check(history: histories.History, first: int, last: int, every: int) -> None:
        window = around(history.entries, first, last)
        wrong = history.entries[::every]
        live = [entry for entry in history.entries if entry not in wrong]
        with next(logs) as log:
            log.append(history.entries)
            log.append([EntryVoided(at=e.at, noted_at=e.at, by="MK", which=e.id, why="slip") for e in wrong])
            read = log.machine_entries(window, window.end + timedelta(days=400))
        assert stretches(read, history.rows, window, history.learned).equals(
            stretches(entry_frame(live), history.rows, window, history.learned)
        )

    check()


@pytest.mark.parametrize("window", [Window(when(1, hours=11), when(1, hours=20)), Window(when(0, 12), when(1, 9))],
                         ids=["just after the visit", "just before the visit"])  # fmt: skip
def test_a_removal_told_just_after_the_next_start_is_within_reach(log: Log, window: Window) -> None:
    told = [start(when(0, 10)), start(when(1, 10)), at_a1("PartsOff", when(1, 10, 10), ended="stopped")]
    log.append(told)
    read, rows = log.machine_entries(window, NOW), a1_alone()
    assert stretches(read, rows, window, Learned()).equals(stretches(entry_frame(told), rows, window, Learned()))
