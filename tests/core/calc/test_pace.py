"""How long prints really take, learned from removals alone."""

import math
from collections.abc import Sequence
from datetime import time, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import stats

from core.calc.facts import facts
from core.calc.pace import (
    ENOUGH,
    HOURS_LEFT,
    NEVER,
    NEWEST,
    SLIPS,
    SLIPS_REACH,
    Pace,
    _log_likelihood,
    learn,
    telling_removals,
    usual_by_hours_left,
    with_patience,
)
from core.calc.staffed import Staffed
from core.entries import AnyEntry
from core.log.store import entry_frame
from core.setup import WEEKDAYS, Setup, Shift
from core.window import Window
from tests.core.larkfield import EXACT, a1_alone, at_a1, look, reckoned, start, when

USUAL = Pace().usual
SPREAD, WAIT = 0.04, 0.8


def removals(ratio: float, prints: int, seed: int, slips: float = 0.0) -> pl.DataFrame:
    """Simulated removals: print times scatter about a multiple of the stated time, then hands come."""
    chance = np.random.default_rng(seed)
    stated = chance.choice([1.5, 2.0, 3.0, 4.5, 6.0], prints)
    took = stated * chance.normal(ratio, SPREAD, prints) + chance.exponential(WAIT, prints)
    wrong = chance.random(prints) < slips
    return pl.DataFrame({"stated": stated, "took": np.where(wrong, chance.uniform(0, 3, prints) * stated, took)})


@pytest.mark.parametrize("ratio", [0.85, 1.0, 1.12, 1.3])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_true_ratio_is_found_to_two_in_a_hundred(ratio: float, seed: int) -> None:
    pace = learn(removals(ratio, 600, seed), USUAL)
    assert pace.best == pytest.approx(ratio, rel=0.02)
    assert pace.seen == 600


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_slips_do_not_move_the_ratio(seed: int) -> None:
    pace = learn(removals(1.12, 600, seed, slips=0.03), USUAL)
    assert pace.best == pytest.approx(1.12, rel=0.02)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nine_prints_in_ten_take_between_low_and_high(seed: int) -> None:
    pace = learn(removals(1.12, 1500, seed), USUAL)
    share = np.diff(stats.norm.cdf([pace.low, pace.high], loc=1.12, scale=SPREAD))[0]
    assert share == pytest.approx(0.90, abs=0.05)


def test_with_few_removals_the_files_are_believed() -> None:
    few = learn(removals(1.3, ENOUGH - 1, 1), USUAL)
    assert (few.best, few.low, few.high, few.seen) == (1.0, 0.9, 1.1, ENOUGH - 1)
    assert learn(removals(1.3, ENOUGH, 1), USUAL).best > 1.15


def test_the_newest_removals_count() -> None:
    both = pl.concat([removals(0.8, 3000, 1), removals(1.2, NEWEST, 2)])
    pace = learn(both, USUAL)
    assert (pace.best, pace.seen) == (pytest.approx(1.2, rel=0.02), NEWEST)


@pytest.mark.parametrize(("best", "spread", "wait"), [(1.0, 0.04, 0.7), (1.2, 0.1, 3.0), (0.9, 0.02, 0.1)])
def test_the_density_is_the_exponentially_modified_gaussian_with_a_share_of_slips(
    best: float, spread: float, wait: float
) -> None:
    # scipy.stats.exponnorm is the independent reference; its K is the mean wait over the scatter.
    stated, took = (row.to_numpy() for row in removals(1.05, 200, 5))
    law = stats.exponnorm.pdf(took, wait / (stated * spread), loc=stated * best, scale=stated * spread)
    slips = stats.uniform.pdf(took, scale=SLIPS_REACH * stated)
    assert (slips == 0).any(), "some removals lie beyond the reach of a slip"
    expected = np.log((1 - SLIPS) * law + SLIPS * slips).sum()
    assert _log_likelihood(stated, took, best, spread, wait) == pytest.approx(expected, rel=1e-9)


# Which removals tell anything

DAY_SHIFT = [
    *a1_alone(),
    *(Shift(weekday=day, start=time(8), end=time(18), hands=1) for day in ("mon", "tue", "wed", "thu", "fri")),
]


def telling(*entries: AnyEntry) -> Sequence[tuple[float, float]]:
    window = Window(when(0), when(7))
    gaps = reckoned(entries, window, DAY_SHIFT).gaps
    return telling_removals(gaps, Staffed.of(Setup(DAY_SHIFT), window)).rows()


def test_a_print_that_ended_while_people_were_in_tells_how_long_it_took() -> None:
    assert telling(start(when(0, 9), file="clip"), at_a1("PartsOff", when(0, 11.5))) == [(2.0, 2.5)]


