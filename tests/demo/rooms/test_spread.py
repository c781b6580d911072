"""The widest family of rooms: its true life is whole, and its entries are such as the log takes."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from core.log.record import record_many
from core.log.store import Log
from demo.rooms.spread import room
from demo.rooms.told import STATES, Told

SEEDS = (1, 4)
WEEKS = 3


@cache
def _room(seed: int, missing: float = 0.0) -> Told:
    return room(seed, missing, WEEKS)


@pytest.mark.parametrize("seed", SEEDS)
def test_states_cover_the_span_in_order(seed: int) -> None:
    told = _room(seed)
    for turns in told.turns.values():
        assert turns[0][0] == told.start
        assert turns[-1][0] < told.end
        assert all(a < b for (a, _), (b, _) in pairwise(turns))
        assert {state for _, state in turns} <= set(STATES)


@pytest.mark.parametrize("seed", SEEDS)
def test_runs_of_a_machine_follow_each_other_and_print_as_long_as_its_turns_say(seed: int) -> None:
    told = _room(seed)
    for machine, turns in told.turns.items():
        runs = [run for run in told.runs if run.machine == machine]
        assert all((a.off or told.end) <= b.started for a, b in pairwise(runs))
        spans = [(a, b, state) for (a, state), (b, _) in pairwise([*turns, (told.end, "")])]
        printed = sum((b - a).total_seconds() for a, b, state in spans if state in {"printing", "proving"})
        assert sum(run.hours for run in runs) * 3600 == pytest.approx(printed, abs=2 + 2 * len(runs))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_life_whatever_is_missing_and_about_so_much_is(seed: int) -> None:
    whole, sparse = _room(seed), _room(seed, 0.4)
    assert (sparse.rows, sparse.turns, sparse.runs, sparse.faults) == (
        whole.rows,
        whole.turns,
        whole.runs,
        whole.faults,
    )
    assert {entry.id for entry in sparse.entries} < {entry.id for entry in whole.entries}
    assert len(sparse.entries) / len(whole.entries) == pytest.approx(0.6, abs=0.06)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_log_takes_nearly_all_of_it(seed: int, tmp_path: Path) -> None:
    told = _room(seed)
    with Log.open(tmp_path / "room.duckdb") as log:
        log.append_setup(told.rows)
        outcome = record_many(log, told.entries, now=told.end)
    assert len(outcome.problems) <= 0.005 * len(told.entries)
