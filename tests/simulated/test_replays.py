"""What replays must be whatever they come to: they fill the window, agree with every look, and depend on no cut."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from core.epoch import micros
from core.habits.learned import Learned
from core.hours.account import account, daily
from core.hours.law import Law
from core.hours.replays import replay
from core.hours.state_rows import IDLE, StateHours
from core.log.store import Log
from core.numbering import numbering_of
from core.reading.reading import Reading, learned_at
from core.timeline.spans import CLEAR, DONE, EMPTY, PRINTING, STOPPED, Spans, spans
from core.window import Window
from demo.make import make
from demo.people import ONE_IN_FIVE

UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)
MACHINES = 6
WEEK = Window(UNTIL - timedelta(weeks=2), UNTIL - timedelta(weeks=1))


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    path = Path(tmp_path_factory.mktemp("shop")) / "shop.duckdb"
    make(path, machines=MACHINES, weeks=8, seed=5, until=UNTIL, slips=ONE_IN_FIVE)
    with Log.open(path) as opened:
        yield opened


@pytest.fixture(scope="module")
def learned(log: Log) -> Learned:
    return learned_at(log, UNTIL)


@pytest.fixture(scope="module")
def month(log: Log, learned: Learned) -> Reading:
    return Reading(log, Window(UNTIL - timedelta(weeks=4), UNTIL), UNTIL, learned)


def best(spent: StateHours, *names: str) -> pl.DataFrame:
    rows = spent.of(pl.col("state") != IDLE).by(*names).select(*names, "best").sort(names)
    return rows.filter(pl.col("best") > 0)


def test_hours_of_all_states_fill_the_window_of_every_machine(month: Reading) -> None:
    days = WEEK.days(month.setup.zone)
    found = best(month.state_hours(days), "machine", "window")
    assert len(found) == MACHINES * 7
    assert found["best"].to_numpy() == pytest.approx(np.full(MACHINES * 7, 24.0), rel=1e-9)


def test_daily_shares_are_those_of_the_account_of_each_day(month: Reading) -> None:
    days = WEEK.days(month.setup.zone)
    spent = month.state_hours(days)
    shares = daily(spent)
    assert sorted(shares["window"]) == list(range(len(days)))
    for number, utilisation, downtime, waiting in shares.iter_rows():
        whole = account("day", spent.of(pl.col("window") == number), 0)
        assert whole.utilisation is not None
        assert whole.downtime is not None
        assert (utilisation, downtime) == pytest.approx((whole.utilisation.best, whole.downtime.best), rel=1e-12)
        assert waiting == pytest.approx(whole.hours["done"].best / whole.operations, rel=1e-12)


def test_cutting_a_window_changes_no_hours(month: Reading) -> None:
    whole = best(month.state_hours([WEEK]), "machine", "state")
    days = best(month.state_hours(WEEK.days(month.setup.zone)), "machine", "state")
    assert whole.select("machine", "state").equals(days.select("machine", "state"))
    assert days["best"].to_numpy() == pytest.approx(whole["best"].to_numpy(), rel=1e-9, abs=1e-9)


def test_a_week_read_alone_has_the_same_hours(log: Log, learned: Learned, month: Reading) -> None:
    alone = best(Reading(log, WEEK, UNTIL, learned).state_hours([WEEK]), "machine", "state")
    among = best(month.state_hours([WEEK]), "machine", "state")
    assert alone["best"].to_numpy() == pytest.approx(among["best"].to_numpy(), rel=1e-9, abs=1e-9)


def test_every_range_holds_its_best_value_and_more_doubt_than_none(month: Reading) -> None:
    rows = month.state_hours([WEEK]).by("machine", "state")
    assert (rows["low"] <= rows["best"]).all()
    assert (rows["best"] <= rows["high"]).all()
    printing = rows.filter(pl.col("state") == "printing")
    assert (printing["low"] < printing["high"]).all()


def test_doubt_of_a_file_is_shared_by_all_its_prints(month: Reading) -> None:
    printing = month.state_hours([WEEK]).of(pl.col("state") == "printing")
    one = printing.by("machine")
    apart = np.sqrt((((one["high"] - one["low"]) / 2).to_numpy() ** 2).sum())
    together = printing.by()
    assert (together["high"][0] - together["low"][0]) / 2 > apart


@pytest.fixture(scope="module")
def told(month: Reading, learned: Learned) -> Spans:
    return spans(month.reckoned.gaps, learned, numbering_of(month.setup), micros(UNTIL))


@pytest.fixture(scope="module")
def law(month: Reading, learned: Learned) -> Law:
    found = Law.of(learned, month.staffed, month.setup.zone)
    assert found is not None
    return found


def test_a_replay_that_counts_agrees_with_every_look_and_with_the_end(told: Spans, law: Law) -> None:
    replays = replay(told, law, 20)
    weights = replays.weights.ravel()
    looks = 0
    for turn in replays.turns:
        counts = weights[turn.rows] > 0
        for row, state, start, end in zip(
            turn.rows[counts], turn.state[counts], turn.start[counts], turn.end[counts], strict=True
        ):
            span = row // replays.count
            seen = slice(told.first[span], told.last[span])
            within = (told.look_at[seen] > start) & (told.look_at[seen] < end)
            assert (told.look_saw[seen][within] == state).all()
            looks += int(within.sum()) + int((told.look_at[seen] == end).sum())
            if end == told.end[span] and told.found[span] in (PRINTING, DONE, STOPPED, EMPTY):
                assert state == told.found[span]
            if end == told.end[span] and told.found[span] == CLEAR:
                assert state != PRINTING
    assert looks > 1000


def test_replays_of_a_span_cover_it_without_a_gap(told: Spans, law: Law) -> None:
    replays = replay(told, law, 8)
    spent = np.zeros(len(told) * 8)
    for turn in replays.turns:
        np.add.at(spent, turn.rows, (turn.end - turn.start).astype(float))
    counts = replays.weights.ravel() > 0
    assert counts.any()
    assert (spent == np.repeat(told.end - told.start, 8))[counts].all()


def test_a_span_has_the_same_replays_alone_and_among_others(told: Spans, law: Law) -> None:
    alone = np.zeros(len(told), dtype=bool)
    alone[:: max(1, len(told) // 50)] = True
    some, everyone = replay(told.of(alone), law, 16), replay(told, law, 16)
    assert some.weights == pytest.approx(everyone.weights[alone], rel=1e-9, abs=1e-12)


def test_the_weights_of_a_span_are_one_together_or_none(told: Spans, law: Law) -> None:
    sums = replay(told, law, 40).weights.sum(axis=1)
    assert ((np.abs(sums - 1) < 1e-9) | (sums == 0)).all()
    assert (sums > 0).mean() > 0.95
