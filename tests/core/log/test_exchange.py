"""Out to a folder of CSV files and in again."""

import tempfile
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

import polars as pl
import pytest
from hypothesis import given

from core.entries import EntryVoided, PartsOff, columns
from core.errors import Refused
from core.log.exchange import Imported, export_folder, import_folder, template
from core.log.record import record, record_many
from core.log.sheets import SHEETS
from core.log.store import Log
from core.setup import TABLES, Person, Rack
from tests.core.log.by_hand import EVERY_FILE, cells_of, put
from tests.strategies import histories
from tests.tiers import examples


@pytest.fixture
def log(tmp_path):
    with Log.open(tmp_path / "shop.duckdb") as log:
        yield log


@pytest.fixture
def other(tmp_path):
    with Log.open(tmp_path / "other.duckdb") as log:
        yield log


# the template


def test_a_template_has_a_file_a_table_and_a_page(tmp_path):
    paths = template(tmp_path / "new")
    assert {path.name for path in paths} == {f"{table}.csv" for table in TABLES} | {
        "entries.csv",
        "columns.md",
    }
    assert all(path.is_file() for path in paths)


def test_a_template_imports_as_it_is(log, folder):
    assert import_folder(log, folder) == Imported(entries=1, already=0, setup_rows=len(TABLES), problems=[])
    assert {type(row) for row in log.setup().rows} == set(TABLES.values())


def test_every_template_file_has_every_column_and_one_line(folder):
    for sheet in SHEETS:
        header, *lines = cells_of(folder / sheet.file)
        assert header == list(sheet.types)
        assert len(lines) == 1
    assert list(sheet.types) == columns()


def test_a_template_writes_over_nothing(folder):
    (folder / "shop.csv").write_text("mine")
    with pytest.raises(Refused, match=r"shop\.csv is there already") as caught:
        template(folder)
    assert caught.value.rule == "file_there"
    assert (folder / "shop.csv").read_text() == "mine"


# there and back


@examples(15)
@given(histories())
def test_a_log_comes_back_exactly_and_only_once(history):
    rows, entries = history
    with ExitStack() as stack:
        place = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        log = stack.enter_context(Log.open(place / "shop.duckdb"))
        log.append_setup(rows)
        assert record_many(log, entries).recorded == len(entries)
        exported = export_folder(log, place / "out")
        assert (exported.entries, exported.setup_rows) == (len(entries), len(log.setup().rows))

        other = stack.enter_context(Log.open(place / "other.duckdb"))
        first = import_folder(other, exported.folder)
        assert first == Imported(entries=len(entries), already=0, setup_rows=exported.setup_rows, problems=[])
        assert other.everything().equals(log.everything())
        assert sorted(map(repr, other.setup().rows)) == sorted(map(repr, log.setup().rows))
        version = other.version()
        assert import_folder(other, exported.folder) == Imported(
            entries=0, already=len(entries), setup_rows=0, problems=[]
        )
        assert other.version() == version


@pytest.mark.parametrize("which", [1, 2**128 - 1], ids=["sorted before", "sorted after"])
def test_what_was_taken_back_and_told_again_comes_back(log, other, folder, tmp_path, which):
    import_folder(log, folder)
    at = datetime(2025, 5, 5, 14, tzinfo=UTC)
    wrong = PartsOff(at=at, noted_at=at, by="RT", machine="A1", scrap=1, scrap_cause="dont-know")
    back = EntryVoided(at=at, noted_at=at + timedelta(seconds=5), by="RT", which=wrong.id, why="tapped twice")
    again = wrong.model_copy(update={"id": UUID(int=which), "noted_at": at + timedelta(seconds=9)})
    for entry in (wrong, back, again):
        assert record(log, [entry]).recorded == (entry,)

    outcome = import_folder(other, export_folder(log, tmp_path / "out").folder)

    assert (outcome.entries, outcome.problems) == (4, [])
    assert other.everything().sort("id").equals(log.everything().sort("id"))


