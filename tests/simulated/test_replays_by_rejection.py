"""Replays against a slow plain oracle: live on by the same law, note as often as people note, keep what fits.

Rejection sampling needs no weights, so it cannot share a fault with importance sampling.
"""

from datetime import UTC, datetime, time

import numpy as np
import polars as pl
import pytest

from core.arrays import Micros
from core.epoch import HOUR, micros
from core.habits.habits import OCCASIONS, Habits, PrintPools, in_rush
from core.hours.law import Law
from core.hours.replays import replay
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.statistics.hazard import Hazard
from core.timeline.spans import CLEAR, DONE, EMPTY, PRINTING, Spans
from core.window import Window
from tests.core.larkfield import ROWS

BEGAN = datetime(2026, 3, 3, 8, 30, tzinfo=UTC)
SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS]
STAFFED = Staffed.of(
    Setup([*ROWS, *SHIFTS]), Window(datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 3, 9, tzinfo=UTC))
)
LENGTHS = np.array([1.5, 2.0, 3.5, 3.6, 6.5, 6.8, 13.5, 14.0])
HABITS = Habits(
    inside=Hazard.steady(0.35), outside=Hazard.steady(0.8), idle=Hazard.steady(1.2), at_once=0.8,
    forgets_start=0.4, forgets_off=0.4, stops=0.005,
    menu=PrintPools(np.tile(LENGTHS, OCCASIONS), np.arange(0, len(LENGTHS) * OCCASIONS + 1, len(LENGTHS))),
)  # fmt: skip
LAW = Law(STAFFED, STAFFED, HABITS, 0.01)
#: A tap counts as the one looked for if it comes so near to it (hours).
NEAR = 0.1


def lived(size: int, rng: np.random.Generator, until: int) -> tuple[np.ndarray, Micros, np.ndarray]:
    """Lives of a machine cleared at `BEGAN` up to the first tap: what it is, when, and the hours printed."""
    now = np.full(size, micros(BEGAN))
    what, at, printed = np.full(size, "", dtype="U7"), np.zeros(size, dtype=np.int64), np.zeros(size)
    going = np.arange(size)
    while len(going):
        wait = np.where(rng.random(len(going)) < HABITS.at_once, 0.0, HABITS.idle.age(rng.exponential(size=len(going))))
        begins = after(now[going], wait)
        noted = rng.random(len(going)) >= HABITS.forgets_start
        what[going[noted]], at[going[noted]] = "start", begins[noted]
        going, begins = going[~noted], begins[~noted]
        took = rng.choice(LENGTHS, len(going)) * (1 + LAW.spread * rng.standard_normal(len(going)))
        stops = rng.random(len(going)) < -np.expm1(-HABITS.stops * took)
        took = np.where(stops, rng.random(len(going)), 1.0) * took
        printed[going] += took
        ends = begins + (took * HOUR).astype(np.int64)
        gathered = rng.exponential(size=len(going))
        wait = np.where(in_rush(ends, STAFFED), HABITS.outside.age(gathered), HABITS.inside.age(gathered))
        now[going] = after(ends, wait)
        noted = rng.random(len(going)) >= HABITS.forgets_off
        what[going[noted]], at[going[noted]] = np.where(stops[noted], "stopped", "done"), now[going[noted]]
        going = going[~noted]
        going = going[now[going] < until + HOUR]
    return what, at, printed


def after(moments: Micros, hours: np.ndarray) -> Micros:
    """The moments by which so many staffed hours have passed."""
    return np.where(hours > 0, STAFFED.reaching(STAFFED.worked(moments) + (hours * HOUR).astype(np.int64)), moments)


def one_kind(found: int, ends: Micros, rng: np.random.Generator) -> Spans:
    """Spans of a machine cleared at `BEGAN` that end so."""
    size = len(ends)
    none, zeros = np.zeros(size, dtype=bool), np.zeros(size, dtype=np.int64)
    return Spans(
        machine=pl.Series(["A1"] * size), model=zeros, loaded=zeros - 1, loads=zeros - 1,
        key=rng.integers(0, 2**60, size).astype(np.uint64), start=np.full(size, micros(BEGAN)), end=ends,
        left=zeros + EMPTY, found=zeros + found, removed=np.full(size, found == DONE), hand=~none, running=none,
        most=np.ones(size), proving=none, hours=np.full(size, 6.0), doubt=np.zeros(size), blur=np.zeros(size),
        kind=zeros - 1, first=zeros, last=zeros, look_at=np.zeros(0, dtype=np.int64),
        look_saw=np.zeros(0, dtype=np.int64),
    )  # fmt: skip


@pytest.mark.parametrize("hours", [4.6, 24.5])
@pytest.mark.parametrize(("what", "found"), [("start", CLEAR), ("done", DONE)])
def test_replays_come_to_the_hours_that_lives_with_the_same_taps_printed(hours: float, what: str, found: int) -> None:
    rng = np.random.default_rng(7)
    middle = micros(BEGAN) + int(hours * HOUR)
    taps, at, printed = lived(1_500_000, rng, middle)
    kept = printed[(taps == what) & (np.abs(at - middle) < NEAR * HOUR)]
    assert len(kept) > 2000

    told = one_kind(found, middle + rng.integers(int(-NEAR * HOUR), int(NEAR * HOUR), 400), rng)
    replays = replay(told, LAW, 400)
    hours_of = np.zeros(len(told) * replays.count)
    for turn in replays.turns:
        mine = turn.state == PRINTING
        np.add.at(hours_of, turn.rows[mine], (turn.end[mine] - turn.start[mine]) / HOUR)
    means = (replays.weights * hours_of.reshape(replays.weights.shape)).sum(axis=1)
    error = np.hypot(kept.std() / np.sqrt(len(kept)), means.std() / np.sqrt(len(means)))
    assert means.mean() == pytest.approx(kept.mean(), abs=4 * error)
