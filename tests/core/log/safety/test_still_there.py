"""A file that is taken away, replaced or cut while it is in use: nothing is receipted that is not kept."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from core.errors import Refused
from core.log.exchange import import_folder
from core.log.frames import entries_from
from core.log.lock import read_owner
from core.log.record import record
from core.log.safety.companions import companion
from core.log.safety.still_there import StillThere
from core.log.store import Log
from core.setup import Rack
from tests.core.larkfield import ROWS, look, when
from tests.core.log.holding import HOLD, run


def tap(log: Log, day: int) -> None:
    record(log, [look(when(day), "done")], now=when(day))


def in_file(path: Path) -> int:
    with Log.open(path) as log:
        return log.everything().height


def replace(file: Path) -> None:
    copy = file.with_name("copy")
    shutil.copy(file, copy)
    copy.replace(file)


def cut(file: Path) -> None:
    os.truncate(file, file.stat().st_size - 1)


HARM = {"deleted": Path.unlink, "replaced": replace, "cut": cut}
WRITE = {
    "a tap": lambda log: tap(log, 2),
    "set-up": lambda log: log.append_setup([Rack(rack="Z", name="Rack Z")]),
    "a void": lambda log: log.append([look(when(3), "done")]),
}


@pytest.mark.parametrize("write", WRITE.values(), ids=WRITE.keys())
@pytest.mark.parametrize("harm", HARM.values(), ids=HARM.keys())
@pytest.mark.parametrize(("ending", "rule"), [("", "file_gone"), (".wal", "log_gone")], ids=["file", "log"])
def test_nothing_is_recorded_into_a_file_that_does_not_stand(log, ending, rule, harm, write):
    tap(log, 1)
    harm(companion(log.path, ending))
    version = log.version()
    with pytest.raises(Refused, match=r"was not recorded.*taken away, replaced or cut.*stop Roundsheet") as refused:
        write(log)
    assert refused.value.rule == rule
    assert (log.version(), log.everything().height) == (version, 1)


@pytest.mark.parametrize("ending", ["", ".wal"], ids=["file", "log"])
def test_a_file_taken_away_in_the_midst_of_a_write_gives_no_receipt(log, monkeypatch, ending):
    tap(log, 1)
    must_stand = StillThere.must_stand

    def taken_away_after(watched: StillThere) -> None:
        must_stand(watched)
        companion(log.path, ending).unlink()

    monkeypatch.setattr(StillThere, "must_stand", taken_away_after)
    with pytest.raises(Refused, match="was not recorded"):
        tap(log, 2)


def test_a_file_that_is_put_back_is_written_to_again(log):
    away = log.path.with_name("away")
    log.path.rename(away)
    with pytest.raises(Refused):
        tap(log, 1)
    away.rename(log.path)
    tap(log, 2)
    log.close()
    assert in_file(log.path) == 1


def test_a_log_taken_away_while_in_use_is_made_good_at_the_end(log):
    tap(log, 1)
    companion(log.path, ".wal").unlink()
    log.close()
    assert in_file(log.path) == 1


def test_a_file_deleted_while_in_use_leaves_its_log_which_nothing_uses_up(log):
    tap(log, 1)
    log.path.unlink()
    wal = companion(log.path, ".wal")
    kept = wal.read_bytes()
    log.close()
    with pytest.raises(Refused, match=r"shop\.duckdb\.wal holds entries of a file that is not there") as refused:
        Log.open(log.path)
    assert refused.value.rule == "file_missing"
    assert wal.read_bytes() == kept
    assert not log.path.exists()


def test_a_file_put_back_beside_its_log_has_every_entry(tmp_path):
    path, away = tmp_path / "shop.duckdb", tmp_path / "away"
    log = Log.open(path)
    log.append_setup(ROWS)
    log.close()
    shutil.copy(path, away)
    log = Log.open(path)
    tap(log, 1)
    path.unlink()
    log.close()
    away.rename(path)
    with Log.open(path) as again:
        assert [entry.at for entry in entries_from(again.everything())] == [when(1)]


@pytest.mark.parametrize("checkpoint", [False, True], ids=["into the log", "into the file"])
def test_what_stands_is_written_to_whether_it_goes_into_the_log_or_the_file(log, checkpoint):
    log._connection.execute(f"SET wal_autocheckpoint = '{'1B' if checkpoint else '16MB'}'")  # noqa: SLF001 - at will
    for day in range(1, 40):
        tap(log, day)
    assert log.append(entries_from(log.everything())) == []
    assert companion(log.path, ".wal").exists() != checkpoint
    log.close()
    assert in_file(log.path) == 39


# The owner's note


def held(path: Path, meanwhile: Callable[[], None]) -> None:
    """Do something while another process owns the file without its lock: its note stays until its end."""
    with run(HOLD, path) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        note = read_owner(path)
        companion(path, ".lock").unlink()
        meanwhile()
        assert read_owner(path) == note
        assert note is not None
        assert note.pid == holder.pid
        holder.communicate("")
    assert read_owner(path) is None


def test_without_the_lock_a_second_process_is_refused_and_leaves_the_owners_note(tmp_path):
    path = tmp_path / "shop.duckdb"

    def second() -> None:
        with pytest.raises(Refused, match="is in use by process") as refused:
            Log.open(path)
        assert refused.value.rule == "shop_in_use"

    held(path, second)


def test_an_import_into_a_file_that_is_gone_takes_in_nothing(log, folder):
    log.path.unlink()
    with pytest.raises(Refused, match="was not recorded"):
        import_folder(log, folder)
    assert log.everything().height == 0
