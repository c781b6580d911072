"""Upkeep and repairs, asked as a whole: of a small story told by hand, and of an invented shop."""

import math
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from core.answers import Watch, by_fours, learned_at, machine_record, printed_before, reliability, stores, weeks_before
from core.entries import AnyEntry
from core.errors import Refused
from core.habits.learned import Learned
from core.log.store import Log
from core.setup import Machine, Model, PrintFile, Row, Shop, Spare, UpkeepTask
from core.statistics.failures import FailureTimes
from core.upkeep.types import RoomUpkeep, TaskDue, WeekPrinted
from core.upkeep.upkeep import _advice
from core.window import last_midnight
from tests.core.conftest import AT
from tests.core.larkfield import ROWS, at_a1, tell, when

NOW = when(40, 12)
TASKS: list[Row] = [
    PrintFile(file="long", revision=1, product="clip", parts=36, hours=6, grams=180, material="petg-black", models=()),
    UpkeepTask(task="oil", name="Oil", minutes=20, every_hours=100, every_days=30, says="maker"),
    UpkeepTask(task="level", name="Level", minutes=10, every_prints=8),
    UpkeepTask(task="dust", name="Dust"),
    UpkeepTask(task="only-300", name="Only there", every_days=7, models=("bench-300",)),
]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*ROWS, *TASKS])
        yield log


def printed(*days: int, machine: str = "A1") -> list[AnyEntry]:
    """A print of six hours on each of these days, seen to its end."""
    story = []
    for day in days:
        story.append(tell("PrintStarted", when(day, 8), machine=machine, file="long", revision=1))
        story.append(tell("PartsOff", when(day, 15), machine=machine))
    return story


def watched(log: Log, *entries: AnyEntry) -> Watch:
    log.append(list(entries))
    return Watch(log, NOW)


def room(log: Log, *entries: AnyEntry) -> RoomUpkeep:
    return reliability(watched(log, *entries), stores(log, NOW))


def task(found: RoomUpkeep, name: str, machine: str = "A1") -> TaskDue:
    (line,) = [line for line in found.due if line.task == name and line.machine == machine]
    return line


# Upkeep


def test_a_task_is_due_by_what_comes_first(log: Log) -> None:
    found = room(log, *printed(*range(30, 40)), at_a1("UpkeepDone", when(12, 9), task="oil", minutes=20))
    oil = task(found, "oil")
    # 28 of 30 days are gone, and some 60 of 100 hours.
    assert (oil.by, oil.every, round(oil.share.best, 2)) == ("days", 30, 0.94)
    assert oil.last == when(12, 9)
    assert oil.due == when(42, 9)
    assert 45 < oil.hours.best < 75
    assert oil.hours.low < oil.hours.best < oil.hours.high
    level = task(found, "level")
    assert (level.by, level.last) == ("prints", None)
    assert level.share.best > 1


def test_upkeep_that_was_done_begins_its_interval_anew(log: Log) -> None:
    story = printed(*range(30, 40))
    done = [at_a1("UpkeepDone", when(39, 16), task="level", minutes=9)]
    before, after = (task(room(log, *entries), "level") for entries in (story, done))
    assert before.share.best > 1
    assert (after.prints, after.share.best) == (0, 0)


def test_tasks_without_an_interval_and_of_other_models_are_not_due(log: Log) -> None:
    found = room(log, *printed(39))
    assert {line.task for line in found.due if line.machine == "A1"} == {"oil", "level"}
    assert {line.task for line in found.due if line.machine == "B1"} >= {"only-300"}


def test_of_those_due_machines_that_stand_come_first(log: Log) -> None:
    running = tell("PrintStarted", when(40, 11), machine="A1", file="long", revision=1)
    found = room(log, *printed(*range(20, 40)), *printed(*range(20, 40), machine="A2"), running)
    due = [line for line in found.due if line.share.best >= 1]
    assert [line.stands for line in due] == sorted((line.stands for line in due), reverse=True)
    assert not task(found, "level").stands
    assert task(found, "level", "A2").stands


# Repairs

FAN = {"cause": "fan", "spare": "fan"}


