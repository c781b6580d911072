"""The rooms of queues are whole: a life without gaps, told by entries that the log takes."""

from collections import Counter
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from core.log.record import record_many
from core.log.store import Log
from core.setup import Shop
from demo.rooms.queues import room
from demo.rooms.told import OUT_OF_SERVICE, STATES, Run, Told

SEEDS = (2, 4)
WEEKS = 3


@pytest.fixture(scope="module")
def all_told() -> dict[int, Told]:
    return {seed: room(seed, 0, WEEKS) for seed in SEEDS}


@pytest.fixture(scope="module", params=SEEDS)
def told(request: pytest.FixtureRequest, all_told: dict[int, Told]) -> Told:
    return all_told[request.param]


def _stretches(told: Told, machine: str) -> list[tuple[datetime, datetime, str]]:
    turns = told.turns[machine]
    ends = [*[at for at, _ in turns[1:]], told.end]
    return [(at, until, state) for (at, state), until in zip(turns, ends, strict=True)]


def _runs(told: Told, machine: str) -> list[Run]:
    return [run for run in told.runs if run.machine == machine]


def test_the_states_of_every_machine_cover_the_span_in_time_order(told: Told) -> None:
    for machine, turns in told.turns.items():
        assert turns[0][0] == told.start
        assert all(at < until for at, until, _ in _stretches(told, machine))
        assert {state for _, state in turns} <= set(STATES)


def test_the_runs_of_a_machine_do_not_overlap(told: Told) -> None:
    for machine in told.turns:
        for run, after in pairwise(_runs(told, machine)):
            assert run.off
            assert run.started < run.ended <= run.off <= after.started


def test_a_machine_prints_during_its_runs_and_never_else(told: Told) -> None:
    for machine in told.turns:
        printing = [piece for piece in _stretches(told, machine) if piece[2] in ("printing", "proving")]
        for run in _runs(told, machine):
            pieces = [until - at for at, until, _ in printing if run.started <= at < run.ended]
            assert sum(pieces, timedelta()) == pytest.approx(timedelta(hours=run.hours), abs=timedelta(seconds=2))
        spent = sum((until - at for at, until, _ in printing), timedelta())
        hours = sum(run.hours for run in _runs(told, machine))
        assert spent == pytest.approx(timedelta(hours=hours), abs=timedelta(seconds=2))


def test_a_print_that_starved_stands_until_it_goes_on(all_told: dict[int, Told]) -> None:
    starved = [(told, run) for told in all_told.values() for run in told.runs if run.starved]
    assert starved
    for told, run in starved:
        assert (run.starved, "stopped") in told.turns[run.machine]


def test_a_machine_that_failed_is_out_of_service_before_it_is_back(told: Told) -> None:
    for fault in told.faults:
        if fault.back:
            between = [s for at, _, s in _stretches(told, fault.machine) if fault.failed <= at < fault.back]
            assert set(between) & set(OUT_OF_SERVICE)


def test_the_same_seed_lives_the_same_life_whatever_is_missing(told: Told) -> None:
    other = room(told.seed, 0.4, WEEKS)
    assert (other.turns, other.runs, other.faults, other.rows) == (told.turns, told.runs, told.faults, told.rows)
    assert {entry.id for entry in other.entries} < {entry.id for entry in told.entries}


def test_about_so_many_entries_are_missing_and_more_removals_than_starts(all_told: dict[int, Told]) -> None:
    for told in all_told.values():
        fewer = room(told.seed, 0.2, WEEKS)
        assert 1 - len(fewer.entries) / len(told.entries) == pytest.approx(0.2, abs=0.04)
        had, left = (Counter(entry.kind for entry in each.entries) for each in (told, fewer))
        assert left["PartsOff"] / had["PartsOff"] < left["PrintStarted"] / had["PrintStarted"]


def test_entries_stand_in_the_order_of_tapping_and_nobody_taps_at_night(told: Told) -> None:
    zone = ZoneInfo(next(row.zone for row in told.rows if isinstance(row, Shop)))
    assert all(one.noted_at <= other.noted_at for one, other in pairwise(told.entries))
    assert all(entry.at <= entry.noted_at <= told.end for entry in told.entries)
    assert not [entry for entry in told.entries if 2 <= entry.noted_at.astimezone(zone).hour < 4]


def test_the_log_takes_nearly_all(told: Told, tmp_path: Path) -> None:
    with Log.open(tmp_path / "queues.duckdb") as log:
        log.append_setup(told.rows, noted_at=told.start)
        outcome = record_many(log, told.entries, now=told.end)
    assert {problem.rule for problem in outcome.problems} <= {"scrap_within_platform", "void_is_possible"}
    assert len(outcome.problems) <= 0.01 * len(told.entries)
