"""What a window gave and lost, whether word can be trusted, and whether the daily figures change."""

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest

from core.entries import AnyEntry
from core.estimate import NINETY, Estimate
from core.log.store import Log
from core.reading import periods
from core.reading.reading import Reading
from core.reading.types import Period, Series, Trust
from core.setup import WEEKDAYS, Cause, Shift, SpecialDay
from core.statistics.changes import ENOUGH
from core.window import Window, last_days
from tests.core.larkfield import EXACT, ROWS, a1_alone, at_a1, look, start, tell, when

#: A sum of many errors, each spread evenly over [-h, +h], stays within so many h nine times in ten (normal limit).
EVEN = NINETY / math.sqrt(3)

#: People are in from 8 to 16, Monday to Friday; word holds for ten staffed hours.
WORKDAYS = [Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5]]
LOOSE = Cause(about="scrap", cause="loose", name="Came loose", place=2)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """A log of A1 alone, in a shop of workdays."""
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*a1_alone(), *WORKDAYS, LOOSE])
        yield log


def gave(log: Log, entries: Sequence[AnyEntry], window: Window, at: datetime | None = None) -> Period:
    """The account of the window as it was known at `at`, a week after its end."""
    log.append(entries)
    at = at or window.end + timedelta(days=7)
    return periods.period(Reading(log, Window(window.start - timedelta(days=7), at), at, EXACT), window)


def lost(found: Period) -> dict[tuple[str, str | None], tuple[float, int]]:
    """Best hours and how many times, by reason and detail, in the order of the losses."""
    return {(loss.reason, loss.detail): (round(loss.hours.best, 9), loss.times) for loss in found.losses}


def day(number: int) -> Window:
    return Window(when(number), when(number + 1))


# Waiting for hands

#: A clip that was done on Monday at 15:00 and came off on Tuesday at 9:00.
OVERNIGHT = [start(when(0, 13), file="clip"), at_a1("PartsOff", when(1, 9)), at_a1("SetAside", when(1, 9))]
BEFORE = at_a1("SetAside", when(-1))


def test_a_finished_print_waits_inside_until_the_shift_ends_and_outside_from_then_on(log: Log) -> None:
    assert lost(gave(log, OVERNIGHT, day(0))) == {("hands outside", None): (8, 1), ("hands inside", None): (1, 1)}


def test_a_wait_over_midnight_counts_to_each_day_what_fell_into_it(log: Log) -> None:
    assert lost(gave(log, OVERNIGHT, day(1))) == {("hands outside", None): (8, 1), ("hands inside", None): (1, 1)}


def test_a_wait_over_midnight_is_one_wait_of_the_two_days(log: Log) -> None:
    found = gave(log, OVERNIGHT, Window(when(0), when(2)))
    assert lost(found) == {("hands outside", None): (16, 1), ("hands inside", None): (2, 1)}
    assert found.account.hours["done"].best == 18


def test_on_a_day_off_nobody_is_in(log: Log) -> None:
    log.append_setup([SpecialDay(day=date(2026, 3, 3), note="holiday")])
    assert lost(gave(log, OVERNIGHT, day(1))) == {("hands outside", None): (9, 1)}


def test_a_wait_looked_at_on_the_way_is_one_wait(log: Log) -> None:
    found = gave(log, [*OVERNIGHT, look(when(0, 15.5), "done"), look(when(1, 8.5), "done")], Window(when(0), when(2)))
    assert lost(found) == {("hands outside", None): (16, 1), ("hands inside", None): (2, 1)}


def test_two_prints_that_waited_are_two_waits(log: Log) -> None:
    # Done at 10 and at 13, each an hour before it came off.
    story = [start(when(0, 8), file="clip"), at_a1("PartsOff", when(0, 11)), start(when(0, 11), file="clip"),
             at_a1("PartsOff", when(0, 14)), at_a1("SetAside", when(0, 14))]  # fmt: skip
    assert lost(gave(log, story, day(0))) == {("hands inside", None): (2, 2)}


# Other losses


def test_a_loss_has_its_cause_or_the_spare_it_waits_for_and_the_largest_comes_first(log: Log) -> None:
    story = [
        at_a1("WentDown", when(0, 6), cause="nozzle"),  # 1 hour
        at_a1("CameBack", when(0, 7)),  # empty for 2
        at_a1("WentDown", when(0, 9), cause="belt"),  # 3
        at_a1("WentDown", when(0, 12), cause="belt", spare="belt-220"),  # 5
        at_a1("SetAside", when(0, 17)),
    ]
    assert list(lost(gave(log, story, day(0))).items()) == [
        (("waiting", "belt-220"), (5, 1)),
        (("down", "belt"), (3, 1)),
        (("empty", None), (2, 1)),
        (("down", "nozzle"), (1, 1)),
    ]


