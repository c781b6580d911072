"""A crew's rooms hang together: what truly happened has no gap, and what is told of it is what people could tell."""

from collections import Counter
from datetime import timedelta
from functools import cache
from itertools import pairwise

import pytest

from core.log.record import record_many
from core.log.store import Log
from demo.rooms.crews import room
from demo.rooms.told import STATES, Told

SEEDS = (7, 10)


@cache
def told(seed: int, missing: float = 0.0) -> Told:
    return room(seed, missing, weeks=5)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_states_of_a_machine_cover_the_span_in_order_of_time(seed):
    for turns in told(seed).turns.values():
        assert turns[0][0] == told(seed).start
        assert all(a[0] < b[0] and a[1] != b[1] for a, b in pairwise(turns))
        assert turns[-1][0] < told(seed).end
        assert {state for _, state in turns} <= set(STATES)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_machine_prints_in_its_runs_and_at_no_other_time(seed):
    here = told(seed)
    for machine, turns in here.turns.items():
        runs = [run for run in here.runs if run.machine == machine]
        assert all(a.off is not None and a.off <= b.started for a, b in pairwise(runs))
        ends = [*(at for at, _ in turns[1:]), here.end]
        spans = [(at, end) for (at, state), end in zip(turns, ends, strict=True) if state in ("printing", "proving")]
        for run in runs:
            within = [end - at for at, end in spans if run.started <= at and end <= run.ended]
            if run.ended <= here.end:
                assert sum(within, timedelta()).total_seconds() == pytest.approx(3600 * run.hours)
            assert any(at == run.started for at, _ in spans)
        starts = [run.started for run in runs] + [run.ended for run in runs]
        assert all(min(starts) <= at and end <= max(starts) for at, end in spans)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_fault_has_its_machine_down_until_it_is_back(seed):
    here = told(seed)
    for fault in here.faults:
        later = [state for at, state in here.turns[fault.machine] if fault.failed <= at < (fault.back or here.end)]
        assert set(later) <= {"stopped", "down", "waiting", "empty"}
        assert fault.back is None or "down" in later


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_seed_has_the_same_life_however_much_is_missing(seed):
    whole, sparse = told(seed), told(seed, 0.4)
    assert (whole.turns, whole.runs, whole.faults) == (sparse.turns, sparse.runs, sparse.faults)
    assert list(whole.rows) == list(sparse.rows)
    assert {entry.id for entry in sparse.entries} < {entry.id for entry in whole.entries}


@pytest.mark.parametrize("missing", [0.2, 0.4])
@pytest.mark.parametrize("seed", SEEDS)
def test_about_so_many_entries_are_missing_and_not_of_everybody_alike(seed, missing):
    whole = Counter(entry.by for entry in told(seed).entries)
    sparse = Counter(entry.by for entry in told(seed, missing).entries)
    assert sparse.total() / whole.total() == pytest.approx(1 - missing, abs=0.06)
    gone = [1 - sparse[name] / whole[name] for name in whole]
    assert max(gone) > min(gone) + 0.15


@pytest.mark.parametrize("seed", SEEDS)
def test_entries_reach_the_log_in_the_order_tapped_and_after_they_happened(seed):
    here = told(seed, 0.2)
    assert all(a.noted_at <= b.noted_at for a, b in pairwise(here.entries))
    assert all(here.start <= entry.at <= entry.noted_at <= here.end for entry in here.entries)


def test_the_log_takes_nearly_all_entries(tmp_path):
    here = told(SEEDS[0])
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(list(here.rows))
        outcome = record_many(log, here.entries, now=here.end)
    assert len(outcome.problems) <= 0.005 * len(here.entries), outcome.problems[:5]
    assert outcome.recorded > 0.98 * len(here.entries)
