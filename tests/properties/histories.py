"""Invented histories for the properties: some machines, some days, every kind of entry, often at odd moments.

A machine's history touches no other's, so one reckoning of a room of ten is ten histories for the
price of one: setting the frames up costs far more than their rows.

A history is read off one string of bytes. Of strategies with parts Hypothesis makes four examples in
five by copying a part of the one before; a string has no parts, so every history is a new one. It also
is drawn far quicker, and still gets simpler as its bytes get smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import cache
from itertools import product
from typing import TypeVar
from uuid import NAMESPACE_OID, uuid5

from hypothesis import strategies as st

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
    StockReceived,
    UpkeepDone,
    WentDown,
)
from core.epoch import micros
from core.habits.habits import HOURS_LEFT
from core.habits.learned import Learned
from core.setup import Machine, PrintFile, Row, Setup, Shift, Shop
from core.staffed import staffed_spells
from core.window import Window

#: A Thursday; the clocks go forward in Dublin on the Sunday after.
BEGINNING = datetime(2026, 3, 26, 6, tzinfo=UTC)
AROUND = Window(BEGINNING - timedelta(days=70), BEGINNING + timedelta(days=80))
#: The last one never has an entry.
MACHINES = tuple(f"H{number}" for number in range(1, 11))
TALKED_OF = MACHINES[:-1]
#: So many bytes are for each machine, and so many for the shop.
SHARE = 240
Span = tuple[int, int]
Action = tuple[type[AtMachine], dict[str, object]]
Step = tuple[timedelta, Action]
T = TypeVar("T")


class Dice:
    """Choices read off a string of bytes; the first of everything once it has run out."""

    def __init__(self, rolled: bytes) -> None:
        self._rolled = rolled
        self._read = 0

    def below(self, ceiling: int) -> int:
        self._read += 2
        return int.from_bytes(self._rolled[self._read - 2 : self._read]) % ceiling

    def pick(self, options: Sequence[T]) -> T:
        return options[self.below(len(options))]


@dataclass(frozen=True)
class History:
    """All that a reckoning is made from."""

    entries: list[AnyEntry]
    rows: list[Row]
    window: Window
    spans: list[Span]
    learned: Learned
    word_holds: float

    @property
    def setup(self) -> Setup:
        return Setup(self.rows)


# What happened

STARTS = tuple[Action, ...](
    (PrintStarted, {"file": file, "revision": revision, "proving": proving})
    for (file, revision), proving in product((("clip", 1), ("clip", 2), ("feeder", 1)), (False, True))
)
OFF: Action = (PartsOff, {})
STOPPED_OFF: Action = (PartsOff, {"ended": "stopped", "scrap": 1, "scrap_cause": "dont-know"})
PRINTING, DONE, STOPPED, EMPTY, STILL_DOWN, ON_THE_BENCH = LOOKS = tuple[Action, ...](
    (Looked, {"saw": saw}) for saw in ("printing", "done", "stopped", "empty", "down", "upkeep")
)
BROKE: Action = (WentDown, {"cause": "nozzle"})
WAITS: Action = (WentDown, {"cause": "belt", "spare": "belt-220"})
BACK: Action = (CameBack, {})
SPOOL: Action = (SpoolFitted, {"material": "petg-black", "grams": 1000})
CLEANED: Action = (UpkeepDone, {"task": "clean", "minutes": 25})
GREASED: Action = (UpkeepDone, {"task": "grease", "minutes": 600})
CHECKED: Action = (UpkeepDone, {"task": "look", "minutes": 0})
ASIDE: Action = (SetAside, {})
PUT_BACK: Action = (PutBack, {})
CARD: Action = (CardLoaded, {"card_set": "spring", "revision": 1})

#: Every way to leave a machine in a condition, and every way to find it in one.
LEAVING: dict[str, tuple[tuple[Action, ...], ...]] = {
    "printing": (*((start,) for start in STARTS), (PRINTING,), (STOPPED, SPOOL)),
    "done": ((DONE,),),
    "stopped": ((STOPPED,),),
    "empty": ((OFF,), (STOPPED_OFF,), (EMPTY,), (BACK,), (PUT_BACK,), (ON_THE_BENCH, CLEANED)),
    "down": ((BROKE,), (STILL_DOWN,)),
    "waiting": ((WAITS,),),
    "aside": ((ASIDE,),),
    "upkeep": ((ON_THE_BENCH,),),
}
FINDING: dict[str, tuple[Action, ...]] = {
    "printing": (PRINTING,),
    "done": (DONE, OFF),
    "stopped": (STOPPED, STOPPED_OFF),
    "empty": (EMPTY,),
    "down": (STILL_DOWN, BACK),
    "aside": (PUT_BACK,),
    "upkeep": (ON_THE_BENCH, CHECKED),
    "clear": STARTS,
    "any": (BROKE, WAITS, ASIDE, SPOOL),
}
#: Those whose story hangs on the time between come up four times as often.
PAIRS = (
    *product(LEAVING, FINDING),
    *product(("printing", "done", "empty") * 3, ("printing", "done", "clear", "empty", "any")),
)
ACTIONS = (
    *STARTS, OFF, STOPPED_OFF, *LOOKS, PRINTING, STOPPED, ON_THE_BENCH, BROKE, WAITS, BACK,
    SPOOL, SPOOL, CLEANED, GREASED, CHECKED, ASIDE, PUT_BACK, CARD,
)  # fmt: skip

#: Minutes that tell: at once, some minutes, an hour, then three quarters, the whole and five quarters of
#: prints of two, six and seven hours, a night, a day, two days and a weekend.
TELLING = (0, 1, 15, 30, 60, 90, 120, 150, 270, 360, 450, 315, 420, 525, 900, 1500, 3000, 4000)


def _gap(dice: Dice) -> timedelta:
    """The time to a machine's next entry: one that tells, or any up to 16 hours."""
    if dice.below(3):
        return timedelta(minutes=dice.pick(TELLING))
    return timedelta(microseconds=dice.below(2**16) * 878_907)


