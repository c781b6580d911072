"""Which delivery was of which order, where some orders and some deliveries were never noted.

A delivery settles the oldest orders first. An unnoted one would leave its order open for ever and make every later
delivery seem late, so several stories are told side by side: an older order may have come unnoted, a delivery may be
of no noted order, each at the price of being rare. What a delivery takes is learned along each story, and the
likeliest one holds (a beam search over marginal likelihoods, conjugate normal law of the logarithm of days).
Where orders follow each other faster than deliveries take, this may be off by one order and its lead time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scipy.special import stdtrit

from core.epoch import DAY

#: What the owner says of lead times is worth so many deliveries.
LEAD_PRIOR = 3.0
#: The share of deliveries that nobody notes, and how many come a day of orders that nobody noted (no source).
UNNOTED, STRAY = 0.06, 0.01
#: Stories told side by side, how much less likely than the best they may be, and orders a delivery may pass over.
STORIES, UNLIKELY, PASSED = 4, math.log(1000), 2
#: An order so unlikely to be still to come, were it not noted, has come: the share of deliveries that take longer.
TOO_LONG = 0.005
#: The shortest a delivery is taken to last, days.
SOONEST = 0.25


@dataclass(frozen=True, slots=True)
class StockOrder:
    """What is still to come of an order."""

    at: int
    quantity: float
    expected: int | None


@dataclass(frozen=True, slots=True)
class LeadLaw:
    """Days from an order to its delivery: their logarithm is normal, of `mean` and `sd`, known from `n` deliveries."""

    n: float
    mean: float
    sd: float

    @classmethod
    def said(cls, days: float, spread: float) -> LeadLaw:
        """What the owner says of it."""
        return cls(LEAD_PRIOR, math.log(max(days, SOONEST)), max(spread / max(days, SOONEST), 0.1))

    def distance(self, days: float) -> float:
        """How many scales of the predictive law away so many days are."""
        return (math.log(max(days, SOONEST)) - self.mean) / (self.sd * math.sqrt(1 + 1 / self.n))

    def cost(self, days: float) -> float:
        """Minus the logarithm of the predictive density of the logarithm (Student's law), but for a constant."""
        rare = (self.n + 1) / 2 * math.log1p(self.distance(days) ** 2 / self.n)
        return math.log(self.sd) + math.log1p(1 / self.n) / 2 + rare

    def after(self, days: float) -> LeadLaw:
        """The law with one more delivery."""
        n, away = self.n + 1, math.log(max(days, SOONEST)) - self.mean
        variance = (self.n * self.sd**2 + away**2 * self.n / n) / n
        return LeadLaw(n, self.mean + away / n, math.sqrt(variance))


@dataclass(frozen=True, slots=True)
class Story:
    """One way in which orders and deliveries belong together: orders still to come, days deliveries took."""

    law: LeadLaw
    open: tuple[StockOrder, ...] = ()
    leads: tuple[float, ...] = ()
    cost: float = 0.0

    def ordered(self, order: StockOrder) -> Story:
        """One more order."""
        return replace(self, open=(*self.open, order))

    def came_unnoted(self, orders: int, cost: float = 0.0) -> Story:
        """The oldest orders came, and nobody noted it."""
        return replace(self, open=self.open[orders:], cost=self.cost + cost)

    def overdue(self, order: StockOrder, at: int) -> bool:
        """Whether an order would have come by now, were it noted."""
        days = (at - order.at) / DAY
        return bool(self.law.distance(days) > stdtrit(self.law.n, 1 - TOO_LONG))

    def settled(self, quantity: float, at: int) -> Story:
        """A delivery of the oldest orders, the last perhaps in part."""
        law, leads, cost, rest = self.law, list(self.leads), self.cost, list(self.open)
        while quantity > 0 and rest:
            order = rest.pop(0)
            days = (at - order.at) / DAY
            cost += law.cost(days)
            law = law.after(days)
            leads.append(days)
            if order.quantity > quantity:
                rest.insert(0, replace(order, quantity=order.quantity - quantity))
            quantity -= order.quantity
        return Story(law, tuple(rest), tuple(leads), cost)


def delivered(stories: Sequence[Story], quantity: float, at: int) -> list[Story]:
    """The stories after a delivery, likeliest first."""
    if len(stories) == 1 and len(stories[0].open) < 2:
        return [stories[0].settled(quantity, at)]
    rare, stray = -math.log(UNNOTED), -math.log(STRAY)
    found: dict[tuple[StockOrder, ...], Story] = {}
    for story in stories:
        passing = range(min(PASSED + 1, len(story.open)))
        ways = [story.came_unnoted(passed, passed * rare).settled(quantity, at) for passed in passing]
        # A delivery of an order that nobody noted.
        ways.append(replace(story, cost=story.cost + (stray if story.open else 0.0)))
        for way in ways:
            if way.open not in found or way.cost < found[way.open].cost:
                found[way.open] = way
    best = sorted(found.values(), key=lambda story: story.cost)[:STORIES]
    return [story for story in best if story.cost < best[0].cost + UNLIKELY]
