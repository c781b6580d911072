"""Whether people worked through a quiet stretch: machines found changed, or as they were left, tell."""

from datetime import time

import numpy as np
import polars as pl
import pytest

from core.epoch import micros
from core.habits.habits import OCCASIONS, Habits, PrintPools
from core.habits.quiet import WORKED, Quiet
from core.hours.attention import worked_through
from core.hours.law import Law
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.statistics.hazard import Hazard
from core.timeline.spans import DONE, PRINTING, Spans
from core.window import Window
from tests.core.larkfield import ROWS, when

SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS]
STAFFED = Staffed.of(Setup([*ROWS, *SHIFTS]), Window(when(0), when(7)))
LENGTHS = np.array([2.0, 3.5, 6.5, 13.5])
HABITS = Habits(
    inside=Hazard.steady(0.5), outside=Hazard.steady(0.8), idle=Hazard.steady(1.2),
    menu=PrintPools(np.tile(LENGTHS, OCCASIONS), np.arange(0, len(LENGTHS) * OCCASIONS + 1, len(LENGTHS))),
)  # fmt: skip
#: Nobody tapped anything from ten o'clock to the end of the shift, today and tomorrow.
EDGES = np.array([[micros(when(day, 10)), micros(when(day, 17))] for day in (0, 1)])
UNSEEN = 0.05


def law(worked: float) -> Law:
    """With people at work in both stretches, or nobody in."""
    hands = STAFFED.cut(EDGES, np.full(2, worked + (1 - worked) * UNSEEN))
    quiet = Quiet(EDGES[:, 0], EDGES[:, 1], np.full(2, worked))
    return Law(STAFFED, hands, HABITS, 0.01, quiet=quiet, unseen=UNSEEN)


def started(machines: int, hours: float, saw: int) -> Spans:
    """Prints begun at nine today, seen so at five in the afternoon, and taken off when people were back."""
    zeros, none = np.zeros(machines, dtype=np.int64), np.zeros(machines, dtype=bool)
    return Spans(
        machine=pl.Series(["A1"] * machines), model=zeros, loaded=zeros - 1, loads=zeros - 1,
        key=np.random.default_rng(3).integers(0, 2**60, machines).astype(np.uint64),
        start=zeros + micros(when(0, 9)), end=zeros + micros(when(1, 8.5)), left=zeros + PRINTING, found=zeros + DONE,
        removed=~none, hand=none, running=none, most=np.ones(machines), proving=none, hours=np.full(machines, hours),
        doubt=np.zeros(machines), blur=np.zeros(machines), kind=zeros - 1, first=np.arange(machines),
        last=np.arange(machines) + 1, look_at=zeros + micros(when(0, 17.1)), look_saw=zeros + saw,
    )  # fmt: skip


def worked(spans: Spans) -> list[float]:
    return worked_through(EDGES, spans, law(0.0), law(1.0))[0].worked.tolist()


def test_machines_that_print_long_after_their_print_ended_were_changed_in_the_quiet() -> None:
    today, tomorrow = worked(started(12, 2.0, saw=PRINTING))
    assert today > 0.95
    # Of tomorrow nothing is known but that people worked through half of what is quiet here.
    assert WORKED < tomorrow < 0.6


def test_machines_found_as_they_were_left_were_not() -> None:
    today, tomorrow = worked(started(12, 2.0, saw=DONE))
    assert today < 0.05
    assert tomorrow < WORKED


def test_one_machine_alone_decides_little() -> None:
    assert 0.3 < worked(started(1, 2.0, saw=PRINTING))[0] < 0.8


def test_a_print_that_outlasts_the_quiet_says_next_to_nothing() -> None:
    # It may have failed, and another one have taken its place.
    assert worked(started(12, 13.5, saw=PRINTING)) == pytest.approx([WORKED, WORKED], abs=0.05)
