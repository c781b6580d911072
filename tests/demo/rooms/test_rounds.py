from datetime import timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from core.log.record import record_many
from core.log.store import Log
from demo.rooms.rounds import room
from demo.rooms.told import STATES, Told

WEEKS = 4
SEEDS = (3, 8, 14)


@pytest.fixture(scope="module", params=SEEDS)
def whole(request):
    return room(request.param, 0.0, WEEKS)


def hours_in(told: Told, machine: str, states: tuple[str, ...]) -> float:
    turns = [*told.turns[machine], (told.end, "")]
    return sum((b - a).total_seconds() for (a, state), (b, _) in pairwise(turns) if state in states) / 3600


def test_states_cover_the_span_in_time_order(whole):
    for turns in whole.turns.values():
        assert turns[0][0] == whole.start
        assert all(a < b and was != then for (a, was), (b, then) in pairwise(turns))
        assert turns[-1][0] < whole.end
        assert {state for _, state in turns} <= set(STATES)


def test_runs_of_one_machine_follow_each_other_and_last_as_long_as_it_printed(whole):
    for machine in whole.turns:
        runs = sorted((run for run in whole.runs if run.machine == machine), key=lambda run: run.started)
        assert all(a.off is not None and a.off <= b.started for a, b in pairwise(runs))
        printed = sum(run.hours for run in runs if run.ended <= whole.end)
        on = [run for run in runs if run.ended > whole.end]
        most = printed + sum((whole.end - run.started).total_seconds() / 3600 for run in on)
        in_turns = hours_in(whole, machine, ("printing", "proving"))
        assert printed - 0.01 <= in_turns <= most + 0.01


def test_nobody_acts_in_the_night(whole):
    zone = next(row.zone for row in whole.rows if row.table == "shop")
    hours = {entry.at.astimezone(ZoneInfo(zone)).hour for entry in whole.entries}
    assert not hours & {1, 2, 3, 4}


def test_the_same_seed_lives_the_same_life_whatever_is_told(whole):
    less = room(whole.seed, 0.4, WEEKS)
    assert (less.turns, less.runs, less.faults, less.rows) == (whole.turns, whole.runs, whole.faults, whole.rows)
    assert set(less.entries) < set(whole.entries)


@pytest.mark.parametrize("missing", [0.2, 0.4])
def test_about_so_many_entries_are_missing(whole, missing):
    share = 1 - len(room(whole.seed, missing, WEEKS).entries) / len(whole.entries)
    assert share == pytest.approx(missing, abs=0.08)


def test_entries_reach_the_log_in_order_and_after_they_happened(whole):
    assert all(a.noted_at <= b.noted_at for a, b in pairwise(whole.entries))
    assert all(whole.start <= entry.at <= entry.noted_at <= whole.end for entry in whole.entries)


def test_the_log_takes_nearly_all_of_them(whole, tmp_path):
    with Log.open(tmp_path / "rounds.duckdb") as log:
        log.append_setup(whole.rows, noted_at=whole.start - timedelta(days=1))
        outcome = record_many(log, whole.entries, now=whole.end)
    assert len(outcome.problems) <= 0.005 * len(whole.entries)
    assert outcome.recorded >= 0.99 * len(whole.entries)