def test_arrivals_go_out_and_come_back_and_a_file_without_them_is_still_the_same(log, other, folder, tmp_path):
    import_folder(log, folder)
    at = datetime(2025, 5, 5, 14, tzinfo=UTC)
    record(log, [PartsOff(at=at, noted_at=at, by="RT", machine="A1", scrap=1, scrap_cause="dont-know")])
    exported = export_folder(log, tmp_path / "out").folder

    import_folder(other, exported)

    assert other.everything().equals(log.everything())
    assert other.everything()["arrived_at"].null_count() == log.everything().height - 1
    entries = exported / "entries.csv"
    pl.read_csv(entries, infer_schema=False).drop("arrived_at").write_csv(entries)
    again = import_folder(other, exported)
    assert (again.entries, again.already, again.problems) == (0, log.everything().height, [])


def test_a_set_up_told_to_and_fro_comes_back_once(log, other, tmp_path):
    names = ["Rack A", "Rack B", "Rack A"]
    for name in names:
        log.append_setup([Rack(rack="A", name=name)])
    folder = export_folder(log, tmp_path / "out").folder
    assert import_folder(other, folder).setup_rows == 3
    assert import_folder(other, folder).setup_rows == 0
    assert [rack.name for rack in other.setup().history(Rack)] == names


def test_an_export_is_rfc_4180_in_utf_8(log, folder, tmp_path):
    put(folder, "racks.csv", "rack,name", 'A,"Böden, ""oben"""')
    import_folder(log, folder)
    written = (export_folder(log, tmp_path / "out").folder / "racks.csv").read_bytes()
    assert written == 'since,rack,name,across\r\n2000-01-01T00:00:00+00:00,A,"Böden, ""oben""",4\r\n'.encode()


def test_a_text_that_a_spreadsheet_could_run_is_written_harmless_and_comes_back(log, other, folder, tmp_path):
    texts = ["=1+1", "'=1+1", "@SUM", "-A", "+3", "'quoted", "a=b"]
    put(folder, "people.csv", "person,name", *(f"RT{place},{text}" for place, text in enumerate(texts)))
    import_folder(log, folder)
    taken = [person.name for person in log.setup().history(Person)]
    assert taken == ["=1+1", "=1+1", "@SUM", "-A", "+3", "'quoted", "a=b"]

    log.append_setup([Person(person="RT0", name="''=1")])
    out = export_folder(log, tmp_path / "out").folder
    assert [cell for line in cells_of(out / "people.csv") for cell in line if cell[0] in "=+-@"] == []
    import_folder(other, out)
    assert other.setup().history(Person) == log.setup().history(Person)


def test_a_shop_of_nothing_goes_out_and_comes_in(log, other, tmp_path):
    folder = export_folder(log, tmp_path / "out").folder
    assert {path.name for path in folder.iterdir()} == EVERY_FILE
    assert import_folder(other, folder) == Imported(entries=0, already=0, setup_rows=0, problems=[])


def test_an_export_goes_to_a_folder_of_its_own(log, folder, tmp_path):
    with pytest.raises(Refused, match="not an empty folder"):
        export_folder(log, folder)
    with pytest.raises(Refused, match="There is no folder"):
        export_folder(log, tmp_path / "not" / "there")
    (tmp_path / "empty").mkdir()
    assert export_folder(log, tmp_path / "empty").setup_rows == 0


def test_an_export_that_fails_leaves_nothing_behind(log, tmp_path, monkeypatch):
    def fail(*_):
        raise OSError("disk full")

    monkeypatch.setattr("core.log.exchange.write_csv", fail)
    before = set(tmp_path.iterdir())
    with pytest.raises(OSError, match="disk full"):
        export_folder(log, tmp_path / "out")
    assert set(tmp_path.iterdir()) == before


def test_progress_ends_at_the_whole(log, folder):
    shares = []
    import_folder(log, folder, progress=shares.append)
    assert shares[-1] == 1.0