def test_the_same_thing_twice_is_one_loss(log: Log) -> None:
    story = [at_a1("WentDown", when(0, 9), cause="belt"), at_a1("CameBack", when(0, 10)),
             at_a1("WentDown", when(0, 13), cause="belt"), at_a1("SetAside", when(0, 15))]  # fmt: skip
    assert lost(gave(log, story, day(0))) == {("down", "belt"): (3, 2), ("empty", None): (3, 1)}


def test_what_prints_is_set_aside_or_of_no_word_is_no_loss(log: Log) -> None:
    story = [start(when(0, 9)), look(when(1, 9), "printing"), at_a1("SetAside", when(2))]
    assert gave(log, story, Window(when(0), when(1, 9))).losses == []
    assert gave(log, [], day(2)).losses == []


def test_upkeep_is_a_loss(log: Log) -> None:
    story = [at_a1("CameBack", when(0, 9)), at_a1("UpkeepDone", when(0, 11), task="clean", minutes=30),
             at_a1("SetAside", when(0, 11))]  # fmt: skip
    assert lost(gave(log, [BEFORE, *story], day(0)))[("upkeep", None)] == (0.5, 1)


def test_an_empty_machine_looked_at_on_the_way_was_empty_once(log: Log) -> None:
    story = [BEFORE, at_a1("PutBack", when(0, 9)), look(when(0, 11), "empty"), at_a1("SetAside", when(0, 13))]
    assert lost(gave(log, story, day(0))) == {("empty", None): (4, 1)}


def test_a_machine_found_down_broke_once(log: Log) -> None:
    # Between 8 and 12, so at 10; it is the same fault after the look that found it.
    story = [BEFORE, at_a1("PutBack", when(0, 8)), look(when(0, 12), "down"), at_a1("SetAside", when(0, 15))]
    assert lost(gave(log, story, day(0))) == {("down", None): (5, 1), ("empty", None): (2, 1)}


def test_a_loss_that_only_may_have_reached_the_window_did_not_happen_in_it(log: Log) -> None:
    # Found down on Tuesday at 14:00, it broke within ten staffed hours: most likely on Tuesday at 9:00.
    story = [look(when(0, 9), "down"), at_a1("CameBack", when(0, 12)), look(when(1, 14), "down")]
    assert lost(gave(log, story, day(0))) == {("empty", None): (12, 1), ("down", None): (3, 1)}


def test_a_loss_says_how_sure_it_is(log: Log) -> None:
    # Stopped between 9:00 and 11:00, when it was due: at 10:00 give or take an hour. Taken off at 12:00.
    off = at_a1("PartsOff", when(0, 12), ended="stopped", scrap=12, scrap_cause="warped")
    (loss,) = gave(log, [start(when(0, 9), file="clip"), off, at_a1("SetAside", when(0, 12))], day(0)).losses
    assert (loss.reason, loss.hours.best, loss.times) == ("stopped", 2, 1)
    assert (loss.hours.low, loss.hours.high) == pytest.approx((2 - EVEN, 2 + EVEN))


# Parts


def test_good_is_what_was_on_the_platform_less_scrap(log: Log) -> None:
    story = [
        start(when(0, 8), file="clip"),
        at_a1("PartsOff", when(0, 10), scrap=2, scrap_cause="warped"),  # 12 on the platform
        start(when(0, 10), file="clip"),
        at_a1("PartsOff", when(0, 12), on_platform=7, scrap=1, scrap_cause="warped"),
        start(when(0, 12), file="grille"),
        at_a1("PartsOff", when(0, 13), ended="stopped", scrap=4, scrap_cause="loose"),
        start(when(0, 13), file="clip"),
        at_a1("PartsOff", when(0, 15), scrap=1),
    ]
    found = gave(log, story, day(0))
    assert found.good == Estimate.exact(10 + 6 + 0 + 11)
    assert found.scrap == 8
    assert list(found.scrap_by_cause.items()) == [("loose", 4), ("warped", 3), ("", 1)]
    assert (found.prints_ended, found.prints_stopped) == (3, 1)


def test_what_was_never_counted_may_all_have_been_good(log: Log) -> None:
    story = [start(when(0, 8), file="clip"), at_a1("PartsOff", when(0, 11), scrap=3, scrap_cause="warped"),
             start(when(0, 11), file="clip"), start(when(0, 14), file="grille")]  # fmt: skip
    found = gave(log, story, day(0))
    assert found.good == Estimate(low=9, best=9, high=9 + 12)
    assert (found.scrap, found.prints_ended) == (3, 1)


def test_parts_of_a_print_nobody_announced_are_not_guessed(log: Log) -> None:
    log.append([look(when(0, 9), "printing")])
    found = gave(log, [at_a1("PartsOff", when(0, 12), scrap=1, scrap_cause="warped")], day(0))
    assert (found.good, found.scrap, found.prints_ended) == (Estimate.exact(0), 1, 1)


