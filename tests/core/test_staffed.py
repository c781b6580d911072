"""Staffed time: shifts, special days, nights, clock changes, and the clock that runs only while somebody is in."""

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.epoch import FAR, micros
from core.setup import WEEKDAYS, Row, Setup, Shift, Shop, SpecialDay
from core.staffed import Staffed, staffed_spells
from core.window import Window
from tests.core.larkfield import MONDAY, when

SHOP = Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")
HOUR = 3_600_000_000


def shifts(*days: str, start: int = 8, end: int = 16, hands: int = 2, **fields: object) -> list[Shift]:
    return [Shift(weekday=day, start=time(start), end=time(end), hands=hands, **fields) for day in days]


WEEK = shifts(*WEEKDAYS[:5])


def worked(rows: list[Row], start: datetime, end: datetime) -> list[str]:
    """The spells in the shop's own clock, as "Mon 08:00-16:00 x2"."""
    setup = Setup([SHOP, *rows])
    return [
        f"{s.window.start.astimezone(setup.zone):%a %H:%M}-{s.window.end.astimezone(setup.zone):%H:%M} x{s.hands}"
        for s in staffed_spells(setup, Window(start, end))
    ]


def hours(rows: list[Row], start: datetime, end: datetime) -> float:
    return sum(s.window.hours for s in staffed_spells(Setup([SHOP, *rows]), Window(start, end)))


def test_a_week_has_its_shifts_in_order() -> None:
    assert worked([*shifts("sat", end=12, hands=1), *WEEK[:2]], when(0), when(7)) == [
        "Mon 08:00-16:00 x2",
        "Tue 08:00-16:00 x2",
        "Sat 08:00-12:00 x1",
    ]


def test_spells_are_cut_to_the_window() -> None:
    assert worked(WEEK, when(0, 9), when(1, 10)) == ["Mon 09:00-16:00 x2", "Tue 08:00-10:00 x2"]
    assert worked(WEEK, when(0, 16), when(1, 8)) == []


def test_a_shift_of_no_hands_is_not_worked() -> None:
    assert worked(shifts("mon", hands=0), when(0), when(1)) == []


def test_two_shifts_of_a_day_are_two_spells() -> None:
    day = [*shifts("mon", end=14), *shifts("mon", start=13, end=18, hands=1, shift=2)]
    assert worked(day, when(0), when(1)) == ["Mon 08:00-14:00 x2", "Mon 13:00-18:00 x1"]


TUESDAY = date(2026, 3, 3)


@pytest.mark.parametrize(
    ("special", "left"),
    [
        (SpecialDay(day=TUESDAY, note="St Brigid's"), []),
        (SpecialDay(day=TUESDAY, start=time(9), end=time(12), hands=1), ["Tue 09:00-12:00 x1"]),
        (SpecialDay(day=TUESDAY, start=time(9), end=time(12), hands=0), []),
    ],
    ids=["holiday", "short day", "nobody after all"],
)
def test_a_special_day_takes_the_place_of_its_weekday(special: SpecialDay, left: list[str]) -> None:
    around = ["Mon 08:00-16:00 x2", *left, "Wed 08:00-16:00 x2"]
    assert worked([*WEEK, special], when(0), when(3)) == around


def test_a_sunday_may_be_an_extra_day() -> None:
    extra = SpecialDay(day=date(2026, 3, 8), start=time(10), end=time(14), hands=1)
    assert worked([*WEEK, extra], when(6), when(7)) == ["Sun 10:00-14:00 x1"]


def test_a_night_shift_ends_on_the_next_day() -> None:
    night = shifts("mon", start=22, end=6, hands=1)
    assert worked(night, when(0), when(2)) == ["Mon 22:00-06:00 x1"]
    assert hours(night, when(0), when(2)) == 8
    assert hours(night, when(1), when(2)) == 6


def test_the_night_before_a_holiday_runs_into_it() -> None:
    night = shifts("mon", "tue", start=22, end=6, hands=1)
    assert worked([*night, SpecialDay(day=TUESDAY)], when(0), when(3)) == ["Mon 22:00-06:00 x1"]


@pytest.mark.parametrize(("day", "expected"), [((2026, 3, 28), 7), ((2026, 10, 24), 9), ((2026, 3, 7), 8)])
def test_a_night_in_which_the_clocks_change_has_the_hours_they_give(day: tuple[int, int, int], expected: int) -> None:
    evening = datetime(*day, 20, tzinfo=UTC)
    assert hours(shifts("sat", start=22, end=6), evening, evening + timedelta(hours=12)) == expected


def test_a_shift_keeps_its_clock_time_in_summer() -> None:
    (spell,) = staffed_spells(
        Setup([SHOP, *WEEK]), Window(datetime(2026, 6, 1, tzinfo=UTC), datetime(2026, 6, 2, tzinfo=UTC))
    )
    assert spell.window.start == datetime(2026, 6, 1, 7, tzinfo=UTC)


def test_new_hours_change_no_day_before_them() -> None:
    later = shifts("mon", start=6, end=10, since=when(7))
    assert worked([*shifts("mon"), *later], when(0), when(8)) == ["Mon 08:00-16:00 x2", "Mon 06:00-10:00 x2"]


