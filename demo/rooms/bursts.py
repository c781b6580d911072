"""Rooms of the family of queues whose people tell all or nothing: whole half days are missing, at every machine.

The phone lay elsewhere, or the one who taps was away and the others went on: such a half day leaves not a single entry,
and nothing else goes missing. What was told from memory later counts to the half day in which it was tapped.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from core.setup import Shop
from demo.rooms.queues import room as told_whole
from demo.rooms.told import Told

#: Half a day ends, and the other begins, at this hour of the shop's day.
MIDDAY = 13


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One invented room; the same seed lives the same life whatever share of half days is missing."""
    told = told_whole(seed, 0.0, weeks)
    zone = next(ZoneInfo(row.zone) for row in told.rows if isinstance(row, Shop))
    halves = sorted({_half(entry.noted_at, zone) for entry in told.entries})
    silent = np.random.default_rng([seed, 7]).random(len(halves)) < missing
    gone = {half for half, is_silent in zip(halves, silent, strict=True) if is_silent}
    kept = tuple(entry for entry in told.entries if _half(entry.noted_at, zone) not in gone)
    return replace(told, family="bursts", entries=kept)


def _half(moment: datetime, zone: ZoneInfo) -> tuple[date, bool]:
    """The half day of a moment."""
    clock = moment.astimezone(zone)
    return clock.date(), clock.hour >= MIDDAY
