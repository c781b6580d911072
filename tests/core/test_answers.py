"""The answers, from a story of a week and a morning told by seven machines.

People are in from 8 to 16, Monday to Friday. It is Tuesday, eleven o'clock; yesterday was Monday (day 7),
the week began last Tuesday (day 1). Every print takes what its file says: a clip 2 hours (12 parts), a
feeder 12 (2 parts), a grille 24 (4 parts).
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest
from pydantic import BaseModel, ValidationError

from core.answers import (
    ANSWERS,
    By,
    all_answers,
    entries_for,
    floor,
    hours,
    learned_at,
    machine_page,
    rack_round,
    report,
)
from core.entries import AnyEntry
from core.errors import Refused
from core.estimate import NINETY, Estimate
from core.floor.types import Choice, MachinePage, RackNow, RackRound
from core.hours.account import FORMULAS
from core.log.record import record
from core.log.store import Log
from core.reading.types import MachineNow, Period, Question
from core.setup import WEEKDAYS, Cause, Machine, Material, PrintFile, Rack, Row, Shift, Shop, Spare, UpkeepTask
from core.stores.types import Stores
from core.timeline.possible import acts
from core.timeline.questions import NOBODY_KNOWS
from core.timeline.reckon import STATES
from core.upkeep.types import MachineRecord
from core.window import Window, midnight
from tests.core.larkfield import EXACT, ROWS, tell, when

#: A sum of many errors, each spread evenly over [-h, +h], stays within so many h nine times in ten (normal limit).
EVEN = NINETY / math.sqrt(3)

AT = when(8, 11)
YESTERDAY = Window(when(7), when(8))
WEEK = Window(when(1), when(8))

#: Five more machines, noted out of their order; the new things to print with; a rack nobody uses.
MORE: tuple[Row, ...] = (
    Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin", planning_downtime=0.2),
    *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5]),
    Rack(rack="C", name="Rack C"),
    Machine(machine="A4", model="bench-220", rack="A", place=4),
    Machine(machine="A3", model="bench-220", rack="A", place=3),
    Machine(machine="B3", model="bench-300", rack="B", place=3),
    Machine(machine="B2", model="bench-300", rack="B", place=2),
    PrintFile(file="clip", revision=2, product="clip", parts=14, hours=2.2, grams=70,
              material="petg-black", models=()),
    PrintFile(file="clip", revision=3, product="clip", parts=16, hours=2.4, grams=80,
              material="petg-black", models=(), since=when(9)),
    PrintFile(file="brace", revision=1, product="grille", parts=1, hours=5, grams=90,
              material="petg-white", models=()),
    Material(material="petg-white", name="PETG white"),
    Cause(about="scrap", cause="loose", name="Came loose", place=2),
    Spare(spare="rod-300", name="Rod for the 300", models=("bench-300",)),
    Spare(spare="plate", name="Platform"),
    UpkeepTask(task="rods", name="Oil the rods", models=("bench-300",)),
)  # fmt: skip


def on(machine: str, kind: str, at: datetime, **fields: object) -> AnyEntry:
    return tell(kind, at, machine=machine, **fields)


def started(machine: str, at: datetime, file: str) -> AnyEntry:
    return on(machine, "PrintStarted", at, file=file, revision=1)


#: Last week: a clip that came loose after half an hour or so, its machine empty from then on; a belt that
#: broke; a machine set aside.
LAST_WEEK = [
    started("A2", when(2, 9), "clip"),
    on("A2", "PartsOff", when(2, 10), ended="stopped", scrap=12, scrap_cause="loose"),
    on("A3", "WentDown", when(4, 12), cause="belt", spare="belt-220", noted_at=when(4, 15)),
    on("B1", "SetAside", when(2, 8), noted_at=when(2, 8, 20)),
    tell("StockCounted", when(4, 9), item="box-s", quantity=40, noted_at=when(4, 10)),
]
#: Yesterday: the second clip of A2 was never counted.
MONDAY = [
    started("A1", when(7, 9), "grille"),
    started("A2", when(7, 8), "clip"),
    on("A2", "PartsOff", when(7, 11), scrap=3, scrap_cause="warped"),
    started("A2", when(7, 11), "clip"),
    started("A2", when(7, 13, 30), "clip"),
    started("B2", when(7, 12), "feeder"),
    on("B3", "WentDown", when(7, 12), cause="nozzle"),
]
#: This morning.
TUESDAY = [
    on("B2", "Looked", when(8, 8, 10), saw="stopped"),
    on("B3", "Looked", when(8, 8, 15), saw="down"),
    on("A2", "PartsOff", when(8, 8, 30)),
]
STORY = [*LAST_WEEK, *MONDAY, *TUESDAY]


def shop(path: Path, entries: Sequence[AnyEntry]) -> Log:
    log = Log.open(path)
    log.append_setup([*ROWS, *MORE])
    log.append(entries)
    return log


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with shop(tmp_path / "shop.duckdb", STORY) as log:
        yield log


def machines(racks: Sequence[RackNow]) -> dict[str, MachineNow]:
    return {machine.machine: machine for rack in racks for machine in rack.machines}


def best(found: Period) -> dict[str, float]:
    """The best hours of every state that had any."""
    return {state: part.best for state, part in found.account.hours.items() if part.best}


def lost(found: Period) -> list[tuple[str, str | None, float, int]]:
    return [(loss.reason, loss.detail, round(loss.hours.best, 9), loss.times) for loss in found.losses]


# The owner's page


def test_whose_page_it_is(log: Log) -> None:
    page = report(log, AT, EXACT)
    assert (page.shop, page.zone, page.at) == ("Larkfield Hive Fittings", "Europe/Dublin", AT)
    assert page.planning_downtime == 0.2


def test_who_was_heard_from_since_the_shift_began(log: Log) -> None:
    trust = report(log, AT, EXACT).trust
    assert (trust.machines, trust.heard, trust.since) == (6, 3, when(8, 8))  # B1 is set aside: not asked
    assert trust.silent == ["A1", "A3", "A4"]
    assert trust.newest == when(8, 8, 30)


def test_how_word_came_in_over_the_week(log: Log) -> None:
    trust = report(log, AT, EXACT).trust
    # A1 until Monday 9:00 (153 h). A2 until Wednesday 9:00 and, empty for ten staffed hours, from Thursday noon
    # until Monday 8:00 (33 + 92). A3 until Friday noon (84). A4 all week (168). B1 until Wednesday 8:00 (32).
    # B2 and B3 until Monday noon (156 each). Of seven machines' weeks.
    assert trust.no_word == (153 + 33 + 92 + 84 + 168 + 32 + 156 + 156) / (7 * 168)
    # The belt and the count of boxes, of twelve entries of last week and yesterday; twenty minutes is no delay.
    assert trust.from_memory == 2 / 12
    assert (trust.takes, trust.seen) == (Estimate.exact(1.0), 0)


def test_what_needs_a_hand_the_most_urgent_first(log: Log) -> None:
    needs = report(log, AT, EXACT).needs
    assert [(n.level, n.state, n.rack, n.machines, n.since, n.waited_hours, n.cause, n.spare) for n in needs] == [
        # Half-way between its start and midnight, when it was due.
        ("now", "stopped", "B", ["B2"], when(7, 18), 17, None, None),
        ("now", "done", "A", ["A1"], when(8, 9), 2, None, None),
        # No word of it as far back as the page looks, four weeks and the morning.
        ("today", "no word", "A", ["A4"], when(-20), 28 * 24 + 11, None, None),
        ("today", "down", "B", ["B3"], when(7, 12), 23, "nozzle", None),
        ("today", "empty", "A", ["A2"], when(8, 8, 30), 2.5, None, None),
        ("waiting", "waiting", "A", ["A3"], when(4, 12), 95, "belt", "belt-220"),
    ]


def test_how_many_are_out_of_service(log: Log) -> None:
    # A3 waits for its spare and B3 is down; B1 is set aside, so six are in service.
    page = report(log, AT, EXACT)
    assert (page.in_service, page.out_now, page.out_now_share) == (6, 2, 2 / 6)


def test_every_machine_stands_in_its_rack(log: Log) -> None:
    racks = report(log, AT, EXACT).racks
    assert {code: machine.state for code, machine in machines(racks).items()} == {
        "A1": "done", "A2": "empty", "A3": "waiting", "A4": "no word", "B1": "aside", "B2": "stopped", "B3": "down",
    }  # fmt: skip
    grille = machines(racks)["A1"]
    assert (grille.since, grille.due, grille.basis, grille.last_word) == (when(8, 9), None, "reckoned", when(7, 9))
    assert (grille.file, grille.revision, grille.product, grille.parts) == ("grille", 1, "grille", 4)
    empty = machines(racks)["A2"]
    assert (empty.file, empty.product, empty.parts, empty.last_file, empty.last_revision) == (
        None, None, None, "clip", 1,
    )  # fmt: skip


def test_what_yesterday_gave_and_lost(log: Log) -> None:
    found = report(log, AT, EXACT).yesterday
    assert (found.start, found.end) == (YESTERDAY.start, YESTERDAY.end)
    assert best(found) == {
        "printing": 15 + 6 + 6,  # A1 from 9:00; A2 three clips; B2 from 12:00 to 18:00
        "done": 1 + 0.5 + 8.5,  # A2 at 10:00, at 13:00 and from 15:30 on
        "stopped": 6,
        "down": 12,
        "waiting": 24,
        "aside": 24,
        "no word": 9 + 8 + 24 + 12 + 12,
    }
    account = found.account
    assert (account.window_hours, account.total, account.operations, account.faults) == (168, 103, 79, 1)
    shares = [account.utilisation, account.uptime, account.downtime, account.out_of_service]
    assert [share.best for share in shares if share] == pytest.approx([27 / 79, 43 / 79, 36 / 79, 36 / 79])
    assert account.mttr == Estimate.exact(36)
    # One clip was never counted: all of its twelve may have been good.
    assert found.good == Estimate(low=9, best=9, high=21)
    assert (found.scrap, found.scrap_by_cause) == (3, {"warped": 3})
    assert (found.prints_ended, found.prints_stopped) == (1, 0)
    assert lost(found) == [
        ("waiting", "belt-220", 24, 1),
        ("down", "nozzle", 12, 1),
        ("hands outside", None, 8, 1),
        ("stopped", None, 6, 1),
        ("hands inside", None, 1 + 0.5 + 0.5, 3),
    ]


def test_what_the_week_gave_and_lost(log: Log) -> None:
    found = report(log, AT, EXACT).week
    assert (found.start, found.end) == (WEEK.start, WEEK.end)
    assert best(found) == {
        "printing": 15 + 6.5 + 6, "done": 10, "stopped": 0.5 + 6, "empty": 26, "down": 12, "waiting": 84,
        "aside": 136, "no word": 874,
    }  # fmt: skip
    assert math.fsum(best(found).values()) == found.account.window_hours == 7 * 168
    assert found.account.faults == 2
    # The feeder stopped within twelve hours, the clip of Wednesday within one.
    reach = EVEN * math.hypot(6, 0.5)
    stopped = found.account.hours["stopped"]
    assert (stopped.low, stopped.high) == pytest.approx((6.5 - reach, 6.5 + reach))
    assert found.good == Estimate(low=9, best=9, high=21)
    assert list(found.scrap_by_cause.items()) == [("loose", 12), ("warped", 3)]
    assert (found.scrap, found.prints_ended, found.prints_stopped) == (15, 1, 1)
    assert lost(found) == [
        ("waiting", "belt-220", 84, 1),
        ("empty", None, 26, 1),
        ("down", "nozzle", 12, 1),
        ("hands outside", None, 8, 1),
        ("stopped", None, 6.5, 2),
        ("hands inside", None, 2, 3),
    ]


def test_the_series_are_of_the_four_weeks_before_today(log: Log) -> None:
    found = {one.name: one for one in report(log, AT, EXACT).series}
    assert list(found) == ["utilisation", "downtime", "good", "scrap_share"]
    # Nobody had word of anything before Wednesday, and on Saturday and Sunday nobody was in.
    assert found["good"].days == [when(day).date() for day in (2, 3, 4, 7)]
    assert found["good"].values == [0, 0, 0, 9]
    assert found["scrap_share"].values == [1, 0, 0, 3 / 12]


# Questions


def only_question(log: Log) -> Question:
    (question,) = report(log, AT, EXACT).questions
    return question


def answer(log: Log, name: str, at: datetime = AT) -> Sequence[AnyEntry]:
    question = only_question(log)
    (choice,) = (choice for choice in question.choices if choice.name == name)
    return record(log, entries_for(question, choice, "MK", at), now=at).recorded


def test_what_the_entries_leave_open_is_asked(log: Log) -> None:
    question = only_question(log)
    assert (question.rule, question.machine, question.found) == ("parts not counted", "A2", "parts gone")
    assert (question.about, question.seen) == (when(7, 11), when(7, 13, 30))
    assert (question.file, question.revision, question.parts) == ("clip", 1, 12)
    assert [choice.name for choice in question.choices] == ["all good", "all scrap", NOBODY_KNOWS]


@pytest.mark.parametrize(("name", "good", "scrap"), [("all good", 21, 3), ("all scrap", 9, 15)])
def test_an_answer_fills_the_gap_and_the_question_is_gone(log: Log, name: str, good: int, scrap: int) -> None:
    (off,) = answer(log, name)
    assert (off.kind, off.at, off.noted_at, off.by) == ("PartsOff", when(7, 13, 30), AT, "MK")
    page = report(log, AT, EXACT)
    assert page.questions == []
    assert (page.yesterday.good, page.yesterday.scrap) == (Estimate.exact(good), scrap)


def test_nobody_knows_closes_the_question_and_changes_nothing_else(log: Log) -> None:
    before = report(log, AT, EXACT)
    (closed,) = answer(log, NOBODY_KNOWS)
    assert (closed.kind, closed.at, closed.noted_at, closed.by) == ("QuestionClosed", AT, AT, "MK")
    after = report(log, AT, EXACT)
    assert after.questions == []
    assert (after.needs, after.racks, after.yesterday, after.week) == (
        before.needs, before.racks, before.yesterday, before.week,
    )  # fmt: skip
    assert machine_page(log, "A2", AT, EXACT).questions == []


def test_a_question_was_still_open_before_it_was_answered(log: Log) -> None:
    later = when(8, 14)
    question = only_question(log)
    answer(log, NOBODY_KNOWS, later)
    assert report(log, AT, EXACT).questions == [question]
    assert report(log, later, EXACT).questions == []


def test_a_question_is_asked_for_a_week(log: Log) -> None:
    assert [len(report(log, at, EXACT).questions) for at in (when(14, 13), when(14, 14))] == [1, 0]


def test_a_question_is_asked_on_the_page_of_its_machine_alone(log: Log) -> None:
    assert machine_page(log, "A2", AT, EXACT).questions == [only_question(log)]
    assert machine_page(log, "A1", AT, EXACT).questions == []


# As it stood

#: Told after eleven: what happened before, what is taken back, what happened since.
LATER = [
    on("A1", "PartsOff", when(8, 9, 30), noted_at=when(8, 12)),
    on("A4", "SetAside", when(3), noted_at=when(8, 12)),
    tell("StockCounted", when(5), item="box-s", quantity=1, noted_at=when(8, 12)),
    tell("EntryVoided", when(8, 12), which=STORY[1].id, why="wrong machine"),
    tell("EntryVoided", when(8, 12), which=TUESDAY[0].id, why="slip"),
    on("B3", "CameBack", when(8, 12)),
    started("B3", when(8, 12), "clip"),
]


def test_an_earlier_moment_gives_the_answers_as_they_stood(log: Log) -> None:
    def told() -> list[object]:
        pages = [machine_page(log, machine, AT) for machine in machines(floor(log, AT))]
        return [report(log, AT), floor(log, AT), hours(log, WEEK, "day", AT), rack_round(log, "B", AT), *pages]

    before = told()
    log.append(LATER)
    assert told() == before


def test_an_earlier_moment_gives_the_answers_of_a_shop_that_knows_no_more(log: Log, tmp_path: Path) -> None:
    noon = when(7, 12, 10)
    with shop(tmp_path / "then.duckdb", [entry for entry in STORY if entry.noted_at <= noon]) as then:
        assert report(log, noon) == report(then, noon)
        assert report(log, AT) != report(then, AT)


def test_what_is_told_later_counts_from_then_on(log: Log) -> None:
    log.append(LATER)
    page = report(log, when(8, 13), EXACT)
    states = {code: (machine.state, machine.since) for code, machine in machines(page.racks).items()}
    assert states["A1"] == ("empty", when(8, 9, 30))
    assert states["A4"] == ("aside", when(3))
    assert states["B2"] == ("done", when(8))  # nobody saw it stopped any more: the feeder was due at midnight
    assert states["B3"] == ("printing", when(8, 12))
    assert page.week.scrap == 3
    assert page.trust.newest == when(8, 12)


# Hours

EVERY_MACHINE = {f"{rack}{place}": 168 for rack, places in (("A", 4), ("B", 3)) for place in range(1, places + 1)}
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


# The page of a machine


@pytest.mark.parametrize("machine", EVERY_MACHINE)
def test_what_can_be_noted_goes_by_the_state(log: Log, machine: str) -> None:
    page = machine_page(log, machine, AT, EXACT)
    assert page.now == machines(floor(log, AT, EXACT))[machine]
    assert page.acts == list(acts(page.now.state))


def test_the_files_that_fit_a_machine_its_last_one_first_then_those_started_lately(log: Log) -> None:
    # Yesterday A1 started a grille at 9:00, B2 a feeder at 12:00 and A2 a clip at 13:30; nobody ever a brace.
    files = {code: [file.file for file in machine_page(log, code, AT, EXACT).files] for code in EVERY_MACHINE}
    assert files["A1"] == ["grille", "clip", "brace"]
    assert files["A2"] == files["A4"] == ["clip", "grille", "brace"]
    assert files["B2"] == ["feeder", "clip", "grille", "brace"]
    assert files["B3"] == ["clip", "feeder", "grille", "brace"]
    earlier = machine_page(log, "B3", when(7, 13), EXACT).files
    assert [file.file for file in earlier] == ["feeder", "clip", "grille", "brace"]


def test_only_the_newest_revision_in_force_is_offered(log: Log) -> None:
    (clip,) = (file for file in machine_page(log, "A2", AT, EXACT).files if file.file == "clip")
    assert (clip.revision, clip.product, clip.name, clip.parts, clip.hours, clip.material) == (
        2, "clip", "Queen-cage clip", 14, 2.2, "petg-black",
    )  # fmt: skip
    (clip,) = (file for file in machine_page(log, "A2", when(9), EXACT).files if file.file == "clip")
    assert clip.revision == 3


def test_only_spares_and_tasks_that_fit_the_model_are_offered(log: Log) -> None:
    small, large = (machine_page(log, machine, AT, EXACT) for machine in ("A1", "B2"))
    assert [spare.code for spare in small.spares] == ["belt-220", "plate"]
    assert [spare.code for spare in large.spares] == ["rod-300", "plate"]
    assert [task.code for task in small.tasks] == ["clean"]
    assert [task.code for task in large.tasks] == ["clean", "rods"]


def test_causes_are_offered_in_their_places(log: Log) -> None:
    page = machine_page(log, "A1", AT, EXACT)
    assert page.down_causes == [Choice(code="nozzle", name="Nozzle"), Choice(code="belt", name="Belt")]
    assert page.scrap_causes == [Choice(code="warped", name="Warped"), Choice(code="loose", name="Came loose")]


def spool(machine: str, at: datetime, material: str, grams: float) -> AnyEntry:
    return on(machine, "SpoolFitted", at, material=material, grams=grams)


def test_the_spool_last_fitted_to_the_machine_comes_first(log: Log) -> None:
    log.append([spool("A1", when(7, 9), "petg-black", 1000), spool("A1", when(7, 10), "petg-white", 750),
                spool("A2", when(7, 10), "petg-black", 500)])  # fmt: skip
    pages = {code: machine_page(log, code, AT, EXACT) for code in ("A1", "A2", "A3")}
    assert {code: page.spool_grams for code, page in pages.items()} == {"A1": 750, "A2": 500, "A3": None}
    assert [choice.code for choice in pages["A1"].materials] == ["petg-white", "petg-black"]
    assert [choice.code for choice in pages["A2"].materials] == ["petg-black", "petg-white"]


def test_a_spool_fitted_long_ago_is_still_the_last_one(log: Log) -> None:
    # Ten days ago, and the machine has printed since.
    prints = [started("A1", when(day, 8), "clip") for day in range(-1, 7)]
    log.append([spool("A1", when(-2, 8), "petg-white", 750), *prints])
    page = machine_page(log, "A1", AT, EXACT)
    assert page.spool_grams == 750
    assert page.materials[0].code == "petg-white"


def test_when_the_shift_began(log: Log) -> None:
    assert machine_page(log, "A1", AT, EXACT).shift_began == when(8, 8)


def test_the_newest_entries_come_first_as_they_were_noted(log: Log) -> None:
    late = on("A2", "Looked", when(7, 9), saw="printing", noted_at=when(8, 10))
    log.append([late, tell("EntryVoided", when(8, 10), which=MONDAY[4].id, why="slip")])
    recent = machine_page(log, "A2", AT, EXACT).recent
    mine = [late, TUESDAY[2], MONDAY[3], MONDAY[2], MONDAY[1], LAST_WEEK[1], LAST_WEEK[0]]
    assert [entry["id"] for entry in recent[:2]] == [str(entry.id) for entry in mine[:2]]
    # The removal and the start at 11:00 were noted in one tap: either may come first.
    assert {entry["id"] for entry in recent} == {str(entry.id) for entry in mine}
    noted = [entry["noted_at"] for entry in recent]
    assert noted == sorted(noted, reverse=True)
    assert recent[0] == late.model_dump(mode="json")


def test_a_machine_that_is_not_there_is_refused(log: Log) -> None:
    with pytest.raises(Refused, match=r"no machine Z9 .*: pick") as refused:
        machine_page(log, "Z9", AT, EXACT)
    assert refused.value.rule == "machine_is_known"


# The floor and a round


def test_the_floor_shows_every_rack_in_use_and_its_machines_by_place(log: Log) -> None:
    racks = floor(log, AT, EXACT)
    assert [(rack.rack, rack.name, rack.across) for rack in racks] == [("A", "Rack A", 4), ("B", "Rack B", 4)]
    assert [[machine.machine for machine in rack.machines] for rack in racks] == [
        ["A1", "A2", "A3", "A4"], ["B1", "B2", "B3"],
    ]  # fmt: skip
    assert [machine.place for machine in racks[0].machines] == [1, 2, 3, 4]


def test_a_machine_that_left_is_on_the_floor_no_more(log: Log) -> None:
    log.append_setup([Machine(machine="A4", model="bench-220", rack="A", place=4, in_service=False, since=when(8))])
    assert "A4" not in machines(floor(log, AT, EXACT))
    assert "A4" in machines(floor(log, when(7, 12), EXACT))


def test_a_round_asks_for_what_should_be_seen(log: Log) -> None:
    around = rack_round(log, "A", AT, EXACT)
    assert (around.rack, around.name, around.across) == ("A", "Rack A", 4)
    assert [(m.machine, m.place, m.state, m.expected) for m in around.machines] == [
        ("A1", 1, "done", "done"),
        ("A2", 2, "empty", "empty"),
        ("A3", 3, "waiting", "down"),
        ("A4", 4, "no word", None),
    ]


def test_a_round_passes_by_what_is_set_aside(log: Log) -> None:
    assert [(m.machine, m.expected) for m in rack_round(log, "B", AT, EXACT).machines] == [
        ("B2", "stopped"), ("B3", "down"),
    ]  # fmt: skip


def test_a_round_says_when_a_print_is_due(log: Log) -> None:
    grille = rack_round(log, "A", when(7, 14), EXACT).machines[0]
    assert (grille.state, grille.expected) == ("printing", "printing")
    assert grille.due is not None
    assert grille.due.best == when(8, 9)


def test_a_rack_that_is_not_there_is_refused(log: Log) -> None:
    with pytest.raises(Refused, match=r"no rack Z .*: pick") as refused:
        rack_round(log, "Z", AT, EXACT)
    assert refused.value.rule == "rack_is_known"


# Shops without set-up or entries

ASKED: dict[str, Callable[[Log], object]] = {
    "report": lambda log: report(log, AT),
    "floor": lambda log: floor(log, AT),
    "hours": lambda log: hours(log, WEEK, "day", AT),
    "a machine": lambda log: machine_page(log, "A1", AT),
    "a round": lambda log: rack_round(log, "A", AT),
}


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_a_file_without_a_shop_is_refused_with_what_to_do(tmp_path: Path, ask: Callable[[Log], object]) -> None:
    with Log.open(tmp_path / "new.duckdb") as log, pytest.raises(Refused, match="no shop in it yet: run") as refused:
        ask(log)
    assert refused.value.rule == "no_shop"


@pytest.fixture
def silent(tmp_path: Path) -> Iterator[Log]:
    """A shop of three machines that is set up and has no entries."""
    with Log.open(tmp_path / "silent.duckdb") as log:
        log.append_setup(ROWS)
        yield log


def test_a_shop_without_entries_has_no_word_of_anything(silent: Log) -> None:
    page = report(silent, AT)
    assert {(m.state, m.basis, m.last_word, m.last_file) for m in machines(page.racks).values()} == {
        ("no word", "no word", None, None)
    }
    assert [(need.level, need.state, need.machines) for need in page.needs] == [
        ("today", "no word", ["A1", "A2"]),
        ("today", "no word", ["B1"]),
    ]
    assert (page.in_service, page.out_now, page.out_now_share, page.questions) == (3, 0, 0.0, [])
    assert (page.trust.no_word, page.trust.newest, page.trust.silent) == (1.0, None, ["A1", "A2", "B1"])
    assert (page.yesterday.account.utilisation, page.week.account.downtime) == (None, None)
    assert (page.week.good, page.week.losses) == (Estimate.exact(0), [])
    assert [(one.days, one.mean) for one in page.series] == [([], None)] * 4


def test_a_shop_without_machines_has_empty_answers(tmp_path: Path) -> None:
    with Log.open(tmp_path / "bare.duckdb") as log:
        log.append_setup([Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")])
        page = report(log, AT)
        assert (page.racks, page.needs, page.in_service, page.out_now_share) == ([], [], 0, 0.0)
        assert floor(log, AT) == []
        assert hours(log, WEEK, "rack", AT).groups == []


def test_the_pages_of_a_machine_and_of_a_round_come_without_entries(silent: Log) -> None:
    page = machine_page(silent, "B1", AT)
    assert page.acts == list(acts("no word"))
    assert [file.file for file in page.files] == ["clip", "feeder", "grille"]
    assert (page.spool_grams, page.shift_began, page.recent, page.questions) == (None, None, [], [])
    assert [machine.expected for machine in rack_round(silent, "A", AT).machines] == [None, None]


def test_hours_without_entries_are_of_no_word(silent: Log) -> None:
    whole = hours(silent, WEEK, None, AT).whole
    assert (whole.hours["no word"].best, whole.total, whole.utilisation) == (3 * 168, 0, None)


# What an answer is


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_an_answer_comes_back_from_json_as_it_was(log: Log, ask: Callable[[Log], object]) -> None:
    found = ask(log)
    answers = found if isinstance(found, list) else [found]
    assert answers
    for one in answers:
        assert isinstance(one, BaseModel)
        assert type(one).model_validate_json(one.model_dump_json()) == one


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_an_answer_is_never_changed(log: Log, ask: Callable[[Log], object]) -> None:
    found = ask(log)
    one = found[0] if isinstance(found, list) else found
    assert isinstance(one, BaseModel)
    name = next(iter(type(one).model_fields))
    with pytest.raises(ValidationError):
        setattr(one, name, getattr(one, name))


def test_a_question_that_went_through_json_is_answered_all_the_same(log: Log) -> None:
    question = only_question(log)
    again = Question.model_validate_json(question.model_dump_json())
    assert question.choices
    for choice, same in zip(question.choices, again.choices, strict=True):
        told, retold = (
            [entry.model_dump(exclude={"id"}) for entry in entries_for(asked, chosen, "MK", AT)]
            for asked, chosen in ((question, choice), (again, same))
        )
        assert told == retold


def test_the_pace_kept_by_the_caller_is_that_of_the_day(log: Log) -> None:
    assert report(log, AT, learned_at(log, AT)) == report(log, AT)
    assert floor(log, AT, learned_at(log, AT)) == floor(log, AT)


def test_all_answers_are_of_every_kind_there_is_one_of_each_machine_and_rack_or_of_those_asked_for(
    busy_log: Log,
) -> None:
    then = busy_log.span().end
    told = list(all_answers(busy_log, then))
    racks = floor(busy_log, then)
    machines = sum(len(rack.machines) for rack in racks)
    each = {MachinePage: machines, MachineRecord: machines, RackNow: len(racks), RackRound: len(racks)}
    assert Counter(map(type, told)) == {answer.kind: each.get(answer.kind, 1) for answer in ANSWERS.values()}
    some = list(all_answers(busy_log, then, kinds={Stores, RackNow}))
    assert some == [answer for answer in told if isinstance(answer, Stores | RackNow)]
