"""The store: appended and never changed, whole or not at all, one owner."""

from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid4

import duckdb
import pytest

from core.entries import KINDS, AnyEntry, Looked
from core.log.frames import ENTRY_SCHEMA, entries_from
from core.log.store import Log
from core.setup import Machine, Row
from core.window import Window
from tests.core.larkfield import LEAST, ROWS, at_a1, ids, look, tell, when

NOW = when(days=10)


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


def test_an_earlier_moment_does_not_know_what_came_in_later_whenever_it_was_noted(log: Log) -> None:
    seen = look(when(1, hours=9), "done")
    back = void(seen, when(1, hours=10))
    log.append([seen, back.model_copy(update={"arrived_at": when(3)})])
    hours = (8, 9, 12, 47, 48)
    assert [known(log, when(1, hours=hour)) for hour in hours] == [[], [seen.id], [seen.id], [seen.id], []]
    log.append([late := look(when(1, hours=8), "printing").model_copy(update={"arrived_at": when(4)})])
    assert [known(log, when(day)) for day in (2, 3, 4)] == [[seen.id], [], [late.id]]
    assert log.first_arrival() == when(3)


def test_the_count_of_what_was_noted_grows_only_with_the_past(log: Log) -> None:
    before = log.known_by(when(3), log.version())
    log.append([look(when(1), "done"), look(when(2), "done")])
    assert [log.known_by(when(day), log.version()) - before for day in (0, 1, 3)] == [0, 1, 2]
    log.append_setup([Machine(machine="A9", model="bench-220", rack="B", place=9)])
    assert log.known_by(when(0), log.version()) - before == 1
    log.append([look(when(4), "done")])
    assert log.known_by(when(3), log.version()) - before == 3
    assert log.last_noted(when(3)) == when(2)
    assert log.last_noted(when(0)) is None


class Looking(Log):
    """Looks at the set-up as soon as the version is another one."""

    machines: list[int]

    def __setattr__(self, name: str, value: object) -> None:
        super().__setattr__(name, value)
        if name == "_seq" and hasattr(self, "machines"):
            self.machines.append(len(self.setup().all(Machine, when(1))))


def test_whoever_sees_the_new_version_finds_the_new_set_up(tmp_path: Path) -> None:
    with Looking.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(ROWS)
        before = len(log.setup().all(Machine, when(1)))
        log.machines = []
        log.append_setup([Machine(machine="A9", model="bench-220", rack="B", place=9)])
        assert log.machines == [before + 1]


def test_the_count_up_to_a_line_is_as_it_was_when_that_was_written(log: Log) -> None:
    line, before = log.version(), log.known_by(when(3), log.version())
    log.append([look(when(1), "done")])
    log.append_setup([Machine(machine="A9", model="bench-220", rack="B", place=9)])
    assert log.known_by(when(3), line) == before
    assert log.known_by(when(3), line + 1) == before + 1


def test_the_last_line_of_some_kinds_is_that_of_such_an_entry_or_of_what_takes_one_back(log: Log) -> None:
    first = log.version()
    seen, begun = look(when(1), "done"), at_a1("PrintStarted", when(2), file="clip", revision=1)
    log.append([seen, begun, void(seen, when(3)), void(begun, when(4))])
    lines = range(first, first + 5)
    assert [log.last_line_of(["Looked"], line) for line in lines] == [0, first + 1, first + 1, first + 3, first + 3]
    assert log.last_line_of(["PrintStarted"], log.version()) == first + 4
    assert log.last_line_of(["Looked", "PrintStarted"], first + 2) == first + 2
    assert log.last_line_of(["StockCounted"], log.version()) == 0


def test_the_span_runs_from_the_first_entry_to_the_last(log: Log) -> None:
    assert log.span() is None
    log.append([look(when(3), "done"), look(when(1), "done", noted_at=when(9))])
    assert log.span() == Window(when(1), when(3))


def test_entries_of_a_kind_lie_in_a_half_open_window(log: Log) -> None:
    told = [tell("AirRead", when(day), place="room", celsius=20) for day in (0, 1, 2)]
    log.append([*told, look(when(1), "done")])
    assert ids(log.entries_of(["AirRead"], A_DAY, NOW)) == [told[1].id]


def test_entries_about_other_machines_are_left_out_where_one_is_named(log: Log) -> None:
    told = [look(when(1, 1), "done"), tell("Looked", when(1, 2), machine="A2", saw="done"),
            tell("AirRead", when(1, 3), place="room", celsius=20)]  # fmt: skip
    log.append(told)
    for machine, mine in ((None, told), ("A1", [told[0], told[2]]), ("A2", told[1:])):
        assert ids(log.entries_of(["AirRead", "Looked"], A_DAY, NOW, machine)) == [entry.id for entry in mine]


def test_frames_have_the_columns_and_types_they_promise(log: Log) -> None:
    log.append([look(when(1), "done")])
    for frame in (log.everything(), log.machine_entries(A_DAY, NOW), log.entries_of(["Looked"], A_DAY, NOW)):
        assert frame.schema == ENTRY_SCHEMA
    assert log.everything()["at"].to_list() == [when(1)]


def test_times_from_the_store_are_in_utc(log: Log) -> None:
    log.append([look(when(1), "done")])
    moments = [log.last_noted(NOW), log.span().start, entries_from(log.everything())[0].at]
    assert all(moment is not None and moment.tzinfo is UTC for moment in moments)