def _entries(machine: str, dice: Dice) -> list[AnyEntry]:
    """One machine's entries, in order of time; those of the same moment in any order of id."""
    at, salt, found = BEGINNING, dice.below(2**16), []
    for place, (gap, (kind, fields)) in enumerate(dice.pick((_visits, _pairs, _pairs))(dice)):
        at += gap
        id_ = uuid5(NAMESPACE_OID, f"{machine} {salt} {place}")
        found.append(kind(id=id_, at=at, noted_at=at, by="MK", machine=machine, **fields))  # type: ignore[arg-type]
    return found  # type: ignore[return-value]


def _deliveries(dice: Dice) -> list[AnyEntry]:
    """Belts that came, and now and then something that no machine waits for."""
    return [
        StockReceived(
            id=uuid5(NAMESPACE_OID, f"delivery {place} {at}"), at=at, noted_at=at, by="MK",
            item=dice.pick(("belt-220", "belt-220", "box-s")), quantity=1,
        )
        for place, at in enumerate(_moment(dice) for _ in range(dice.below(12)))
    ]  # fmt: skip


def _visits(dice: Dice) -> list[Step]:
    """Anything after anything."""
    count = dice.pick((1, 2, 3, 6, 10, 15))
    return [step for _ in range(count) for step in dice.pick((_visit, _visit, _removal_after_start))(dice)]


def _visit(dice: Dice) -> list[Step]:
    return [(_gap(dice), dice.pick(ACTIONS))]


def _removal_after_start(dice: Dice) -> list[Step]:
    """A visit noted the wrong way round: a start, and up to 40 minutes later the removal that came before it."""
    later = timedelta(minutes=dice.below(41))
    return [(_gap(dice), dice.pick(STARTS)), (later, dice.pick((OFF, STOPPED_OFF)))]


