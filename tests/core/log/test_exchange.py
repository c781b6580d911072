"""Out to a folder of CSV files and in again."""

import csv
import re
import tempfile
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given

from core.entries import KINDS, EntryVoided, PartsOff, columns
from core.errors import Refused
from core.log.exchange import Imported, export_folder, import_folder, template
from core.log.explained import columns_page
from core.log.incoming import Problem
from core.log.record import record, record_many
from core.log.sheets import SHEETS
from core.log.store import Log
from core.setup import TABLES, Machine, Person, Rack
from tests.strategies import histories
from tests.tiers import examples

EVERY_FILE = {f"{sheet.name}.csv" for sheet in SHEETS}


@pytest.fixture
def log(tmp_path):
    with Log.open(tmp_path / "shop.duckdb") as log:
        yield log


@pytest.fixture
def folder(tmp_path):
    """The template of a shop: one row in every file."""
    template(tmp_path / "folder")
    return tmp_path / "folder"


@pytest.fixture
def other(tmp_path):
    with Log.open(tmp_path / "other.duckdb") as log:
        yield log


def put(folder: Path, name: str, *lines: str, encoding: str = "utf-8", end: str = "\n") -> None:
    (folder / name).write_bytes("".join(line + end for line in lines).encode(encoding))


def cells_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as text:
        return list(csv.reader(text))


def only(folder: Path, *names: str) -> None:
    """Take every file but these out of the folder."""
    for name in EVERY_FILE - set(names):
        (folder / name).unlink(missing_ok=True)


def refused(log: Log, folder: Path) -> Refused:
    with pytest.raises(Refused) as caught:
        import_folder(log, folder)
    assert log.version() == 0
    return caught.value


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


def test_no_column_is_left_unexplained():
    sections = dict(re.findall(r"^## (\w+)\.csv\n(.*?)(?=^## )", columns_page(), re.MULTILINE | re.DOTALL))
    for sheet in SHEETS:
        explained = re.findall(r"^\| (\w+) \| [^|]+ \| [^|]{10,} \|$", sections[sheet.name], re.MULTILINE)
        assert [name for name in explained if name != "column"] == list(sheet.types)


def test_every_kind_of_entry_is_explained():
    assert [kind for kind in KINDS if f"**{kind}**" not in columns_page()] == []


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


# files made by hand

HEAD = "kind,at,by,machine,file,revision,scrap,grams,material,id"
START = "PrintStarted,2025-06-02T08:00,RT,A1,entrance-block-x6,1,,,,"


def test_bad_rows_are_listed_and_the_good_go_in(log, folder):
    put(
        folder, "entries.csv",
        HEAD,
        START,
        "",
        "SpoolFitted,2025-06-02T07:00,RT,A1,,,,-20,petg-black,",
        "PartsOff,2025-06-02T15:00,RT,B9,,,,,,",
        "PartsOff,gestern,RT,A1,,,,,,",
        "PartsOff,2025-06-02T15:00,RT,A1,,,0,,,",
        "PartsOf,2025-06-02T15:00,RT,A1,,,0,,,",
        "PartsOff,2025-06-02T16:00,,A1,,,0,12,,",
        "PartsOff,2025-06-02T16:00,RT,A1,,,0,,,,,,stray",
    )  # fmt: skip
    outcome = import_folder(log, folder)
    assert outcome.entries == 2
    assert [(p.file, p.row, p.rule) for p in outcome.problems] == [
        ("entries.csv", 4, "bad_grams"),
        ("entries.csv", 5, "machine_is_known"),
        ("entries.csv", 6, "not_a_time"),
        ("entries.csv", 8, "bad_kind"),
        ("entries.csv", 9, "missing_by"),
        ("entries.csv", 10, "too_many_cells"),
    ]
    assert outcome.problems[0].sentence == ("grams is '-20': it must be 0 or more; correct row 4 and import again.")
    assert outcome.problems[2].sentence.startswith("In column at, 'gestern' is not a time: write it as ")
    assert outcome.problems[3].sentence.startswith("kind is 'PartsOf': it must be one of PrintStarted, ")
    assert outcome.problems[4].sentence == (
        "by is empty: fill it in; grams is '12': a PartsOff has no grams, so leave it empty; "
        "correct row 9 and import again."
    )


