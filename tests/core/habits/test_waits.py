"""The waits of finished prints: learned from removals, exactly told or only within bounds."""

from datetime import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.epoch import HOUR, micros
from core.habits.waits import HASTY, PossibleWaits, WaitLaws
from core.setup import WEEKDAYS, Setup, Shift
from core.staffed import Staffed
from core.statistics.hazard import Hazard
from core.window import Window
from tests.core.larkfield import ROWS, when

SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS[:5]]
STAFFED = Staffed.of(Setup([*(row for row in ROWS if not isinstance(row, Shift)), *SHIFTS]), Window(when(0), when(60)))
LAWS = WaitLaws(Hazard.steady(0.5), Hazard.steady(2.0), hidden=0.0)
BEGUN = WaitLaws(Hazard.steady(0.5), Hazard.steady(2.0))


def waits(began: list[float], waited: list[float], off_by: float = 0.0) -> PossibleWaits:
    """Prints that ended at these hours of a Monday, each taken off so many hours later."""
    ends, hours = (np.array([micros(when(0, hour)) for hour in begun]) for begun in (began, np.add(began, waited)))
    count = len(began)
    return PossibleWaits(ends, hours, np.full(count, True), np.full(count, int(off_by * HOUR)), STAFFED)


def learned(seen: PossibleWaits, laws: WaitLaws = BEGUN) -> WaitLaws:
    """What is learned where every print ended as told."""
    for _ in range(30):
        laws = seen.laws(laws, np.ones(len(seen.waited)), seen.chances(laws))
    return laws


@given(st.floats(0.05, 3.0), st.floats(0.1, 2.0))
def test_a_removal_told_from_memory_is_as_likely_as_one_told_exactly_is_on_average(waited: float, mean: float) -> None:
    laws = WaitLaws(Hazard.steady(mean), Hazard.steady(1.0), hidden=0.0)
    off_by, steps = 0.5, 4000
    each = np.maximum(waited + off_by * (2 * (np.arange(steps) + 0.5) / steps - 1), -1.0)
    exact = np.where(each > 0, np.exp(-each / mean) / mean, 0.0)
    assert waits([9.0], [waited], off_by).chances(laws)[0] == pytest.approx(exact.mean(), rel=1e-2)


def test_a_removal_sooner_than_parts_come_off_is_possible_and_rare() -> None:
    sooner, at_once = waits([9.0, 9.0], [-0.02, 1e-6]).chances(LAWS)
    assert sooner == pytest.approx(HASTY * at_once, rel=1e-3)


def test_prints_that_end_while_nobody_is_in_wait_by_a_law_of_their_own_from_opening_on() -> None:
    day, night = waits([9.0, 20.0], [1.0, 13.0]).chances(LAWS)
    assert day == pytest.approx(np.exp(-1 / 0.5) / 0.5)
    assert night == pytest.approx(np.exp(-1 / 2.0) / 2.0)


@pytest.mark.parametrize("mean", [0.1, 0.5])
@pytest.mark.parametrize("off_by", [0.0, 0.5])
def test_waits_told_within_bounds_teach_the_usual_wait_as_exact_ones_do(mean: float, off_by: float) -> None:
    chance = np.random.default_rng(4)
    waited = chance.exponential(mean, 3000)
    told = waited + chance.uniform(-off_by, off_by, 3000)
    usual = learned(waits([9.0] * 3000, told.tolist(), off_by)).usual
    assert usual == pytest.approx(np.median(waited), rel=0.05)
