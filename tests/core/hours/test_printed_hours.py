"""Printing hours since a moment, from weeks with their doubts."""

import numpy as np
import pytest

from core.epoch import HOUR
from core.hours.printed_hours import PrintedHours

WEEK = 168 * HOUR
#: Four weeks of two machines.
WORKED = PrintedHours(
    ["A1", "A2"],
    WEEK * np.arange(5),
    np.array([[80.0, 60, 70, 90], [0, 0, 10, 20]]),
    np.array([[2.0, 2, 2, 2], [1, 1, 1, 1]]),
)


def test_hours_since_a_moment_are_those_of_the_weeks_after_it() -> None:
    found = WORKED.since("A1", 2 * WEEK)
    assert found.best == pytest.approx(160)
    assert found.high - found.best == pytest.approx(1.6449 * 8**0.5, rel=1e-4)
    assert WORKED.since("A1", 0).best == 300
    assert WORKED.since("A2", 4 * WEEK).best == 0


def test_a_week_cut_in_two_counts_by_its_share_and_adds_doubt() -> None:
    whole, half = WORKED.since("A1", 3 * WEEK), WORKED.since("A1", 3 * WEEK + WEEK // 2)
    assert half.best == pytest.approx(45)
    assert half.high - half.best > whole.high - whole.best
    assert half.low >= 0


def test_before_the_first_week_nothing_is_known() -> None:
    assert WORKED.since("A2", -5 * WEEK) == WORKED.since("A2", 0)


def test_hours_printed_by_a_moment_add_up_with_those_since() -> None:
    for moment in (0, WEEK // 3, 2 * WEEK, 3 * WEEK + 5, 4 * WEEK):
        assert WORKED.at("A1", moment) + WORKED.since("A1", moment).best == pytest.approx(300)


def test_hours_a_day_are_those_of_the_last_weeks() -> None:
    assert WORKED.a_day("A1", 2) == pytest.approx(80 / 7)
    assert WORKED.a_day("A2", 4) == pytest.approx(7.5 / 7)
    assert WORKED.a_day("A2", 9) == WORKED.a_day("A2", 4)


def test_what_follows_is_added_for_the_machines_there_are_then() -> None:
    edges = np.array([WORKED.edges[-1], WORKED.edges[-1] + 6 * HOUR])
    today = PrintedHours(["A2", "A3"], edges, np.array([[5.0], [2.0]]), np.array([[1.0], [0.5]]))  # fmt: skip
    both = WORKED.followed_by(today)
    assert both.machines == ["A2", "A3"]
    for machine, more in (("A2", 5.0), ("A3", 2.0)):
        alone = WORKED.at(machine, int(WORKED.edges[-1])) if machine in WORKED.machines else 0.0
        assert both.at(machine, int(today.edges[-1])) == pytest.approx(alone + more)
        assert both.since(machine, int(today.edges[0])).best == pytest.approx(more)