def test_a_bad_set_up_row_is_listed_with_those_that_lean_on_it(log, folder):
    put(
        folder,
        "machines.csv",
        "machine,model,rack,place",
        "A1,bench-220,A,1",
        "A2,bench-220,A,1",
        "A3,bench,A,3",
    )
    put(
        folder,
        "shifts.csv",
        "weekday,start,end,hands",
        "mon,07:30,16:00,2",
        "tue,7:30,7:30,2",
        "wed,late,7:30,x",
    )
    put(folder, "special_days.csv", "day,start", "2025-12-24,", "2025-12-31,07:30", "24.12.2025,")
    put(folder, "entries.csv", HEAD, START, START.replace("A1", "A2"))
    outcome = import_folder(log, folder)
    assert [(p.file, p.row, p.rule) for p in outcome.problems] == [
        ("machines.csv", 3, "one_machine_a_place"),
        ("machines.csv", 4, "refers_to_known_things"),
        ("shifts.csv", 3, "shift_has_a_length"),
        ("shifts.csv", 4, "not_a_clock_time"),
        ("special_days.csv", 3, "bad_row"),
        ("special_days.csv", 4, "not_a_day"),
        ("entries.csv", 3, "machine_is_known"),
    ]
    assert outcome.entries == 1
    assert [machine.machine for machine in log.setup().history(Machine)] == ["A1"]


def test_the_same_file_twice_is_the_same_entries(log, folder):
    put(folder, "entries.csv", HEAD, START, "PartsOff,2025-06-02T15:00,RT,A1,,,1,,,".replace(",1,", ",0,"))
    assert import_folder(log, folder).entries == 2
    again = import_folder(log, folder)
    assert (again.entries, again.already, again.setup_rows, again.problems) == (0, 2, 0, [])


def test_an_id_by_content_does_not_hang_on_how_a_fact_is_written(log, folder):
    put(folder, "entries.csv", "kind,at,by,item,quantity", "StockCounted,2025-06-02T08:00,RT,box-small,20")
    import_folder(log, folder)
    put(folder, "entries.csv", "by,at,item,kind,quantity", "RT,2025-06-02T07:00Z,box-small,StockCounted,20.0")
    assert import_folder(log, folder).already == 1


def test_a_row_told_twice_in_one_file_is_asked_about(log, folder):
    line = "StockReceived,2025-06-02,RT,box-small,20"
    put(folder, "entries.csv", "kind,at,by,item,quantity", line, line)
    outcome = import_folder(log, folder)
    assert outcome.entries == 1
    assert [(p.row, p.rule) for p in outcome.problems] == [(3, "same_as_row")]
    assert outcome.problems[0].sentence.startswith("Row 2 is the same entry")


def test_an_entry_is_not_changed_by_editing_an_export(log, folder, tmp_path):
    import_folder(log, folder)
    out = export_folder(log, tmp_path / "out").folder
    entries = (out / "entries.csv").read_text(encoding="utf-8")
    (out / "entries.csv").write_text(entries.replace(",RT,A1,", ",KB,A1,"), encoding="utf-8")
    outcome = import_folder(log, out)
    assert [(p.row, p.rule) for p in outcome.problems] == [(2, "id_taken")]
    assert log.everything()["by"].to_list() == ["RT"]


def test_an_entry_without_noted_at_was_noted_when_it_happened(log, folder):
    import_folder(log, folder)
    everything = log.everything()
    assert everything["noted_at"].to_list() == everything["at"].to_list() == [datetime(2025, 5, 5, 7, 10, tzinfo=UTC)]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2025-07-01T08:00", datetime(2025, 7, 1, 7, tzinfo=UTC)),
        ("2025-01-07 08:00", datetime(2025, 1, 7, 8, tzinfo=UTC)),
        ("2025-07-01T08:00+02:00", datetime(2025, 7, 1, 6, tzinfo=UTC)),
        ("2024-10-27T01:30+01:00", datetime(2024, 10, 27, 0, 30, tzinfo=UTC)),
        ("2024-10-27T01:30+00:00", datetime(2024, 10, 27, 1, 30, tzinfo=UTC)),
    ],
)
def test_a_time_is_read_on_the_shops_clock_unless_it_has_an_offset(log, folder, written, read):
    put(folder, "entries.csv", HEAD, START.replace("2025-06-02T08:00", written))
    import_folder(log, folder)
    assert log.everything()["at"].to_list() == [read]