def test_parts_count_to_the_window_in_which_they_came_off(log: Log) -> None:
    log.append(OVERNIGHT)
    assert [gave(log, [], day(number)).good.best for number in (0, 1)] == [0, 12]
    assert gave(log, [], Window(when(1), when(1, 9))).good.best == 0
    assert gave(log, [], Window(when(1, 9), when(2))).good.best == 12


def test_what_a_window_gave_is_known_as_it_was(log: Log) -> None:
    late = [start(when(0, 9), file="clip", noted_at=when(2)), at_a1("PartsOff", when(0, 12), noted_at=when(2))]
    assert gave(log, late, day(0), at=when(1)).good.best == 0
    assert gave(log, [], day(0), at=when(2)).good.best == 12


# Trust


def trust(log: Log, entries: Sequence[AnyEntry], at: datetime) -> Trust:
    log.append(entries)
    week = last_days(at, 7, log.setup().zone)
    read = Reading(log, Window(week.start, at), at, EXACT)
    return periods.trust(read, read.machines_now(), week)


@pytest.fixture
def three(tmp_path: Path) -> Iterator[Log]:
    """A log of A1, A2 and B1, in a shop of workdays."""
    with Log.open(tmp_path / "three.duckdb") as log:
        log.append_setup([*ROWS, *WORKDAYS])
        yield log


@pytest.mark.parametrize(
    ("at", "since"),
    [
        (when(8, 9.9), when(7, 8)),  # the shift has run for less than two hours
        (when(8, 10), when(8, 8)),
        (when(8, 20), when(8, 8)),
        (when(9, 7), when(8, 8)),
        (when(6, 12), when(4, 8)),  # nobody is in on Saturday and Sunday
    ],
)
def test_word_is_asked_for_since_the_last_shift_that_gave_time_for_a_round(
    three: Log, at: datetime, since: datetime
) -> None:
    assert trust(three, [], at).since == since


@pytest.mark.parametrize(("at", "since"), [(when(8, 8.9), when(7, 8)), (when(8, 9.5), when(8, 8))])
def test_a_short_shift_counts_when_it_is_over(three: Log, at: datetime, since: datetime) -> None:
    three.append_setup([SpecialDay(day=date(2026, 3, 10), start=time(8), end=time(9), hands=1)])
    assert trust(three, [], at).since == since


def test_where_nobody_said_when_people_are_in_word_is_asked_for_since_a_day_ago(tmp_path: Path) -> None:
    with Log.open(tmp_path / "no shifts.duckdb") as log:
        log.append_setup(ROWS)
        assert trust(log, [], when(8, 9)).since == when(7, 9)


def test_who_was_heard_from_and_who_was_silent(three: Log) -> None:
    told = trust(three, [start(when(8, 7.9)), tell("Looked", when(8, 8), machine="B1", saw="empty")], when(8, 11))
    assert (told.machines, told.heard, told.silent) == (3, 1, ["A1", "A2"])
    assert told.newest == when(8, 8)


def test_a_machine_set_aside_is_not_asked_for(three: Log) -> None:
    told = trust(three, [tell("SetAside", when(2), machine="A2"), look(when(8, 9), "empty")], when(8, 11))
    assert (told.machines, told.heard, told.silent) == (2, 1, ["B1"])


def test_no_word_is_a_share_of_the_machine_time_of_seven_whole_days(three: Log) -> None:
    # Tuesday to Monday. A1 is spoken of all the time, A2 from Friday noon on, B1 never: 0 + 84 + 168 of 504 hours.
    told = [at_a1("SetAside", when(0)), tell("SetAside", when(4, 12), machine="A2")]
    assert trust(three, told, when(8, 11)).no_word == (84 + 168) / (3 * 168)


def test_from_memory_is_what_was_noted_more_than_twenty_minutes_late(three: Log) -> None:
    told = [
        look(when(1), "empty", noted_at=when(1, 0, 21)),
        look(when(2), "empty", noted_at=when(2, 0, 20)),
        look(when(3), "empty"),
        tell("StockCounted", when(4), item="box-s", quantity=40, noted_at=when(4, 1)),
        tell("AirRead", when(7, 23.9), place="room", celsius=21),
    ]
    outside = [look(when(0, 23), "empty", noted_at=when(1)), look(when(8), "empty", noted_at=when(8, 1))]
    assert trust(three, told, when(8, 11)).from_memory == 2 / 5
    assert trust(three, outside, when(8, 11)).from_memory == 2 / 5
    slip = tell("EntryVoided", when(8), which=told[0].id, why="slip")
    assert trust(three, [slip], when(8, 11)).from_memory == 1 / 4


