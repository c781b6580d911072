"""Staffed time: when people are in the shop, and how many.

Only hands change what a machine does besides the end of a print, so a change nobody noted is put
in the middle of the staffed time in which it can have happened, and word fades in staffed hours.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Self
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers
from core.epoch import FAR, HOUR, micros
from core.setup import WEEKDAYS, Setup, Shift, SpecialDay
from core.window import Window

#: The last moment a calendar is asked about, in the year 9998.
LAST = 253_370_000_000_000_000


@dataclass(frozen=True, slots=True)
class Spell:
    """One shift's staffed time, the hands at work in it, and its number (1 on a special day)."""

    window: Window
    hands: int
    shift: int


def staffed_spells(setup: Setup, window: Window) -> list[Spell]:
    """The staffed spells that touch `window`, in order, cut to it; shop time, clock changes included."""
    found = [Spell(Window(opens, closes), hands, shift) for opens, closes, hands, shift in _openings(setup, window)]
    return sorted(found, key=lambda spell: spell.window.start)


def _openings(setup: Setup, window: Window) -> Iterator[tuple[datetime, datetime, int, int]]:
    """When each staffed spell opens and closes, its hands and its shift, day by day."""
    zone = setup.zone
    first = window.start.astimezone(zone).date() - timedelta(days=1)
    days = (window.end.astimezone(zone).date() - first).days + 1
    turns = sorted(row.since for row in setup.history(Shift))
    week = cache(lambda turn: setup.all(Shift, turns[turn - 1]) if turn else [])
    specials = {row.day for row in setup.history(SpecialDay)}
    for day in (first + timedelta(days=n) for n in range(days)):
        noon = datetime.combine(day, time(12), zone)
        special = setup.get(SpecialDay, day, at=noon) if day in specials else None
        hours = _special_hours(special) if special else _usual_hours(week(bisect_right(turns, noon)), day)
        for shift, start, end, hands in hours:
            opens = datetime.combine(day, start, zone).astimezone(UTC)
            closes = datetime.combine(day + timedelta(days=int(end <= start)), end, zone).astimezone(UTC)
            opens, closes = max(opens, window.start), min(closes, window.end)
            if opens < closes:
                yield opens, closes, hands, shift


def _special_hours(day: SpecialDay) -> list[tuple[int, time, time, int]]:
    return [(1, day.start, day.end, day.hands)] if day.start and day.end and day.hands else []


def _usual_hours(shifts: Sequence[Shift], day: date) -> list[tuple[int, time, time, int]]:
    weekday = WEEKDAYS[day.weekday()]
    return [(s.shift, s.start, s.end, s.hands) for s in shifts if s.weekday == weekday and s.hands]


