"""The weekly review, asked as a whole: of a small story told by hand, and of an invented shop."""

import json
import math
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from uuid import UUID

import polars as pl
import pytest

from core.answers import compare, hours, last_quarter, machine_record, report, review
from core.entries import AnyEntry
from core.errors import Refused
from core.habits.learned import Learned
from core.log.record import record
from core.log.store import Log
from core.plan.outlook import Outlook
from core.plan.planning import plan
from core.review.actions import actions, agree, end
from core.review.figures import Part, good
from core.review.quarter import Past
from core.review.types import Chart, ComparedBy, Review
from core.setup import WEEKDAYS, Shift
from core.window import Window
from dashboard.words.plain import review_text
from tests.core.conftest import AT
from tests.core.larkfield import ROWS, at_a1, start, tell, when

NOW = when(28, 12)
#: Somebody is in every day.
SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS]


@pytest.fixture(scope="module")
def past(busy_log: Log, busy_pace: Learned) -> Past:
    return last_quarter(busy_log, AT, busy_pace)


@pytest.fixture(scope="module")
def found(past: Past) -> Review:
    return review(past)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*ROWS, *SHIFTS])
        yield log


def weeks_of_prints(spoilt_from: int = 99) -> list[AnyEntry]:
    """Two prints every day for four weeks; from a day on every one gives scrap."""
    told: list[AnyEntry] = []
    for day in range(28):
        for hour in (8, 12):
            scrap = {"scrap": 1, "scrap_cause": "warped"} if day >= spoilt_from else {}
            told += [start(when(day, hour)), at_a1("PartsOff", when(day, hour + 3), **scrap)]
    return told


# The quarter


def test_the_quarter_is_of_whole_days_and_its_weeks_end_at_the_last_midnight(past: Past) -> None:
    assert past.weeks[-1].end == past.end == datetime(2026, 8, 27, 23, 0, tzinfo=UTC)  # midnight in Dublin
    assert past.weeks[0].start == past.window.start
    assert all(a.end == b.start for a, b in zip(past.weeks, past.weeks[1:], strict=False))
    assert all(week.hours == 7 * 24 for week in past.weeks[1:])


@pytest.mark.parametrize("told", [[], [start(when(0, 8))]], ids=["nothing", "today"])
def test_a_young_shop_has_a_week_of_which_nothing_is_known(log: Log, told: list[AnyEntry]) -> None:
    log.append(told)
    found = review(last_quarter(log, when(0, 20)))
    (week,) = found.weeks
    assert week.end - week.start == timedelta(days=7)
    assert (week.utilisation, week.good.best, week.spoilt.share) == (None, 0, None)
    assert (found.losses, found.charts, found.late) == ([], [], [])


def test_the_weeks_agree_with_time_accounting(busy_log: Log, found: Review, past: Past) -> None:
    whole = hours(busy_log, past.weeks[-1], None, past.end).whole
    week = found.weeks[-1]
    assert week.utilisation is not None
    assert whole.utilisation is not None
    assert week.utilisation.best == pytest.approx(whole.utilisation.best)
    assert week.printing.best == pytest.approx(whole.productive_time.best)


def test_the_faults_of_the_weeks_are_those_of_the_machines_records(
    busy_log: Log, busy_pace: Learned, found: Review, past: Past
) -> None:
    told = [
        fault.at
        for machine in past.machines
        for fault in machine_record(busy_log, machine.machine, past.end, busy_pace).faults
    ]
    assert len(told) > 5
    assert [week.faults for week in found.weeks] == [
        sum(week.start <= at < week.end for at in told) for week in found.weeks
    ]


def test_good_parts_and_prints_with_scrap_are_those_that_were_counted(log: Log) -> None:
    log.append(weeks_of_prints(spoilt_from=21))
    found = review(last_quarter(log, NOW))
    parts = [(week.good.best, week.scrap, week.spoilt.hits, week.spoilt.of) for week in found.weeks]
    made = 14 * log.setup().file("grille", 1).parts  # type: ignore[union-attr]
    assert parts[1:] == [(made, 0, 0, 14), (made, 0, 0, 14), (made - 14, 14, 14, 14)]


def test_the_losses_of_the_week_are_those_of_the_owners_page(
    found: Review, busy_log: Log, busy_pace: Learned, past: Past
) -> None:
    week = report(busy_log, past.end, busy_pace).week
    owner = {(loss.reason, loss.detail): loss.hours.best for loss in week.losses}
    mine = {(loss.reason, loss.detail): loss.hours.best for loss in found.losses if loss.hours.best}
    assert mine == pytest.approx(owner, rel=1e-6)
    assert [loss.hours.best for loss in found.losses] == sorted((x.hours.best for x in found.losses), reverse=True)


def test_the_hours_that_parts_waited_add_up(found: Review, past: Past) -> None:
    assert len(found.waits) == 7 * 24
    done = past.read.state_hours([past.before]).total(("done",)).best
    assert found.waited == pytest.approx(done * 7 * 24 / past.before.hours)
    assert sum(cell.hours for cell in found.waits) == pytest.approx(found.waited)
    hands = {loss.reason: loss.before.best for loss in found.losses if loss.reason.startswith("hands")}
    assert found.waited_inside == hands["hands inside"] < found.waited == pytest.approx(sum(hands.values()))
    nights = [cell for cell in found.waits if cell.hour in {2, 3}]
    assert all(cell.staffed == 0 for cell in nights)


def test_an_order_is_kept_late_or_still_here(log: Log) -> None:
    def order(code: str, due: float, left: float | None) -> list[AnyEntry]:
        told = [tell("OrderTaken", when(1), order=code, product="clip", quantity=5, due=when(due))]
        if left is not None:
            told.append(tell("OrderPacked", when(left), order=code, quantity=5))
            told.append(tell("OrderShipped", when(left, 1), order=code))
        return told

    log.append([*weeks_of_prints(), *order("kept", 25, 24), *order("late", 25, 26), *order("open", 26, None)])
    found = review(last_quarter(log, NOW))
    newest = found.promises[-1]
    assert (newest.due, newest.kept, newest.late, newest.open) == (3, 1, 1, 1)
    assert [(line.order, line.left is None) for line in found.late] == [("late", False), ("open", True)]
    assert found.late[0].days == pytest.approx(1 + 1 / 24)


def test_what_is_late_by_the_plan_is_late_in_the_review(log: Log) -> None:
    def taken(code: str, parts: float, due: float) -> AnyEntry:
        return tell("OrderTaken", when(1), order=code, product="clip", quantity=parts, due=when(due))

    # There are forty parts for the one that is gone, and none for those that are late; one is due this afternoon.
    counted = tell("StockCounted", when(2), item="clip", quantity=40)
    log.append([*weeks_of_prints(), counted, taken("gone", 40, 5), taken("long late", 900, 6), taken("late", 900, 26)])
    log.append([taken("today", 900, 28.6)])
    found, outlook = review(last_quarter(log, NOW)), Outlook(log, NOW)
    late = [order.order for order in plan(outlook).orders if order.due < found.end]
    assert sorted(late) == ["late", "long late"]
    assert [(line.order, line.left) for line in found.late] == [("long late", None), ("late", None)]
    assert found.unpacked == plan(outlook).unpacked == ["gone"]
    told = [(week.due, week.kept, week.late, week.open, week.unpacked) for week in found.promises]
    assert told == [(2, 0, 0, 1, 1), (0, 0, 0, 0, 0), (0, 0, 0, 0, 0), (1, 0, 0, 1, 0)]


def test_a_review_is_told_in_plain_words(found: Review) -> None:
    told = " ".join(review_text(found).split())
    assert told.startswith("Larkfield Hive Fittings: The week from ")
    assert "changes a quarter would be called here by chance" in told


def test_a_review_dumps_as_json(found: Review) -> None:
    told = json.loads(found.model_dump_json())
    assert told["charts"]
    assert Review.model_validate(told) == found


# Charts and calls


def chart_of(found: Review, figure: str, of: str | None = None) -> Chart:
    return next(chart for chart in found.charts if (chart.figure, chart.of) == (figure, of))


