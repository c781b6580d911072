"""The shop's file: every version of it opens, and one process owns it."""

import hashlib
import os
import sys
import tempfile
from pathlib import Path
from uuid import UUID

import duckdb
import pytest

from core.entries import columns
from core.errors import Refused
from core.log import store
from core.log.frames import entries_from
from core.log.schema import MIGRATIONS
from core.log.store import Log
from tests.core.larkfield import look, when
from tests.core.log.holding import HOLD, OPEN_AS_NOBODY, run

#: What every released migration says, by its SHA-256: a script is never edited, the next change is a new one.
RELEASED = (
    "2d4b85ca264ce537c5fe1bd595bbaab199cd46a2499476bdf290ff5ece0143b4",
    "f3f54ed8b50659b86cd8616a70f6f19137d9223def9ebf39db9db7caacfeedc6",
    "423dedaf9fdd78a5ab2bf625a9c6ec6296b9c746a719e7bc6d406a951d7edf30",
    "c7cbf7cc1801814c866cd6da46da15e387c4e461c60780febb1196824fd8dde0",
    "1412ed11df14a36be0b6022b83cf54a78d5ac7af4af09a56bd3d3850bc3f563b",
)


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
