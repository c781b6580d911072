"""Floor, hours, review, shelf and upkeep tell the same faults, waits and hours down, whatever was noted on the way."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path

import pytest

from core.answers import (
    Watch,
    floor,
    hours,
    last_quarter,
    learned_at,
    machine_record,
    reliability,
    report,
    review,
    stores,
)
from core.entries import AnyEntry
from core.epoch import instant
from core.hours.account import UNSCHEDULED_DOWN
from core.log.store import Log
from core.setup import WEEKDAYS, Shift
from core.window import Window, last_days
from tests.core.conftest import UNTIL
from tests.core.larkfield import ROWS, start, tell, when

#: A midnight of the shop.
NOW = when(27)
WAITS = {"cause": "belt", "spare": "belt-220"}


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([*ROWS, *(Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS)])
        log.append([start(when(day, 8), file="clip") for day in range(20)])
        yield log


@dataclass(frozen=True)
class Told:
    """What the answers say at a midnight: the faults that began in the week before, the machines that wait for each
    spare, and the hours of the week that machines were down, that they waited.
    """

    faults: dict[str, int]
    waits: dict[str, Counter[str]]
    down: dict[str, float]
    waited: dict[str, float]


def told(log: Log, at: datetime) -> Told:
    learned, shelf = learned_at(log, at), stores(log, at)
    week = last_days(at, 7, log.setup().zone)
    watch, past = Watch(log, at, learned), last_quarter(log, at, learned)
    now = [machine for rack in floor(log, at, learned) for machine in rack.machines]
    records = [machine_record(log, machine.machine, at, learned) for machine in now]
    whole, owner, quarter = hours(log, week, None, at).whole, report(log, at, learned, shelf).week.account, review(past)
    begun = [fault for record in records for fault in record.faults]
    return Told(
        faults={
            "hours": whole.faults, "owner": owner.faults, "review": quarter.weeks[-1].faults,
            "upkeep": sum(week.start <= instant(fault.began) < week.end for fault in watch.faults),
            "records": sum(week.start <= fault.at < week.end for fault in begun),
        },
        waits={
            "floor": Counter(machine.spare for machine in now if machine.state == "waiting" and machine.spare),
            "upkeep": Counter(line.spare for line in reliability(watch, shelf).waits),
            "stores": Counter({item.item: item.waiting for item in shelf.items if item.waiting}),
        },
        down={
            "hours": math.fsum(whole.hours[state].best for state in UNSCHEDULED_DOWN),
            "owner": math.fsum(owner.hours[state].best for state in UNSCHEDULED_DOWN),
            "review": math.fsum(x.hours.best for x in quarter.losses if x.reason in UNSCHEDULED_DOWN),
            "upkeep": math.fsum(within(week, instant(x.began), instant(min(x.ended, watch.now))) for x in watch.faults),
            "records": math.fsum(within(week, x.at, x.ended or at) for x in begun),
        },
        waited={
            "hours": whole.hours["waiting"].best,
            "review": 24 * math.fsum(line.week.best for line in quarter.spares),
        },
    )  # fmt: skip


def within(week: Window, start: datetime, end: datetime) -> float:
    """Hours of the week between two moments."""
    return max((min(end, week.end) - max(start, week.start)).total_seconds() / 3600, 0.0)


def agree(found: Told) -> bool:
    """Whether all say the same."""
    same = len(set(found.faults.values())) == 1 and len({tuple(sorted(x.items())) for x in found.waits.values()}) == 1
    down, waited = list(found.down.values()), list(found.waited.values())
    return same and down == pytest.approx([down[0]] * len(down)) and waited == pytest.approx([waited[0]] * len(waited))


def on(kind: str, at: datetime, machine: str = "A1", **fields: object) -> AnyEntry:
    return tell(kind, at, machine=machine, **fields)


#: What was noted after a machine began to wait on the 23rd day: faults of the week, machines that wait, hours down.
WORDS: dict[str, tuple[list[AnyEntry], int, float]] = {
    "nothing": ([], 1, 87),
    "seen down": ([on("Looked", when(25, 9), saw="down")], 1, 87),
    "parts off": ([on("PartsOff", when(23, 10))], 1, 87),
    "parts off, seen down": ([on("PartsOff", when(23, 10)), on("Looked", when(25, 9), saw="down")], 1, 87),
    # Nine staffed hours lie between the words; half of them are over at half past one.
    "seen empty": ([on("Looked", when(24, 9), saw="empty")], 0, 4.5),
    "set aside": ([on("SetAside", when(24, 9))], 0, 24),
    "put back": ([on("SetAside", when(24, 9)), on("PutBack", when(24, 15))], 0, 24),
    "put back, never set aside": ([on("PutBack", when(24, 9))], 0, 24),
    "came back": ([on("CameBack", when(24, 9))], 0, 24),
    "a start": ([start(when(24, 9))], 0, 24),
    "its spare came": ([tell("StockReceived", when(24, 9), item="belt-220", quantity=1)], 0, 87),
    "another one came": ([tell("StockReceived", when(24, 9), item="box-s", quantity=1)], 1, 87),
    "no spare after all": ([on("WentDown", when(24, 9), cause="nozzle")], 0, 87),
}


#: Those of them that the quick tier tells.
QUICK = ("parts off, seen down", "put back", "its spare came")


@pytest.mark.parametrize(
    ("words", "waits", "down"),
    [pytest.param(*told, marks=() if name in QUICK else pytest.mark.full, id=name) for name, told in WORDS.items()],
)
def test_every_answer_tells_the_same_of_a_machine_that_went_down(
    log: Log, words: list[AnyEntry], waits: int, down: float
) -> None:
    log.append([on("WentDown", when(23, 9), **WAITS), *words])
    found = told(log, NOW)
    assert agree(found), found
    assert (found.faults["hours"], found.waits["floor"].total()) == (1, waits)
    assert found.down["hours"] == pytest.approx(down)


def test_a_fault_that_only_a_look_told_of_is_one_everywhere(log: Log) -> None:
    log.append([on("Looked", when(23, 9), saw="empty"), on("Looked", when(24, 9), saw="down")])
    found = told(log, NOW)
    assert agree(found), found
    assert found.faults["review"] == 1


def test_a_machine_that_went_down_long_ago_waits_still(log: Log) -> None:
    log.append([on("WentDown", when(-300, 9), "A2", **WAITS)])
    found = told(log, NOW)
    assert agree(found), found
    assert found.waits["stores"] == {"belt-220": 1}


@pytest.mark.full
def test_every_answer_tells_the_same_of_an_invented_shop(busy_log: Log) -> None:
    weeks = [told(busy_log, week) for week in last_weeks(busy_log)]
    assert all(agree(found) for found in weeks), weeks
    assert sum(found.faults["hours"] for found in weeks) > 3
    assert sum(found.waits["floor"].total() + found.down["hours"] for found in weeks) > 24


def last_weeks(log: Log) -> list[datetime]:
    """Some midnights."""
    return [UNTIL, *(last_days(UNTIL, 7 * n, log.setup().zone).start for n in (1, 2))]
