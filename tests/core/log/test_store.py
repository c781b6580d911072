"""The store: appended and never changed, whole or not at all, one owner."""

import hashlib
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from random import Random
from threading import Barrier, Thread
from uuid import UUID, uuid4

import duckdb
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.calc.pace import Pace
from core.calc.reckon import reckon
from core.calc.staffed import Staffed
from core.entries import KINDS, AnyEntry, EntryVoided, Looked, columns
from core.errors import Refused
from core.log import store
from core.log.record import record
from core.log.store import ENTRY_SCHEMA, MIGRATIONS, Log, entries_from, entry_frame
from core.setup import Machine, Row, Setup
from core.window import Window
from tests.core.larkfield import LEAST, ROWS, a1_alone, at_a1, look, start, tell, when
from tests.core.log.holding import HOLD, OPEN_AS_NOBODY, TAP_FOR_EVER, run
from tests.properties import histories

NOW = when(days=10)

#: What every released migration says, by its SHA-256: a script is never edited, the next change is a new one.
RELEASED = ("2d4b85ca264ce537c5fe1bd595bbaab199cd46a2499476bdf290ff5ece0143b4",)


def ids(frame: pl.DataFrame) -> list[UUID]:
    return [UUID(text) for text in frame["id"]]


def void(entry: AnyEntry, at: datetime) -> AnyEntry:
    return tell("EntryVoided", at, which=entry.id, why="slip")


# Appended, never changed


def test_entries_come_back_as_they_were_told(log: Log) -> None:
    told = [tell(kind, when(1), **LEAST[kind]) for kind in KINDS]
    told += [
        at_a1("PartsOff", when(2), scrap=2, scrap_cause="warped", on_platform=4, ended="stopped"),
        at_a1("UpkeepDone", when(2), task="clean", minutes=7.5, spares="belt-220; nozzle", note='say "ah";\nthen stop'),
        look(when(2), "done", round=uuid4(), noted_at=when(2, minutes=7)),
        tell("AirRead", when(2), place="room", celsius=-3.25, humidity_pct=61.5, pm25_ug_m3=12),
        tell("StockOrdered", when(2), item="box-s", quantity=0.5, expected=when(5)),
    ]
    assert set(log.append(told)) == {entry.id for entry in told}
    assert entries_from(log.everything()) == told


def test_a_log_keeps_the_order_of_writing(log: Log) -> None:
    later, sooner = look(when(2), "done"), look(when(1), "done")
    log.append([later])
    log.append([sooner])
    assert ids(log.everything()) == [later.id, sooner.id]


def test_a_resend_is_the_same_entry_and_changes_nothing(log: Log) -> None:
    first, second = look(when(1), "done"), look(when(2), "done")
    log.append([first])
    altered = first.model_copy(update={"saw": "empty"})
    assert log.append([altered, second]) == [second.id]
    assert entries_from(log.everything()) == [first, second]


def test_an_entry_twice_in_one_batch_is_there_once(log: Log) -> None:
    entry = look(when(1), "done")
    assert log.append([entry, entry]) == [entry.id]
    assert log.everything().height == 1


def test_a_batch_that_fails_leaves_nothing_behind(log: Log) -> None:
    good = look(when(1), "done")
    bad = Looked.model_construct(**{**good.model_dump(), "id": uuid4(), "at": None})
    with pytest.raises(duckdb.Error):
        log.append([good, bad])
    assert log.everything().height == 0
    assert log.append([good]) == [good.id]


def test_the_version_tells_when_an_answer_may_change(log: Log) -> None:
    versions = [log.version()]
    log.append([look(when(1), "done")])
    versions.append(log.version())
    log.append_setup([Machine(machine="A3", model="bench-220", rack="A", place=3)])
    versions.append(log.version())
    log.setup()
    log.everything()
    versions.append(log.version())
    assert versions[0] < versions[1] < versions[2] == versions[3]