class Staffed:
    """Staffed time as one clock that runs only while somebody is in. Times are epoch microseconds."""

    def __init__(self, spans: Sequence[tuple[int, int]], speeds: Numbers | None = None) -> None:
        self._spans = _merge(spans) if speeds is None else spans
        self._starts: Micros = np.array([a for a, _ in self._spans] or [FAR], dtype=np.int64)
        self._lengths: Micros = np.array([b - a for a, b in self._spans] or [0], dtype=np.int64)
        self._speeds = np.ones(len(self._starts)) if speeds is None else speeds
        self._counted: Micros = (self._lengths * self._speeds).astype(np.int64)
        self._before: Micros = np.concatenate([[0], np.cumsum(self._counted)[:-1]]).astype(np.int64)

    def at_speeds(self, speeds: Numbers) -> Staffed:
        """The same clock running faster or slower in each of its spells, in their order."""
        return Staffed(self._spans, self._speeds * speeds)

    def cut(self, spells: Micros, speeds: Numbers) -> Staffed:
        """The same clock with these pieces of its spells (from, to; rows in order) each running at its own speed."""
        edges = np.unique(np.concatenate([self._starts, self._starts + self._lengths, spells.ravel()]))
        index = np.searchsorted(self._starts, edges[:-1], side="right") - 1
        inside = (index >= 0) & (edges[:-1] < (self._starts + self._lengths)[index])
        starts, ends = edges[:-1][inside], edges[1:][inside]
        speed = self._speeds[index[inside]].copy()
        piece = np.clip(np.searchsorted(spells[:, 0], starts, side="right") - 1, 0, len(spells) - 1)
        mine = (spells[piece, 0] <= starts) & (ends <= spells[piece, 1])
        speed[mine] *= speeds[piece[mine]]
        return Staffed(list(zip(starts.tolist(), ends.tolist(), strict=True)), speed)

    @property
    def edges(self) -> Micros:
        """The moments at which its unbroken spells begin and end, in order."""
        return np.sort(np.concatenate([self._starts, self._starts + self._lengths]))

    def spell_ends(self, spells: Micros) -> tuple[Micros, Micros]:
        """When each of these spells begins and ends."""
        return self._starts[spells], self._starts[spells] + self._lengths[spells]

    def weekdays(self, zone: ZoneInfo) -> Micros:
        """The weekday (0 Monday to 6 Sunday) on which each of its unbroken spells begins."""
        begins = pl.Series(np.minimum(self._starts, LAST)).cast(pl.Datetime("us", "UTC"))
        return (begins.dt.convert_time_zone(str(zone)).dt.weekday().cast(pl.Int64) - 1).to_numpy()

    def spell_of(self, moments: Micros) -> Micros:
        """Which spell each moment lies in, or else the next one (the last beyond all)."""
        index = np.searchsorted(self._starts + self._lengths, moments, side="right")
        return np.minimum(index, len(self._starts) - 1)

    @classmethod
    def of(cls, setup: Setup, window: Window) -> Self:
        """The shop's staffed clock over `window` and two months on each side of it."""
        wide = timedelta(days=60)
        around = _openings(setup, Window(window.start - wide, window.end + wide))
        return cls([(micros(opens), micros(closes)) for opens, closes, *_ in around])

    def worked(self, moments: Micros) -> Micros:
        """How much staffed time lies before each moment, in microseconds."""
        index = np.searchsorted(self._starts, moments, side="right") - 1
        into = np.clip(moments - self._starts[index], 0, self._lengths[index])
        return np.where(index < 0, 0, self._before[index] + (into * self._speeds[index]).astype(np.int64))

    def hours(self, starts: Micros, ends: Micros) -> Numbers:
        """Staffed hours between each start and end."""
        return (self.worked(ends) - self.worked(starts)) / HOUR

    def spell_at(self, moments: Micros) -> tuple[Micros, Micros]:
        """Start and end of the staffed spell each moment lies in; both the moment itself outside staffed time."""
        index = np.maximum(np.searchsorted(self._starts, moments, side="right") - 1, 0)
        starts, ends = self._starts[index], self._starts[index] + self._lengths[index]
        inside = (starts <= moments) & (moments <= ends)
        return np.where(inside, starts, moments), np.where(inside, ends, moments)

    def next_staffed(self, moments: Micros) -> Micros:
        """Each moment itself in staffed time, or else the next opening."""
        return np.maximum(moments, self._starts[self.spell_of(moments)])

    def hours_left(self, moments: Micros) -> Micros:
        """Whole hours until the staffed spell that holds each moment ends; 0 outside staffed time."""
        _, ends = self.spell_at(moments)
        return (ends - moments) // HOUR

    def after(self, moments: Micros, hours: float) -> Micros:
        """The moment by which so many staffed hours have passed since each moment (FAR where never)."""
        return self.reaching(self.worked(moments) + int(hours * HOUR))

    def middle(self, starts: Micros, ends: Micros) -> Micros:
        """The middle of the staffed time between start and end; where there is none, of the time itself."""
        gone = self.worked(starts)
        staffed = self.worked(ends) - gone
        by_hand = np.maximum(self.reaching(gone + staffed // 2), starts)
        return np.where(staffed > 0, by_hand, starts + (ends - starts) // 2)

    def reaching(self, worked: Micros) -> Micros:
        """The earliest moment at which so much staffed time has passed (FAR where never)."""
        index = np.searchsorted(self._before + self._counted, worked, side="left")
        inside = np.minimum(index, len(self._starts) - 1)
        into = ((worked - self._before[inside]) / self._speeds[inside]).astype(np.int64)
        return np.where(index < len(self._starts), self._starts[inside] + into, FAR)


def _merge(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged
