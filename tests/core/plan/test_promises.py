"""Which order gets the parts that come off, told against a plain allocation; published schedules; packing."""

from collections.abc import Sequence
from heapq import heappop, heappush
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arrays import Numbers
from core.plan.forward import Played
from core.plan.laws import STATES, HandsClock
from core.plan.promises import Asked, Coming, coming, covered, finishes, leaves, shipped
from tests.tiers import examples

#: Events of one play: hours from now, product (-1: none), parts.
Events = Sequence[tuple[float, int, float]]
#: Orders still to be given: taken, due (hours from now), product, parts.
Given = Sequence[tuple[float, float, int, float]]


def played(*replications: Events) -> Played:
    """Plays side by side, the shorter ones filled up with what comes off after the end."""
    most = max(map(len, replications))
    rows = [[*events, *[(np.inf, -1, 0.0)] * (most - len(events))] for events in replications]
    off, product, parts = np.array(rows, dtype=float).reshape(len(rows), most, 3).transpose(2, 1, 0)
    return Played(off, product.astype(np.int64), parts, np.zeros((STATES, len(rows))))


def others(*replications: Given) -> Coming:
    """Orders to be given, in every play its own."""
    most = max(map(len, replications))
    rows = [[*given, *[(np.inf, np.inf, -1, 0.0)] * (most - len(given))] for given in replications]
    taken, due, product, parts = np.array(rows, dtype=float).reshape(len(rows), most, 4).transpose(2, 0, 1)
    return Coming(taken, due, product.astype(np.int64), parts)


def plain(asked: Sequence[Asked], stock: float, events: Events, given: Given) -> list[float]:
    """When each order has all its parts: whoever is due first, of those there are, is waited for and served first."""
    orders = [(0.0, order.due, 0, n, order.parts) for n, order in enumerate(asked)]
    orders += [(taken, due, 1, n, parts) for n, (taken, due, _, parts) in enumerate(given)]
    # Parts that come off as an order is taken are there before it.
    story = [(0.0, 0, stock, None), *((t, 0, parts, None) for t, _, parts in events)]
    story += [(order[0], int(order[0] > 0), 0.0, order) for order in orders]
    found, there, waiting = [np.inf] * len(asked), 0.0, list[tuple[float, int, int, float]]()
    for t, _, parts, order in sorted(story, key=lambda event: event[:2]):
        there += parts
        if order:
            heappush(waiting, order[1:])
        if t == 0 and len(waiting) < len(asked):
            continue  # what is known now is known at once
        while waiting and waiting[0][3] <= there:
            _, later, n, wants = heappop(waiting)
            there -= wants
            if not later:
                found[n] = t
    return found


HOURS = st.integers(1, 60).map(float)
PIECES = st.integers(1, 12).map(float)
ORDERS = st.builds(Asked, st.integers(0, 1), PIECES, st.integers(-9, 60).map(float))
EVENTS = st.lists(st.tuples(HOURS, st.integers(-1, 1), st.integers(0, 8).map(float)), max_size=25)
GIVEN = st.lists(st.tuples(HOURS, HOURS, st.integers(0, 1), PIECES), max_size=12)
STOCK = st.tuples(*[st.integers(0, 20).map(float)] * 2)
ASKED = st.lists(ORDERS, min_size=1, max_size=5)


@examples(300)
@given(ASKED, STOCK, st.lists(st.tuples(EVENTS, GIVEN), min_size=1, max_size=3))
def test_parts_go_to_whoever_is_due_first(
    asked: list[Asked], stock: tuple[float, float], plays: list[tuple[Events, Given]]
) -> None:
    found = finishes(asked, np.array(stock), played(*(p for p, _ in plays)), others(*(g for _, g in plays)))
    for replication, (events, given_later) in enumerate(plays):
        for product in range(2):
            line = [n for n, order in enumerate(asked) if order.product == product]
            mine = [event for event in events if event[1] == product]
            after = [order for order in given_later if order[2] == product]
            known = plain([asked[n] for n in line], stock[product], mine, after)
            assert found[line, replication].tolist() == known