# The clock


def clock(rows: list[Row] | None = None) -> Staffed:
    return Staffed.of(Setup([SHOP, *(WEEK if rows is None else rows)]), Window(when(0), when(7)))


def at(*moments: datetime) -> np.ndarray:
    return np.array([micros(moment) for moment in moments])


def test_hours_count_only_while_somebody_is_in() -> None:
    starts, ends = at(when(0, 7), when(0, 15), when(4, 15), when(5)), at(when(0, 9), when(1, 9), when(7, 9), when(6))
    assert clock().hours(starts, ends).tolist() == [1, 2, 2, 0]


def test_two_shifts_at_once_are_one_staffed_time() -> None:
    day = [*shifts("mon", end=14), *shifts("mon", start=13, end=18, shift=2)]
    assert clock(day).hours(at(when(0)), at(when(1))).tolist() == [10]


def test_word_holds_so_many_staffed_hours() -> None:
    moments = clock().after(at(when(0, 15), when(0, 7), when(4, 15)), 2.0)
    assert moments.tolist() == at(when(1, 9), when(0, 10), when(7, 9)).tolist()


def test_the_end_of_a_shift_is_reached_within_it() -> None:
    assert clock().after(at(when(0, 8)), 8.0).tolist() == at(when(0, 16)).tolist()


def test_where_nobody_is_ever_in_no_staffed_hour_passes() -> None:
    empty = clock([])
    assert empty.after(at(when(0)), 1.0).tolist() == [FAR]
    assert empty.worked(at(when(0), when(9))).tolist() == [0, 0]
    assert empty.middle(at(when(0)), at(when(1))).tolist() == at(when(0, 12)).tolist()


def test_the_middle_is_that_of_the_staffed_time() -> None:
    starts, ends = (
        at(when(0, 8), when(0, 15), when(0, 18), when(4, 16)),
        at(when(0, 12), when(1, 9), when(1, 10), when(7, 8)),
    )
    middles = at(when(0, 10), when(0, 16), when(1, 9), when(5, 24))
    assert clock().middle(starts, ends).tolist() == middles.tolist()


def test_the_spell_a_moment_lies_in() -> None:
    opens, closes = clock().spell_at(at(when(0, 9), when(0, 8), when(0, 20), when(-100)))
    assert opens.tolist() == at(when(0, 8), when(0, 8), when(0, 20), when(-100)).tolist()
    assert closes.tolist() == at(when(0, 16), when(0, 16), when(0, 20), when(-100)).tolist()


def test_whole_hours_left_until_people_go() -> None:
    moments = at(when(0, 8), when(0, 9.5), when(0, 15.5), when(0, 20), when(6))
    assert clock().hours_left(moments).tolist() == [8, 6, 0, 0, 0]


spans = st.lists(st.tuples(st.integers(0, 1000), st.integers(1, 100)), min_size=1, max_size=8).map(
    lambda pairs: [(start, start + length) for start, length in pairs]
)
moments = st.integers(-50, 1200)


@given(spans, moments, st.integers(1, 400))
def test_after_undoes_worked(pairs: list[tuple[int, int]], moment: int, staffed: int) -> None:
    """Times are whole hours here, so that every answer is exact."""
    time = Staffed([(a * HOUR, b * HOUR) for a, b in pairs])
    reached = int(time.after(np.array([moment * HOUR]), staffed)[0])
    before, whole = (int(time.worked(np.array([m]))[0]) for m in (moment * HOUR, FAR - 1))
    if whole - before < staffed * HOUR:
        assert reached == FAR
        return
    assert reached > moment * HOUR
    assert int(time.worked(np.array([reached]))[0]) == before + staffed * HOUR
    assert int(time.worked(np.array([reached - 1]))[0]) < before + staffed * HOUR


@given(spans, moments, moments)
def test_worked_counts_every_covered_hour_once(pairs: list[tuple[int, int]], start: int, end: int) -> None:
    start, end = min(start, end), max(start, end)
    covered = {hour for a, b in pairs for hour in range(a, b)}
    staffed = Staffed([(a * HOUR, b * HOUR) for a, b in pairs])
    hours = staffed.hours(np.array([start * HOUR]), np.array([end * HOUR]))
    assert hours.tolist() == [len(covered & set(range(start, end)))]


@given(spans, moments, moments)
def test_the_middle_has_as_much_staffed_time_before_it_as_after(
    pairs: list[tuple[int, int]], start: int, end: int
) -> None:
    start, end = min(start, end) * HOUR, max(start, end) * HOUR
    staffed = Staffed([(a * HOUR, b * HOUR) for a, b in pairs])
    middle = int(staffed.middle(np.array([start]), np.array([end]))[0])
    assert start <= middle <= end
    first, second = staffed.hours(np.array([start, middle]), np.array([middle, end]))
    assert first == second


@pytest.mark.parametrize(
    "moment", [MONDAY, datetime(1970, 1, 1, tzinfo=UTC), datetime(2026, 3, 2, 9, 0, 0, 1, tzinfo=UTC)]
)
def test_a_time_in_microseconds_is_exact(moment: datetime) -> None:
    assert datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=micros(moment)) == moment