def test_every_chart_has_a_value_a_centre_and_limits_a_day(found: Review) -> None:
    assert found.charts
    for chart in found.charts:
        columns = (chart.values, chart.of_each, chart.centre, chart.lower, chart.upper)
        assert {len(column) for column in columns} == {len(chart.days)}
        assert chart.days == sorted(chart.days)
        assert all(a <= b <= c for a, b, c in zip(chart.lower, chart.centre, chart.upper, strict=True))


def test_scrap_that_begins_is_called_with_its_day_and_its_file(log: Log) -> None:
    log.append(weeks_of_prints(spoilt_from=21))
    found = review(last_quarter(log, NOW))
    call = chart_of(found, "scrap").called[-1]
    assert call.new
    assert call.upward
    assert call.since == when(21).date()
    assert (call.before, call.after) == (0.0, 0.25)  # one of four parts a print
    assert chart_of(found, "scrap", "grille").called[-1].since == when(21).date()


def test_what_happened_meanwhile_is_told_beside_a_call_and_persons_never_are(log: Log) -> None:
    came = [tell("StockReceived", when(20), item=item, quantity=2000) for item in ("petg-black", "box-s")]
    hot = [tell("AirRead", when(day), place="room", celsius=28 if day == 22 else 21) for day in range(28)]
    log.append([*weeks_of_prints(spoilt_from=21), *came, *hot])
    meanwhile = chart_of(review(last_quarter(log, NOW)), "scrap").called[-1].meanwhile
    assert {(one.what, one.code) for one in meanwhile} == {("delivery", "petg-black"), ("heat", "room")}
    assert "MK" not in json.dumps([one.model_dump(mode="json") for one in meanwhile])


def test_upkeep_as_usual_is_nothing_that_happened_meanwhile(log: Log) -> None:
    weekly = [at_a1("UpkeepDone", when(day, 16), task="clean", minutes=10) for day in range(2, 28, 3)]
    log.append([*weeks_of_prints(spoilt_from=21), *weekly])
    assert chart_of(review(last_quarter(log, NOW)), "scrap").called[-1].meanwhile == []


def test_nobody_in_means_no_charts(tmp_path: Path) -> None:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(list(ROWS))
        log.append(weeks_of_prints())
        assert review(last_quarter(log, NOW)).charts == []


# Parts of the shop


def test_the_parts_of_a_shop_add_up_to_it(past: Past) -> None:
    whole = good(past).counted
    racks: dict[str, list[str]] = {}
    for machine in past.machines:
        racks.setdefault(machine.rack, []).append(machine.machine)
    split = sum(good(past, Part(machines=machines)).counted for machines in racks.values())
    assert split == pytest.approx(whole)
    files = past.removals["file"].drop_nulls().unique().to_list()
    of_files = sum(good(past, Part(files=[file])).counted for file in files)
    assert of_files == pytest.approx(good(past, Part(files=files)).counted)
    assert (of_files <= whole).all()


# Two periods side by side


def days(first: int, last: int) -> tuple[date, date]:
    return when(first).date(), when(last).date()


@pytest.fixture(scope="module")
def even_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    """Four weeks alike, for those who only read."""
    with Log.open(tmp_path_factory.mktemp("even") / "shop.duckdb") as log:
        log.append_setup([*ROWS, *SHIFTS])
        log.append(weeks_of_prints())
        yield log


def test_two_periods_are_told_apart_where_they_differ(log: Log) -> None:
    log.append(weeks_of_prints(spoilt_from=14))
    (shop,) = compare(log, days(1, 13), days(14, 27), "shop", NOW).groups
    told = {line.figure: line for line in shop.figures}
    scrap = told["scrap"]
    assert scrap.before is not None
    assert scrap.after is not None
    assert (scrap.before.best, scrap.after.best, scrap.says) == (0.0, 1.0, "more")
    assert told["good"].says == "less"
    assert told["faults"].says == "cannot tell"