def test_trust_where_nobody_ever_noted_anything(three: Log) -> None:
    told = trust(three, [], when(8, 11))
    assert (told.heard, told.silent, told.newest) == (0, ["A1", "A2", "B1"], None)
    assert (told.no_word, told.from_memory, told.seen) == (1.0, 0.0, 0)
    assert told.takes == Estimate.exact(1.0)


# Series: the four weeks up to the Monday after them

AT = when(28, 9)


def workday(number: int, **off: object) -> list[AnyEntry]:
    """A clip from 9 to 11, off at 12."""
    return [start(when(number, 9), file="clip"), at_a1("PartsOff", when(number, 12), **off)]


def told_on(days: Sequence[int]) -> list[AnyEntry]:
    """A1 was empty on the morning of the first of these days, and printed a clip on each."""
    return [look(when(days[0]), "empty"), *(entry for number in days for entry in workday(number))]


def series(log: Log, entries: Sequence[AnyEntry]) -> dict[str, Series]:
    log.append(entries)
    days = last_days(AT, 28, log.setup().zone)
    found = periods.series(Reading(log, Window(days.start, AT), AT, EXACT), days)
    return {one.name: one for one in found}


#: Monday to Friday of the four weeks; the last is day 25.
WORKING = [number for number in range(28) if number % 7 < 5]
ALL_SCRAP = {"scrap": 12, "scrap_cause": "warped"}


def test_a_series_has_the_figure_of_every_day_on_which_people_were_in(log: Log) -> None:
    found = series(log, told_on(WORKING))
    assert list(found) == ["utilisation", "downtime", "good", "scrap_share"]
    for one in found.values():
        assert one.days == [when(number).date() for number in WORKING]
    assert found["utilisation"].values == pytest.approx([2 / 24] * 20)
    assert found["downtime"].values == [0.0] * 20
    assert found["good"].values == [12.0] * 20
    assert found["scrap_share"].values == [0.0] * 20


def test_a_day_off_is_left_out(log: Log) -> None:
    log.append_setup([SpecialDay(day=date(2026, 3, 17))])
    days = series(log, told_on(WORKING))["good"].days
    assert len(days) == 19
    assert date(2026, 3, 17) not in days


def test_days_without_any_word_are_left_out(log: Log) -> None:
    # Nothing before the second week; in the third, what was told on Tuesday noon holds until Wednesday at 14:00.
    days = [7, 8, 9, 10, 11, 14, 15, 21, 22]
    found = series(log, told_on(days))["utilisation"]
    assert found.days[:9] == [when(number).date() for number in (7, 8, 9, 10, 11, 14, 15, 16, 21)]
    assert found.values[7] == 0.0


def test_scrap_and_downtime_of_a_day(log: Log) -> None:
    down = [at_a1("WentDown", when(25, 12), cause="belt"), at_a1("CameBack", when(25, 18))]
    found = series(log, [*told_on(WORKING[:-1]), *workday(25, scrap=3, scrap_cause="warped"), *down])
    last = {name: one.values[-1] for name, one in found.items()}
    assert last == {"utilisation": 2 / 24, "downtime": 6 / 24, "good": 9.0, "scrap_share": 3 / 12}


@pytest.mark.parametrize(("days", "limits"), [(ENOUGH - 1, False), (ENOUGH, True)])
def test_limits_need_fifteen_days(log: Log, days: int, limits: bool) -> None:
    for one in series(log, told_on(WORKING[-days:])).values():
        assert len(one.values) == days
        assert [one.mean is not None, one.lower is not None, one.upper is not None] == [limits] * 3
        assert one.change is None


def test_a_day_beyond_the_usual_is_a_change_since_that_day(log: Log) -> None:
    found = series(log, [*told_on(WORKING[:-1]), *workday(WORKING[-1], **ALL_SCRAP)])
    # Nineteen days of none and one of all: the mean is 1/20, the mean move 1/19, and a share is never below none.
    scrap, good = found["scrap_share"], found["good"]
    assert (scrap.mean, scrap.lower) == (pytest.approx(1 / 20), 0.0)
    assert scrap.upper == pytest.approx(1 / 20 + 2.66 / 19, abs=1e-4)
    assert scrap.change is not None
    assert (scrap.change.rule, scrap.change.since, scrap.change.upward) == ("limit", date(2026, 3, 27), True)
    assert good.change is not None
    assert (good.change.since, good.change.upward) == (date(2026, 3, 27), False)
    assert found["downtime"].change is None


def test_a_shop_of_which_nobody_has_word_has_empty_series(log: Log) -> None:
    for one in series(log, []).values():
        assert (one.days, one.values, one.mean, one.lower, one.upper, one.change) == ([], [], None, None, None, None)