def test_any_number_of_orders_may_come_before() -> None:
    # A part an hour; eight customers, each just in time, ask for one that is due before.
    parts = [(float(hour), 0, 1.0) for hour in range(1, 20)]
    given_later = [(hour + 0.5, 10.0, 0, 1.0) for hour in range(8)]
    asked = [Asked(0, 1.0, 50.0)]
    assert plain(asked, 0.0, parts, given_later) == [9]
    assert finishes(asked, np.zeros(1), played(parts), others(given_later)).tolist() == [[9]]


@given(ASKED, STOCK, EVENTS, GIVEN, st.integers(0, 4), ORDERS)
def test_more_parts_asked_for_never_bring_an_order_forward(
    asked: list[Asked], stock: tuple[float, float], events: Events, later: Given, which: int, new: Asked
) -> None:
    def found(orders: list[Asked]) -> Numbers:
        return finishes(orders, np.array(stock), played(events), others(later))

    n = which % len(asked)
    twice = [Asked(o.product, 2 * o.parts, o.due) if m == n else o for m, o in enumerate(asked)]
    before = found(asked)
    assert (found(twice) >= before).all()
    assert (found([*asked, new])[:-1] >= before).all()


@given(ASKED, STOCK, EVENTS)
def test_an_order_is_whole_by_its_due_time_if_it_is_finished_by_then(
    asked: list[Asked], stock: tuple[float, float], events: Events
) -> None:
    play, there = played(events), np.array(stock)
    own = covered(asked, there, play)
    assert (own >= covered(asked, there, None)).all()
    in_time = finishes(asked, there, play, others([])) <= np.maximum([[order.due] for order in asked], 0)
    assert (own == [[order.parts] for order in asked]).tolist() == in_time.tolist()


def test_parts_short_now_are_those_that_those_due_before_do_not_leave() -> None:
    asked = [Asked(0, 10.0, 40.0), Asked(0, 8.0, 20.0), Asked(1, 5.0, 9.0)]
    play = played([(30.0, 0, 4.0), (45.0, 0, 9.0)])
    assert covered(asked, np.array([12.0, 0]), None).tolist() == [[4], [8], [0]]
    assert covered(asked, np.array([12.0, 0]), play).tolist() == [[8], [8], [0]]


# Published schedules: one machine, all orders known, a part an hour


PINEDO = (7, 8, 4, 6, 6), (9, 17, 18, 19, 21)
TEN = (19, 23, 5, 31, 17, 8, 32, 41, 26, 18), (48, 75, 170, 215, 205, 240, 85, 67, 100, 95)


def lateness(takes: Sequence[int], due: Sequence[int]) -> list[float]:
    asked = [Asked(0, float(parts), float(by)) for parts, by in zip(takes, due, strict=True)]
    play = played([(float(hour), 0, 1.0) for hour in range(1, sum(takes) + 1)])
    return (finishes(asked, np.zeros(1), play, others([]))[:, 0] - due).tolist()


def fewest_late(takes: Sequence[int], due: Sequence[int]) -> int:
    """The fewest late orders of all choices of those that are to be in time (Moore-Hodgson, by trying all)."""
    late = len(takes)
    for chosen in range(1 << len(takes)):
        done, in_time = 0, True
        for n in sorted((n for n in range(len(takes)) if chosen >> n & 1), key=lambda n: due[n]):
            done += takes[n]
            in_time = in_time and done <= due[n]
        late = min(late, len(takes) - chosen.bit_count()) if in_time else late
    return late


def test_ten_published_jobs_are_as_late_as_by_due_date() -> None:
    late = lateness(*TEN)
    assert max(late) == 59
    assert sum(one > 0 for one in late) == 4
    assert sum(max(one, 0) for one in late) == 135


@pytest.mark.parametrize("jobs", [PINEDO, TEN], ids=["five jobs", "ten jobs"])
def test_no_fewer_orders_are_late_than_can_be(jobs: tuple[Sequence[int], Sequence[int]]) -> None:
    assert sum(one > 0 for one in lateness(*jobs)) >= fewest_late(*jobs) == 2


def test_no_other_order_of_work_makes_the_latest_less_late() -> None:
    takes, due = PINEDO
    least = min(
        max(done - due[n] for n, done in zip(order, np.cumsum([takes[m] for m in order]), strict=True))
        for order in permutations(range(len(takes)))
    )
    assert max(lateness(takes, due)) == least


# Orders that customers are still to give


