"""How much to keep on the shelf: the level at which to order, the level to order up to, and what to order today.

The position is what is on hand and on order. When the shelf is gone through and the position is at min or below,
whole packs are ordered, up to max. Min is such that with the chance `service` the delivery comes before the shelf
cannot serve; a shelf that is just empty when the delivery comes served all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, gammaincinv, pdtrc
from scipy.stats import nbinom, poisson

from core.arrays import Numbers
from core.statistics.seasons import YEAR

#: Units below which single pieces matter: counted one by one rather than measured.
COUNTED = 20.0
#: A variance this many times the mean or more is no Poisson law's.
CLUSTERED = 1.05
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
    need, apart = _need(mean, sd, rate, lot, times)
    rule = np.select(
        [~np.isnan(terms.pinned_min), np.isnan(need), need <= 0, need >= COUNTED, apart**2 < CLUSTERED * need],
        ["pinned", "none", "no use", "gamma", "poisson"], "negative binomial",
    )  # fmt: skip
    low = np.where(np.isnan(terms.pinned_min), least_stock(need, apart, terms.service), terms.pinned_min)
    high = np.where(rule == "no use", low, low + lot)
    high = np.where(np.isnan(terms.pinned_max), high, terms.pinned_max)
    # A max of the owner's own leaves room for one unit below it, or nothing would ever be ordered.
    low = np.where(np.isnan(terms.pinned_min) & (low >= high) & (rule != "no use"), np.maximum(high - 1, 0), low)
    return Levels(low, high, tuple(str(name) for name in rule))


def _need(mean: Numbers, sd: Numbers, rate: Numbers, lot: Numbers, times: StockTimes) -> tuple[Numbers, Numbers]:
    """Mean and standard deviation of what is used between min and the delivery.

    Min is passed at any moment between two reviews, and by the more the more demand comes in clusters: the excess
    of a renewal process (Tijms and Groenevelt, Eur. J. Operational Research 17 (1984) 175-190). A lot that lasts
    less than a review is ordered at each: then nearly the whole interval must be bridged.
    """
    lasts = np.divide(lot, rate, out=np.full_like(lot, np.inf), where=rate > 0)
    turns = lasts / times.review
    more = times.review * np.maximum(0.5 - turns, 0)
    waits = (times.review * np.minimum(1, 2 * turns)) ** 2 / 12 + times.spread**2
    # A single unit passes min by nothing.
    cluster = np.maximum(np.divide(sd**2, mean, out=np.ones_like(sd), where=mean > 0) - 1, 0)
    variance = sd**2 * (1 + more / times.bridge) + rate**2 * waits + 5 / 12 * cluster**2
    return mean + rate * more + cluster / 2, np.sqrt(variance)


def least_stock(mean: Numbers, sd: Numbers, service: Numbers) -> Numbers:
    """The least stock [items] that demand with this mean and standard deviation exceeds with at most 1 - service.

    Few units are counted: a Poisson law, or a negative binomial where demand comes in clusters. Many follow a gamma
    law, which is skewed like demand and never below none. Whole units either way.
    """
    mean, sd, service = np.broadcast_arrays(mean, sd, service)
    found = np.where(np.isnan(mean), np.nan, 0.0)
    many, clustered = mean >= COUNTED, sd**2 >= CLUSTERED * mean
    few = (mean > 0) & ~many
    at = many & (sd > 0)
    scale = sd[at] ** 2 / mean[at]
    found[many] = mean[many]
    found[at] = np.ceil(gammaincinv(mean[at] / scale, service[at]) * scale - 1e-9)
    at = few & ~clustered
    found[at] = poisson.ppf(service[at], mean[at])
    at = few & clustered
    share = mean[at] / sd[at] ** 2
    found[at] = nbinom.ppf(service[at], mean[at] * share / (1 - share), share)
    return found


def chance_short(have: Numbers, mean: Numbers, sd: Numbers) -> Numbers:
    """The chance [items] that demand with this mean and standard deviation exceeds `have`: laws as `least_stock`."""
    have, mean, sd = np.broadcast_arrays(have, mean, sd)
    found = np.where(np.isnan(mean), np.nan, (mean > have).astype(float))
    clustered = sd**2 >= CLUSTERED * mean
    few = (mean > 0) & (mean < COUNTED)
    at = (mean >= COUNTED) & (sd > 0)
    scale = sd[at] ** 2 / mean[at]
    found[at] = gammaincc(mean[at] / scale, np.maximum(have[at], 0) / scale)
    at = few & ~clustered
    found[at] = pdtrc(np.floor(np.maximum(have[at], 0)), mean[at])
    at = few & clustered
    share = mean[at] / sd[at] ** 2
    found[at] = nbinom.sf(have[at], mean[at] * share / (1 - share), share)
    return np.asarray(np.where(have < 0, 1.0, found))


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
