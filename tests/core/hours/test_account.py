"""Time accounting on histories of whole days, so that the answer is seen by eye."""

import math
from datetime import time

import polars as pl
import pytest

from core.entries import AnyEntry
from core.estimate import NINETY, Estimate
from core.habits.learned import Learned
from core.hours.account import (
    FORMULAS,
    NON_SCHEDULED,
    PRODUCTIVE,
    SCHEDULED_DOWN,
    UNSCHEDULED_DOWN,
    TimeAccount,
    account,
    faults_begun,
    waits,
)
from core.hours.state_rows import IDLE, StateHours
from core.setup import WEEKDAYS, Machine, Setup, Shift
from core.staffed import Staffed
from core.timeline.reckon import STATES
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, a1_alone, at_a1, hours_in, look, reckoned, start, tell, when

#: A sum of many errors, each spread evenly over [-h, +h], stays within so many h nine times in ten (normal limit).
EVEN = NINETY / math.sqrt(3)

FORTNIGHT = Window(when(0), when(14))

#: A vent grille takes a day. What A1 does on each of fourteen days is in `DAYS` below.
STORY = [
    start(when(0)),
    at_a1("PartsOff", when(3)),
    start(when(4), proving=True),
    at_a1("PartsOff", when(5)),
    at_a1("WentDown", when(6), cause="belt"),
    at_a1("WentDown", when(7), cause="belt", spare="belt-220"),
    at_a1("CameBack", when(9)),
    at_a1("SetAside", when(10)),
    at_a1("PutBack", when(12)),
    at_a1("UpkeepDone", when(13), task="clean", minutes=24 * 60),
    look(when(14), "empty"),
]
DAYS = ["printing", "done", "done", "empty", "proving", "empty", "down", "waiting", "waiting", "empty", "aside",
        "aside", "upkeep", "empty"]  # fmt: skip


def of(entries: list[AnyEntry], *windows: Window, learned: Learned = EXACT) -> StateHours:
    return hours_in(reckoned(entries, Window(windows[0].start, windows[-1].end), learned=learned), *windows)


def told(entries: list[AnyEntry], window: Window = FORTNIGHT) -> TimeAccount:
    found = reckoned(entries, window)
    return account("shop", hours_in(found, window), faults_begun(found.gaps, [window]).height)


def days(count: float) -> Estimate:
    return Estimate.exact(24.0 * count)


def test_every_day_has_its_state() -> None:
    hours = of(STORY, *FORTNIGHT.days(Setup(ROWS).zone)).rows.filter(pl.col("best") > 0, pl.col("state") != IDLE)
    assert hours.sort("window")["state"].to_list() == DAYS
    assert hours["best"].to_list() == [24.0] * 14


def test_hours_add_up_by_state_and_to_the_window() -> None:
    found = told(STORY)
    assert {state: hours.best for state, hours in found.hours.items()} == {s: 24 * DAYS.count(s) for s in STATES}
    assert found.window_hours == 14 * 24
    assert math.fsum(e.best for e in found.hours.values()) == found.window_hours


def test_figures_of_a_fortnight_seen_by_eye() -> None:
    found = told(STORY)
    assert (found.total, found.operations, found.faults) == (14 * 24, 12 * 24, 1)
    shares = [found.utilisation, found.uptime, found.downtime, found.out_of_service]
    assert [share.best for share in shares if share] == pytest.approx([1 / 12, 8 / 12, 4 / 12, 3 / 12])
    assert (found.mttr.best if found.mttr else None, found.mtbf) == (pytest.approx(72), days(1))
    assert (found.productive_time, found.engineering_time) == (days(1), days(1))
    assert (found.standby_time, found.equipment_downtime.best) == (days(6), 96)


def test_no_word_is_in_none_of_the_classes_and_shared_out_nowhere() -> None:
    late = told([start(when(12)), look(when(14), "done")])
    assert (late.hours["no word"], late.total, late.operations) == (days(12), 48, 48)
    assert late.utilisation == Estimate.exact(0.5)


def test_a_machine_nobody_ever_spoke_of_has_no_figures() -> None:
    silent = told([])
    assert silent.hours["no word"] == days(14)
    assert (silent.total, silent.operations) == (0, 0)
    assert [silent.utilisation, silent.uptime, silent.downtime, silent.out_of_service, silent.mttr, silent.mtbf] == [
        None
    ] * 6


def test_a_machine_set_aside_all_the_time_has_no_shares() -> None:
    aside = told([at_a1("SetAside", when(0))])
    assert (aside.total, aside.operations, aside.utilisation) == (14 * 24, 0, None)


def test_every_state_but_no_word_is_in_one_class() -> None:
    engineering, standby = ("proving",), ("done", "stopped", "empty")
    classes = [PRODUCTIVE, engineering, standby, SCHEDULED_DOWN, UNSCHEDULED_DOWN, NON_SCHEDULED]
    assert sorted(state for states in classes for state in states) == sorted(set(STATES) - {"no word"})


def test_every_figure_says_its_formula() -> None:
    assert set(FORMULAS) == set(TimeAccount.model_fields) - {"group", "window_hours", "hours", "faults"}


def test_upkeep_seen_going_on_lasts_until_it_is_done() -> None:
    done = at_a1("UpkeepDone", when(3), task="clean", minutes=30)
    found = told(
        [look(when(0), "empty"), look(when(1), "upkeep"), look(when(2), "upkeep"), done], Window(when(0), when(4))
    )
    assert (found.hours["upkeep"].best, found.hours["empty"].best) == (2.5 * 24, 1.5 * 24)


# Ranges

#: A print takes its hours, or up to a quarter less or more.
LOOSE = Learned(best=1.0, low=0.75, high=1.25)
TWO_PRINTS = [start(when(0)), at_a1("PartsOff", when(3)), start(when(3)), at_a1("PartsOff", when(6))]
WEEK = Window(when(0), when(6))


def test_one_doubtful_end_makes_one_range() -> None:
    hours = of(TWO_PRINTS[:2], Window(when(0), when(3)), learned=LOOSE).total(("printing",))
    assert (hours.best, hours.low, hours.high) == pytest.approx((24, 24 - EVEN * 6, 24 + EVEN * 6))


def test_independent_ends_add_in_quadrature() -> None:
    rows = of(TWO_PRINTS, WEEK, learned=LOOSE)
    width = EVEN * 6 * math.sqrt(2)
    printing, done = (rows.total((state,)) for state in ("printing", "done"))
    assert (printing.best, printing.low, printing.high) == pytest.approx((48, 48 - width, 48 + width))
    assert (done.best, done.low, done.high) == pytest.approx((96, 96 - width, 96 + width))


def test_a_sum_by_state_is_the_same_as_its_combination() -> None:
    rows = of(TWO_PRINTS, WEEK, learned=LOOSE)
    told_by_state = rows.by("state")
    assert {"printing", "done"} <= set(told_by_state["state"])
    for row in told_by_state.iter_rows(named=True):
        one = rows.total((row["state"],))
        assert (one.low, one.best, one.high) == pytest.approx((row["low"], row["best"], row["high"]))


def test_doubt_outside_the_window_is_none_of_its_own() -> None:
    hours = of(TWO_PRINTS[:2], Window(when(0), when(0.5)), learned=LOOSE).total(("printing",))
    assert hours == days(0.5)


def test_doubt_is_cut_where_the_window_ends() -> None:
    # The print may have ended from three quarters of the day on, and the window can hold no more than the day.
    hours = of(TWO_PRINTS[:2], Window(when(0), when(1)), learned=LOOSE).total(("printing",))
    assert (hours.best, hours.low, hours.high) == pytest.approx((24, 24 - EVEN * 6, 24))


def test_a_stop_at_any_time_of_a_day_is_half_a_day_give_or_take() -> None:
    hours = of([start(when(0)), look(when(1), "stopped")], Window(when(0), when(1))).total(("printing",))
    assert (hours.best, hours.low, hours.high) == pytest.approx((12, 12 - EVEN * 12, 12 + EVEN * 12))


def test_a_share_is_at_most_the_whole() -> None:
    share = told([start(when(0)), look(when(1), "stopped")], Window(when(0), when(1))).utilisation
    assert share is not None
    assert (share.low, share.best, share.high) == pytest.approx((0.5 - EVEN / 2, 0.5, 0.5 + EVEN / 2))
    printing = told([start(when(0)), look(when(0.9), "printing"), look(when(1), "done")], Window(when(0), when(0.9)))
    assert printing.utilisation == Estimate.exact(1.0)