def test_a_machine_that_waits_is_told_with_when_its_spare_is_expected(log: Log) -> None:
    log.append_setup([Spare(spare="fan", name="Fan")])
    ordered = tell("StockOrdered", when(39), item="fan", quantity=1, expected=when(44))
    counted = tell("StockCounted", when(30), item="fan", quantity=0)
    found = room(log, *printed(30), at_a1("WentDown", when(38, 9), **FAN), counted, ordered)
    (line,) = found.waits
    assert (line.machine, line.spare, line.name, line.since, line.expected) == (
        "A1",
        "fan",
        "Fan",
        when(38, 9),
        when(44),
    )
    assert found.lost_waiting == pytest.approx(51)


def test_failures_are_counted_by_hours_of_printing_and_restored_by_parts(log: Log) -> None:
    story = [
        *printed(*range(10, 21), *range(22, 38)),
        at_a1("WentDown", when(20, 16), cause="dont-know"), at_a1("WentDown", when(20, 18), **FAN),
        tell("StockReceived", when(21, 9), item="fan", quantity=1), at_a1("CameBack", when(21, 7 + 12)),
    ]  # fmt: skip
    found = room(log, *story)
    (model,) = [line for line in found.models if line.model == "bench-220"]
    assert model.failures == 1
    # For so many faults told there are some that nobody noted: the time between them is the shorter.
    assert 0 < model.untold < 0.5
    assert model.mtbf.best == pytest.approx(model.hours / (model.failures + model.untold))
    assert model.mtbf.low < model.hours < model.mtbf.high
    assert model.restored is not None
    assert (model.restored.diagnosed, model.restored.waited) == pytest.approx((2, 15))
    assert model.restored.hours == pytest.approx(27)
    (curve,) = [line for line in found.cumulative if line.model == "bench-220"]
    # Both machines were watched then: one failure of two.
    assert curve.best == [1.0]
    assert curve.low[0] < 1 < curve.high[0]
    assert found.causes[0].cause == "fan"
    assert [line.a_year > 0 for line in found.spares if line.spare == "fan"] in ([], [True])


# Intervals


def cycles(slope: float, seed: int, every: float = 100.0, count: int = 200) -> list[FailureTimes]:
    """Machines upkept every so many hours, failing as a power law of the hours since: a failure in the first 150 h."""
    draw = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        gathered = np.cumsum(draw.exponential(1.0, 60))
        at = 150 * gathered ** (1 / slope)
        found.append(FailureTimes([float(t) for t in at if t < every], every))
    return found


@pytest.mark.parametrize(
    ("slope", "every", "says"),
    [(2.5, 230.0, "too long"), (2.5, 104.0, "about right"), (2.5, 46.0, "too short"), (1.0, 100.0, "no gain seen")],
)
def test_intervals_are_judged_by_failures_since_the_last_upkeep(slope: float, every: float, says: str) -> None:
    # Six hours for the task, ten to restore: with a slope of 2.5 the best is 150 (0.6 / 1.5) ** 0.4 = 104 h.
    task = UpkeepTask(task="oil", name="Oil", minutes=360, every_hours=every)
    told = _advice(task, every, cycles(slope, seed=3, count=4000), restore=10.0)
    assert told.says == says
    if slope > 1:
        assert told.best == pytest.approx(150 * (0.6 / 1.5) ** 0.4, rel=0.03)
    else:
        assert told.best is None


def test_with_few_failures_nothing_is_said_of_intervals(log: Log) -> None:
    found = room(log, *printed(*range(30, 40)), at_a1("UpkeepDone", when(12, 9), task="oil", minutes=20))
    assert [(line.task, line.says, line.best) for line in found.advice] == [("oil", "cannot tell", None)]


# The record of a machine


def test_a_record_has_everything_that_was_done(log: Log) -> None:
    log.append_setup(
        [Spare(spare="fan", name="Fan", price=12, pack=2), Shop(name="Larkfield", zone="Europe/Dublin", hand_cost=30)]
    )
    story = [
        *printed(*range(10, 38)), at_a1("WentDown", when(20, 16), **FAN), at_a1("CameBack", when(20, 18)),
        at_a1("UpkeepDone", when(30, 16), task="oil", minutes=20, spares=("fan", "fan")),
        at_a1("CardLoaded", when(31, 8), card_set="shop", revision=2),
    ]  # fmt: skip
    watch = watched(log, *story)
    found = machine_record(log, "A1", NOW, learned_at(log, NOW), watch)
    assert found.prints == 28
    assert [(line.cause, line.spare, line.fitted, line.hours) for line in found.faults] == [("fan", "fan", ["fan"], 2)]
    assert [(line.task, line.minutes, line.spares) for line in found.upkeep] == [("oil", 20, ["fan", "fan"])]
    assert [(line.at, line.spare) for line in found.fitted] == [
        (when(30, 16), "fan"), (when(30, 16), "fan"), (when(20, 18), "fan")
    ]  # fmt: skip
    assert [(line.card_set, line.revision) for line in found.cards] == [("shop", 2)]
    assert found.cost.spares == pytest.approx(3 * 6)
    assert found.cost.upkeep == pytest.approx(10)
    assert found.cost.down is None
    assert sum(week.printed for week in found.weeks) == pytest.approx(found.printed)
    assert sum(week.down for week in found.weeks) == pytest.approx(2)


@pytest.mark.parametrize("count", [1, 4, 7, 261])
def test_four_weeks_together_are_their_mean_and_the_last_four_are_whole(count: int) -> None:
    weeks = [WeekPrinted(start=when(0) + timedelta(weeks=n), printed=n, down=count - n) for n in range(count)]
    fours = by_fours(weeks)
    assert fours[-1].start == weeks[max(count - 4, 0)].start
    assert fours[-1].printed == pytest.approx(sum(range(count)[-4:]) / min(count, 4))
    assert [four.start - fours[-1].start for four in fours[::-1][: count // 4]] == [
        timedelta(weeks=-4 * n) for n in range(count // 4)
    ]
    first = (count - 1) % 4 + 1
    assert fours[0].start == weeks[0].start
    assert first * fours[0].printed + 4 * sum(four.printed for four in fours[1:]) == pytest.approx(sum(range(count)))


def test_hours_out_cost_what_an_hour_without_the_machine_costs(log: Log) -> None:
    log.append_setup([Model(model="bench-220", name="Bench 220", hour_cost=3), Spare(spare="fan", name="Fan")])
    story = [
        *printed(*range(10, 38)), at_a1("WentDown", when(20, 16), **FAN), at_a1("CameBack", when(20, 18)),
        at_a1("WentDown", when(38, 12), **FAN),
    ]  # fmt: skip
    found = room(log, *story)
    assert [(line.hours, line.cost) for line in found.waits] == [(48, 144)]
    assert (found.lost_waiting, found.lost_cost) == (50, 150)
    assert [(line.cause, line.hours, line.cost) for line in found.causes] == [("fan", 50, 150)]
    record = machine_record(log, "A1", NOW, learned_at(log, NOW))
    # The price of a fan is not known.
    assert (record.cost.spares, record.cost.upkeep, record.cost.down) == (None, None, 150)


def test_without_a_price_of_every_machine_there_is_no_money(log: Log) -> None:
    log.append_setup([Model(model="bench-220", name="Bench 220", hour_cost=3)])
    story = [
        tell("WentDown", when(38, 12), machine=machine, **FAN) for machine in ("A1", "B1")
    ]  # fmt: skip
    found = room(log, *printed(30), *story)
    assert [line.cost for line in found.waits] == [144, None]
    assert (found.lost_cost, found.causes[0].cost) == (None, None)


def test_failures_are_told_by_hours_since_the_log_began_and_since_upkeep(log: Log) -> None:
    story = [*printed(*range(10, 38)), at_a1("UpkeepDone", when(20, 16), task="oil", minutes=20)]
    for day in (15, 25, 30):
        story += [at_a1("WentDown", when(day, 16), cause="fan"), at_a1("CameBack", when(day, 17))]
    found = {line.task: line for line in room(log, *story).by_hours}
    assert set(found) == {None, "oil"}
    assert [sum(band.failures for band in found[task].bands) for task in (None, "oil")] == [3, 2]
    oil = found["oil"].bands
    assert oil[0].start == 0
    assert [band.end for band in oil[:-1]] == [band.start for band in oil[1:]]
    for band in oil:
        assert band.per_100_hours.best == pytest.approx(100 * band.failures / band.hours)


def test_a_cause_that_comes_back_far_more_often_than_elsewhere_is_pointed_out(log: Log) -> None:
    story = printed(*range(10, 38)) + printed(*range(10, 38), machine="A2")
    for day in (12, 18, 24, 30):
        story += [at_a1("WentDown", when(day, 16), cause="fan"), at_a1("CameBack", when(day, 17))]
    watch = watched(log, *story)
    found = machine_record(log, "A1", NOW, learned_at(log, NOW), watch)
    (line,) = found.recurs
    assert (line.cause, line.times) == ("fan", 4)
    other = machine_record(log, "A2", NOW, learned_at(log, NOW), watched(log))
    assert other.recurs == []
    # A1 printed as long as A2, which failed never; A2 has four faults beside it, and B1 is of another model.
    assert found.mtbf is not None
    assert other.others_mtbf is not None
    assert found.others_mtbf is not None
    assert found.mtbf.best == pytest.approx(other.others_mtbf.best, rel=0.05)
    assert found.others_mtbf.best == math.inf


def test_an_unknown_machine_is_refused_and_a_new_one_has_an_empty_record(log: Log) -> None:
    learned = learned_at(log, NOW)
    with pytest.raises(Refused, match="There is no machine Z9 in the set-up"):
        machine_record(log, "Z9", NOW, learned)
    found = machine_record(log, "A1", NOW, learned)
    assert (found.prints, found.faults, found.upkeep, found.mtbf, found.recurs) == (0, [], [], None, [])


def test_a_room_of_which_nothing_is_known_has_no_failures(log: Log) -> None:
    found = room(log)
    assert (found.models, found.causes, found.stands_out, found.waits) == ([], [], [], [])


@pytest.fixture(scope="module")
def busy_watch(busy_log: Log, busy_pace: Learned) -> Watch:
    return Watch(busy_log, AT, busy_pace)


def test_the_hours_of_a_record_are_those_of_the_watch(busy_log: Log, busy_pace: Learned, busy_watch: Watch) -> None:
    watch = busy_watch
    for machine in watch.machines[:3]:
        found = machine_record(busy_log, machine.machine, AT, busy_pace, watch)
        # One by the likeliest line of states, the other over all stories.
        assert found.printed == pytest.approx(watch.printed.at(machine.machine, watch.now), rel=0.1)
        assert len(found.faults) == sum(fault.machine == machine.machine for fault in watch.faults)
    assert all(isinstance(machine, Machine) for machine in watch.machines)
    assert watch.midnight - watch.window.start == timedelta(weeks=watch.weeks)


def test_weeks_kept_for_the_day_change_no_record_and_what_was_printed_since_is_added(
    busy_log: Log, busy_pace: Learned
) -> None:
    zone = busy_log.setup().zone
    machines = busy_log.setup().machines(AT)[:3]
    assert len(machines) == 3
    for machine in machines:
        before = weeks_before(busy_log, machine.machine, last_midnight(AT, zone), busy_pace)
        kept = machine_record(busy_log, machine.machine, AT, busy_pace, before=before)
        assert kept == machine_record(busy_log, machine.machine, AT, busy_pace)
        today = kept.printed - sum(week.printed for week in kept.weeks)
        assert 0 <= today <= (AT - before.midnight) / timedelta(hours=1) + 1e-9
        assert before.weeks[-1].start == before.midnight - timedelta(weeks=1)


def test_hours_kept_for_the_day_change_no_answer(busy_log: Log, busy_pace: Learned, busy_watch: Watch) -> None:
    shelf, watch = stores(busy_log, AT), busy_watch
    before = printed_before(busy_log, watch.midnight, busy_pace)
    kept = Watch(busy_log, AT, busy_pace, before)
    assert reliability(kept, shelf) == reliability(watch, shelf)
    # What is noted after midnight is of the hours since.
    assert (before.best == watch.printed.of(before.machines).best[:, :-1]).all()
    assert watch.printed.edges[-1] == watch.now


def test_prints_are_counted_from_a_moment_on_and_upkeep_by_when_it_was_done_last(log: Log) -> None:
    story = [*printed(30, 31, 32), *(at_a1("UpkeepDone", when(day, 16), task="oil", minutes=9) for day in (31, 30))]
    watch = watched(log, *story)
    assert [watch.removals("A1", when(day, 15)) for day in (29, 30, 31, 32)] == [3, 2, 1, 0]
    assert watch.removals("A2", when(0)) == 0
    assert watch.done == {("A1", "oil"): when(31, 16)}
