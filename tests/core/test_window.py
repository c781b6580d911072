"""Windows of time, and the shop's own days and weeks."""

from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import Refused
from core.window import Window, last_days, last_midnight, midnight, parse_time

DUBLIN, CAIRO, HAVANA, APIA = (
    ZoneInfo(name) for name in ("Europe/Dublin", "Africa/Cairo", "America/Havana", "Pacific/Apia")
)


def day_of(zone: ZoneInfo, year: int, month: int, day: int) -> Window:
    first = date(year, month, day)
    return Window(midnight(first, zone), midnight(first + timedelta(days=1), zone))


def test_a_window_is_kept_in_utc() -> None:
    summer = timezone(timedelta(hours=1))
    window = Window(datetime(2026, 5, 3, 1, tzinfo=summer), datetime(2026, 5, 4, 1, tzinfo=summer))
    assert (window.start, window.end) == (datetime(2026, 5, 3, tzinfo=UTC), datetime(2026, 5, 4, tzinfo=UTC))
    assert window.start.tzinfo is UTC


def test_a_window_cannot_end_before_it_begins() -> None:
    with pytest.raises(Refused, match=r"ends \(2026-05-02.*before it begins \(2026-05-03.*swap") as refused:
        Window(datetime(2026, 5, 3, tzinfo=UTC), datetime(2026, 5, 2, tzinfo=UTC))
    assert refused.value.rule == "window_backwards"


def test_an_empty_window_has_no_hours_and_no_days() -> None:
    moment = datetime(2026, 5, 3, tzinfo=UTC)
    assert Window(moment, moment).hours == 0
    assert Window(moment, moment).days(DUBLIN) == []


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (DUBLIN, (2026, 3, 28), 24),
        (DUBLIN, (2026, 3, 29), 23),
        (DUBLIN, (2026, 10, 25), 25),
        (ZoneInfo("Australia/Lord_Howe"), (2026, 4, 5), 24.5),
        (HAVANA, (2026, 11, 1), 25),
        (CAIRO, (2024, 4, 26), 23),
        (CAIRO, (2024, 10, 31), 25),
        (APIA, (2011, 12, 30), 0),
    ],
)
def test_a_day_has_the_hours_its_clocks_give_it(zone: ZoneInfo, day: tuple[int, int, int], hours: float) -> None:
    assert day_of(zone, *day).hours == hours


def test_a_day_whose_midnight_is_skipped_begins_when_the_clocks_jump() -> None:
    begins = midnight(date(2024, 4, 26), CAIRO)
    assert begins == datetime(2024, 4, 25, 22, tzinfo=UTC)
    assert begins.astimezone(CAIRO).hour == 1
    assert (begins - timedelta(microseconds=1)).astimezone(CAIRO).date() == date(2024, 4, 25)


def test_a_day_whose_midnight_comes_twice_begins_at_the_first() -> None:
    assert midnight(date(2026, 11, 1), HAVANA) == datetime(2026, 11, 1, 4, tzinfo=UTC)


def test_days_are_cut_at_local_midnights_and_the_ends_may_be_part_days() -> None:
    window = Window(datetime(2026, 3, 28, 18, tzinfo=UTC), datetime(2026, 3, 30, 5, tzinfo=UTC))
    assert [day.hours for day in window.days(DUBLIN)] == [6, 23, 6]


def test_a_day_that_a_zone_left_out_is_no_day_of_the_window() -> None:
    window = Window(midnight(date(2011, 12, 29), APIA), midnight(date(2012, 1, 1), APIA))
    assert [day.start.astimezone(APIA).date() for day in window.days(APIA)] == [
        date(2011, 12, 29),
        date(2011, 12, 31),
    ]


def test_weeks_begin_on_mondays() -> None:
    window = Window(midnight(date(2026, 3, 25), DUBLIN), midnight(date(2026, 4, 8), DUBLIN))
    weeks = window.weeks(DUBLIN)
    assert [f"{week.start.astimezone(DUBLIN):%a %d}" for week in weeks] == ["Wed 25", "Mon 30", "Mon 06"]
    assert [week.hours for week in weeks] == [5 * 24 - 1, 7 * 24, 2 * 24]


ZONES = ["Europe/Dublin", "Africa/Cairo", "America/Havana", "Asia/Beirut", "Asia/Kathmandu", "America/Nuuk"]
moments = st.datetimes(datetime(2012, 1, 1), datetime(2037, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001


@given(moments, st.integers(0, 40 * 24 * 60), st.sampled_from(ZONES))
def test_days_and_weeks_are_the_window_in_pieces(start: datetime, minutes: int, name: str) -> None:
    window, zone = Window(start, start + timedelta(minutes=minutes)), ZoneInfo(name)
    for pieces in (window.days(zone), window.weeks(zone)):
        assert all(a.end == b.start for a, b in pairwise(pieces))
        assert all(piece.start < piece.end for piece in pieces)
        if minutes:
            assert (pieces[0].start, pieces[-1].end) == (window.start, window.end)


@given(moments, st.integers(1, 40 * 24 * 60), st.sampled_from(ZONES))
def test_no_day_holds_two_dates(start: datetime, minutes: int, name: str) -> None:
    zone = ZoneInfo(name)
    for day in Window(start, start + timedelta(minutes=minutes)).days(zone):
        last = day.end - timedelta(microseconds=1)
        assert day.start.astimezone(zone).date() == last.astimezone(zone).date()


def test_the_last_midnight_is_always_before() -> None:
    today = midnight(date(2026, 11, 26), DUBLIN)
    for passed, day in ((timedelta(microseconds=1), 26), (timedelta(hours=23), 26), (timedelta(0), 25)):
        assert last_midnight(today + passed, DUBLIN) == midnight(date(2026, 11, day), DUBLIN)


def test_the_last_days_are_whole_and_end_at_the_last_midnight() -> None:
    now = datetime(2026, 3, 30, 9, 30, tzinfo=UTC)
    window = last_days(now, 2, DUBLIN)
    assert (window.start, window.end) == (
        datetime(2026, 3, 28, tzinfo=UTC),
        datetime(2026, 3, 29, 23, tzinfo=UTC),
    )


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-05-03T14:30", datetime(2026, 5, 3, 13, 30, tzinfo=UTC)),
        ("2026-01-03T14:30", datetime(2026, 1, 3, 14, 30, tzinfo=UTC)),
        ("2026-05-03T14:30+02:00", datetime(2026, 5, 3, 12, 30, tzinfo=UTC)),
        ("2026-05-03T14:30Z", datetime(2026, 5, 3, 14, 30, tzinfo=UTC)),
        ("2026-05-03", datetime(2026, 5, 2, 23, tzinfo=UTC)),
    ],
)
def test_a_time_is_read_on_the_shops_clock_unless_it_carries_an_offset(text: str, moment: datetime) -> None:
    assert parse_time(text, DUBLIN) == moment


@pytest.mark.parametrize("text", ["", "yesterday", "2026-13-01T00:00", "2026-05-03T25:00"])
def test_what_is_no_time_is_refused_with_the_text_and_an_example(text: str) -> None:
    with pytest.raises(Refused) as refused:
        parse_time(text, DUBLIN)
    assert refused.value.rule == "not_a_time"
    assert f"'{text}'" in refused.value.sentence
    assert "2026-05-03T14:30" in refused.value.sentence