@pytest.mark.parametrize(
    ("written", "rule", "word"),
    [
        ("2025-03-30T01:30", "hour_skipped", "was skipped when the clocks changed in Europe/Dublin"),
        ("2024-10-27T01:30", "hour_twice", "2024-10-27T01:30:00+01:00 or 2024-10-27T01:30:00+00:00"),
    ],
)
def test_an_hour_the_clocks_skipped_or_repeated_is_not_guessed(log, folder, written, rule, word):
    put(folder, "entries.csv", HEAD, START.replace("2025-06-02T08:00", written))
    (problem,) = import_folder(log, folder).problems
    assert (problem.row, problem.rule) == (2, rule)
    assert word in problem.sentence


def test_without_a_shop_a_time_needs_its_offset(log, folder):
    (folder / "shop.csv").unlink()
    put(folder, "entries.csv", HEAD, START, START.replace("08:00", "08:00+01:00"))
    outcome = import_folder(log, folder)
    assert outcome.entries == 1
    assert [(p.row, p.rule) for p in outcome.problems] == [(2, "zone_unknown")]


def test_the_logs_own_zone_serves_a_later_import(log, folder):
    import_folder(log, folder)
    only(folder, "entries.csv")
    put(folder, "entries.csv", HEAD, START)
    assert import_folder(log, folder).entries == 1
    assert log.everything()["at"].to_list()[-1] == datetime(2025, 6, 2, 7, tzinfo=UTC)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("mark", [",", ";"])
def test_files_are_read_as_spreadsheets_save_them(log, folder, end, encoding, mark):
    put(folder, "racks.csv", f"rack{mark}name", f'A{mark}"oben{mark} ""Süd"""', encoding=encoding, end=end)
    hours = "6,5" if mark == ";" else "6.5"
    head = ["file", "revision", "product", "parts", "hours", "grams", "material", "models"]
    cells = ["007", "1", "entrance-block", "6", hours, "186", "petg-black", '"bench-220; bench-220"']
    put(folder, "files.csv", mark.join(head), mark.join(cells), mark * 7, encoding=encoding, end=end)
    put(folder, "entries.csv", HEAD.replace(",", mark), encoding=encoding, end=end)
    assert import_folder(log, folder).problems == []
    assert log.setup().history(Rack)[0].name == f'oben{mark} "Süd"'
    file = log.setup().file("007", 1)
    assert (file.hours, file.models) == (6.5, ("bench-220", "bench-220"))


def test_a_line_end_inside_quotes_counts_as_one_row(log, folder):
    put(
        folder,
        "entries.csv",
        "kind,at,by,machine,note",
        'CameBack,2025-06-02T08:00,RT,A1,"one',
        'two"',
        "CameBack,,RT,A1,",
    )
    outcome = import_folder(log, folder)
    assert log.everything()["note"].to_list() == ["one\ntwo"]
    assert [(p.row, p.rule) for p in outcome.problems] == [(3, "missing_at")]


@pytest.mark.parametrize(
    ("name", "content", "rule", "words"),
    [
        ("machines.csv", b"machine,model,rack,place,colour\n", "unknown_column", "has a column 'colour'"),
        ("machines.csv", b"machine,model,rack\n", "missing_column", "has no column 'place'"),
        ("machines.csv", b"machine,model,rack,place,place\n", "column_twice", "has the column 'place' twice"),
        ("entries.csv", b"at,by\n", "missing_column", "has no column 'kind'"),
        ("people.csv", b"", "empty_file", "is empty"),
        ("people.csv", "person,name\nÖ,ö\n".encode("latin-1"), "not_utf8", "is not in UTF-8 (near line 2)"),
        ("people.csv", b'person,name\nRT,"Robin\n', "not_csv", "cannot be read as CSV after row 1"),
        ("person.csv", b"person,name\n", "unknown_file", "is none of the files of a shop"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_stops_everything(log, folder, name, content, rule, words):
    (folder / name).write_bytes(content)
    refusal = refused(log, folder)
    assert refusal.rule == rule
    assert refusal.sentence.startswith(f"{name} {words}")


def test_a_folder_with_nothing_to_read_is_refused(log, tmp_path):
    assert refused(log, tmp_path / "nowhere").rule == "no_folder"
    assert refused(log, tmp_path).rule == "nothing_there"


def test_a_header_alone_is_an_empty_table(log, folder):
    put(folder, "entries.csv", HEAD)
    assert import_folder(log, folder).entries == 0


def test_progress_ends_at_the_whole(log, folder):
    shares = []
    import_folder(log, folder, progress=shares.append)
    assert shares[-1] == 1.0


def test_outcomes_cannot_be_changed():
    problem = Problem(file="racks.csv", row=2, rule="bad_across", sentence="across is '0': it must be 1 or more.")
    with pytest.raises(ValueError, match="frozen"):
        problem.row = 3