def test_a_closed_log_is_one_file_and_opens_with_all_that_was_in_it(tmp_path: Path) -> None:
    path, entry = tmp_path / "shop.duckdb", look(when(1), "done")
    with Log.open(path) as log:
        log.append_setup(ROWS)
        log.append([entry])
        version = log.version()
    assert not (tmp_path / "shop.duckdb.wal").exists()
    assert not (tmp_path / "shop.duckdb.owner").exists()
    with Log.open(path) as log:
        assert log.version() == version
        assert entries_from(log.everything()) == [entry]
        assert log.setup().rows == ROWS


# Set-up


def test_set_up_told_twice_is_there_once(log: Log) -> None:
    version = log.version()
    log.append_setup(ROWS)
    assert log.setup().rows == ROWS
    assert log.version() == version


def test_only_what_is_new_of_a_set_up_is_written(log: Log) -> None:
    moved = Machine(machine="A1", model="bench-220", rack="B", place=4, since=when(1))
    log.append_setup([*ROWS, moved, moved])
    assert log.setup().rows == (*ROWS, moved)


def test_a_set_up_changed_to_and_fro_keeps_every_step(log: Log) -> None:
    here = Machine(machine="A3", model="bench-220", rack="A", place=3)
    there = here.model_copy(update={"place": 4})
    for row in (here, there, here):
        log.append_setup([row])
    assert log.setup().history(Machine)[-3:] == [here, there, here]


def test_a_set_up_that_fails_leaves_nothing_behind(log: Log) -> None:
    nowhere = type("Nowhere", (Row,), {"table": None, "key": ()})()
    with pytest.raises(duckdb.Error):
        log.append_setup([Machine(machine="A3", model="bench-220", rack="A", place=3), nowhere])
    assert log.setup().rows == ROWS


def test_a_set_up_already_handed_out_does_not_change(log: Log) -> None:
    before = log.setup()
    log.append_setup([Machine(machine="A3", model="bench-220", rack="A", place=3)])
    assert before.rows == ROWS
    assert len(log.setup().rows) == len(ROWS) + 1


# Taken back, and known then

A_DAY = Window(when(1), when(2))


def known(log: Log, as_of: datetime, window: Window = A_DAY) -> list[UUID]:
    """What both doors say that was known then; they must not differ."""
    by_machine = ids(log.machine_entries(window, as_of))
    assert by_machine == ids(log.entries_of(list(KINDS), window, as_of))
    return by_machine


def test_what_was_taken_back_counts_no_more_and_stays_in_the_log(log: Log) -> None:
    entry = look(when(1, hours=9), "done")
    log.append([entry, void(entry, when(1, hours=10))])
    assert known(log, when(2)) == []
    assert log.find([entry.id]) == [entry]
    assert log.voided([entry.id, uuid4()]) == [entry.id]
    assert log.everything().height == 2


def test_an_earlier_moment_knows_only_what_was_noted_by_then(log: Log) -> None:
    at_once = look(when(1, hours=9), "done")
    late = look(when(1, hours=8), "printing", noted_at=when(1, hours=15))
    back = void(at_once, when(1, hours=18))
    log.append([at_once, late, back])
    hours = (8, 9, 14, 15, 17, 18)
    answers = [known(log, when(1, hours=hour)) for hour in hours]
    both = [late.id, at_once.id]
    assert answers == [[], [at_once.id], [at_once.id], both, both, [late.id]]


def test_the_count_of_what_was_noted_grows_only_with_the_past(log: Log) -> None:
    log.append([look(when(1), "done"), look(when(2), "done")])
    assert [log.noted_by(when(day)) for day in (0, 1, 3)] == [0, 1, 2]
    log.append([look(when(4), "done")])
    assert log.noted_by(when(3)) == 2
    assert log.last_noted(when(3)) == when(2)
    assert log.last_noted(when(0)) is None


def test_the_span_runs_from_the_first_entry_to_the_last(log: Log) -> None:
    assert log.span() is None
    log.append([look(when(3), "done"), look(when(1), "done", noted_at=when(9))])
    assert log.span() == Window(when(1), when(3))


