"""The ground of every answer: since when a state holds, when the shift began, and the pace of a day."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path

import pytest

from core.entries import AnyEntry
from core.habits.habits import Habits
from core.habits.learned import ENOUGH, Learned
from core.learning import PACE_DAYS
from core.log.frames import entries_from
from core.log.store import Log
from core.reading.reading import Reading, learned_at
from core.setup import WEEKDAYS, PrintFile, Shift
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, a1_alone, at_a1, look, start, tell, when

#: People are in from 8 to 16, Monday to Friday.
WORKDAYS = [Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5]]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """A log of A1 alone, in a shop of workdays."""
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*a1_alone(), *WORKDAYS])
        yield log


def read(log: Log, at: datetime) -> Reading:
    return Reading(log, Window(at - timedelta(days=7), at), at, EXACT)


# Since when: the cases end on Tuesday noon, and a clip takes two hours, a grille 24

NOW = when(1, 12)
SINCE = {
    "printing, seen twice": (
        [start(when(1, 8)), look(when(1, 9), "printing"), look(when(1, 10), "printing")], "printing", when(1, 8)),
    "proving, seen twice": (
        [start(when(1, 8), proving=True), look(when(1, 9), "printing"), look(when(1, 10), "printing")],
        "proving", when(1, 8)),
    # Due at 10.
    "done, seen twice": (
        [start(when(1, 8), file="clip"), look(when(1, 10.5), "done"), look(when(1, 11.5), "done")],
        "done", when(1, 10)),
    "printing, then done, seen twice": (
        [start(when(1, 8), file="clip"), look(when(1, 9), "printing"), look(when(1, 11), "done"),
         look(when(1, 11.5), "done")], "done", when(1, 10)),
    # Half-way between 8 and 10, when it was due.
    "stopped, seen twice": (
        [start(when(1, 8), file="clip"), look(when(1, 10), "stopped"), look(when(1, 11), "stopped")],
        "stopped", when(1, 9)),
    "empty, seen twice": (
        [start(when(1, 6), file="clip"), at_a1("PartsOff", when(1, 9)), look(when(1, 10), "empty"),
         look(when(1, 11), "empty")], "empty", when(1, 9)),
    "down, seen, its cause found later": (
        [at_a1("WentDown", when(1, 8), cause="belt"), look(when(1, 9), "down"),
         at_a1("WentDown", when(1, 10), cause="nozzle")], "down", when(1, 8)),
    "down for ten days": ([at_a1("WentDown", when(-9), cause="belt"), look(when(1, 9), "down")], "down", when(-9)),
    "set aside for ten days": ([at_a1("SetAside", when(-9))], "aside", when(-9)),
    # Half-way between 8 and 10, both within the shift.
    "in upkeep, seen twice": (
        [look(when(1, 8), "empty"), look(when(1, 10), "upkeep"), look(when(1, 11), "upkeep")], "upkeep", when(1, 9)),
    # The first word of it.
    "printing, never started": ([look(when(1, 9), "printing"), look(when(1, 10), "printing")], "printing", when(1, 9)),
}  # fmt: skip


@pytest.mark.parametrize(("story", "state", "since"), SINCE.values(), ids=SINCE.keys())
def test_a_state_is_told_from_its_beginning_and_not_from_the_last_look(
    log: Log, story: list[AnyEntry], state: str, since: datetime
) -> None:
    log.append(story)
    (now,) = read(log, NOW).machines_now()
    assert (now.state, now.since, now.last_word) == (state, since, story[-1].at)


def test_a_new_print_is_a_new_beginning(log: Log) -> None:
    log.append([start(when(1, 6), file="clip"), at_a1("PartsOff", when(1, 11)), start(when(1, 11), file="clip")])
    (now,) = read(log, NOW).machines_now()
    assert (now.state, now.since, now.file, now.parts) == ("printing", when(1, 11), "clip", 12)
    assert now.due is not None
    assert (now.due.low, now.due.best, now.due.high) == (when(1, 13),) * 3


@pytest.mark.parametrize(
    "entry",
    [
        at_a1("SpoolFitted", when(1, 11), material="petg-black", grams=1000),
        at_a1("UpkeepDone", when(1, 11), task="clean", minutes=15),
    ],
    ids=["a spool", "upkeep"],
)
def test_a_spool_or_upkeep_is_word_of_the_machine(log: Log, entry: AnyEntry) -> None:
    log.append([start(when(1, 8)), entry])
    (now,) = read(log, NOW).machines_now()
    assert now.state == "printing"
    assert now.last_word == entry.at


# The shift

SHIFTS = {
    "it runs": (when(0, 9), when(0, 8)),
    "it is over": (when(0, 20), when(0, 8)),
    "the next one has not begun": (when(1, 6), when(0, 8)),
    "the next one has": (when(1, 8, 1), when(1, 8)),
    "its beginning is more than a day ago and its end is not": (when(5, 12), when(4, 8)),
    "none ran in the last day": (when(6, 12), None),
}


@pytest.mark.parametrize(("at", "began"), SHIFTS.values(), ids=SHIFTS.keys())
def test_when_the_shift_began_that_runs_or_was_the_last(log: Log, at: datetime, began: datetime | None) -> None:
    assert read(log, at).shift_began() == began


def test_a_shop_that_never_said_when_people_are_in_has_no_shift(tmp_path: Path) -> None:
    with Log.open(tmp_path / "no shifts.duckdb") as log:
        log.append_setup(ROWS)
        assert read(log, when(0, 9)).shift_began() is None


# The pace


def clips(days: int, first: int = 0) -> list[AnyEntry]:
    """A clip started at 9 on each of so many days and off 2.2 hours later, or some minutes more."""
    return [
        entry
        for day in range(first, first + days)
        for entry in (start(when(day, 9), file="clip"), at_a1("PartsOff", when(day, 11, 12 + day * 7 % 10)))
    ]


@pytest.fixture
def daily(tmp_path: Path) -> Iterator[Log]:
    """A log in a shop in which people are in every day."""
    with Log.open(tmp_path / "daily.duckdb") as log:
        log.append_setup([*a1_alone(), *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS)])
        yield log


def test_the_pace_of_a_shop_without_entries_is_what_the_files_state(daily: Log) -> None:
    assert learned_at(daily, when(0)) == Learned()


def test_with_few_removals_the_files_are_believed_and_how_few_is_told(daily: Log) -> None:
    daily.append(clips(ENOUGH - 1))
    few = learned_at(daily, when(ENOUGH))
    assert (few.best, few.low, few.high, few.seen) == (1.0, 0.9, 1.1, ENOUGH - 1)


def test_with_enough_removals_the_pace_is_learned(daily: Log) -> None:
    # Each print took at least 1.1 times the two hours its file states.
    daily.append(clips(ENOUGH))
    learned = learned_at(daily, when(ENOUGH))
    assert learned.seen == ENOUGH
    assert 1.08 < learned.best < 1.2
    assert learned.low < learned.best < learned.high


def test_the_pace_is_the_same_at_every_moment_of_a_day_and_changes_at_its_midnight(daily: Log) -> None:
    # By then Dublin keeps summer time: its midnights are at 23:00 in UTC.
    daily.append(clips(40))
    in_the_day = {learned_at(daily, moment) for moment in (when(31, 23), when(32, 11.5), when(32, 22.99))}
    assert [learned.seen for learned in in_the_day] == [32]
    assert learned_at(daily, when(32, 23)).seen == 33


def test_what_was_noted_after_the_last_midnight_does_not_change_the_pace(daily: Log) -> None:
    daily.append(story := clips(40))
    before = learned_at(daily, when(35, 12))
    daily.append([
        tell("EntryVoided", when(35, 10), which=story[1].id, why="slip"),
        *(start(when(day, 12), file="clip", noted_at=when(35, 10)) for day in (20, 21)),
        *(at_a1("PartsOff", when(day, 15), noted_at=when(35, 10)) for day in (20, 21)),
    ])  # fmt: skip
    assert learned_at(daily, when(35, 12)) == before
    # From the next midnight on a removal less and the one of the day itself; what was told from memory teaches nothing.
    assert learned_at(daily, when(36)).seen == before.seen - 1 + 1


def test_midnight_is_the_shops_own(daily: Log) -> None:
    # 1 July: midnight in Dublin is 23:00 in UTC, and the parts came off at 11:12 on 30 June.
    (off,) = (entry for entry in clips(1, first=120) if entry.kind == "PartsOff")
    daily.append([start(when(120, 9), file="clip"), off])
    assert off.at.astimezone(daily.setup().zone).isoformat() == "2026-06-30T12:12:00+01:00"
    assert [learned_at(daily, at).seen for at in (when(120, 22.9), when(120, 23.1))] == [0, 1]


def test_what_was_printed_long_ago_teaches_nothing(daily: Log) -> None:
    daily.append(clips(40))
    later = learned_at(daily, when(40 + PACE_DAYS))
    assert later.seen <= 1  # a machine's last start before the days read belongs to them
    assert (later.best, later.low, later.high) == (1.0, 0.9, 1.1)


def test_the_pace_is_that_of_the_time_asked_about_whenever_it_is_asked(daily: Log) -> None:
    daily.append(clips(40))
    week = Window(when(10), when(17))
    learneds = {Reading(daily, week, when(day), None).learned for day in (18, 38, 100)}
    assert [learned.seen for learned in learneds] == [17]
    assert {Reading(daily, Window(when(a), when(38)), when(38), None).learned.seen for a in (0, 10)} == {38}


def test_what_is_told_later_of_a_time_changes_its_pace_from_the_next_midnight_on(daily: Log) -> None:
    daily.append(clips(40))
    week, taken_back = Window(when(10), when(17)), clips(1, first=12)[1]
    (off,) = (e for e in entries_from(daily.everything()) if e.kind == "PartsOff" and e.at == taken_back.at)
    daily.append([tell("EntryVoided", when(30, 10), which=off.id, why="slip")])
    assert [Reading(daily, week, when(day), None).learned.seen for day in (30, 30.9, 31)] == [17, 17, 16]


# What prints truly take


def test_the_owner_is_told_what_a_file_truly_takes(daily: Log) -> None:
    # A clip states two hours; it was off 2.2 hours after its start, or some minutes more.
    daily.append(clips(60))
    (clip,) = Reading(daily, Window(when(50), when(60)), when(60)).print_times()
    assert (clip.file, clip.revision, clip.model, clip.stated, clip.seen) == ("clip", 1, "bench-220", 2.0, 60)
    assert 2.0 < clip.takes.low < clip.takes.best < clip.takes.high < 2.4


def test_files_nobody_has_seen_through_are_not_told(daily: Log) -> None:
    assert Reading(daily, Window(when(0), when(1)), when(1)).print_times() == []


# Until when spools are looked at


@pytest.mark.parametrize(
    ("at", "until"),
    [
        (when(1, 12), when(2, 12)),
        (when(4, 15.75), when(7, 12)),  # Friday: people are back on Monday
        (when(5, 12), when(7, 12)),
        (when(7, 7), when(8, 12)),
    ],
    ids=["a Tuesday", "leaving on a Friday", "a Saturday", "a Monday morning"],
)
def test_spools_are_told_of_until_noon_of_the_next_day_with_people_in(log: Log, at: datetime, until: datetime) -> None:
    assert read(log, at).runs_out().until == until


def test_who_comes_after_noon_is_told_of_what_runs_out_before(log: Log) -> None:
    log.append_setup([Shift(weekday=WEEKDAYS[2], start=time(14), end=time(22), hands=1)])
    assert read(log, when(1, 12)).runs_out().until == when(2, 14)


def test_where_nobody_comes_for_weeks_tomorrow_noon_is_told_of(tmp_path: Path) -> None:
    with Log.open(tmp_path / "closed.duckdb") as closed:
        closed.append_setup(a1_alone())
        assert read(closed, when(1, 12)).runs_out().until == when(2, 12)


def test_a_spool_that_runs_out_on_a_sunday_is_told_of_when_people_leave_on_friday(log: Log) -> None:
    log.append_setup([PrintFile(file="long", revision=1, product="grille", parts=9, hours=60, grams=600,
                                material="petg-black", models=())])  # fmt: skip
    log.append([at_a1("SpoolFitted", when(4, 15), material="petg-black", grams=500), start(when(4, 15.5), file="long")])
    leaving, knowing = when(4, 15.75), replace(EXACT, habits=Habits(stops=1e-9))
    (end,) = Reading(log, Window(when(-3), leaving), leaving, knowing).runs_out().spools
    assert end.swap_by == when(4, 16)  # closing
    assert when(6, 16) < end.when.best < when(6, 19)  # 500 g at 10 g an hour
