"""The hours of a window, as a whole and by group."""

import math
from datetime import date, timedelta

import pytest

from core.errors import Refused
from core.estimate import Estimate
from core.hours.account import FORMULAS
from core.log.store import Log
from core.morning.report import report
from core.reading.time_accounts import By, hours
from core.setup import Machine
from core.timeline.reckon import STATES
from core.window import Window, last_days, midnight
from tests.core.larkfield import when
from tests.core.seven_machines import AT, EVERY_MACHINE, LATER, WEEK, YESTERDAY, on

GROUPS: dict[By | None, dict[str, float]] = {
    None: {},
    "machine": EVERY_MACHINE,
    "model": {"bench-220": 4 * 168, "bench-300": 3 * 168},
    "rack": {"A": 4 * 168, "B": 3 * 168},
    "day": {f"2026-03-{3 + day:02}": 168 for day in range(7)},
    "week": {"2026-03-03": 6 * 168, "2026-03-09": 168},  # Tuesday to Sunday, and Monday
}


@pytest.mark.parametrize("by", GROUPS)
def test_hours_by_group_add_up_to_the_whole(log: Log, by: By | None) -> None:
    found = hours(log, WEEK, by, AT)
    assert (found.zone, found.start, found.end, found.by) == ("Europe/Dublin", WEEK.start, WEEK.end, by)
    assert {group.group: group.window_hours for group in found.groups} == GROUPS[by]
    assert (found.whole.window_hours, found.whole.faults) == (7 * 168, 2)
    assert found.whole.hours["no word"].best == 874
    if by:
        for state in STATES:
            assert math.fsum(g.hours[state].best for g in found.groups) == found.whole.hours[state].best
        assert math.fsum(group.operations for group in found.groups) == found.whole.operations
        assert sum(group.faults for group in found.groups) == found.whole.faults


def test_hours_of_a_group_are_its_own(log: Log) -> None:
    by_machine = {group.group: group for group in hours(log, WEEK, "machine", AT).groups}
    assert (by_machine["A3"].hours["waiting"].best, by_machine["A3"].faults) == (84, 1)
    assert (by_machine["B1"].hours["aside"].best, by_machine["B1"].hours["no word"].best) == (136, 32)
    by_day = {group.group: group for group in hours(log, WEEK, "day", AT).groups}
    assert (by_day["2026-03-06"].hours["waiting"].best, by_day["2026-03-06"].faults) == (12, 1)
    assert (by_day["2026-03-09"].hours["down"].best, by_day["2026-03-09"].faults) == (12, 1)


def test_yesterdays_hours_are_those_of_the_owners_page(log: Log) -> None:
    assert hours(log, YESTERDAY, None, AT).whole == report(log, AT).yesterday.account


@pytest.mark.full
def test_a_closed_week_says_the_same_for_ever(busy_log: Log) -> None:
    span = busy_log.span()
    week = last_days(span.end - timedelta(days=14), 7, busy_log.setup().zone)
    later = (4, 5, 6, 7.3, 9, 11, 14, 30, 60, 400)  # days; by the first of them every machine has been heard of
    told = {hours(busy_log, week, "machine", week.end + timedelta(days=days)).model_dump_json() for days in later}
    assert len(told) == 1


def test_every_figure_of_the_hours_says_its_formula(log: Log) -> None:
    assert hours(log, YESTERDAY, None, AT).formulas == FORMULAS


def test_figures_nobody_knows_are_null(log: Log) -> None:
    silent = next(group for group in hours(log, WEEK, "machine", AT).groups if group.group == "A4")
    assert (silent.total, silent.operations, silent.hours["no word"]) == (0, 0, Estimate.exact(168))
    names = ("utilisation", "uptime", "downtime", "out_of_service", "mttr", "mtbf")
    assert [getattr(silent, name) for name in names] == [None] * 6


def test_hours_are_what_was_known_then(log: Log) -> None:
    log.append(LATER)
    known = [hours(log, WEEK, None, at).whole.hours["aside"].best for at in (AT, when(8, 12))]
    assert known == [136, 136 + 5 * 24]  # A4, from Thursday on


@pytest.mark.parametrize(
    ("day", "length"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25)], ids=["clocks forward", "clocks back"]
)
def test_a_day_with_a_clock_change_has_the_hours_it_has(log: Log, day: date, length: int) -> None:
    log.append([on("A1", "WentDown", when(10), cause="belt")])
    before, begins, ends = (midnight(day + timedelta(days=step), log.setup().zone) for step in (-1, 0, 1))
    alone = hours(log, Window(begins, ends), "machine", when(300))
    assert (alone.whole.window_hours, alone.groups[0].hours["down"].best) == (7 * length, length)
    both = hours(log, Window(before, ends), "day", when(300)).groups
    assert [group.window_hours for group in both] == [7 * 24, 7 * length]
    assert both[1].group == day.isoformat()


REFUSALS = {
    "an unknown group": (WEEK, "room", "by_is_known", ["'room'", "use one of", "machine", "week"]),
    "a window that is not over": (
        Window(when(8), when(9)), None, "window_in_the_future",
        ["11 Mar 2026 00:00", "has not come yet", "10 Mar 2026 11:00", "end it sooner"]),
    "no time at all": (Window(when(3), when(3)), None, "window_empty", ["05 Mar 2026 00:00", "give it some length"]),
}  # fmt: skip


@pytest.mark.parametrize(("window", "by", "rule", "words"), REFUSALS.values(), ids=REFUSALS.keys())
def test_hours_that_cannot_be_told_are_refused(
    log: Log, window: Window, by: By | None, rule: str, words: list[str]
) -> None:
    with pytest.raises(Refused) as refused:
        hours(log, window, by, AT)
    assert refused.value.rule == rule
    assert [word for word in words if word not in refused.value.sentence] == []


def test_a_refusal_tells_the_time_by_the_shops_clock(log: Log) -> None:
    # 10:00 in UTC on a summer day.
    with pytest.raises(Refused, match=r"01 Jul 2026 11:00"):
        hours(log, Window(when(121, 10), when(121, 10)), None, when(200))


def test_a_machine_counts_to_where_it_stood_at_the_end_of_the_window(log: Log) -> None:
    log.append_setup([Machine(machine="A1", model="bench-300", rack="B", place=4, since=when(5))])
    later = {group.group: group.window_hours for group in hours(log, WEEK, "rack", AT).groups}
    assert later == {"A": 3 * 168, "B": 4 * 168}
    before = Window(when(1), when(5))
    assert {g.group: g.window_hours for g in hours(log, before, "rack", AT).groups} == {"A": 4 * 96, "B": 3 * 96}
    assert {g.group: g.window_hours for g in hours(log, before, "model", AT).groups} == {
        "bench-220": 4 * 96, "bench-300": 3 * 96,
    }  # fmt: skip
