"""How much to keep on the shelf: the level at which to order, the level to order up to, and what to order today.

The position is what is on hand and on order. When the shelf is gone through and the position is at min or below,
whole packs are ordered, up to max. Min is such that with the chance `service` the delivery comes before the shelf
cannot serve; a shelf that is just empty when the delivery comes served all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from core.arrays import Flags, Numbers, Rows
from core.statistics.seasons import YEAR
from core.stores.amounts import CLUSTERED, COUNTED, LAST, law, least_stock, together
from core.stores.undershoot import undershoot

#: The grid of an item reaches so many standard deviations beyond what is used in a review and until the delivery, and
#: as far as the lot or so many reviews of it.
REACH, REVIEWS = 5.0, 8.0
#: The most and (of unknown price) the usual weeks of use that are ordered at once: shelves are small, needs change.
MOST_WEEKS, USUAL_WEEKS = 13.0, 4.0


@dataclass(frozen=True)
class StockTimes:
    """Weeks [items] each: a delivery takes `lead`, give or take `spread`; the shelf is gone through each `review`."""

    lead: Numbers
    spread: Numbers
    review: Numbers

    @property
    def bridge(self) -> Numbers:
        """The time from min to the delivery: half a review passes on average before anyone sees it."""
        return np.asarray(self.lead + self.review / 2)


@dataclass(frozen=True)
class Terms:
    """What buying an item means [items] each; NaN for a price or a level of the owner's own that there is not.

    `price` is of one unit, `pack` in units, `least_packs` the supplier's least, `service` the share of deliveries
    before which the item should not run out, `order_cost` that of one more order, `holding` the cost of keeping
    goods a year as a share of their price; `pinned_min` and `pinned_max` are in units.
    """

    price: Numbers
    pack: Numbers
    least_packs: Numbers
    service: Numbers
    order_cost: Numbers
    holding: Numbers
    pinned_min: Numbers
    pinned_max: Numbers


@dataclass(frozen=True)
class Levels:
    """Min and max in units [items], and the law that min rests on."""

    min: Numbers
    max: Numbers
    rule: tuple[str, ...]


def levels(mean: Numbers, sd: Numbers, rate: Numbers, times: StockTimes, terms: Terms) -> Levels:
    """Min and max of each item from its expected use over `times.bridge` and the standard deviation of its error.

    `rate` is the expected use a week. All are [items]. NaN, rule "none", where nothing is known; 0, rule "no use",
    where nothing is used; the owner's own levels hold whatever else is known, rule "pinned" where min is one.
    """
    lot = order_size(rate, terms)
    some: Flags = np.asarray(mean > 0)
    need = _Need(np.where(some, mean, 1.0), np.where(some, sd, 1.0), times, lot, terms.pack)
    rule = np.select(
        [~np.isnan(terms.pinned_min), np.isnan(mean), ~some, ~need.pieces, ~need.clustered],
        ["pinned", "none", "no use", "gamma", "poisson"], "negative binomial",
    )  # fmt: skip
    low = np.where(some, need.least(terms.service), np.where(np.isnan(mean), np.nan, 0.0))
    low = np.where(np.isnan(terms.pinned_min), low, terms.pinned_min)
    high = np.where(rule == "no use", low, low + lot)
    high = np.where(np.isnan(terms.pinned_max), high, terms.pinned_max)
    # A max of the owner's own leaves room for one unit below it, or nothing would ever be ordered.
    low = np.where(np.isnan(terms.pinned_min) & (low >= high) & (rule != "no use"), np.maximum(high - 1, 0), low)
    return Levels(low, high, tuple(str(name) for name in rule))


@dataclass(frozen=True)
class _Need:
    """What min must last for [items]: what is below it at the review at which it is ordered, and what is used until
    the delivery comes, each on a grid. Use has the same mean and variance in equal times, `mean` and `sd` over
    `times.bridge`.
    """

    mean: Numbers
    sd: Numbers
    times: StockTimes
    lot: Numbers
    pack: Numbers

    @cached_property
    def between(self) -> tuple[Numbers, Numbers]:
        """Mean and standard deviation of the use between two reviews."""
        part = self.times.review / self.times.bridge
        return self.mean * part, self.sd * np.sqrt(part)

    @cached_property
    def until(self) -> tuple[Numbers, Numbers]:
        """The same of the use until the delivery."""
        part = self.times.lead / self.times.bridge
        late = self.mean * self.times.spread / self.times.bridge
        return self.mean * part, np.sqrt(self.sd**2 * part + late**2)

    @cached_property
    def clustered(self) -> Flags:
        """Where a Poisson law does not do."""
        mean, sd = self.until
        return np.asarray(sd**2 >= CLUSTERED * mean)

    @cached_property
    def span(self) -> Numbers:
        """As far as the grid goes, in units."""
        need = self.between[0] + self.until[0] + REACH * np.hypot(self.between[1], self.until[1])
        return np.asarray(np.maximum(need, np.minimum(self.lot, REVIEWS * self.between[0])))

    @cached_property
    def pieces(self) -> Flags:
        """Where single pieces are counted: a cell is one."""
        return np.asarray((self.between[0] + self.until[0] < COUNTED) & (self.span <= LAST))

    @cached_property
    def step(self) -> Numbers:
        """Units of a cell: one, or so many that the grid reaches far enough and a pack is whole cells."""
        least = np.maximum(self.span / LAST, 1.0)
        packs = np.floor(np.maximum(self.pack / least, 1.0))
        return np.where((least > 1) & (self.pack > least), self.pack / packs, least)

    def least(self, service: Numbers) -> Numbers:
        """The least min that serves."""
        use = law(*self.between, self.step, self.pieces)
        below = undershoot(use, self._cells(self.near), self._cells(self.pack), self.step == 1)
        until = law(*self.until, self.step, self.pieces)
        return least_stock(together(below, until), self.step, service)

    @property
    def near(self) -> Numbers:
        """The lot, or what is left of one too long for the grid after some of its reviews: that far from min all that
        counts is at which part of a review min is passed.
        """
        reviews = np.ceil(np.maximum(self.lot - LAST * self.step, 0) / self.between[0])
        return np.asarray(self.lot - reviews * self.between[0])

    def _cells(self, units: Numbers) -> Rows:
        return np.asarray(np.clip(np.round(units / self.step), 1, None), np.int64)


def eoq(order_cost: Numbers, holding_cost: Numbers, rate: Numbers) -> Numbers:
    """The order for which ordering and keeping cost least together (Harris, Factory 10 (1913) 135-136).

    `order_cost` an order, `holding_cost` a unit and time, `rate` units a time.
    """
    return np.asarray(np.sqrt(2 * order_cost * rate / holding_cost))


def order_size(rate: Numbers, terms: Terms) -> Numbers:
    """Units to order at once [items]: `eoq` in whole packs, the supplier's least or more, at most for `MOST_WEEKS`.

    Where there is no price `USUAL_WEEKS` of use.
    """
    cheapest = eoq(terms.order_cost, terms.holding * np.where(terms.price > 0, terms.price, np.nan), rate * YEAR)
    wanted = np.where(np.isnan(cheapest), USUAL_WEEKS * rate, np.minimum(cheapest, MOST_WEEKS * rate))
    return np.asarray(np.fmax(np.round(wanted / terms.pack), terms.least_packs) * terms.pack)


def to_order(position: Numbers, found: Levels, terms: Terms) -> Numbers:
    """Packs to order now [items]: none while the position is above min, else as many as fit below max.

    More where the supplier's least, or getting above min, asks for it; none where the levels are not known.
    """
    fit = np.floor((found.max - position) / terms.pack + 1e-9)
    above = np.floor((found.min - position) / terms.pack + 1e-9) + 1
    packs = np.maximum(np.maximum(fit, above), terms.least_packs)
    return np.asarray(np.where((position <= found.min) & (found.max > found.min), packs, 0.0))


def weeks_left(position: Numbers, low: Numbers, weekly: Numbers) -> Numbers:
    """Weeks until the position is expected to reach min [items], given the use of the weeks to come [items, ahead].

    0 where it has; inf where the weeks told do not get there; NaN where nothing is known.
    """
    spare = position - low
    run = np.pad(np.cumsum(weekly, axis=1), ((0, 0), (1, 0)))
    passed = run >= spare[:, None]
    week = np.argmax(passed, axis=1)
    row = np.arange(len(weekly))
    before = row, np.maximum(week - 1, 0)
    part = np.where(week > 0, (spare - run[before]) / np.where(weekly[before] > 0, weekly[before], 1.0), 0.0)
    left = np.where(passed.any(axis=1), np.maximum(week - 1, 0) + part, np.inf)
    return np.asarray(np.where(np.isnan(spare) | np.isnan(weekly).any(axis=1), np.nan, left))