def _pairs(dice: Dice) -> list[Step]:
    """Pairs of entries, the first chosen for what it leaves and the second for what it finds."""
    return [step for _ in range(1 + dice.below(8)) for step in _pair(dice)]


def _pair(dice: Dice) -> list[Step]:
    leaves, finds = dice.pick(PAIRS)
    before = [(timedelta(minutes=dice.pick((20, 1, 200))), action) for action in dice.pick(LEAVING[leaves])]
    return [*before, (_gap_after(before[-1][1], dice), dice.pick(FINDING[finds]))]


def _gap_after(action: Action, dice: Dice) -> timedelta:
    """After every other start three quarters, the whole or five quarters of its print, to the microsecond."""
    kind, fields = action
    if kind is PrintStarted and dice.below(2):
        return timedelta(hours=HOURS[fields["file"], fields["revision"]] * dice.pick((3, 4, 5)) / 4)
    return _gap(dice)


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
#: A later row of the same file and revision is the one that counts.
HOURS: dict[tuple[object, object], float] = {(file.file, file.revision): file.hours for file in FILES}

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
    return [(micros(s.window.start), micros(s.window.end)) for s in staffed_spells(Setup([shop, *hours]), AROUND)]


def moments() -> st.SearchStrategy[datetime]:
    """A time in or near the days of a history, on the minute or not."""
    return st.binary(min_size=4, max_size=4).map(lambda rolled: _moment(Dice(rolled)))


def _moment(dice: Dice) -> datetime:
    if dice.below(2):
        return BEGINNING + timedelta(minutes=dice.below(10 * 24 * 60) - 24 * 60)
    return BEGINNING + timedelta(microseconds=dice.below(2**16) * 11_865_233)


def _rows_of(machine: str, dice: Dice) -> list[Machine]:
    """The rows of a machine: always there, or come, gone and perhaps back."""
    row = Machine(machine=machine, model="B220", rack="A", place=1)
    changes = [(_moment(dice), dice.pick((True, False))) for _ in range(dice.pick((0, 0, 0, 1, 2, 3)))]
    return [row.model_copy(update={"since": t, "in_service": in_}) for t, in_ in changes] or [row]


def _window(dice: Dice) -> Window:
    """A few hours to all of the days of a history, and more."""
    if dice.below(2):
        return Window(*sorted((_moment(dice), _moment(dice))))
    return Window(BEGINNING - timedelta(hours=5), BEGINNING + timedelta(days=9))


#: Long prints are begun before people leave; every hour differs a little from the next.
BY_HOURS_LEFT = tuple(8.2 - 0.37 * hours for hours in range(HOURS_LEFT))
PACES = (
    Learned(),
    Learned(wait=0.7, patience=6.5, usual=BY_HOURS_LEFT),
    Learned(best=1.07, low=0.98, high=1.2, wait=0.6, patience=3.0, usual=(4.5,) * HOURS_LEFT),
    Learned(best=0.83, low=0.8, high=0.9, wait=1.15, patience=0.9, usual=BY_HOURS_LEFT[::-1]),
)

#: Hours that word holds.
HOLDS = (0.5, 4.0, 10.0, 33.3)


def histories(machines: int = len(TALKED_OF)) -> st.SearchStrategy[History]:
    """Everything at once; only so many of the shop's machines have entries."""
    size = SHARE * (1 + machines)
    return st.binary(min_size=size, max_size=size).map(_history)


def _history(rolled: bytes) -> History:
    dice, *others = (Dice(rolled[start : start + SHARE]) for start in range(0, len(rolled), SHARE))
    hours, window, learned, holds = _shifts(dice.pick(PATTERNS)), _window(dice), dice.pick(PACES), dice.pick(HOLDS)
    shop = Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin", word_holds=holds)
    service = [row for machine in MACHINES for row in _rows_of(machine, dice)]
    told = [entry for machine, own in zip(TALKED_OF, others, strict=False) for entry in _entries(machine, own)]
    told += _deliveries(dice)
    return History(told, [shop, *FILES, *service, *hours], window, spans_of(hours), learned, holds)
