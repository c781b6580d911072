"""Invented histories for the properties: some machines, some days, every kind of entry, often at odd moments.

A machine's history touches no other's, so one reckoning of a room of ten is ten histories for the
price of one: setting the frames up costs far more than their rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import cache
from itertools import chain
from typing import TypeVar
from uuid import NAMESPACE_OID, uuid5

from hypothesis import strategies as st

from core.calc.pace import HOURS_LEFT, Pace
from core.calc.staffed import micros, spells
from core.entries import (
    AnyEntry,
    AtMachine,
    CameBack,
    CardLoaded,
    Looked,
    PartsOff,
    PrintStarted,
    PutBack,
    SetAside,
    SpoolFitted,
    UpkeepDone,
    WentDown,
)
from core.setup import Machine, PrintFile, Row, Setup, Shift, Shop
from core.window import Window

#: A Thursday; the clocks go forward in Dublin on the Sunday after.
BEGINNING = datetime(2026, 3, 26, 6, tzinfo=UTC)
AROUND = Window(BEGINNING - timedelta(days=70), BEGINNING + timedelta(days=80))
#: The last one never has an entry.
MACHINES = tuple(f"H{number}" for number in range(1, 11))
TALKED_OF = MACHINES[:-1]
Span = tuple[int, int]
Action = tuple[type[AtMachine], dict[str, object]]
Step = tuple[timedelta, Action]
T = TypeVar("T")


@dataclass(frozen=True)
class History:
    """All that a reckoning is made from."""

    entries: list[AnyEntry]
    rows: list[Row]
    window: Window
    spans: list[Span]
    pace: Pace
    word_holds: float

    @property
    def setup(self) -> Setup:
        return Setup(self.rows)


# What happened

ACTIONS: tuple[Action, ...] = (
    (PrintStarted, {"file": "clip", "revision": 1}),
    (PrintStarted, {"file": "clip", "revision": 2}),
    (PrintStarted, {"file": "feeder", "revision": 1}),
    (PrintStarted, {"file": "feeder", "revision": 1, "proving": True}),
    (PartsOff, {}),
    (PartsOff, {"ended": "stopped", "scrap": 1, "scrap_cause": "dont-know"}),
    (Looked, {"saw": "printing"}),
    (Looked, {"saw": "printing"}),
    (Looked, {"saw": "done"}),
    (Looked, {"saw": "stopped"}),
    (Looked, {"saw": "stopped"}),
    (Looked, {"saw": "empty"}),
    (Looked, {"saw": "down"}),
    (Looked, {"saw": "upkeep"}),
    (Looked, {"saw": "upkeep"}),
    (WentDown, {"cause": "nozzle"}),
    (WentDown, {"cause": "belt", "spare": "belt-220"}),
    (CameBack, {}),
    (SpoolFitted, {"material": "petg-black", "grams": 1000}),
    (SpoolFitted, {"material": "petg-black", "grams": 1000}),
    (UpkeepDone, {"task": "clean", "minutes": 25}),
    (UpkeepDone, {"task": "grease", "minutes": 600}),
    (UpkeepDone, {"task": "look", "minutes": 0}),
    (SetAside, {}),
    (PutBack, {}),
    (CardLoaded, {"card_set": "spring", "revision": 1}),
)

#: Minutes to the next entry; some are just three quarters, the whole or five quarters of a print.
ROUND_MINUTES = (0, 0, 1, 15, 30, 60, 90, 120, 150, 200, 240, 315, 420, 480, 525, 900, 1500, 4000)


def gaps() -> st.SearchStrategy[timedelta]:
    """The time to a machine's next entry."""
    whole = st.sampled_from(ROUND_MINUTES).map(lambda m: timedelta(minutes=m))
    odd = st.integers(1, 16 * 3_600_000_000).map(lambda us: timedelta(microseconds=us))
    return whole | odd


def days_of(machine: str) -> st.SearchStrategy[list[AnyEntry]]:
    """One machine's entries, in order of time; those of the same moment in any order of id."""
    visits = st.tuples(gaps(), st.sampled_from(ACTIONS)).map(lambda step: [step]) | removals_after_starts()
    steps = (st.lists(visits, min_size=1, max_size=3) | st.lists(visits, min_size=8, max_size=20)).map(_chained)
    return st.builds(_entries, st.just(machine), st.integers(0, 2**32), steps)


def removals_after_starts() -> st.SearchStrategy[list[Step]]:
    """A visit noted the wrong way round: a start, and up to 40 minutes later the removal that came before it."""
    minutes = st.integers(0, 40).map(lambda m: timedelta(minutes=m))
    start, removal = st.sampled_from(ACTIONS[:4]), st.sampled_from(ACTIONS[4:6])
    return st.tuples(st.tuples(gaps(), start), st.tuples(minutes, removal)).map(list)


def _entries(machine: str, salt: int, steps: list[Step]) -> list[AnyEntry]:
    at, found = BEGINNING, []
    for place, (gap, (kind, fields)) in enumerate(steps):
        at += gap
        id_ = uuid5(NAMESPACE_OID, f"{machine} {salt} {place}")
        found.append(kind(id=id_, at=at, noted_at=at, by="MK", machine=machine, **fields))  # type: ignore[arg-type]
    return found  # type: ignore[return-value]