def test_entries_of_a_kind_lie_in_a_half_open_window(log: Log) -> None:
    told = [tell("AirRead", when(day), place="room", celsius=20) for day in (0, 1, 2)]
    log.append([*told, look(when(1), "done")])
    assert ids(log.entries_of(["AirRead"], A_DAY, NOW)) == [told[1].id]


def test_frames_have_the_columns_and_types_they_promise(log: Log) -> None:
    log.append([look(when(1), "done")])
    for frame in (log.everything(), log.machine_entries(A_DAY, NOW), log.entries_of(["Looked"], A_DAY, NOW)):
        assert frame.schema == ENTRY_SCHEMA
    assert log.everything()["at"].to_list() == [when(1)]


# The reach of a window


def test_a_window_is_read_from_the_last_start_before_it_to_the_first_word_after_it(log: Log) -> None:
    story = [start(when(-3)), look(when(-2), "done"), start(when(-1)), look(when(0), "printing"),
             look(when(1, hours=5), "done"), at_a1("PartsOff", when(4)), start(when(4, hours=1))]  # fmt: skip
    log.append(story)
    assert ids(log.machine_entries(A_DAY, NOW)) == [entry.id for entry in story[2:6]]


def test_work_that_began_in_a_window_and_ended_after_it_belongs_to_it(log: Log) -> None:
    clean = at_a1("UpkeepDone", when(2, hours=1), task="clean", minutes=90)
    log.append([look(when(1), "empty"), look(when(2), "empty"), clean])
    assert clean.id in ids(log.machine_entries(A_DAY, NOW))


def stretches(entries: pl.DataFrame, rows: list[Row], window: Window, pace: Pace) -> pl.DataFrame:
    setup = Setup(rows)
    return reckon(entries, setup, window, Staffed.of(setup, window), pace).stretches


def fresh_logs(folder: Path) -> Iterator[Log]:
    return (Log.open(folder / f"{number}.duckdb") for number in count())


def test_a_window_read_with_its_reach_says_the_same_as_the_whole_log(tmp_path: Path) -> None:
    logs = fresh_logs(tmp_path)

    @settings(max_examples=15, derandomize=True)
    @given(histories.histories(3), st.tuples(histories.moments(), histories.moments()), st.integers(2, 6))
    def check(history: histories.History, ends: tuple[datetime, datetime], every: int) -> None:
        window = Window(min(ends), max(ends))
        wrong = history.entries[::every]
        live = [entry for entry in history.entries if entry not in wrong]
        with next(logs) as log:
            log.append(history.entries)
            log.append([EntryVoided(at=e.at, noted_at=e.at, by="MK", which=e.id, why="slip") for e in wrong])
            read = log.machine_entries(window, window.end + timedelta(days=400))
        assert stretches(read, history.rows, window, history.pace).equals(
            stretches(entry_frame(live), history.rows, window, history.pace)
        )

    check()


@pytest.mark.parametrize("window", [Window(when(1, hours=11), when(1, hours=20)), Window(when(0, 12), when(1, 9))],
                         ids=["just after the visit", "just before the visit"])  # fmt: skip
def test_a_removal_told_just_after_the_next_start_is_within_reach(log: Log, window: Window) -> None:
    told = [start(when(0, 10)), start(when(1, 10)), at_a1("PartsOff", when(1, 10, 10), ended="stopped")]
    log.append(told)
    read, rows = log.machine_entries(window, NOW), a1_alone()
    assert stretches(read, rows, window, Pace()).equals(stretches(entry_frame(told), rows, window, Pace()))


# Schema versions


def test_no_released_migration_was_edited() -> None:
    hashes = [hashlib.sha256(script.encode()).hexdigest() for script in MIGRATIONS]
    assert tuple(hashes[: len(RELEASED)]) == RELEASED
    assert len(MIGRATIONS) == len(RELEASED), "pin the new migration here when it is released"


def shop_of_version(path: Path, version: int) -> None:
    """A file as the program of that version left it."""
    with duckdb.connect(str(path)) as connection:
        if version:
            connection.execute("CREATE TABLE schema_version (version INTEGER NOT NULL)")
        for number, script in enumerate(MIGRATIONS[:version], start=1):
            connection.execute(script)
            connection.execute("INSERT INTO schema_version VALUES (?)", [number])


