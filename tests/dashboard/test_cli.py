"""The command line: the same answers with and without a server, one sentence for every refusal."""

import json
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

import polars as pl
import pytest
from click.testing import CliRunner, Result
from markupsafe import Markup

from core.answer_tables import TABLES
from core.errors import Refused
from core.log.lock import Lock
from core.log.store import Log
from core.setup import Rack, Shop
from dashboard.cli import roundsheet
from dashboard.paper.paper import document
from demo.make import make
from tests.dashboard.serving import ENVIRONMENT, Start, make_shop, run


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(roundsheet, [str(argument) for argument in arguments])


def tables(folder: Path) -> dict[str, str]:
    return {file.name: file.read_text(encoding="utf-8") for file in folder.iterdir()}


def test_export_is_the_same_through_the_server(start: Start, tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    assert run("export", "alone", cwd=tmp_path).returncode == 0
    serving = start(shop)
    asked = run("export", "asked", cwd=tmp_path)
    assert asked.returncode == 0, asked.stderr
    assert "4 setup rows" in asked.stdout
    assert tables(tmp_path / "asked") == tables(tmp_path / "alone")
    serving.stop()


def test_the_tables_are_the_same_through_the_server(start: Start, tmp_path: Path) -> None:
    at = ("--at", "2026-05-04T08:00")
    serving = start(make_shop(tmp_path / "shop.duckdb"))
    asked = run("tables", "asked", *at, cwd=tmp_path)
    assert asked.returncode == 0, asked.stderr
    refused = run("tables", "asked", *at, cwd=tmp_path)
    assert (refused.returncode, len(refused.stderr.splitlines())) == (1, 1)
    serving.stop()
    assert run("tables", "alone", *at, cwd=tmp_path).returncode == 0
    assert tables(tmp_path / "asked") == tables(tmp_path / "alone")
    assert f"{len(TABLES)} tables are in {tmp_path / 'asked'}" in asked.stdout
    machines = (tmp_path / "asked" / "owner-machines.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[0] for line in machines] == ["machine", "A1"]


@pytest.mark.full
def test_tables_as_parquet_hold_what_the_csv_holds(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    for folder, option in (("csv", ()), ("parquet", ("--parquet",))):
        made = invoke("tables", tmp_path / folder, "--shop", shop, "--at", "2026-05-04T08:00", *option)
        assert made.exit_code == 0, made.output
    assert {file.stem for file in (tmp_path / "csv").iterdir()} == set(TABLES)
    for name in TABLES:
        columns = (tmp_path / "csv" / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
        assert pl.read_parquet(tmp_path / "parquet" / f"{name}.parquet").columns == columns


def test_tables_refuses_a_file_in_one_sentence_and_leaves_it_alone(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    note = tmp_path / "note.txt"
    note.write_text("mine")
    refused = invoke("tables", note, "--shop", shop)
    assert (refused.exit_code, len(refused.stderr.splitlines())) == (1, 1)
    assert str(note) in refused.stderr
    assert note.read_text() == "mine"


def test_tables_that_break_off_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")

    def broken(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("core.answer_tables.written", broken)
    refused = invoke("tables", tmp_path / "out", "--shop", shop)
    assert "(ZeroDivisionError: by nothing)" in refused.stderr
    assert {path.name for path in tmp_path.iterdir()} <= {"shop.duckdb", "shop.duckdb.lock"}


def test_import_goes_through_the_server_and_says_what_it_left_out(start: Start, tmp_path: Path) -> None:
    serving = start(make_shop(tmp_path / "shop.duckdb"))
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "entries.csv").write_text(
        "kind,at,by,machine,saw\nLooked,2026-05-04T08:00,AB,A1,empty\nLooked,2026-05-04T08:05,AB,Z9,empty\n"
    )
    done = run("import", folder, cwd=tmp_path)
    assert done.returncode == 1
    assert "1 entries recorded" in done.stdout
    assert "entries.csv row 3: There is no machine Z9" in done.stderr
    again = run("import", folder, cwd=tmp_path)
    assert "0 entries recorded, 1 were there already" in again.stdout
    serving.stop()


def test_a_file_held_by_another_command_is_refused(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    holder = Lock(shop)
    holder.take()
    holder.sign()
    refused = run("report", cwd=tmp_path)
    holder.release()
    assert refused.returncode == 1
    assert "is in use by process" in refused.stderr
    assert len(refused.stderr.splitlines()) == 1


def test_a_server_that_is_gone_leaves_nothing_that_stops_the_next(start: Start, tmp_path: Path) -> None:
    serving = start(make_shop(tmp_path / "shop.duckdb"))
    serving.process.kill()
    serving.process.wait()
    assert (tmp_path / "shop.duckdb.owner").exists()
    assert run("export", "out", cwd=tmp_path).returncode == 0
    assert not (tmp_path / "shop.duckdb.owner").exists()


@pytest.mark.parametrize("command", [("serve",), ("report",), ("export", "out")])
def test_a_slip_in_the_name_makes_no_empty_shop(tmp_path: Path, command: tuple[str, ...]) -> None:
    refused = invoke(*command, "--shop", tmp_path / "shpo.duckdb")
    assert refused.exit_code == 1
    assert len(refused.stderr.splitlines()) == 1
    assert "shpo.duckdb" in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_shop_is_refused_and_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "notes.duckdb"
    other.write_text("not a shop at all, but somebody's notes\n" * 400)
    before = other.read_bytes()
    refused = invoke("serve", "--shop", other)
    assert refused.exit_code == 1
    assert len(refused.stderr.splitlines()) == 1
    assert other.read_bytes() == before


def test_a_wrong_option_is_a_usage_error() -> None:
    assert invoke("hours", "--by", "colour", "--from", "2026-05-01", "--to", "2026-05-02").exit_code == 2


def test_the_unexpected_is_one_sentence_and_debug_shows_where(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")

    def broken(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("core.log.exchange.export_folder", broken)
    said = invoke("export", tmp_path / "out", "--shop", shop)
    assert said.exit_code == 1
    assert len(said.stderr.splitlines()) == 1
    assert "(ZeroDivisionError: by nothing)" in said.stderr
    assert "--debug" in said.stderr
    shown = invoke("--debug", "export", tmp_path / "out", "--shop", shop)
    assert isinstance(shown.exception, ZeroDivisionError)
    Log.open(shop).close()


def test_template_writes_the_tables(tmp_path: Path) -> None:
    assert invoke("template", tmp_path / "blank").exit_code == 0
    assert (tmp_path / "blank" / "entries.csv").exists()
    refused = invoke("template", tmp_path / "blank")
    assert refused.exit_code == 1
    assert len(refused.stderr.splitlines()) == 1


def test_help_needs_no_store_and_no_pages() -> None:
    script = "import sys, dashboard.cli; print({'duckdb', 'polars', 'streamlit'} & set(sys.modules))"
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


Made = dict[str, object]


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Made:
    """A quick stand-in for the making of the invented shop; what it was asked."""
    asked: Made = {}

    def quick(path: Path, machines: int, weeks: int, seed: int, progress: Callable[[float], None]) -> None:
        asked.update(path=path, machines=machines, weeks=weeks, seed=seed)
        make_shop(path)
        with Log.open(path) as log:
            log.call_made()
        progress(1.0)

    module = ModuleType("demo.make")
    module.make = quick  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "demo.make", module)
    return asked


def name_in(shop: Path) -> list[str]:
    with Log.open(shop) as log:
        return [row.name for row in log.setup().history(Shop)]


def test_demo_makes_the_invented_shop_beside_its_place_and_replaces_it(made: Made, tmp_path: Path) -> None:
    shop = tmp_path / "larkfield.duckdb"
    first = invoke("demo", "--shop", shop, "--make-only", "--machines", 6, "--seed", 3)
    assert first.exit_code == 0, first.output
    assert made.pop("path") != shop
    assert made == {"machines": 6, "weeks": 26, "seed": 3}
    assert "replaced" not in first.stdout
    second = invoke("demo", "--shop", shop, "--make-only")
    assert second.exit_code == 0
    assert "replaced" in second.stdout
    assert name_in(shop) == ["Larkfield Hive Fittings"]
    assert {file.name for file in tmp_path.iterdir()} <= {"larkfield.duckdb", "larkfield.duckdb.lock"}


def test_demo_leaves_another_shop_alone(made: Made, tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb", name="Thistle Bench Works")
    refused = invoke("demo", "--shop", shop, "--make-only")
    assert refused.exit_code == 1
    assert "Thistle Bench Works" in refused.stderr
    assert made == {}
    assert name_in(shop) == ["Thistle Bench Works"]


@pytest.mark.usefixtures("made")
def test_demo_that_breaks_off_leaves_the_older_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = make_shop(tmp_path / "larkfield.duckdb")

    def break_off(path: Path, *_: object, **__: object) -> None:
        path.write_text("half")
        raise Refused("demo_machines", "The invented shop has 1 to 99 machines.")

    monkeypatch.setattr(sys.modules["demo.make"], "make", break_off)
    assert invoke("demo", "--shop", shop, "--make-only").exit_code == 1
    assert name_in(shop) == ["Larkfield Hive Fittings"]
    assert not list(tmp_path.glob("*making*"))


@pytest.mark.parametrize(
    "question",
    [
        ("report", "--at", "2026-05-04T12:00"),
        ("hours", "--from", "2026-05-01", "--to", "2026-05-04", "--by", "day"),
    ],
)
def test_an_answer_is_the_same_through_the_server(start: Start, tmp_path: Path, question: tuple[str, ...]) -> None:
    shop = tmp_path / "shop.duckdb"
    make(shop, machines=2, weeks=1, until=datetime(2026, 5, 4, 12, tzinfo=UTC))
    alone = run(*question, "--json", cwd=tmp_path)
    assert alone.returncode == 0, alone.stderr
    serving = start(shop)
    asked = run(*question, "--json", cwd=tmp_path)
    assert json.loads(asked.stdout) == json.loads(alone.stdout)
    serving.stop()


def test_times_are_read_on_the_shops_clock(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    summer = invoke("report", "--at", "2026-05-04T08:00", "--json", "--shop", shop)
    assert json.loads(summer.stdout)["at"] == "2026-05-04T07:00:00Z"
    window = ("--from", "2026-05-04", "--to", "2026-05-04T12:00+02:00", "--json")
    hours = json.loads(invoke("hours", *window, "--shop", shop).stdout)
    assert (hours["start"], hours["end"]) == ("2026-05-03T23:00:00Z", "2026-05-04T10:00:00Z")


@pytest.mark.parametrize(("start", "end"), [("yesterday", "2026-05-04"), ("2026-05-04", "2026-05-03")])
def test_a_wrong_time_is_one_sentence(tmp_path: Path, start: str, end: str) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    refused = invoke("hours", "--from", start, "--to", end, "--shop", shop)
    assert refused.exit_code == 1
    assert len(refused.stderr.splitlines()) == 1


SHEET = ("report", "--at", "2026-05-04T08:00", "--html")


def test_a_sheet_is_the_same_through_the_server(start: Start, tmp_path: Path) -> None:
    shop = tmp_path / "shop.duckdb"
    make(shop, machines=2, weeks=1, until=datetime(2026, 5, 4, 12, tzinfo=UTC))
    alone = run(*SHEET, "-", cwd=tmp_path)
    assert alone.stdout.startswith("<!DOCTYPE html>"), alone.stderr
    serving = start(shop)
    asked = run(*SHEET, "sheet.html", cwd=tmp_path)
    assert asked.returncode == 0, asked.stderr
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == alone.stdout
    serving.stop()


@pytest.mark.parametrize(
    ("file", "said"), [("out/sheet.html", "There is no folder"), (".", "is a folder"), ("/dev/null", "ordinary")]
)
def test_a_sheet_that_has_no_place_to_go_is_refused(tmp_path: Path, file: str, said: str) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    before = set(tmp_path.iterdir())
    refused = invoke(*SHEET, tmp_path / file, "--shop", shop)
    assert refused.exit_code == 1
    assert said in refused.stderr
    assert len(refused.stderr.splitlines()) == 1
    assert set(tmp_path.iterdir()) == before


def test_a_sheet_that_cannot_be_written_leaves_the_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    yesterday = document("yesterday's", Markup(""))
    (tmp_path / "sheet.html").write_text(yesterday, encoding="utf-8")
    moved = Path.replace

    def full(file: Path, to: Path) -> Path:
        if to.name == "sheet.html":
            raise OSError(28, "No space left on device")
        return moved(file, to)

    monkeypatch.setattr(Path, "replace", full)
    refused = invoke(*SHEET, tmp_path / "sheet.html", "--shop", shop)
    assert refused.exit_code == 1
    assert "No space left on device" in refused.stderr
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == yesterday
    assert not list(tmp_path.glob(".sheet*"))


@pytest.mark.parametrize("command", ["report", "review"])
@pytest.mark.parametrize("file", ["shop.duckdb", "shop.duckdb.wal", "SHOP.DUCKDB.LOCK", "letter.html"])
def test_a_sheet_never_lands_on_the_shop_or_on_a_file_that_is_not_ours(tmp_path: Path, command: str, file: str) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    (tmp_path / "letter.html").write_text("<p>Dear customer</p>", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    refused = invoke(command, "--html", tmp_path / file, "--shop", shop)
    assert refused.exit_code == 1
    assert len(refused.stderr.splitlines()) == 1
    assert refused.stderr.strip().endswith("name another.")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.usefixtures("made")
def test_demo_leaves_the_invented_shop_alone_once_anybody_told_it_anything(tmp_path: Path) -> None:
    shop = tmp_path / "larkfield.duckdb"
    assert invoke("demo", "--shop", shop, "--make-only").exit_code == 0
    with Log.open(shop) as log:
        log.append_setup([Rack(rack="B", name="Rack B")])
    before = shop.read_bytes()
    refused = invoke("demo", "--shop", shop, "--make-only")
    assert refused.exit_code == 1
    assert "holds what the demo did not make" in refused.stderr
    assert len(refused.stderr.splitlines()) == 1
    assert shop.read_bytes() == before


@pytest.mark.usefixtures("made")
def test_demo_leaves_a_shop_of_the_invented_name_alone_that_it_did_not_make(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "larkfield.duckdb")
    assert "did not make" in invoke("demo", "--shop", shop, "--make-only").stderr
    assert name_in(shop) == ["Larkfield Hive Fittings"]


def test_what_the_demo_makes_it_knows_again(tmp_path: Path) -> None:
    shop = tmp_path / "larkfield.duckdb"
    make(shop, machines=2, weeks=1, until=datetime(2026, 5, 4, 12, tzinfo=UTC))
    with Log.open(shop) as log:
        assert log.is_made()


@pytest.mark.usefixtures("made")
def test_demo_does_not_use_up_the_log_of_a_file_that_is_missing(tmp_path: Path) -> None:
    log = tmp_path / "larkfield.duckdb.wal"
    log.write_bytes(b"entries")
    refused = invoke("demo", "--shop", tmp_path / "larkfield.duckdb", "--make-only")
    assert refused.exit_code == 1
    assert "holds entries of a file that is not there" in refused.stderr
    assert log.read_bytes() == b"entries"


def test_demo_does_not_take_the_place_of_a_shops_log(made: Made, tmp_path: Path) -> None:
    make_shop(tmp_path / "shop.duckdb")
    refused = invoke("demo", "--make-only", "--shop", tmp_path / "shop.duckdb.wal")
    assert refused.exit_code == 1
    assert "belongs to a shop's file" in refused.stderr
    assert made == {}


def test_demo_touches_no_file_beside_its_place(made: Made, tmp_path: Path) -> None:
    theirs = tmp_path / "larkfield.making.duckdb"
    theirs.write_text("a letter", encoding="utf-8")
    assert invoke("demo", "--make-only", "--shop", tmp_path / "larkfield.duckdb").exit_code == 0
    assert theirs.read_text(encoding="utf-8") == "a letter"
    assert made["path"] != theirs


def test_a_sheet_and_json_are_not_asked_for_together(tmp_path: Path) -> None:
    assert invoke(*SHEET, tmp_path / "sheet.html", "--json", "--shop", tmp_path / "shop.duckdb").exit_code == 2