def entries(machines: int) -> st.SearchStrategy[list[AnyEntry]]:
    """The entries of so many machines, one machine after the other."""
    return st.tuples(*(days_of(machine) for machine in TALKED_OF[:machines])).map(_chained)


def _chained(lists: Iterable[list[T]]) -> list[T]:
    return list(chain.from_iterable(lists))


# The shop

FILES = (
    PrintFile(file="clip", revision=1, product="clip", parts=12, hours=2, grams=60, material="petg-black", models=()),
    PrintFile(
        file="clip", revision=2, product="clip", parts=12, hours=3.37, grams=66, material="petg-black", models=()
    ),
    PrintFile(
        file="feeder", revision=1, product="feeder", parts=2, hours=9, grams=340, material="petg-black", models=()
    ),
    PrintFile(
        file="feeder", revision=1, product="feeder", parts=2, hours=7, grams=310, material="petg-black", models=()
    ),
)

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
#: Hours worked: weekdays, nights, two shifts that overlap, one hour a day, round the clock, never.
PATTERNS: tuple[tuple[tuple[tuple[str, ...], int, time, time, int], ...], ...] = (
    ((WEEK[:5], 1, time(8), time(16, 30), 2), (WEEK[5:6], 1, time(9), time(12), 1)),
    ((WEEK, 1, time(22), time(6), 1),),
    ((WEEK[:5], 1, time(6), time(14, 10), 1), (WEEK[:5], 2, time(14), time(22), 1)),
    ((WEEK, 1, time(12), time(13), 1),),
    ((WEEK, 1, time(0), time(0), 1),),
    (),
)


def shifts() -> st.SearchStrategy[tuple[Shift, ...]]:
    return st.sampled_from(PATTERNS).map(_shifts)


@cache
def _shifts(pattern: tuple[tuple[tuple[str, ...], int, time, time, int], ...]) -> tuple[Shift, ...]:
    return tuple(
        Shift(weekday=day, shift=number, start=start, end=end, hands=hands)  # type: ignore[arg-type]
        for days, number, start, end, hands in pattern
        for day in days
    )


@cache
def spans_of(hours: tuple[Shift, ...]) -> list[Span]:
    """The staffed spans of a pattern of shifts, two months around every history."""
    shop = Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")
    return [(micros(s.window.start), micros(s.window.end)) for s in spells(Setup([shop, *hours]), AROUND)]


def moments() -> st.SearchStrategy[datetime]:
    """A time in or near the days of a history, on the minute or not."""
    minutes = st.integers(-24 * 60, 9 * 24 * 60).map(lambda m: timedelta(minutes=m))
    odd = st.integers(0, 9 * 24 * 3_600_000_000).map(lambda us: timedelta(microseconds=us))
    return (minutes | odd).map(lambda after: BEGINNING + after)


def services() -> st.SearchStrategy[list[Machine]]:
    """The rows of the machines: always there, or come, gone and perhaps back."""
    return st.tuples(*(_rows_of(machine) for machine in MACHINES)).map(_chained)


def _rows_of(machine: str) -> st.SearchStrategy[list[Machine]]:
    row = Machine(machine=machine, model="B220", rack="A", place=1)
    changes = st.lists(st.tuples(moments(), st.booleans()), min_size=1, max_size=3)
    moving = changes.map(lambda rows: [row.model_copy(update={"since": t, "in_service": in_}) for t, in_ in rows])
    return st.just([row]) | moving


def windows() -> st.SearchStrategy[Window]:
    """A few hours to all of the days of a history, and more."""
    whole = st.just(Window(BEGINNING - timedelta(hours=5), BEGINNING + timedelta(days=9)))
    return whole | st.tuples(moments(), moments()).map(lambda ends: Window(min(ends), max(ends)))


#: Long prints are begun before people leave; every hour differs a little from the next.
BY_HOURS_LEFT = tuple(8.2 - 0.37 * hours for hours in range(HOURS_LEFT))
PACES = (
    Pace(),
    Pace(wait=0.7, patience=6.5, usual=BY_HOURS_LEFT),
    Pace(best=1.07, low=0.98, high=1.2, wait=0.6, patience=3.0, usual=(4.5,) * HOURS_LEFT),
    Pace(best=0.83, low=0.8, high=0.9, wait=1.15, patience=0.9, usual=BY_HOURS_LEFT[::-1]),
)


def paces() -> st.SearchStrategy[Pace]:
    return st.sampled_from(PACES)


def histories(machines: int = len(TALKED_OF)) -> st.SearchStrategy[History]:
    """Everything at once; only so many of the shop's machines have entries."""
    return st.builds(
        _history, entries(machines), services(), shifts(), windows(), paces(), st.sampled_from((0.5, 4.0, 10.0, 33.3))
    )


def _history(
    told: list[AnyEntry], service: list[Machine], hours: tuple[Shift, ...], window: Window, pace: Pace, holds: float
) -> History:
    shop = Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin", word_holds=holds)
    return History(told, [shop, *FILES, *service, *hours], window, spans_of(hours), pace, holds)
