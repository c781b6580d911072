"""Many writers at once, and sudden ends."""

from collections.abc import Iterator
from pathlib import Path
from random import Random
from threading import Barrier, RLock, Semaphore, Thread

import duckdb
import pytest

from core.log import store
from core.log.record import record
from core.log.store import Log
from core.setup import Machine, Row, Setup
from core.window import Window
from tests.core.larkfield import ROWS, ids, look, tell, when
from tests.core.log.holding import TAP_FOR_EVER, run
from tests.patience import DEADLINE

NOW = when(days=10)
A_DAY = Window(when(1), when(2))


def in_threads(work: object, threads: int) -> None:
    """Run `work(number)` in so many threads that begin together; the first error is raised."""
    gate, errors = Barrier(threads), []

    def one(number: int) -> None:
        gate.wait()
        try:
            work(number)
        except Exception as error:  # noqa: BLE001
            errors.append(error)

    running = [Thread(target=one, args=(number,)) for number in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    if errors:
        raise errors[0]


class Door:
    """A log's lock that lets one writer in, and tells of every other who has come to it and must wait."""

    def __init__(self, waits: Semaphore) -> None:
        self.lock, self.waits = RLock(), waits

    def __enter__(self) -> None:
        if not self.lock.acquire(blocking=False):
            self.waits.release()
            self.lock.acquire()

    def __exit__(self, *told: object) -> None:
        self.lock.release()


@pytest.mark.full
def test_of_twenty_threads_no_entry_is_lost_and_none_is_there_twice(log: Log) -> None:
    machines = ("A1", "A2", "B1")
    told = [
        [tell("Looked", when(1, minutes=20 * n + 2 * k), machine=machines[(n + k) % 3], saw="done") for k in range(2)]
        for n in range(20)
    ]
    shared = look(when(5), "empty")
    receipts: list[int] = []

    def work(number: int) -> None:
        for entry in [*told[number], shared]:
            receipts.append(len(record(log, [entry], now=NOW).recorded))
            log.machine_entries(A_DAY, NOW)

    in_threads(work, 20)
    expected = sorted([*(e.id for mine in told for e in mine), shared.id])
    assert sorted(ids(log.everything())) == expected
    assert sum(receipts) == len(expected)


def test_two_writers_never_give_their_lines_the_same_number(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, waits = tmp_path / "shop.duckdb", Semaphore(0)
    with Log.open(path) as log:
        monkeypatch.setattr(log, "_writing", Door(waits))
        with log.writing():
            writers = [Thread(target=log.append, args=([look(when(1), "done")],)) for _ in range(3)]
            for writer in writers:
                writer.start()
            assert all(waits.acquire(timeout=DEADLINE) for _ in writers)
        for writer in writers:
            writer.join()
    with duckdb.connect(str(path)) as connection:
        assert connection.execute("SELECT seq FROM entries ORDER BY seq").fetchall() == [(1,), (2,), (3,)]


def test_a_set_up_read_while_rows_come_in_is_not_kept_for_good(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    log.append_setup([Machine(machine="A3", model="bench-220", rack="A", place=3)])
    reading, comes = Semaphore(0), Semaphore(0)

    def slow_once(rows: Iterator[Row]) -> Setup:
        told = list(rows)
        monkeypatch.setattr(store, "Setup", Setup)  # once
        reading.release()
        assert comes.acquire(timeout=DEADLINE)  # until the writer waits for this reading, or has written into it
        return Setup(told)

    monkeypatch.setattr(log, "_writing", Door(comes))
    monkeypatch.setattr(store, "Setup", slow_once)
    reader = Thread(target=log.setup)
    reader.start()
    assert reading.acquire(timeout=DEADLINE)
    log.append_setup([Machine(machine="A4", model="bench-220", rack="A", place=4)])
    comes.release()
    reader.join()
    assert "A4" in [machine.machine for machine in log.setup().machines(NOW)]


@pytest.mark.full
def test_no_acknowledged_tap_is_lost_and_none_is_half_there_when_the_process_is_killed(tmp_path: Path) -> None:
    path, chance = tmp_path / "shop.duckdb", Random(7)
    with Log.open(path) as log:
        log.append_setup(ROWS)
    acknowledged: list[str] = []
    for turn in range(3):
        with run(TAP_FOR_EVER, path, 50 * turn) as program:
            assert program.stdout is not None
            for _ in range(chance.randrange(2, 40)):
                acknowledged += program.stdout.readline().split()
            program.kill()
            acknowledged += [word for line in program.stdout if line.endswith("\n") for word in line.split()]
        with Log.open(path) as log:
            held = log.everything()
        assert set(acknowledged) <= set(held["id"])
        assert set(held.group_by("at").len()["len"]) == {2}
    assert len(acknowledged) > 2 * 3