def test_the_first_that_is_seen_of_its_end_counts() -> None:
    story = [start(when(0, 9), file="clip"), look(when(0, 11.25), "done"), at_a1("PartsOff", when(0, 14))]
    assert telling(*story) == [(2.0, 2.25)]


SILENT = {
    "ended at night": [start(when(0, 17.5), file="clip"), at_a1("PartsOff", when(1, 8.5))],
    "due as people came": [start(when(1, 6), file="clip"), at_a1("PartsOff", when(1, 9))],
    "was stopped": [start(when(0, 9), file="clip"), at_a1("PartsOff", when(0, 10), ended="stopped")],
    "was never announced": [look(when(0, 9), "printing"), at_a1("PartsOff", when(0, 11))],
    "went on with a new spool": [start(when(0, 9), file="clip"), look(when(0, 10), "stopped"),
                                 at_a1("SpoolFitted", when(0, 10.5), material="petg-black", grams=1000),
                                 at_a1("PartsOff", when(0, 12))],
}  # fmt: skip


@pytest.mark.parametrize("story", SILENT.values(), ids=SILENT.keys())
def test_a_print_that_tells_nothing_of_its_length_is_left_out(story: list[AnyEntry]) -> None:
    assert telling(*story) == []


# What is usual


def usual(*entries: AnyEntry) -> tuple[float, ...]:
    """Learned in a shop in which people are in from 8 to 18, Monday to Friday."""
    setup = Setup(DAY_SHIFT)
    told = facts(entry_frame(entries), setup, Pace())
    return usual_by_hours_left(told, Staffed.of(setup, Window(when(0), when(300))))


def daily(hour: float, file: str, days: range) -> list[AnyEntry]:
    """A print begun every working day at that hour and off the next morning."""
    return [
        entry
        for day in days
        if day % 7 < 4
        for entry in (start(when(day, hour), file=file), at_a1("PartsOff", when(day + 1, 8)))
    ]


def test_without_any_start_the_usual_print_stays_as_it_was() -> None:
    assert usual() == Pace().usual
    assert usual(look(when(0, 9), "printing")) == Pace().usual


def test_long_prints_are_loaded_before_people_leave() -> None:
    took = usual(*daily(9.5, "clip", range(70)), *daily(17.5, "grille", range(70, 140)))
    assert len(took) == HOURS_LEFT
    assert (took[8], took[0]) == (2.0, 24.0)


def test_a_print_that_another_one_followed_in_its_shift_says_nothing_of_the_last_one() -> None:
    day = [start(when(0, 9), file="clip"), at_a1("PartsOff", when(0, 12)), start(when(0, 12), file="grille")]
    assert set(usual(*day)) == {24.0}


def test_hours_with_few_starts_take_in_their_neighbours() -> None:
    assert usual(*daily(9.5, "clip", range(28)), *daily(12.5, "grille", range(28, 56)))[8] == 13.0


ROUND_THE_CLOCK = [*a1_alone(), *(Shift(weekday=day, start=time(), end=time(), hands=1) for day in WEEKDAYS)]


def clips(prints: int, wait: float, forgotten: Sequence[int] = (), unannounced: Sequence[int] = ()) -> list[AnyEntry]:
    """Clips one after the other, two hours each and so long until the parts came off."""
    told = []
    for number in range(prints):
        began = when(hours=number * (2 + wait))
        told += [] if number in unannounced else [start(began, file="clip")]
        told += [] if number in forgotten else [at_a1("PartsOff", began + timedelta(hours=2 + wait))]
    return told


def patience(entries: Sequence[AnyEntry]) -> Pace:
    window = Window(when(0), when(30))
    gaps = reckoned(entries, window, ROUND_THE_CLOCK).gaps
    return with_patience(EXACT, gaps, Staffed.of(Setup(ROUND_THE_CLOCK), window))


def test_the_mean_wait_comes_from_the_median() -> None:
    # Half of all waits of an exponential law are shorter than its mean times ln 2.
    pace = patience(clips(40, wait=1.0))
    assert pace.wait == pytest.approx(1 / math.log(2))
    assert pace.patience == NEVER


def test_patience_ends_where_two_forgotten_taps_are_likelier_than_the_wait() -> None:
    # Two removals of forty and two starts of forty were forgotten.
    pace = patience(clips(40, wait=1.0, forgotten=(10, 20), unannounced=(15, 30)))
    assert math.exp(-pace.patience / pace.wait) == pytest.approx(2 / 38 * 2 / 40)


def test_a_few_waits_teach_no_patience() -> None:
    assert patience(clips(ENOUGH - 1, wait=1.0)) == EXACT
