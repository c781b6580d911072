"""Files made by hand come in: what is read, what is told without being written, and what is left out."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from core.errors import Refused
from core.log.exchange import export_folder, import_folder
from core.log.incoming import Problem
from core.log.store import Log
from core.setup import Machine, Rack
from tests.core.log.by_hand import only, put

HEAD = "kind,at,by,machine,file,revision,scrap,grams,material,id"
START = "PrintStarted,2025-06-02T08:00,RT,A1,entrance-block-x6,1,,,,"


@pytest.fixture
def log(tmp_path):
    with Log.open(tmp_path / "shop.duckdb") as log:
        yield log


def refused(log: Log, folder: Path) -> Refused:
    with pytest.raises(Refused) as caught:
        import_folder(log, folder)
    assert log.version() == 0
    return caught.value


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


def test_outcomes_cannot_be_changed():
    problem = Problem(file="racks.csv", row=2, rule="bad_across", sentence="across is '0': it must be 1 or more.")
    with pytest.raises(ValueError, match="frozen"):
        problem.row = 3
