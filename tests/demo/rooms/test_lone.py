"""What a lone owner's rooms promise their judge."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from pathlib import Path

import pytest

from core.log.record import record_many
from core.log.store import Log
from demo.rooms.lone import room
from demo.rooms.told import STATES, Run, Told

SEEDS = (1, 2)


@pytest.fixture(scope="module", params=SEEDS)
def told(request: pytest.FixtureRequest) -> Told:
    return room(request.param, 0.0)


@pytest.mark.parametrize("missing", [0.2, 0.4])
def test_what_truly_happened_is_the_same_whatever_is_missing(told: Told, missing: float) -> None:
    other = room(told.seed, missing)

    assert (other.rows, other.turns, other.runs, other.faults) == (told.rows, told.turns, told.runs, told.faults)


@pytest.mark.parametrize("missing", [0.2, 0.4])
def test_so_many_entries_are_missing_and_the_others_are_the_same(told: Told, missing: float) -> None:
    heard = room(told.seed, missing).entries

    assert 1 - len(heard) / len(told.entries) == pytest.approx(missing, abs=0.03)
    assert {entry.id: entry for entry in told.entries}.items() >= {entry.id: entry for entry in heard}.items()


def test_entries_go_missing_by_whole_half_days(told: Told) -> None:
    heard = {entry.id for entry in room(told.seed, 0.4).entries}
    halves = groupby(told.entries, key=lambda entry: (entry.noted_at.date(), entry.noted_at.hour >= 13))
    lost = [[entry.id not in heard for entry in half] for _, half in halves]
    shares = [sum(half) / len(half) for half in lost if len(half) >= 10]

    assert sum(share > 0.75 or share < 0.25 for share in shares) > 0.6 * len(shares)


def test_entries_stand_in_the_order_in_which_they_were_tapped(told: Told) -> None:
    assert all(a.noted_at <= b.noted_at for a, b in pairwise(told.entries))
    assert all(entry.at <= entry.noted_at <= told.end for entry in told.entries)


def test_states_cover_the_span_without_a_gap(told: Told) -> None:
    for steps in told.turns.values():
        assert steps[0][0] == told.start
        assert all(a[0] < b[0] and a[1] != b[1] for a, b in pairwise(steps))
        assert steps[-1][0] < told.end
        assert {state for _, state in steps} <= set(STATES)


def test_runs_of_a_machine_follow_one_another_and_take_the_hours_in_which_it_prints(told: Told) -> None:
    for machine, steps in told.turns.items():
        runs = [run for run in told.runs if run.machine == machine]
        assert all(a.off is not None and a.off <= b.started for a, b in pairwise(runs))
        for run in runs:
            assert run.started < run.ended <= (run.off or told.end)
            assert _printed(steps, run, told.end) == pytest.approx(run.hours, abs=0.01)


def _printed(steps: Sequence[tuple[datetime, str]], run: Run, end: datetime) -> float:
    """The hours in which a machine prints from a run's start to its end."""
    spells = zip(steps, [*steps[1:], (end, "")], strict=True)
    inside = [(max(a, run.started), min(b, run.ended), state) for (a, state), (b, _) in spells]
    return sum((b - a) / timedelta(hours=1) for a, b, state in inside if b > a and state in {"printing", "proving"})


def test_a_run_to_its_end_takes_about_what_its_file_takes_there(told: Told) -> None:
    whole = [run for run in told.runs if run.by_itself]

    assert len(whole) > 0.5 * len(told.runs)
    assert all(run.hours == pytest.approx(run.whole, rel=0.2) for run in whole)
    assert any(run.starved for run in told.runs)


def test_a_fault_lasts_until_its_machine_can_run_again(told: Told) -> None:
    assert told.faults
    assert all(fault.back is None or fault.failed < fault.back <= told.end for fault in told.faults)


def test_the_log_takes_nearly_all_entries(told: Told, tmp_path: Path) -> None:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(told.rows)
        outcome = record_many(log, told.entries, now=told.end)

    assert len(outcome.problems) < 0.01 * len(told.entries)
