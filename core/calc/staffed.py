"""Staffed time: when people are in the shop, and how many.

Only hands change what a machine does besides the end of a print, so a change nobody noted is put
in the middle of the staffed time in which it can have happened, and word fades in staffed hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Self

import numpy as np
import numpy.typing as npt

from core.setup import WEEKDAYS, Setup, Shift, SpecialDay
from core.window import Window

Micros = npt.NDArray[np.int64]

#: Later than any time in a log, in microseconds; far from the limit of the type.
FAR = 2**62


@dataclass(frozen=True, slots=True)
class Spell:
    """One unbroken staffed time and the hands at work in it."""

    window: Window
    hands: int


def staffed_spells(setup: Setup, window: Window) -> list[Spell]:
    """The staffed spells that touch `window`, in order, cut to it; shop time, clock changes included."""
    zone = setup.zone
    first = window.start.astimezone(zone).date() - timedelta(days=1)
    days = (window.end.astimezone(zone).date() - first).days + 1
    found = []
    for day in (first + timedelta(days=n) for n in range(days)):
        for start, end, hands in _hours_of(setup, datetime.combine(day, time(12), zone)):
            opens = datetime.combine(day, start, zone).astimezone(UTC)
            closes = datetime.combine(day + timedelta(days=int(end <= start)), end, zone).astimezone(UTC)
            opens, closes = max(opens, window.start), min(closes, window.end)
            if opens < closes:
                found.append(Spell(Window(opens, closes), hands))
    return sorted(found, key=lambda spell: spell.window.start)


def _hours_of(setup: Setup, noon: datetime) -> list[tuple[time, time, int]]:
    special = setup.get(SpecialDay, noon.date(), at=noon)
    if special is not None:
        return [(special.start, special.end, special.hands)] if special.start and special.end and special.hands else []
    weekday = WEEKDAYS[noon.weekday()]
    shifts = (s for s in setup.all(Shift, noon) if s.weekday == weekday and s.hands)
    return [(s.start, s.end, s.hands) for s in shifts]


class Staffed:
    """Staffed time as one clock that runs only while somebody is in. Times are epoch microseconds."""

    def __init__(self, spans: Sequence[tuple[int, int]]) -> None:
        merged = _merge(spans)
        self._starts: Micros = np.array([a for a, _ in merged] or [FAR], dtype=np.int64)
        self._lengths: Micros = np.array([b - a for a, b in merged] or [0], dtype=np.int64)
        self._before: Micros = np.concatenate([[0], np.cumsum(self._lengths)[:-1]]).astype(np.int64)

    @classmethod
    def of(cls, setup: Setup, window: Window) -> Self:
        """The shop's staffed clock over `window` and two months on each side of it."""
        wide = timedelta(days=60)
        around = staffed_spells(setup, Window(window.start - wide, window.end + wide))
        return cls([(micros(s.window.start), micros(s.window.end)) for s in around])

    def worked(self, moments: Micros) -> Micros:
        """How much staffed time lies before each moment, in microseconds."""
        index = np.searchsorted(self._starts, moments, side="right") - 1
        into = np.clip(moments - self._starts[index], 0, self._lengths[index])
        return np.where(index < 0, 0, self._before[index] + into)

    def hours(self, starts: Micros, ends: Micros) -> npt.NDArray[np.float64]:
        """Staffed hours between each start and end."""
        return (self.worked(ends) - self.worked(starts)) / 3.6e9

    def spell_at(self, moments: Micros) -> tuple[Micros, Micros]:
        """Start and end of the staffed spell each moment lies in; both the moment itself outside staffed time."""
        index = np.maximum(np.searchsorted(self._starts, moments, side="right") - 1, 0)
        starts, ends = self._starts[index], self._starts[index] + self._lengths[index]
        inside = (starts <= moments) & (moments <= ends)
        return np.where(inside, starts, moments), np.where(inside, ends, moments)

    def hours_left(self, moments: Micros) -> Micros:
        """Whole hours until the staffed spell that holds each moment ends; 0 outside staffed time."""
        _, ends = self.spell_at(moments)
        return (ends - moments) // 3_600_000_000

    def after(self, moments: Micros, hours: float) -> Micros:
        """The moment by which so many staffed hours have passed since each moment (FAR where never)."""
        return self._reaching(self.worked(moments) + int(hours * 3_600_000_000))

    def middle(self, starts: Micros, ends: Micros) -> Micros:
        """The middle of the staffed time between start and end; where there is none, of the time itself."""
        gone = self.worked(starts)
        staffed = self.worked(ends) - gone
        by_hand = np.maximum(self._reaching(gone + staffed // 2), starts)
        return np.where(staffed > 0, by_hand, starts + (ends - starts) // 2)

    def _reaching(self, worked: Micros) -> Micros:
        """The earliest moment at which so much staffed time has passed."""
        index = np.searchsorted(self._before + self._lengths, worked, side="left")
        inside = np.minimum(index, len(self._starts) - 1)
        moment = self._starts[inside] + worked - self._before[inside]
        return np.where(index < len(self._starts), moment, FAR)


def micros(moment: datetime) -> int:
    """An aware time as whole microseconds since 1970, exactly."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _merge(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged
