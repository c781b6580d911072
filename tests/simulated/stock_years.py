"""Years of an invented shelf: levels found week by week from what was used till then, against the best in hindsight.

`python -m tests.simulated.stock_years` prints the full measurement.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from core.statistics.forecasts import forecast
from core.stores.stocking import Levels, StockTimes, Terms, levels, to_order

Numbers = npt.NDArray[np.float64]
REVIEW, LEARNT, RUN = 7, 104, 52
DAYS = (LEARNT + RUN) * 7
KINDS = ("fast", "slow", "intermittent")


@dataclass(frozen=True)
class Shelf:
    """Items with what is used of each every day [items, days], and how long an order of each day takes in days."""

    kind: npt.NDArray[np.str_]
    used: Numbers
    takes: npt.NDArray[np.int64]
    times: StockTimes
    terms: Terms

    @property
    def weekly(self) -> Numbers:
        return np.asarray(self.used.reshape(len(self.used), -1, 7).sum(axis=2))


def shelf(items: int, seed: int) -> Shelf:
    """Growth of -10 to +60 % a year, a spring half as busy again and more, and use that comes in clusters."""
    rng = np.random.default_rng(seed)
    kind = rng.choice(KINDS, items, p=[0.5, 0.25, 0.25])
    fast, slow, rare = np.exp(rng.uniform(0.7, 3.5, items)), rng.uniform(0.1, 0.7, items), rng.uniform(0.15, 0.6, items)
    base = np.select([kind == "fast", kind == "slow"], [fast, slow], rare)
    mean = base[:, None] * _course(rng, items)
    used = _clustered(rng, mean, kind)
    lead = rng.uniform(3, 21, items)
    spread = lead * rng.uniform(0.1, 0.35, items)
    takes = np.maximum(np.round(rng.gamma((lead / spread)[:, None] ** 2, (spread**2 / lead)[:, None], mean.shape)), 1)
    yearly = 365 * mean[:, -RUN * 7 :].mean(axis=1)
    return Shelf(kind, used, takes.astype(np.int64), _times(lead, spread), _terms(rng, yearly))


def _course(rng: np.random.Generator, items: int) -> Numbers:
    """What a day's mean is of the mean of the first [items, days]."""
    year = np.arange(DAYS) / 365.25
    deep = rng.uniform(0.35, 0.7, (items, 1))
    season = np.exp(deep * np.cos(2 * np.pi * (year - 0.3)) + 0.3 * deep * np.cos(4 * np.pi * (year - 0.27)))
    return np.asarray((1 + rng.uniform(-0.1, 0.6, (items, 1))) ** year * season)


def _clustered(rng: np.random.Generator, mean: Numbers, kind: npt.NDArray[np.str_]) -> Numbers:
    """Negative binomial use; intermittent use comes on a tenth of the days or fewer."""
    daily = rng.negative_binomial(2.0, 2.0 / (2.0 + mean)).astype(float)
    size = rng.uniform(3, 6, (len(mean), 1))
    rare = (rng.random(mean.shape) < mean / size) * rng.geometric(1 / size, mean.shape)
    single = rng.poisson(mean)
    return np.asarray(np.select([(kind == "fast")[:, None], (kind == "slow")[:, None]], [daily, single], rare))


def _times(lead: Numbers, spread: Numbers) -> StockTimes:
    return StockTimes(lead / 7, spread / 7, np.full(len(lead), REVIEW / 7))


def _terms(rng: np.random.Generator, yearly: Numbers) -> Terms:
    """Prices at which some two to eight weeks of use are bought at once."""
    items, weeks = len(yearly), rng.uniform(2, 8, len(yearly))
    lot = yearly * weeks / 52
    same, none = np.ones(items), np.full(items, np.nan)
    pack = np.maximum(np.round(lot / rng.uniform(2, 6, items)), 1)
    price = 2 * 10 * yearly / (0.25 * lot**2)
    return Terms(price, pack, same, rng.choice([0.90, 0.95, 0.98], items), 10 * same, 0.25 * same, none, none)


@dataclass(frozen=True)
class Outcome:
    """Of each policy and item [policies, items]: deliveries, those too late, orders, and the mean stock on hand."""

    deliveries: Numbers
    late: Numbers
    orders: Numbers
    stock: Numbers


def run(of: Shelf, found: Callable[[int], Levels], policies: int = 1) -> Outcome:
    """The last year under the levels [policies, items] that `found` gives in each week; what is short is owed."""
    size = (policies, len(of.used))
    on_hand = np.broadcast_to(found(LEARNT).max, size).astype(float)
    coming, short = np.zeros((*size, DAYS + 200)), np.zeros(size, bool)
    on_order, deliveries, late, orders, stock = (np.zeros(size) for _ in range(5))
    row, item = np.indices(size)
    for day in range(LEARNT * 7, DAYS):
        came = coming[..., day]
        deliveries += came > 0
        late += (came > 0) & short
        short &= came == 0
        on_hand, on_order = on_hand + came, on_order - came
        if day % REVIEW == 0:
            units = to_order(on_hand + on_order, found(day // 7), of.terms) * of.terms.pack
            coming[row, item, day + of.takes[item, day]] += units
            on_order, orders = on_order + units, orders + (units > 0)
        on_hand = on_hand - of.used[:, day]
        short |= on_hand < 0
        stock += np.maximum(on_hand, 0)
    return Outcome(deliveries, late, orders, stock / (RUN * 7))


def learnt(of: Shelf) -> Callable[[int], Levels]:
    """The levels that the weeks before one give."""

    def found(week: int) -> Levels:
        said = forecast(of.weekly[:, :week], of.times.bridge, np.zeros(len(of.used), np.int64), 8)
        return levels(said.total, said.sd, said.weekly[:, :4].mean(axis=1), of.times, of.terms)

    return found


def hindsight(of: Shelf, kept: Outcome) -> Numbers:
    """The least mean stock [items] of one min and max for the year that is late no more often, with no more orders."""
    rate = of.used[:, -RUN * 7 :].mean(axis=1)
    most = rate * 7 * (of.times.bridge + 1) * 3 + 12
    lot = rate * 7 * RUN / np.maximum(kept.orders[0], 1)
    low, many = (grid.reshape(-1, 1) for grid in np.meshgrid(np.linspace(0, 1, 50), [0.8, 0.9, 1.0, 1.15, 1.4, 1.8]))
    mins = np.round(low * most)
    pairs = Levels(mins, mins + np.maximum(np.round(many * lot / of.terms.pack), 1) * of.terms.pack, ())
    tried = run(of, lambda _: pairs, len(mins))
    share = tried.late / np.maximum(tried.deliveries, 1)
    good = (share <= kept.late / np.maximum(kept.deliveries, 1) + 1e-9) & (tried.orders <= kept.orders)
    return np.asarray(np.where(good, tried.stock, np.inf).min(axis=0))


@dataclass(frozen=True)
class Judged:
    """Deliveries [items] and those that came in time, those that should have, and money in stock: kept and least."""

    kind: npt.NDArray[np.str_]
    service: Numbers
    deliveries: Numbers
    in_time: Numbers
    kept: Numbers
    least: Numbers

    def share(self, at: npt.NDArray[np.bool_]) -> tuple[float, float, int]:
        """The share in time, the share set, and of how many deliveries."""
        count = self.deliveries[at].sum()
        return self.in_time[at].sum() / count, (self.service * self.deliveries)[at].sum() / count, int(count)


def judged(items: int, seed: int) -> Judged:
    """One shelf, its levels and the best in hindsight."""
    of = shelf(items, seed)
    kept = run(of, learnt(of))
    money = of.terms.price * kept.stock[0]
    least = of.terms.price * hindsight(of, kept)
    got = kept.deliveries[0]
    return Judged(of.kind, of.terms.service, got, got - kept.late[0], money, least)


def together(parts: list[Judged]) -> Judged:
    return Judged(*(np.concatenate([getattr(p, name) for p in parts]) for name in Judged.__dataclass_fields__))


def main() -> None:
    """Print what thirty shelves of thirty items come to."""
    found = together([judged(30, seed) for seed in range(100, 130)])
    groups = {"all": np.ones(len(found.kind), bool)}
    groups |= {kind: found.kind == kind for kind in KINDS}
    groups |= {f"service {s:g}": found.service == s for s in (0.90, 0.95, 0.98)}
    for name, at in groups.items():
        share, should, count = found.share(at)
        fair = at & np.isfinite(found.least)
        more = found.kept[fair].sum() / found.least[fair].sum()
        line = f"{name:14} in time {share:.3f} of {should:.3f} set, {count} deliveries; stock {more:.3f} of the least"
        sys.stdout.write(f"{line} in hindsight ({(at & ~fair).sum()} items without)\n")


if __name__ == "__main__":
    main()