def test_uptime_is_as_doubtful_as_downtime() -> None:
    found = told([look(when(0), "empty"), look(when(2), "down"), look(when(4), "down")], Window(when(0), when(4)))
    assert found.uptime is not None
    assert found.downtime is not None
    assert found.downtime.best == pytest.approx(0.75)
    assert found.uptime.low == pytest.approx(1 - found.downtime.high)
    assert found.uptime.high == pytest.approx(1 - found.downtime.low)


# Windows, machines, groups


@pytest.mark.parametrize("cut", [0.25, 1.0, 2.5, 6.5, 13.75])
def test_splitting_a_window_changes_no_hours(cut: float) -> None:
    parts = of(STORY, Window(when(0), when(cut)), Window(when(cut), when(14)))
    for state in STATES:
        assert parts.total((state,)).best == pytest.approx(24 * DAYS.count(state))


def test_a_machine_that_came_late_or_left_has_only_its_own_time() -> None:
    row = next(row for row in ROWS if isinstance(row, Machine))
    rest = [row for row in ROWS if not isinstance(row, Machine)]
    serves = [row.model_copy(update={"since": when(2)}),
              row.model_copy(update={"since": when(5), "in_service": False})]  # fmt: skip
    found = reckoned([start(when(0)), look(when(9), "done")], FORTNIGHT, [*rest, *serves])
    assert hours_in(found, FORTNIGHT).hours == 3 * 24


def test_hours_of_a_machine_are_its_own() -> None:
    both = reckoned([*STORY, tell("SetAside", when(0), machine="A2")], FORTNIGHT, ROWS)
    mine = hours_in(both, FORTNIGHT).of(pl.col("state") != IDLE).by("machine").sort("machine")
    assert mine.select("machine", "best").rows() == [(machine, 14 * 24.0) for machine in ("A1", "A2", "B1")]


def test_lost_time_keeps_its_cause_and_its_spare() -> None:
    down = of(STORY, FORTNIGHT).rows.filter(pl.col("state").is_in(["down", "waiting"])).sort("best")
    assert down.select("state", "cause", "spare", "best").rows() == [
        ("down", "belt", None, 24.0),
        ("waiting", "belt", "belt-220", 48.0),
    ]


# Faults

TWO_FAULTS = [
    at_a1("WentDown", when(1), cause="belt"),
    look(when(2), "down"),
    at_a1("CameBack", when(3)),
    look(when(5), "down"),
    at_a1("WentDown", when(6), cause="nozzle"),
    at_a1("CameBack", when(7)),
]


@pytest.mark.parametrize(
    ("first", "last", "faults"),
    # It was seen down on the fifth day, so it went down in the middle of the two days before, as its hours have it.
    [(0, 14, 2), (1, 4, 1), (1, 4.5, 2), (1.5, 4, 0), (6, 14, 0)],
)
def test_a_fault_counts_once_in_the_window_in_which_it_began(first: float, last: float, faults: int) -> None:
    window = Window(when(first), when(last))
    gaps = reckoned(TWO_FAULTS, window).gaps
    assert faults_begun(gaps, [window]).height == faults


def test_faults_fall_into_consecutive_windows() -> None:
    windows = [Window(when(day), when(day + 1)) for day in range(8)]
    found = faults_begun(reckoned(TWO_FAULTS, Window(when(0), when(8))).gaps, windows)
    assert found.select("machine", "window").rows() == [("A1", 1), ("A1", 4)]


# Waiting for hands


def test_a_finished_print_waits_inside_and_outside_staffed_time() -> None:
    shifts = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS]
    rows = [*a1_alone(), *shifts]
    window = Window(when(0), when(3))
    # Done from 16:00 on Tuesday until it is taken off at 09:00 on Wednesday.
    found = reckoned([start(when(0, 16)), at_a1("PartsOff", when(2, 9))], window, rows)
    done = found.stretches.filter(pl.col("state") == "done")
    staffed = Staffed.of(Setup(rows), window)
    assert waits(done, window, staffed).rows() == [("A1", 2.0, 15.0)]
    part = Window(when(1, 12), when(1, 20))
    assert waits(done, part, staffed).rows() == [("A1", 1.0, 3.0)]
    assert waits(done, Window(when(0), when(1)), staffed).rows() == []
