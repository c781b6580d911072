"""Rooms that tell all or nothing: whole half days are missing, and nothing else."""

from zoneinfo import ZoneInfo

import pytest

from core.setup import Shop
from demo.rooms import queues
from demo.rooms.bursts import MIDDAY, room
from demo.rooms.told import Told

SEED, WEEKS, MISSING = 3, 4, 0.3


@pytest.fixture(scope="module")
def whole() -> Told:
    return queues.room(SEED, 0.0, WEEKS)


def test_with_nothing_missing_every_entry_is_told(whole: Told) -> None:
    assert room(SEED, 0.0, WEEKS).entries == tuple(whole.entries)


def test_half_days_are_told_whole_or_not_at_all(whole: Told) -> None:
    told = room(SEED, MISSING, WEEKS)
    zone = next(ZoneInfo(row.zone) for row in told.rows if isinstance(row, Shop))
    halves = [
        {(clock.date(), clock.hour >= MIDDAY) for clock in (entry.noted_at.astimezone(zone) for entry in entries)}
        for entries in (told.entries, set(whole.entries) - set(told.entries))
    ]
    assert all(halves)
    assert not halves[0] & halves[1]


def test_the_life_is_the_same_whatever_is_missing(whole: Told) -> None:
    told = room(SEED, MISSING, WEEKS)
    assert (told.turns, told.runs, told.faults, told.rows) == (whole.turns, whole.runs, whole.faults, whole.rows)
    assert 0.5 * MISSING < 1 - len(told.entries) / len(whole.entries) < 1.7 * MISSING