def test_as_many_orders_come_as_there_were() -> None:
    # Three in a fortnight: twelve in eight weeks. Three tell little of how often they come: its law is a gamma one.
    past = [(200.0, 0, 40.0), (300.0, 1, 10.0), (100.0, 1, 25.0)]
    found = coming(past, span=336.0, until=1344.0, count=4000, seed=1)
    there = np.isfinite(found.taken)
    many = there.sum(axis=1)
    assert many.mean() == pytest.approx(12, abs=4 * (60 / 4000) ** 0.5)
    assert many.var() == pytest.approx(12 + 12**2 / 3, rel=0.1)
    assert found.taken[there].min() >= 0
    assert found.taken[there].max() <= 1344
    assert found.taken[there].mean() == pytest.approx(672, abs=4 * 388 / there.sum() ** 0.5)
    assert (found.parts[~there] == 0).all()
    # Each is one of those there were, as long before it is due.
    leads = (found.due[there] - found.taken[there]).round(6).tolist()
    each = set(zip(leads, found.product[there].tolist(), found.parts[there].tolist(), strict=True))
    assert each == {(lead, product, parts) for lead, product, parts in past}


def test_where_nobody_ordered_nobody_will() -> None:
    found = coming([], span=336.0, until=1344.0, count=7, seed=1)
    assert found.taken.shape == (7, 0)
    asked = [Asked(0, 5.0, 40.0)]
    assert finishes(asked, np.zeros(1), played(*[[(3.0, 0, 5.0)]] * 7), found).tolist() == [[3.0] * 7]


# Packing and shipping


#: In from 08:00 to 17:00 for a week; now is midnight.
EDGES = np.append((24.0 * np.arange(7)[:, None] + [0, 8, 17]).ravel(), 7 * 24.0)
WORKED = np.append(0, np.cumsum(np.diff(EDGES) * np.append(np.tile([0, 1, 0], 7), 0)[:-1]))
DAILY = HandsClock(EDGES, WORKED, np.ones(1, dtype=np.int64), np.zeros(1, dtype=bool))


@given(st.lists(st.floats(0, 100), min_size=1, max_size=8), st.lists(st.floats(0, 9), min_size=1, max_size=4))
def test_orders_leave_after_they_are_finished_while_people_are_in(finish: list[float], lags: list[float]) -> None:
    done = np.array([finish])
    found = shipped(done, np.zeros(len(done)), np.array(lags), DAILY, seed=1)
    assert (found >= done).all()
    assert ((found % 24 >= 8 - 1e-9) & (found % 24 <= 17 + 1e-9)).all()
    packing = DAILY.worked_by(found) - DAILY.worked_by(done)
    assert all(min(abs(hours - lag) for lag in lags) < 1e-6 for hours in packing[0])


def test_what_is_not_finished_does_not_leave() -> None:
    found = shipped(np.array([[np.inf, 3.0]]), np.zeros(1), np.full(1, 2.0), DAILY, seed=1)
    assert found.tolist() == [[np.inf, 10.0]]


def test_an_order_that_waits_already_has_the_rest_of_its_lag_left() -> None:
    lags, now = np.array([2.0, 4.0, 6.0, 8.0]), np.zeros((1, 4000))
    opens = float(DAILY.reached(np.array([1e-6]))[0])
    fresh, waits = (shipped(now, np.array([ready]), lags, DAILY, seed=1) for ready in (0.0, 5.0))
    # Of lags of six and eight hours one and three are left.
    assert np.unique(np.round(waits - opens, 3)).tolist() == [1, 3]
    assert fresh.mean() - opens == pytest.approx(5, abs=0.2)
    # Parts that come later begin anew.
    later = shipped(now + 9.0, np.array([5.0]), lags, DAILY, seed=1)
    assert np.unique(DAILY.worked_by(later) - DAILY.worked_by(np.array(9.0))).round(6).tolist() == [2, 4, 6, 8]


def test_an_order_leaves_once_its_last_part_is_packed() -> None:
    play = played([(20.0, 0, 4.0), (34.0, 0, 4.0)])
    found = leaves([Asked(0, 8.0, 60.0)], np.zeros(1), play, others([]), np.full(1, 9.0), DAILY, seed=1)
    # Off at 10:00, packed in nine hours of the people there.
    assert found.tolist() == [[2 * 24 + 10.0]]