def version_of(path: Path) -> int | None:
    with duckdb.connect(str(path)) as connection:
        return connection.execute("SELECT max(version) FROM schema_version").fetchall()[0][0]


@pytest.mark.parametrize("version", range(len(MIGRATIONS) + 1))
def test_a_file_of_every_version_opens_and_is_brought_up_to_date(tmp_path: Path, version: int) -> None:
    path, entry = tmp_path / "shop.duckdb", look(when(1), "done")
    shop_of_version(path, version)
    with Log.open(path) as log:
        log.append([entry])
        assert entries_from(log.everything()) == [entry]
    assert version_of(path) == len(MIGRATIONS)


def test_a_file_of_version_1_keeps_its_entries(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    shop_of_version(path, 1)
    with duckdb.connect(str(path)) as connection:
        connection.execute("SET TimeZone = 'UTC'")
        connection.execute(
            'INSERT INTO entries (seq, id, kind, "at", noted_at, "by", machine, saw) '
            "VALUES (1, ?, 'Looked', ?, ?, ?, ?, ?)",
            [UUID(int=7), when(1), when(1), "MK", "A1", "done"],
        )
    with Log.open(path) as log:
        assert entries_from(log.everything()) == [look(when(1), "done", id=UUID(int=7))]


def test_a_file_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    shop_of_version(path, len(MIGRATIONS))
    newer = len(MIGRATIONS) + 1
    with duckdb.connect(str(path)) as connection:
        connection.execute("INSERT INTO schema_version VALUES (?)", [newer])
    with pytest.raises(Refused, match=f"format {newer}, this one knows {newer - 1}.*install the newer") as refused:
        Log.open(path)
    assert refused.value.rule == "newer_file"
    assert str(path) in refused.value.sentence
    assert version_of(path) == newer


def test_a_migration_that_fails_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, entry = tmp_path / "shop.duckdb", look(when(1), "done")
    with Log.open(path) as log:
        log.append([entry])
    broken = "CREATE TABLE rounds (id UUID); INSERT INTO nowhere VALUES (1)"
    with monkeypatch.context() as patch:
        patch.setattr(store, "MIGRATIONS", (*MIGRATIONS, broken))
        with pytest.raises(duckdb.Error):
            Log.open(path)
    assert version_of(path) == len(MIGRATIONS)
    with Log.open(path) as log:
        assert entries_from(log.everything()) == [entry]
    with duckdb.connect(str(path)) as connection:
        assert ("rounds",) not in connection.execute("SHOW TABLES").fetchall()


def test_the_table_of_entries_has_a_column_a_field_and_the_number_of_the_line(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    Log.open(path).close()
    with duckdb.connect(str(path)) as connection:
        names = [row[0] for row in connection.execute("DESCRIBE entries").fetchall()]
    assert sorted(names) == sorted([*columns(), "seq"])


# One owner


def test_a_second_process_is_refused_with_the_first_ones_number(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    with run(HOLD, path) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(Refused) as refused:
            Log.open(path)
        holder.communicate("")
    assert refused.value.rule == "shop_in_use"
    assert refused.value.sentence == f"{path} is in use by process {holder.pid}: use that one, or stop it first."
    Log.open(path).close()


def test_a_second_log_of_one_process_is_refused_as_well(log: Log) -> None:
    with pytest.raises(Refused, match=f"process {os.getpid()}"):
        Log.open(log.path)
    assert log.append([look(when(1), "done")])


def test_who_is_refused_disturbs_nobody(log: Log, tmp_path: Path) -> None:
    with pytest.raises(Refused):
        Log.open(log.path)
    with pytest.raises(Refused, match=f"process {os.getpid()}"):
        Log.open(log.path)


STRANGE = {"no database": b"not a database\n" * 500, "nothing": b""}


@pytest.mark.parametrize("content", STRANGE.values(), ids=STRANGE.keys())
def test_a_file_that_is_no_shop_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "shop.duckdb"
    path.write_bytes(content)
    with pytest.raises(Refused, match=r"shop\.duckdb cannot be opened.*name another with --shop") as refused:
        Log.open(path)
    assert refused.value.rule == "not_a_shop"
    assert path.read_bytes() == content
    path.unlink()
    Log.open(path).close()


@pytest.mark.parametrize("table", ["entries", "schema_version"])
def test_another_programs_database_is_refused_in_a_sentence(tmp_path: Path, table: str) -> None:
    path = tmp_path / "shop.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute(f"CREATE TABLE {table} (x VARCHAR)")
    with pytest.raises(Refused, match=r"shop\.duckdb"):
        Log.open(path)


def test_a_missing_folder_is_refused_and_not_made(tmp_path: Path) -> None:
    folder = tmp_path / "nowhere"
    with pytest.raises(Refused, match=f"no folder {folder}: make it") as refused:
        Log.open(folder / "shop.duckdb")
    assert refused.value.rule == "no_folder"
    assert not folder.exists()


def test_a_lock_that_cannot_be_written_is_refused_with_the_reason(tmp_path: Path) -> None:
    (tmp_path / "shop.duckdb.lock").mkdir()
    with pytest.raises(Refused, match=r"cannot write beside .*shop\.duckdb.*--shop") as refused:
        Log.open(tmp_path / "shop.duckdb")
    assert refused.value.rule == "folder_not_writable"


@pytest.mark.skipif(sys.platform == "win32", reason="a folder's mode keeps nobody out on Windows")
def test_a_folder_one_may_not_write_to_is_refused_in_a_sentence() -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o555)
        said = run(OPEN_AS_NOBODY, Path(folder) / "shop.duckdb").communicate()[0]
        Path(folder).chmod(0o755)
        assert said.startswith("folder_not_writable Roundsheet cannot write beside")
        assert list(Path(folder).iterdir()) == []


# Many at once, and sudden ends


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


def test_of_twenty_threads_no_entry_is_lost_and_none_is_there_twice(log: Log) -> None:
    machines = ("A1", "A2", "B1")
    told = [[tell("Looked", when(1, minutes=20 * n + 2 * k), machine=machines[k % 3], saw="done") for k in range(3)]
            for n in range(20)]  # fmt: skip
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


def test_two_writers_never_give_their_lines_the_same_number(tmp_path: Path) -> None:
    path = tmp_path / "shop.duckdb"
    with Log.open(path) as log:
        with log.writing():
            writers = [Thread(target=log.append, args=([look(when(1), "done")],)) for _ in range(3)]
            for writer in writers:
                writer.start()
            time.sleep(0.2)  # they must all have come to the door; too short only makes the test milder
        for writer in writers:
            writer.join()
    with duckdb.connect(str(path)) as connection:
        assert connection.execute("SELECT seq FROM entries ORDER BY seq").fetchall() == [(1,), (2,), (3,)]


def test_no_acknowledged_tap_is_lost_and_none_is_half_there_when_the_process_is_killed(tmp_path: Path) -> None:
    path, chance = tmp_path / "shop.duckdb", Random(7)
    with Log.open(path) as log:
        log.append_setup(ROWS)
    acknowledged: list[str] = []
    for turn in range(4):
        with run(TAP_FOR_EVER, path, 50 * turn) as program:
            assert program.stdout is not None
            acknowledged += program.stdout.readline().split()
            time.sleep(chance.uniform(0, 0.5))
            program.kill()
            acknowledged += [word for line in program.stdout if line.endswith("\n") for word in line.split()]
        with Log.open(path) as log:
            held = log.everything()
        assert set(acknowledged) <= set(held["id"])
        assert set(held.group_by("at").len()["len"]) == {2}
    assert len(acknowledged) > 2 * 4


def test_times_from_the_store_are_in_utc(log: Log) -> None:
    log.append([look(when(1), "done")])
    moments = [log.last_noted(NOW), log.span().start, entries_from(log.everything())[0].at]
    assert all(moment is not None and moment.tzinfo is UTC for moment in moments)
