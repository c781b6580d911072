"""What a machine's time is worth: told by hand, against every sequence of prints there is, and by its laws."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from core.arrays import Numbers
from core.habits.usage import LASTS, SPOOL_MINUTES
from core.plan.best_loading import NEVER
from core.plan.laws import FINE, HandsClock, Laws
from core.plan.timing import SPOOL_HOURS, Free, Loadable, ModelTimes, cases, left, loads, time_worth


def by_day(days: int, opens: float = 8, closes: float = 17, hands: int = 2) -> HandsClock:
    """The same hours every day; now is midnight."""
    at = np.append((24.0 * np.arange(days)[:, None] + [0, opens, closes]).ravel(), 24.0 * days)
    worked = np.append(0, np.cumsum(np.diff(at) * np.tile([0, 1, 0], days)))
    hour = np.arange(24 * days * FINE) / FINE % 24
    staffed = (opens <= hour) & (hour < closes)
    return HandsClock(at, worked, staffed * hands, ~staffed)


def prints(*hours: float, wait: float = 0.0) -> ModelTimes:
    """Files that take so long, worth an hour an hour; hands come after the same wait each time."""
    sure = np.array([1.0])
    return ModelTimes(np.array(hours), np.array(hours), sure, wait * sure, wait * sure)


WEEK = by_day(9)


def worth(times: ModelTimes, moment: float, end: float = 72.0, clock: HandsClock = WEEK) -> float:
    return float(time_worth(times, clock, end)[round(moment * FINE)])


# Told by hand: staffed 08:00 to 17:00


def test_one_print_at_a_time_is_started_as_often_as_somebody_is_there() -> None:
    # 6 h: 08:00, 14:00 and then not before the next morning.
    assert worth(prints(6.0), 8, 24) == pytest.approx(12)
    assert worth(prints(6.0), 8, 48) == pytest.approx(24)
    # 15 h fit the night exactly, and the day not.
    assert worth(prints(15.0), 17 - 0.1, 48) == pytest.approx(15 + 15)


def test_by_day_the_short_one_and_by_night_the_long_one() -> None:
    both = prints(6.0, 14.0)
    # 08:00 to 14:00, 14:00 to 04:00.
    assert worth(both, 8, 24 + 8) == pytest.approx(20)
    assert worth(both, 8, 48) == pytest.approx(20 + 16)


def test_a_print_that_ends_minutes_after_closing_is_not_worth_a_longer_one() -> None:
    # From 11:00 on 6.5 h end at 17:30; 5.5 h at 16:30, and 14 h still follow.
    assert worth(prints(6.5), 11, 32) == pytest.approx(6.5)
    assert worth(prints(5.5, 6.5, 14.0), 11, 32) == pytest.approx(5.5 + 14)


def test_a_wait_for_hands_is_lost_and_may_cost_the_night() -> None:
    # 6 h from 08:00, an hour's wait, 6 h from 15:00.
    assert worth(prints(6.0, wait=1.0), 8, 24) == pytest.approx(12)
    # 8.5 h end at 16:30: too late by half an hour for hands that come after an hour.
    assert worth(prints(8.5, wait=0.0), 8, 24) == pytest.approx(8.5 + 7.5)
    assert worth(prints(8.5, wait=1.0), 8, 24) == pytest.approx(8.5)


def test_prints_that_may_take_longer_are_weighed_by_how_likely_they_are_late() -> None:
    # One time in two 8 h become 9.5 and miss closing; then 14 h are lost.
    doubtful = ModelTimes(np.array([8.0]), np.array([8.0]), np.array([1.0, 9.5 / 8]), np.zeros(2), np.zeros(2))
    assert worth(doubtful, 8, 24) == pytest.approx(8 + 8 / 2)


def test_nothing_is_started_while_nobody_is_in_nor_after_the_end() -> None:
    found = time_worth(prints(6.0), WEEK, 24.0)
    assert len(found) == 24 * FINE + 1
    assert (found[: 8 * FINE] == found[8 * FINE]).all()
    assert (found[17 * FINE :] == 0).all()


def test_waits_of_prints_that_ended_before_hands_came_in_are_those_of_the_rush() -> None:
    rush = replace(prints(15.0), rush=np.array([2.0]))
    # From 16:00 until 07:00; hands come at 10:00 and not at 08:00.
    assert worth(rush, 16, 48) == pytest.approx(15 + 14)
    assert worth(prints(15.0), 16, 48) == pytest.approx(15 + 15)


# Against every sequence of prints


def by_trying_all(times: ModelTimes, clock: HandsClock, end: float) -> Numbers:
    """The same by trying every file, and waiting, at every moment: forward, with one case."""

    @cache
    def best(step: int) -> float:
        if step >= round(end * FINE):
            return 0.0
        tries = [best(step + 1)]
        if clock.hands[step]:
            for hours, own in zip(times.hours, times.worth, strict=True):
                share = min((end - step / FINE) / hours, 1.0)
                then = clock.after(np.array([step / FINE + hours]), times.calm)[0]
                tries.append(own * share + best(int(np.ceil(then * FINE - 1e-6))))
        return max(tries)

    for step in range(round(end * FINE), -1, -1):
        best(step)
    return np.array([best(step) for step in range(round(end * FINE) + 1)])


@pytest.mark.parametrize("seed", range(8))
def test_no_sequence_of_prints_gives_more(seed: int) -> None:
    draw = np.random.default_rng(seed)
    clock = by_day(6, opens=draw.integers(5, 10), closes=draw.integers(14, 23))
    times = prints(*draw.uniform(0.5, 16, 4), wait=float(draw.choice([0.0, 0.3])))
    times = replace(times, worth=times.hours * draw.uniform(0.5, 1, 4))
    assert time_worth(times, clock, 60.0) == pytest.approx(by_trying_all(times, clock, 60.0))


# Laws


@pytest.mark.parametrize("seed", range(10))
def test_more_files_longer_days_shorter_waits_and_a_later_end_never_give_less(seed: int) -> None:
    draw = np.random.default_rng(seed)
    times = prints(*draw.uniform(1, 15, 3), wait=0.5)
    found = time_worth(times, WEEK, 96.0)
    assert (np.diff(found) <= 1e-9).all()
    more = prints(*times.hours, 9.0, wait=0.5)
    assert (time_worth(more, WEEK, 96.0) >= found - 1e-9).all()
    assert (time_worth(prints(*times.hours), WEEK, 96.0) >= found - 1e-9).all()
    assert (time_worth(times, by_day(9, closes=20), 96.0) >= found - 1e-9).all()
    assert (time_worth(times, WEEK, 120.0)[: len(found)] >= found - 1e-9).all()


def test_cases_have_the_means_of_the_laws_and_do_not_go_together() -> None:
    even = (np.arange(512) + 0.5) / 512
    laws = Laws(ratio=1 + 0.05 * even, rush=-np.log1p(-even), calm=-0.4 * np.log1p(-even))
    ratio, rush, calm = cases(laws, 64)
    assert (ratio.mean(), rush.mean(), calm.mean()) == pytest.approx((1.025, 1.0, 0.4), rel=0.05)
    assert abs(np.corrcoef(ratio, rush)[0, 1]) < 0.15


# What can be loaded

TIMES = prints(6.0, 14.0)
MENU = Loadable(
    ["caps", "clips"], ["feeder cap", "queen clip"], np.array([12.0, 90.0]), [[0, 1]], [TIMES],
    [time_worth(TIMES, WEEK, 96.0)], ["black", "yellow"],
)  # fmt: skip
LEAVE = 17.0, 32.0


def test_a_load_is_worth_the_time_after_it_against_the_machine_left_alone() -> None:
    free = Free("B1", 0, 14.0, np.array([1.0, 1.0]))
    caps, clips = loads([free], MENU, WEEK, LEAVE, 5.0)
    # Both end in the night: the machine is free again in the morning, as if left alone.
    assert (caps.later, clips.later) == pytest.approx((0, 0))
    assert (caps.machine, caps.file, caps.product, caps.parts, caps.minutes) == ("B1", "caps", "feeder cap", 12, 5)
    assert caps.new_spool is None


def test_a_print_that_ends_before_people_leave_wants_them_again_and_leaves_the_night() -> None:
    free = Free("B1", 0, 9.0, np.array([1.0, 1.0]))
    caps, clips = loads([free], MENU, WEEK, LEAVE, 5.0)
    assert (caps.again, caps.again_minutes) == (15.0, 5.0)
    assert clips.again == NEVER
    assert caps.later == pytest.approx(14)
    assert clips.later == pytest.approx(0)


def test_a_spool_that_will_not_last_is_changed() -> None:
    free = Free("B1", 0, 14.0, np.array([LASTS - 0.01, 1.0]))
    caps, clips = loads([free], MENU, WEEK, LEAVE, 5.0)
    assert (caps.file, caps.new_spool, caps.minutes, caps.parts) == ("caps", "black", 5 + SPOOL_MINUTES, 12)
    assert caps.later == pytest.approx(-SPOOL_HOURS)
    assert clips.new_spool is None


def test_what_the_spool_may_not_feed_is_expected_so_much_less() -> None:
    free = Free("B1", 0, 14.0, np.array([LASTS, 1.0]))
    caps, clips = loads([free], MENU, WEEK, LEAVE, 5.0)
    assert (caps.parts, clips.parts) == (12 * LASTS, 90)


def test_hands_minutes_are_those_until_they_leave() -> None:
    found = left(by_day(1), 17.0)
    assert found[0].since == 0
    assert found[0].minutes == found[16].minutes == pytest.approx(9 * 2 * 60 * 0.6)
    assert [one.minutes for one in found if one.since in (16.0, 16.5)] == pytest.approx([72, 36])
    assert found[-1].since == 16.5