@pytest.mark.parametrize("by", ["model", "rack", "machine", "product", "file"])
def test_periods_are_compared_by_every_part_of_the_shop(even_log: Log, by: ComparedBy) -> None:
    groups = compare(even_log, days(1, 13), days(14, 27), by, NOW).groups
    busy = {"model": "bench-220", "rack": "R1", "machine": "A1", "product": "vent", "file": "grille"}
    codes = [group.code for group in groups]
    assert len(codes) == len(set(codes))
    mine = [group for group in groups if any(line.after and line.after.best for line in group.figures)]
    assert len(mine) == 1, (busy, codes)


@pytest.mark.parametrize(
    ("first", "second", "sentence"),
    [
        (days(9, 3), days(14, 20), "swap the two days"),
        (days(1, 7), days(20, 40), "is not over yet"),
        (days(-400, 7), days(14, 20), "longer than a year"),
        (days(-20, -10), days(14, 20), "Nothing was noted until"),
        (days(7, 14), days(14, 20), "share days"),
    ],
)
def test_a_period_that_cannot_be_is_refused_in_a_sentence(
    even_log: Log, first: tuple[date, date], second: tuple[date, date], sentence: str
) -> None:
    with pytest.raises(Refused, match=sentence):
        compare(even_log, first, second, "shop", NOW)


# Actions


def test_an_action_is_told_with_before_and_after(log: Log) -> None:
    log.append(weeks_of_prints(spoilt_from=14))
    charts = review(last_quarter(log, NOW)).charts
    chart = next(chart for chart in charts if chart.figure == "scrap" and chart.of is None)
    made = agree("dry the spools", "MK", when(40), chart, "MK", when(13, 9))
    record(log, [made], now=NOW)
    (told,) = actions(log, charts, NOW)
    assert (told.what, told.who, told.ended) == ("dry the spools", "MK", None)
    assert told.moved is not None
    assert (told.moved.before.best, told.moved.says) == (0.0, "more")
    record(log, [end(told.id, "done", "MK", NOW)], now=NOW)
    (over,) = actions(log, charts, NOW)
    assert (over.ended, over.answer) == (NOW, "done")


def test_what_was_agreed_on_today_cannot_be_told_yet(log: Log) -> None:
    log.append(weeks_of_prints())
    charts = review(last_quarter(log, NOW)).charts
    record(log, [agree("dry the spools", "MK", when(40), charts[0], "MK", NOW)], now=NOW)
    assert actions(log, charts, NOW)[0].moved is None


def test_an_action_needs_words(log: Log) -> None:
    log.append(weeks_of_prints())
    chart = review(last_quarter(log, NOW)).charts[0]
    with pytest.raises(Refused, match="say what is tried"):
        agree("  ", "MK", when(40), chart, "MK", NOW)


def test_an_action_taken_back_is_gone(log: Log) -> None:
    log.append(weeks_of_prints())
    charts = review(last_quarter(log, NOW)).charts
    made = agree("dry the spools", "MK", when(40), charts[0], "MK", when(27))
    record(log, [made, tell("EntryVoided", when(28), which=made.id, why="slip", id=UUID(int=7))], now=NOW)
    assert actions(log, charts, NOW) == []


# Models


def test_a_model_that_prints_faster_and_gives_no_more_is_told_so(found: Review) -> None:
    assert {line.model for line in found.models} == {"bench-220", "bench-300"}
    for line in found.models:
        assert line.work.best <= line.printing.high * line.speed.high
        assert line.hands.best > 0
        assert line.spoilt.of > 0
    assert math.isclose(sum(line.machines for line in found.models), 8)


def test_what_is_told_of_every_model_is_a_machine_and_week(past: Past, found: Review) -> None:
    weeks = past.window.hours / (7 * 24)
    told = sum(line.good.best * line.machines for line in found.models) * weeks
    counted = past.removals.drop_nulls(["file", "good"])["good"].sum()
    assert told == pytest.approx(counted)


def test_hours_in_some_weeks_are_those_of_the_windows(past: Past) -> None:
    last = past.hours_in([len(past.weeks) - 1])
    whole = past.read.state_hours([Window(past.weeks[-1].start, past.weeks[-1].end)])
    for state in ("printing", "done", "empty"):
        assert last.of(pl.col("state") == state).total((state,)).best == pytest.approx(whole.total((state,)).best)
    assert past.weeks[-1].end - past.weeks[-1].start == timedelta(days=7)
