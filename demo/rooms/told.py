"""What a family of rooms tells its judge: the set-up, what people tapped, and what truly happened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from core.entries import AnyEntry
from core.setup import Row

#: The true states of a machine; those of a machine that is out of service, and of one that prints for stock or orders.
STATES = ("printing", "proving", "done", "empty", "stopped", "upkeep", "down", "waiting", "aside")
OUT_OF_SERVICE = ("upkeep", "down", "waiting")


@dataclass(frozen=True, slots=True)
class Run:
    """One true print, from its start to its removal.

    `hours` is how long it printed, pauses not counted; `ended` when it stopped printing for good, `off` when its
    parts were taken off (None: not within the span). `starved` is when its spool ran out in the middle, if it did.
    `by_itself` says that it ran to its end. `whole` is the hours that this file took on this machine's model at that
    time, on average.
    """

    machine: str
    file: str
    revision: int
    started: datetime
    ended: datetime
    off: datetime | None
    hours: float
    whole: float
    by_itself: bool
    parts: int
    scrap: int
    starved: datetime | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """A machine that truly failed: when, when it was back (None: not within the span), and whether a print died."""

    machine: str
    failed: datetime
    back: datetime | None
    in_print: bool


@dataclass(frozen=True)
class Told:
    """One room of a family.

    `entries` stand in the order in which they reached the log: those missing are not among them. `turns` are the true
    steps of every machine, (from when, state), from `start` to `end` without a gap. `pattern` names the shifts ("one
    shift", "two shifts", ...). `bad` is the one machine that fails several times as often as its like, if there is one.
    """

    family: str
    seed: int
    pattern: str
    start: datetime
    end: datetime
    rows: Sequence[Row]
    entries: Sequence[AnyEntry]
    turns: Mapping[str, Sequence[tuple[datetime, str]]]
    runs: Sequence[Run]
    faults: Sequence[Fault]
    bad: str | None = None
