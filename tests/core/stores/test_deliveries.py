"""Orders and deliveries told as streams some of which nobody noted: who belongs to whom, and how long they took."""

import math
import random
from itertools import pairwise
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student

from core.epoch import DAY
from core.stores.deliveries import LeadLaw, StockOrder, Story, delivered

SAID = LeadLaw.said(days=7, spread=2)


def told(events: list[tuple[float, str, float]], law: LeadLaw = SAID) -> Story:
    """The likeliest story of (day, what, quantity)."""
    stories = [Story(law)]
    for day, what, quantity in sorted(events):
        at = round(day * DAY)
        if what == "ordered":
            stories = [story.ordered(StockOrder(at, quantity, None)) for story in stories]
        else:
            stories = delivered(stories, quantity, at)
    return stories[0]


def stream(
    seed: int, orders: int, days: float, every: float, lost: float = 0.0, unheard: float = 0.0
) -> list[tuple[float, str, float]]:
    """One piece ordered every so many days; deliveries (or orders) of some are not noted."""
    draw, found = random.Random(seed), []
    for number in range(orders):
        at = every * number + draw.uniform(0, 0.3)
        if draw.random() >= unheard:
            found.append((at, "ordered", 1.0))
        if draw.random() >= lost:
            found.append((at + days * draw.lognormvariate(0, 0.25), "received", 1.0))
    return found


def mean(leads: tuple[float, ...]) -> float:
    return sum(leads) / len(leads)


def test_where_all_is_noted_every_delivery_is_of_the_oldest_order() -> None:
    found = told([(0, "ordered", 10), (4, "ordered", 5), (6, "received", 10), (11, "received", 5)])
    assert (found.open, found.leads) == ((), (6.0, 7.0))


def test_a_delivery_in_parts_leaves_the_rest_to_come() -> None:
    found = told([(0, "ordered", 100), (1, "ordered", 50), (6, "received", 30), (8, "received", 90)])
    assert [order.quantity for order in found.open] == [30]


def usually(days: float, **unnoted: float) -> float:
    """The median, of nine shops that order a piece every five days, of what their deliveries are taken to last."""
    return median(mean(told(stream(seed, orders=60, days=days, every=5, **unnoted)).leads) for seed in range(9))


def test_deliveries_that_nobody_noted_do_not_make_the_others_late() -> None:
    # Taken in turn, the 5 of 60 would make the last ones 25 days late.
    assert usually(6, lost=0.08) == pytest.approx(6, rel=0.1)


def test_orders_that_nobody_noted_do_not_make_the_others_early() -> None:
    assert usually(6, unheard=0.08) == pytest.approx(6, rel=0.1)


@pytest.mark.parametrize("days", [3, 20, 28])
def test_an_owner_who_is_wrong_about_lead_times_is_corrected(days: float) -> None:
    found = median(mean(told(stream(seed, orders=40, days=days, every=7)).leads) for seed in range(9))
    assert found == pytest.approx(days, rel=0.1)


def test_a_delivery_without_an_order_is_of_none() -> None:
    assert told([(0, "received", 5), (1, "ordered", 5)]).open == (StockOrder(DAY, 5, None),)


def test_the_law_is_students_about_what_was_said_and_seen() -> None:
    law = SAID
    for days in (5.0, 9.0, 6.0):
        law = law.after(days)
    assert law.n == 6
    steps = [law.cost(a) - law.cost(b) for a, b in pairwise((4.0, 7.0, 20.0, 90.0))]
    scale = law.sd * (1 + 1 / law.n) ** 0.5
    known = student(df=6, loc=law.mean, scale=scale).logpdf([math.log(d) for d in (4.0, 7.0, 20.0, 90.0)])
    assert steps == pytest.approx([b - a for a, b in pairwise(known)])


def test_an_order_is_overdue_when_one_delivery_in_two_hundred_takes_longer() -> None:
    law = SAID.after(6.0)
    scale = law.sd * (1 + 1 / law.n) ** 0.5
    longest = math.exp(student(df=law.n, loc=law.mean, scale=scale).isf(0.005))
    story, order = Story(law), StockOrder(0, 1.0, None)
    assert not story.overdue(order, round(0.99 * longest * DAY))
    assert story.overdue(order, round(1.01 * longest * DAY))


@given(st.lists(st.floats(0.5, 60), min_size=1, max_size=30))
def test_the_law_has_the_mean_and_variance_of_all_it_was_told(days: list[float]) -> None:

    law = SAID
    for one in days:
        law = law.after(one)
    logs = [math.log(one) for one in days]
    centre = (3 * SAID.mean + sum(logs)) / (3 + len(logs))
    spread = 3 * (SAID.sd**2 + (SAID.mean - centre) ** 2) + sum((v - centre) ** 2 for v in logs)
    assert law.mean == pytest.approx(centre)
    assert law.sd**2 == pytest.approx(spread / (3 + len(logs)))
