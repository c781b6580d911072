"""Who stands out in a shop whose files fail unlike: what was counted, and against which hours."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from core.answers import Watch
from core.entries import AnyEntry
from core.log.store import Log
from core.setup import Machine, PrintFile, Row
from core.statistics.bad_actor import stands_out
from core.upkeep.standing_out import DIFFER, standing_out, weekly
from tests.core.larkfield import ROWS, tell, when

WEEKS, MACHINES = 8, [f"C{place}" for place in range(1, 9)]
MORE: list[Row] = [
    *(Machine(machine=code, model="bench-220", rack="A", place=place + 10) for place, code in enumerate(MACHINES)),
    *(PrintFile(file=file, revision=1, product="clip", parts=4, hours=8, grams=80, material="petg-black", models=())
      for file in ("risky", "tame")),
]  # fmt: skip


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*ROWS, *MORE])
        yield log


def print_of(file: str, machine: str, day: int, *, stopped: bool = False) -> list[AnyEntry]:
    """A print of eight hours from eight in the morning on, its parts taken off an hour after its end."""
    ended = "stopped" if stopped else "itself"
    return [
        tell("PrintStarted", when(day, 8), machine=machine, file=file, revision=1),
        tell("PartsOff", when(day, 17), machine=machine, ended=ended),
    ]


def files_that_fail_unlike(bad: str = "") -> list[AnyEntry]:
    """Two machines print a file that stops every other time, six one that never does; all print the other one too. A
    `bad` machine stops every print.
    """
    story = []
    for day in range(7 * WEEKS):
        for place, machine in enumerate(MACHINES):
            file = "risky" if (place < 2) == (day % 7 != (place + day // 7) % 7) else "tame"
            stops = machine == bad or (file == "risky" and (day + place) % 2 == 0)
            story += print_of(file, machine, day, stopped=stops)
    return story


def named(log: Log, story: list[AnyEntry]) -> list[str]:
    log.append(story)
    return [line.machine for line in standing_out(Watch(log, when(7 * WEEKS, 1)))]


def test_machines_that_print_what_often_stops_are_not_accused(log: Log) -> None:
    assert named(log, files_that_fail_unlike()) == []


def test_a_machine_that_stops_everything_is_named_though_files_are_unlike(log: Log) -> None:
    assert named(log, files_that_fail_unlike(bad="C5")) == ["C5"]


def test_hours_are_shared_out_as_the_starts_of_the_week_were_and_failures_are_of_what_was_started(log: Log) -> None:
    story = [*print_of("risky", "C1", 1), *print_of("tame", "C1", 2, stopped=True), *print_of("tame", "C1", 3)]
    log.append(story)
    watch = Watch(log, when(7, 1))
    counts, hours = weekly(watch, [machine for machine in watch.machines if machine.machine == "C1"])
    assert hours[0, 0].sum() == pytest.approx(watch.printed.best[watch.printed.machines.index("C1"), 0])
    assert hours[0, 0, 1] == pytest.approx(2 * hours[0, 0, 0])
    assert counts[0, 0].tolist() == [0, 1, 0]


def test_a_failure_in_a_week_without_printing_is_left_out(log: Log) -> None:
    log.append([*print_of("tame", "C1", 1), tell("WentDown", when(10, 9), machine="C1", cause="nozzle")])
    watch = Watch(log, when(14, 1))
    counts, hours = weekly(watch, watch.machines)
    assert [fault.machine for fault in watch.faults] == ["C1"]
    assert counts.sum() == 0
    assert hours[1].sum() == 0


def test_who_is_not_told_of_the_files_would_accuse_those_that_print_what_often_stops(log: Log) -> None:
    log.append(files_that_fail_unlike())
    watch = Watch(log, when(7 * WEEKS, 1))
    counts, hours = (of.sum(axis=2) for of in weekly(watch, [m for m in watch.machines if m.machine in MACHINES]))
    blind = stands_out(counts, hours, differ=DIFFER)
    assert [bool(one.named_at) for one in blind] == [True, True, *[False] * 6]
