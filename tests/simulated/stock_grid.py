"""How often deliveries come in time under the levels of one item, over a grid of lots, leads, reviews, rates and laws.

`python -m tests.simulated.stock_grid [CASES] [SEED]` prints the full measurement. The law of the use is known here, or
its mean as well as eight weeks tell it: what is judged is the step from there to min alone, where `stock_years` judges
the whole way from the weeks of the past. A lot that lasts about a whole number of reviews is what levels find hardest:
then min is passed shortly before a review, or shortly after one.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product, starmap

import numpy as np
import numpy.typing as npt

from core.stores.stocking import StockTimes, Terms, levels

Numbers = npt.NDArray[np.float64]
#: The shelf is played in quarters of a day.
STEPS = 4
#: Orders of a case that are waited for, and shops side by side.
ORDERS, SHOPS = 8000, 200

LOTS = (0.4, 1.0, 1.15, 1.5, 2.0, 2.15, 3.1, 4.0, 8.0)
PACKS = (0.0, 1 / 7, 0.5, 1.0)
LEADS = (2.0, 5.0, 14.0, 30.0)
SPREADS = (0.0, 0.2, 0.4)
REVIEWS = (1.0, 7.0, 14.0, 28.0)
RATES = (0.3, 3.0, 20.0, 70.0, 2000.0)
SERVICES = (0.90, 0.95, 0.98)
#: Weeks that the mean is learned of: the rate is known, or wrong by what so many weeks leave open, a quarter at most.
WEEKS = (np.inf, 8.0)
MOST_WRONG = 0.25


@dataclass(frozen=True)
class Steady:
    """Use that is measured rather than counted: of a week a tenth more or less, in the course of a day any amount."""

    apart: float

    def variance(self, weekly: float) -> float:
        """Of the use of a week."""
        return (self.apart * weekly) ** 2

    def used(self, rng: np.random.Generator, weekly: Numbers, size: tuple[int, int]) -> Numbers:
        """In each step [shops, steps]."""
        return rng.gamma(1 / self.apart**2 / (7 * STEPS), self.apart**2 * weekly, size)


@dataclass(frozen=True)
class Singly:
    """Pieces used one by one."""

    def variance(self, weekly: float) -> float:
        """Of the use of a week."""
        return weekly

    def used(self, rng: np.random.Generator, weekly: Numbers, size: tuple[int, int]) -> Numbers:
        """In each step [shops, steps]."""
        return rng.poisson(weekly / (7 * STEPS), size).astype(float)


@dataclass(frozen=True)
class Batches:
    """Jobs that come one by one, of which each uses so many pieces on average, most of them few."""

    size: float

    def variance(self, weekly: float) -> float:
        """Of the use of a week: of a job the mean of the square is `size` * (2 * `size` - 1)."""
        return weekly * (2 * self.size - 1)

    def used(self, rng: np.random.Generator, weekly: Numbers, size: tuple[int, int]) -> Numbers:
        """In each step [shops, steps]; the pieces beyond one a job are negative binomial."""
        jobs = rng.poisson(weekly / self.size / (7 * STEPS), size)
        return np.asarray(jobs + np.where(jobs > 0, rng.negative_binomial(np.maximum(jobs, 1), 1 / self.size), 0.0))


USES: dict[str, Steady | Singly | Batches] = {
    "even": Steady(0.02), "steady": Steady(0.1), "singly": Singly(), "pairs": Batches(2.0), "batches": Batches(5.0)
}  # fmt: skip
LEAST_RATES = {"even": 70.0, "steady": 70.0, "singly": 0.0, "pairs": 0.0, "batches": 3.0}


@dataclass(frozen=True)
class Case:
    """One item: `lot` in reviews of use, `pack` as a part of the lot, `lead` and `review` in days, `rate` a week."""

    use: str
    rate: float
    lot: float
    pack: float
    lead: float
    spread: float
    review: float
    service: float
    weeks: float = np.inf

    @property
    def variance(self) -> float:
        """Of the use of a week."""
        return USES[self.use].variance(self.rate)

    @property
    def wrong(self) -> float:
        """How far off the rate may be, as a share."""
        return float(np.sqrt(self.variance / self.weeks) / self.rate)

    @property
    def bought(self) -> tuple[int, int]:
        """Units of a pack, and of a lot of whole packs."""
        wanted = self.lot * self.rate * self.review / 7
        pack = max(round(self.pack * wanted), 1)
        return pack, pack * max(round(wanted / pack), 1)

    def levels(self, lead: float, spread: float) -> tuple[float, float]:
        """Min and max as the app finds them where deliveries take so many days, give or take `spread`; the price is
        one at which such lots are bought.
        """
        times = StockTimes(*(np.array([days / 7]) for days in (lead, spread, self.review)))
        pack, lot = self.bought
        price = 2 * 10 * self.rate * 365.25 / 7 / (0.25 * lot**2)
        numbers = (price, pack, 1, self.service, 10, 0.25, np.nan, np.nan)
        mean, variance = self.rate * times.bridge, self.variance * times.bridge * (1 + times.bridge / self.weeks)
        terms = Terms(*(np.array([float(number)]) for number in numbers))
        found = levels(mean, np.sqrt(variance), np.array([self.rate]), times, terms)
        return float(found.min[0]), float(found.max[0])


@dataclass(frozen=True)
class Served:
    """The share of deliveries before which the shelf was not out, of how many, and its standard error; the days they
    took, and how far those were apart, each counted from the oldest order still open, as people count them.
    """

    share: float
    deliveries: int
    doubt: float
    lead: float
    spread: float


def played(case: Case, low: float, high: float, seed: int) -> Served:
    """Shops side by side that keep to these levels; what is short is owed."""
    rng = np.random.default_rng(seed)
    pack, every = case.bought[0], round(case.review * STEPS)
    cycle = max((high - low) / case.rate * 7, case.review)
    # All is on the shelf when a run begins: until the first orders have long come nothing is judged.
    since = round(3 * (case.lead * (1 + 2 * case.spread) + cycle) * STEPS)
    steps = since + round(max(ORDERS / SHOPS * cycle, case.lead) * STEPS)
    rates = case.rate * _gamma(rng, case.wrong, SHOPS)
    used = np.cumsum(USES[case.use].used(rng, rates[:, None], (SHOPS, steps)), axis=1)
    used = np.pad(used, ((0, 0), (1, 0)))
    first = low + rng.integers(1, max(round(high - low), 1) + 1, SHOPS)
    came, ordered = np.zeros((SHOPS, steps + 1)), np.zeros(SHOPS)
    orders = []
    for step in range(0, steps + 1, every):
        position = first + ordered - used[:, step]
        leads = case.lead * _gamma(rng, case.spread, SHOPS)
        packs = np.where(position <= low, np.maximum(np.floor((high - position) / pack + 1e-9), 1), 0.0)
        arrives = step + np.maximum(np.round(leads * STEPS), 1).astype(int)
        orders.append(np.where(packs > 0, [np.full(SHOPS, step), arrives], np.inf))
        there = (packs > 0) & (arrives <= steps)
        came[np.nonzero(there)[0], arrives[there]] += packs[there] * pack
        ordered += packs * pack
    before = first[:, None] + np.cumsum(came, axis=1) - came - used
    delivered = (came > 0) & (np.arange(steps + 1) > since)
    ordered_at, arrived = np.sort(orders, axis=0).transpose(1, 0, 2)
    # Orders from the middle of the run, for the first and last have fewer beside them to be overtaken by.
    middle = (ordered_at > steps / 3) & (ordered_at < steps * 2 / 3)
    days = (arrived[middle] - ordered_at[middle]) / STEPS
    count, in_time = delivered.sum(axis=1), (delivered & (before >= -1e-9)).sum(axis=1)
    share = in_time.sum() / count.sum()
    # What a shop is wrong about it is wrong about all along: shops, not deliveries, are independent.
    doubt = np.sqrt(((in_time - share * count) ** 2).sum()) / count.sum()
    return Served(float(share), int(count.sum()), float(doubt), float(days.mean()), float(days.std()))


def _gamma(rng: np.random.Generator, apart: float, size: int) -> Numbers:
    """One, give or take so much; exactly one if nothing."""
    return rng.gamma(apart**-2, apart**2, size) if apart else np.ones(size)


def grid() -> Iterator[Case]:
    """Every case that makes sense: a lot of a piece or more, and not for longer than anybody buys.

    What is measured is used in quantity, and jobs come once in a month or more: levels go by mean and variance, and
    where hardly a job ever comes all hangs on the law of one.
    """
    for case in starmap(Case, product(USES, RATES, LOTS, PACKS, LEADS, SPREADS, REVIEWS, SERVICES, WEEKS)):
        weeks = case.lot * case.review / 7
        if case.rate >= LEAST_RATES[case.use] and 0.7 / case.rate < weeks < 13 and case.wrong < MOST_WRONG:
            yield case


def drawn(cases: int, seed: int) -> list[Case]:
    """So many of the grid."""
    every = list(grid())
    return [every[i] for i in np.random.default_rng(seed).choice(len(every), min(cases, len(every)), replace=False)]


#: The failing that the grid grew from: weekly review, 70 a week, lead 5 +- 1 days, packs of 10.
KNOWN = [Case("singly", 70.0, packs / 7, 1 / packs, 5.0, 0.2, 7.0, 0.95) for packs in (7, 8, 14, 15, 21, 22)]


@dataclass(frozen=True)
class Judged:
    """A case, how its levels serve, and how a min lower by one piece would."""

    case: Case
    min: float
    served: Served
    less: Served

    @property
    def off(self) -> float:
        """By how much service is off: too little, or more than it need be for whole pieces; beyond two errors."""
        doubt = 2 * self.served.doubt
        below, above = self.case.service - self.served.share, self.less.share - self.case.service
        return max(below - doubt, 0.0) - max(above - doubt, 0.0)


def judged(case: Case, seed: int = 0) -> Judged:
    """One case played with its levels and with one piece less.

    Orders close to each other overtake one another: then people see lead times less far apart than they are, and
    learn these.
    """
    lead, spread = case.lead, case.lead * case.spread
    if spread:
        seen = played(case, *case.levels(lead, spread), seed)
        lead, spread = seen.lead, seen.spread
    low, high = case.levels(lead, spread)
    return Judged(case, low, played(case, low, high, seed), played(case, low - 1, high - 1, seed))


def main(cases: int = 400, first: int = 1) -> None:
    """Print the known cases, what the grid comes to, and its worst."""
    for one in map(judged, KNOWN):
        sys.stdout.write(f"{_line(one)}\n")
    found = [judged(case, seed) for seed, case in enumerate(drawn(cases, first))]
    for weeks in WEEKS:
        off = np.array([one.off for one in found if one.case.weeks == weeks])
        sys.stdout.write(
            f"rate known from {weeks:g} weeks, {len(off)} cases: {np.mean(off > 0.02):.1%} serve 2 points too little, "
            f"{np.mean(off < -0.02):.1%} 2 points more than they need; the worst by {100 * off.max():.1f} and "
            f"{-100 * off.min():.1f} points\n"
        )
    off = np.array([one.off for one in found])
    for place in np.argsort(-np.abs(off))[:25]:
        sys.stdout.write(f"{_line(found[place])}\n")


def _line(one: Judged) -> str:
    served = f"{one.served.share:.3f} of {one.case.service:g} set ({one.less.share:.3f} with one piece less)"
    return f"{100 * one.off:+5.1f} points: {served}, {one.served.deliveries} deliveries, min {one.min:g}: {one.case}"


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
