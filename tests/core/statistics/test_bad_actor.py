"""Which machine stands out: by enumeration, by hand, and by the laws of who looks again and again."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, multinomial

from core.statistics.bad_actor import (
    SOON,
    SPENT_LATELY,
    WORSE,
    YEAR,
    Standing,
    _lately,
    _weighed,
    spending,
    spending_lately,
    stands_out,
)


def week(*failures: int, hours: float = 85.0, weeks: int = 1) -> list[Standing]:
    """The same failures every week, the machines printing alike."""
    counts = np.tile(failures, (weeks, 1))
    return stands_out(counts, np.full(counts.shape, hours))


def rooms(machines: int = 6, weeks: int = 8) -> st.SearchStrategy[np.ndarray]:
    row = st.lists(st.integers(0, 6), min_size=machines, max_size=machines)
    return st.lists(row, min_size=1, max_size=weeks).map(np.array)


def at(standings: list[Standing]) -> list[int | None]:
    return [one.named_at for one in standings]


# Who is named


def test_alike_machines_are_not_named() -> None:
    assert at(week(1, 1, 1, 1, weeks=52)) == [None] * 4


def test_the_one_that_keeps_failing_is_named_and_the_week_with_it() -> None:
    named = at(week(3, *[1] * 9, weeks=30))
    assert named[1:] == [None] * 9
    assert named[0] is not None
    assert 3 <= named[0] <= SOON


def test_failures_are_held_against_the_hours_printed() -> None:
    # Three times the failures in three times the hours.
    counts = np.tile([3, 1, 1, 1], (40, 1))
    hours = np.tile([150.0, 50, 50, 50], (40, 1))
    assert at(stands_out(counts, hours)) == [None] * 4
    assert stands_out(counts, hours)[0].times.best == pytest.approx(1)  # type: ignore[union-attr]


def test_two_bad_ones_do_not_hide_each_other() -> None:
    named = at(week(4, 4, 1, 1, 1, 1, weeks=52))
    assert None not in named[:2]
    assert named[2:] == [None] * 4


def turned(since: int, weeks: int = YEAR, worse: int = 4) -> list[Standing]:
    """A machine that fails as often as the nine others until a week, and then so many times as often."""
    counts = np.ones((weeks, 10), dtype=int)
    counts[since:, 0] = worse
    return stands_out(counts, np.full(counts.shape, 85.0))


def test_one_that_turns_bad_late_is_named_though_its_whole_year_is_not_yet_bad() -> None:
    found = turned(30, weeks=42)
    assert at(found)[1:] == [None] * 9
    assert found[0].named_at is not None
    assert 30 < found[0].named_at <= 42
    assert found[0].times.best < 2 < found[0].lately.times.best  # type: ignore[union-attr]
    assert (found[0].lately.failures, found[0].lately.hours) == (4 * SOON, 85 * SOON)


def test_what_was_long_ago_does_not_hide_what_turned_bad() -> None:
    # The sum never falls below nothing: it makes no difference how long the machine was a good one.
    begun = [turned(since)[0].named_at for since in (20, 30)]
    assert None not in begun
    assert abs((begun[0] - 20) - (begun[1] - 30)) <= 1  # type: ignore[operator]


def test_less_than_twice_as_often_is_not_named_however_sure() -> None:
    # In ten years 1.8 times as often is far more than chance.
    found = week(9, *[5] * 9, weeks=520)
    assert found[0].times.low > 1.5  # type: ignore[union-attr]
    assert at(found) == [None] * 10


def test_two_failures_are_never_enough() -> None:
    counts = np.zeros((20, 12), dtype=int)
    counts[[4, 5], 3] = 1
    hours = np.full((20, 12), 85.0)
    hours[:, 3] = 1e-3
    assert at(stands_out(counts, hours)) == [None] * 12


def test_a_group_of_which_more_is_allowed_to_differ_names_later() -> None:
    counts = np.tile([3, *[1] * 9], (30, 1))
    hours = np.full(counts.shape, 85.0)
    strict, loose = (at(stands_out(counts, hours, differ=by))[0] for by in (0.0, 0.3))
    assert strict is not None
    assert loose is None or loose > strict


# Files that fail unlike


def apart(counts: list[list[list[int]]], hours: list[list[float]], weeks: int = 1) -> list[Standing]:
    """The failures of each machine at each file, the same every week, and the hours of each [machines, files]."""
    every = np.tile(np.array(counts), (weeks, 1, 1))
    return stands_out(every, np.tile(np.array(hours), (weeks, 1, 1)))


def test_who_prints_what_often_fails_is_not_accused() -> None:
    # The first two machines print the risky file most of the time, the others seldom; its rate is the same everywhere.
    counts, hours = [[[8, 0]] * 2 + [[1, 1]] * 8], [[80.0, 5.0]] * 2 + [[10.0, 75.0]] * 8
    assert at(apart(counts, hours, weeks=YEAR)) == [None] * 10
    blind = stands_out(np.tile(np.array(counts).sum(axis=2), (YEAR, 1)), np.full((YEAR, 10), 85.0))
    assert None not in at(blind)[:2]


def test_a_bad_machine_is_named_at_the_files_that_others_print_too() -> None:
    counts, hours = [[[4, 3]] + [[1, 1]] * 9], [[60.0, 25.0]] * 10
    named = at(apart(counts, hours, weeks=SOON))
    assert named[0] is not None
    assert named[1:] == [None] * 9


def test_of_a_file_that_one_machine_alone_prints_nothing_is_told() -> None:
    # Whether the file is risky or the machine bad nobody can say.
    counts, hours = [[[9, 1]] + [[0, 1]] * 5], [[40.0, 45.0]] + [[0.0, 85.0]] * 5
    found = apart(counts, hours, weeks=YEAR)
    assert at(found) == [None] * 6
    assert found[0].failures == 10 * YEAR
    assert found[0].times.best == pytest.approx(85 / 45)  # type: ignore[union-attr]


def test_a_machine_with_files_of_its_own_alone_is_compared_with_nobody() -> None:
    found = apart([[[9, 0], [0, 1], [0, 1]]], [[85.0, 0.0], [0.0, 85.0], [0.0, 85.0]], weeks=YEAR)
    assert (found[0].times, found[0].named_at) == (None, None)


def test_times_are_those_at_the_same_files() -> None:
    # Twice as often at a risky file and at a tame one, though it prints more of the tame one.
    counts, hours = [[[20, 6], [90, 2], [90, 2]]], [[10.0, 90.0], [90.0, 60.0], [90.0, 60.0]]
    found = apart(counts, hours)[0].times
    assert found is not None
    assert found.best == pytest.approx(2)
    assert 1 < found.low < 2 < found.high < 4


def test_of_all_that_can_happen_to_like_machines_at_unlike_files_no_more_than_allowed_is_an_alarm() -> None:
    # Every outcome of a look with five failures of one file and four of another; by the twelfth most of it is spent.
    hours = np.tile(np.array([[60.0, 10], [30, 30], [10, 60]]), (SOON, 1, 1))
    ways = [[(a, b, n - a - b) for a in range(n + 1) for b in range(n - a + 1)] for n in (5, 4)]
    alarm = 0.0
    for outcome in product(*ways):
        counts = np.zeros((SOON, 3, 2), dtype=int)
        counts[SOON - 1] = np.transpose(outcome)
        if any(at(stands_out(counts, hours, false_alarms=0.3))):
            laws = ((6, 3, 1), (1, 3, 6))
            alarm += math.prod(
                multinomial.pmf(n, sum(n), np.divide(law, 10)) for n, law in zip(outcome, laws, strict=True)
            )
    assert 0.05 < alarm <= 0.3


# Edges


def test_one_machine_has_nobody_to_stand_out_from() -> None:
    (found,) = week(9, weeks=9)
    assert (found.times, found.named_at) == (None, None)
    assert found.rate is not None
    assert found.rate.best == pytest.approx(9 / 85)


def test_without_failures_rates_have_a_high_end_alone() -> None:
    found = week(0, 0, 0, weeks=4)
    assert at(found) == [None] * 3
    assert (found[0].rate.low, found[0].rate.best) == (0, 0)  # type: ignore[union-attr]
    assert found[0].rate.high > 0  # type: ignore[union-attr]
    assert found[0].times is None


def test_a_machine_without_hours_has_no_rate() -> None:
    counts, hours = np.array([[0, 1, 2]]), np.array([[0.0, 80.0, 80.0]])
    found = stands_out(counts, hours)
    assert (found[0].rate, found[0].times) == (None, None)
    assert found[1].rate is not None


def test_a_week_in_which_nobody_printed_tells_nothing() -> None:
    counts, hours = np.array([[1, 1, 1], [0, 1, 0]]), np.array([[85.0] * 3, [0.0] * 3])
    assert at(stands_out(counts, hours)) == [None] * 3


def test_no_looks_and_no_machines_name_nobody() -> None:
    assert at(stands_out(np.zeros((0, 3), dtype=int), np.zeros((0, 3)))) == [None] * 3
    assert stands_out(np.zeros((4, 0), dtype=int), np.zeros((4, 0))) == []


def test_others_that_never_failed_are_beaten_without_end() -> None:
    found = week(3, 0, 0)[0].times
    assert found is not None
    assert (found.best, found.high) == (math.inf, math.inf)
    assert 0 < found.low < math.inf


@pytest.mark.parametrize(
    ("failures", "hours", "told"),
    [
        ([[1, 2]], [[80.0]], "same looks and machines"),
        ([1, 2], [80.0, 80.0], "same looks and machines"),
        ([[1, -2]], [[80.0, 80.0]], "whole numbers from 0 up, got -2"),
        ([[1, 0.5]], [[80.0, 80.0]], "whole numbers from 0 up"),
        ([[1, 2]], [[80.0, -1.0]], "numbers from 0 up"),
        ([[1, 2]], [[80.0, math.nan]], "numbers from 0 up"),
    ],
)
def test_what_is_no_count_is_told(failures: list, hours: list, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        stands_out(np.array(failures), np.array(hours))


def test_shares_must_be_shares() -> None:
    one = np.array([[1, 2]]), np.array([[80.0, 80.0]])
    with pytest.raises(ValueError, match="between 0 and 1, got 5"):
        stands_out(*one, false_alarms=5)
    with pytest.raises(ValueError, match="from 0 up to 1, got 2"):
        stands_out(*one, differ=2)


# Laws


def test_false_alarms_are_spent_one_after_the_other_and_never_all() -> None:
    spent = np.array([spending(look) for look in range(1, 2000)])
    assert spent[0] > 0
    assert (np.diff(spent) > 0).all()
    assert spent[-1] < 1


def test_both_ways_to_be_named_share_the_false_alarms() -> None:
    both = [spending(look) + spending_lately(look) for look in range(1, 2000)]
    assert both == sorted(both)
    assert both[-1] <= 1
    # Of the first weeks all failures tell the most.
    assert spending_lately(SOON) == 0 < spending_lately(SOON + 1)


@pytest.mark.parametrize("share", [(1, 1, 1), pytest.param((5, 3, 1), marks=pytest.mark.full)])
def test_of_all_that_can_happen_to_like_machines_no_more_than_allowed_is_an_alarm(share: tuple[int, ...]) -> None:
    # Every outcome of two looks with 6 and 4 failures; by the twelfth look most of it is spent.
    totals, hours = (6, 4), np.tile(np.array(share, dtype=float), (SOON, 1))
    law = np.array(share) / sum(share)
    ways = [[(a, b, n - a - b) for a in range(n + 1) for b in range(n - a + 1)] for n in totals]
    alarm = 0.0
    for first, second in product(*ways):
        counts = np.zeros((SOON, 3), dtype=int)
        counts[5], counts[11] = first, second
        if any(at(stands_out(counts, hours, false_alarms=0.3))):
            alarm += multinomial.pmf(first, 6, law) * multinomial.pmf(second, 4, law)
    assert 0.05 < alarm <= 0.3


def test_failures_of_late_name_a_machine_like_the_others_no_more_often_than_allowed() -> None:
    # Every outcome of two looks at the end of a year, with seven failures each, of a machine that prints a quarter.
    share, law = np.tile([0.25, 0.75], (YEAR, 1)), binom.pmf(np.arange(8), 7, 0.25)
    allowed, alarm = 0.02, 0.0
    for outcome in product(range(8), repeat=2):
        counts = np.zeros((YEAR, 2), dtype=int)
        counts[-2:, 0] = outcome
        counts[-2:, 1] = 7 - counts[-2:, 0]
        totals = counts.sum(axis=1, keepdims=True)
        twice = totals * _weighed(share, WORSE)
        if _lately(counts, totals, twice, share[:, :, None, None], np.ones(1), allowed)[:, 0].any():
            alarm += float(np.prod(law[list(outcome)]))
    assert 0.1 * allowed * SPENT_LATELY < alarm <= allowed * SPENT_LATELY


@settings(deadline=None)
@given(rooms(), st.data())
def test_who_looked_earlier_was_told_the_same(counts: np.ndarray, data: st.DataObject) -> None:
    hours = np.full(counts.shape, 85.0)
    whole = at(stands_out(counts, hours, 0.3))
    until = data.draw(st.integers(1, len(counts)))
    then = at(stands_out(counts[:until], hours[:until], 0.3))
    assert then == [look if look is not None and look <= until else None for look in whole]


@settings(deadline=None)
@given(rooms(), st.permutations(range(6)))
def test_the_order_of_the_machines_does_not_matter(counts: np.ndarray, order: list[int]) -> None:
    hours = np.tile(np.linspace(20, 100, 6), (len(counts), 1))
    found, again = stands_out(counts, hours, 0.3), stands_out(counts[:, order], hours[:, order], 0.3)
    assert at(again) == [found[machine].named_at for machine in order]


@settings(deadline=None)
@given(rooms())
def test_ranges_hold_the_best_and_add_up(counts: np.ndarray) -> None:
    hours = np.full(counts.shape, 85.0)
    found = stands_out(counts, hours)
    assert [one.failures for one in found] == counts.sum(axis=0).tolist()
    for one in found:
        assert one.rate is not None
        assert one.rate.low <= one.rate.best <= one.rate.high
        assert one.times is None or one.times.low <= one.times.best <= one.times.high


@settings(deadline=None)
@given(rooms(), st.floats(0.01, 100))
def test_the_unit_of_the_hours_does_not_matter(counts: np.ndarray, unit: float) -> None:
    hours = np.full(counts.shape, 85.0)
    assert at(stands_out(counts, hours, 0.3)) == at(stands_out(counts, hours * unit, 0.3))
