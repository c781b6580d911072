"""Which machine of a group fails more often than the others, looked at again and again without crying wolf.

Files have rates of their own: a failure of a file says something of a machine only beside the other machines that
printed it. Assumed is that a machine has one factor for all it prints, and that a failure does not bring the next. If
all machines have one factor, which of them the next failure of a file hits is drawn by the hours they printed of it
alone, whatever the file's rate is and however it changes with the season: given the failures of each file at each look,
those of one machine are sums of binomials (Przyborowski and Wilenski, Biometrika 31 (1940) 313-323; by strata: Gart,
Biometrika 57 (1970) 471-475, from memory). This is observed against expected, as in indirect standardisation (Breslow
and Day, Statistical Methods in Cancer Research II (1987) 65-79, from memory), but no file's rate is ever estimated, so
none that is badly known can accuse anybody. What one machine alone printed tells nothing, since file and machine cannot
be told apart there.

The limit of a machine at each look is set so that the chance ever to reach one, for any machine at any look, stays
below `false_alarms` (alpha spending: Lan and DeMets, Biometrika 70 (1983) 659-663), exactly for counts, shared evenly
over the machines (Holm, Scand. J. Stat. 6 (1979) 65-70: those named are left out and the rest share anew).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, reduce

import numpy as np
from scipy.optimize import brentq
from scipy.special import roots_hermitenorm
from scipy.stats import binom

from core.arrays import Flags, Numbers, Rows
from core.estimate import HIGH, LOW, Estimate
from core.statistics.ranges import poisson_range

#: Until so many looks have passed this share of the false alarms allowed is spent, most of it on the last of them; the
#: rest is never used up. Spent evenly over a year, a machine three times worse would be named in 12 weeks one time in
#: ten less.
SOON, SPENT_SOON = 12, 0.8
#: From then on to the end of a year of looks this share is spent on machines that turned bad meanwhile, by a sum kept
#: in so many steps of a failure.
SPENT_LATELY, YEAR, STEPS = 0.15, 52, 4
#: Nobody is named who did not fail so many times, and so many times as often as the others: machines of one kind
#: differ a little, and in a long watch every difference becomes more than chance.
FEWEST, WORSE = 3, 2.0
#: So many rates stand for all that like machines may have.
NODES = 7
#: A chance that is left out.
NOTHING = 1e-15
#: No rate is so many times another (its logarithm).
FAR = 50.0


@dataclass(frozen=True)
class Compared:
    """A machine beside those of its group that are not named: `failures` in `hours` printed. `mine` are its failures of
    each file, `others` theirs, and `odds` its hours of each by theirs; of files that it and others printed alone.
    """

    failures: int
    hours: float
    mine: Rows = field(repr=False, compare=False)
    others: Rows = field(repr=False, compare=False)
    odds: Numbers = field(repr=False, compare=False)

    @cached_property
    def times(self) -> Estimate | None:
        """How many times as often as the others it fails at the same files, most likely, with its exact 90 % range
        (infinite if those never failed); None if there is nothing to compare.
        """
        count, total = int(self.mine.sum()), self.mine + self.others
        if not total.sum():
            return None
        low = self._solved(lambda shares: _reached(count, total, shares) - LOW) if count else 0.0
        high = (
            self._solved(lambda shares: _reached(count + 1, total, shares) - HIGH) if count < total.sum() else math.inf
        )
        return Estimate(low=low, best=self._likeliest(count, total), high=high)

    def _likeliest(self, count: int, total: Rows) -> float:
        if not 0 < count < total.sum():
            return math.inf if count else 0.0
        return self._solved(lambda shares: float(total @ shares) - count)

    def _solved(self, excess: Callable[[Numbers], float]) -> float:
        """How many times as often it fails where its shares of failures are such that nothing is in excess."""
        times = brentq(lambda log: excess(_weighed(self.odds / (1 + self.odds), math.exp(log))), -FAR, FAR, xtol=1e-13)
        return math.exp(times)


@dataclass(frozen=True)
class Standing(Compared):
    """How a machine stands in its group, over all looks.

    `rate`: failures a printing hour, exact 90 % range; None without hours. `named_at`: the look, from 1, at which it
    was first named; None if it is not. `lately` is how it stands in the last `SOON` looks.
    """

    rate: Estimate | None
    named_at: int | None
    lately: Compared


def stands_out(failures: Rows, hours: Numbers, false_alarms: float = 0.05, differ: float = 0.0) -> list[Standing]:
    """How each machine stands, from its failures and printing hours in the time of each look [looks, machines, files].

    A look is a week, or whatever time passes between two, oldest first; who asked at each of them would have been told
    the same. The chance that a machine of a group without a bad one is ever named is `false_alarms` at most, where the
    rates of like machines `differ` by this coefficient of variation (log-normal; 0: all have one rate). It is the sum
    of two chances: to be named by all its failures so far, and by those of late. Begin a watch anew after a year.
    Without an axis of files, all printed one. ValueError for counts or hours that are none.
    """
    counts, hours = _checked(failures, hours, false_alarms, differ)
    named = _named(counts, hours, false_alarms, differ)
    machines = np.arange(counts.shape[1])
    plain = ~np.isin(machines, list(named))
    found = []
    for machine in machines.tolist():
        others = plain & (machines != machine)
        whole, lately = (
            _compared(counts[looks], hours[looks], machine, others) for looks in (slice(None), slice(-SOON, None))
        )
        rate = poisson_range(whole.failures).scaled(1 / whole.hours) if whole.hours else None
        found.append(Standing(**vars(whole), rate=rate, named_at=named.get(machine), lately=lately))
    return found


def _checked(failures: Rows, hours: Numbers, false_alarms: float, differ: float) -> tuple[Rows, Numbers]:
    failures = np.asarray(failures)
    if failures.ndim not in (2, 3) or failures.shape != hours.shape:
        raise ValueError(
            f"failures and hours must be of the same looks and machines, got {failures.shape} and {hours.shape}"
        )
    if not ((failures >= 0) & (failures == np.round(failures))).all():
        raise ValueError(f"failures must be whole numbers from 0 up, got {failures.min()} as the least")
    if not (np.isfinite(hours) & (hours >= 0)).all():
        raise ValueError("hours must be numbers from 0 up, got one that is not")
    if not 0 < false_alarms < 1:
        raise ValueError(f"false alarms must be a share between 0 and 1, got {false_alarms}")
    if not 0 <= differ < 1:
        raise ValueError(f"rates must differ by a coefficient of variation from 0 up to 1, got {differ}")
    files = (*failures.shape[:2], -1) if failures.size else (*failures.shape[:2], 1)
    return failures.astype(np.int64).reshape(files), hours.reshape(files)


def _named(failures: Rows, hours: Numbers, false_alarms: float, differ: float) -> dict[int, int]:
    """The machines named and the look at which each was: the earliest first, and then again without it."""
    named: dict[int, int] = {}
    while True:
        left = [machine for machine in range(failures.shape[1]) if machine not in named]
        crossed = _crossed(failures[:, left], hours[:, left], false_alarms, differ)
        first = crossed.min(initial=len(failures))
        if first == len(failures):
            return named
        at = max([int(first) + 1, *named.values()])
        named |= {left[place]: at for place in np.flatnonzero(crossed == first).tolist()}


def _crossed(failures: Rows, hours: Numbers, false_alarms: float, differ: float) -> Rows:
    """The look, from 0, at which each machine first reaches its limit; as many as there are looks if at none."""
    looks, machines = failures.shape[:2]
    never = np.full(machines, looks)
    if not looks or machines < 2:
        return never
    rates, likely = _rates(differ)
    totals, share = failures.sum(axis=1), _shares(hours)
    shares = _weighed(share[:, :, None], rates[:, None])
    twice = (totals[:, None] * _weighed(share, WORSE)).sum(axis=2)
    counts = failures.sum(axis=2)
    limits = _limits(totals, shares, likely, _least(twice), false_alarms / machines)
    reached = np.cumsum(counts, axis=0) >= limits
    reached |= _lately(counts, totals, twice, shares, likely, false_alarms / machines)
    return np.asarray(np.where(reached.any(axis=0), reached.argmax(axis=0), never))


def _rates(differ: float) -> tuple[Numbers, Numbers]:
    """The rates of like machines, in those of a middling one, and how likely each is (Gauss-Hermite quadrature)."""
    normal, weights = roots_hermitenorm(NODES if differ else 1)
    spread = np.sqrt(np.log1p(differ**2))
    return np.exp(spread * normal - spread**2 / 2), weights / weights.sum()


def _shares(hours: Numbers) -> Numbers:
    """The chance that a failure of a file is that of each machine, if all are alike [looks, machines, files]."""
    total = hours.sum(axis=1, keepdims=True)
    return np.asarray(np.where(total > 0, hours / np.where(total > 0, total, 1.0), 1 / hours.shape[1]))


def _weighed(share: Numbers, rates: Numbers | float) -> Numbers:
    """The share of failures of a machine with so many times the rate of the others."""
    return np.asarray(rates * share / (1 + (rates - 1) * share))


def _least(twice: Numbers) -> Rows:
    """The failures below which nobody is named, by look and machine: `FEWEST`, and those of one with `WORSE` times the
    rate of the others, which has so many at each look.
    """
    least = np.ceil(np.cumsum(twice, axis=0) - 1e-9)
    return np.asarray(np.maximum(least, FEWEST).astype(np.int64))


def _limits(totals: Rows, shares: Numbers, likely: Numbers, least: Rows, allowed: float) -> Rows:
    """The failures at which each machine is named, by look, so that it ever happens to one that is like the others with
    a chance of `allowed` at most; never fewer than `least`. Totals are by look and file, `shares` by look, machine,
    rate and file.

    What one look leaves of its allowance, as counts are whole numbers, goes to the next.
    """
    machines = shares.shape[1]
    limits, spent = np.zeros_like(least), np.zeros(machines)
    chance = np.ones((machines, len(likely), 1))
    for look, total in enumerate(totals):
        left = allowed * spending(look + 1) - spent
        chance, limits[look], lost = _cut(_after(chance, total, shares[look]), likely, left, least[look])
        spent += lost
    return limits


def _lately(failures: Rows, totals: Rows, twice: Numbers, shares: Numbers, likely: Numbers, allowed: float) -> Flags:
    """Whether each machine has turned bad by each look, from its failures lately [looks, machines].

    Counted are those beyond `WORSE` times the rate of the others, and never fewer than none: so the sum forgets the
    time in which a machine was like the others (cumulative sum: Page, Biometrika 41 (1954) 100-115). It is kept in
    steps of a failure, so that the chance of every value of it is exact as well.
    """
    machines = failures.shape[1]
    falls = np.diff(np.rint((np.cumsum(twice, axis=0) * STEPS).round(6)).astype(np.int64), axis=0, prepend=0)
    reached, spent = np.zeros(failures.shape, dtype=bool), np.zeros(machines)
    beyond, chance = np.zeros(machines, dtype=np.int64), np.ones((machines, len(likely), 1))
    for look, (count, fall) in enumerate(zip(totals, falls, strict=True)):
        beyond = np.maximum(beyond + STEPS * failures[look] - fall, 0)
        chance = _fallen(_after(chance, count, shares[look], STEPS), fall)
        left = np.maximum(allowed * spending_lately(look + 1) - spent, NOTHING)
        chance, limit, lost = _cut(chance, likely, left, np.full(machines, STEPS * FEWEST))
        spent += lost
        reached[look] = beyond >= limit
    return reached


def _fallen(chance: Numbers, fall: Rows) -> Numbers:
    """The chance of each value after it fell by so much [machines], but not below nothing."""
    values = chance.shape[2]
    below = np.pad(np.cumsum(chance, axis=2), ((0, 0), (0, 0), (1, 0)))
    ends = np.minimum(np.arange(1, values + 1) + fall[:, None], values)
    up_to = np.take_along_axis(below, np.broadcast_to(ends[:, None, :], chance.shape), axis=2)
    return np.diff(up_to, axis=2, prepend=0.0)


def _cut(chance: Numbers, likely: Numbers, left: Numbers, least: Rows) -> tuple[Numbers, Rows, Numbers]:
    """The chance of the values below a limit, the limit, and the chance to reach it: `left` at most, and no limit below
    `least` [machines].
    """
    values = chance.shape[2]
    tail = np.pad(np.cumsum((likely @ chance)[:, ::-1], axis=1)[:, ::-1], ((0, 0), (0, 1)))
    limit = np.maximum((tail <= left[:, None]).argmax(axis=1), least)
    below = np.where(np.arange(values) < limit[:, None, None], chance, 0.0)[:, :, : limit.max()]
    return below, limit, tail[np.arange(len(limit)), np.minimum(limit, values)]


def _after(chance: Numbers, failures: Rows, shares: Numbers, each: int = 1) -> Numbers:
    """The chance of each value [machines, rates, values] after so many more failures of each file, `each` so many."""
    for file in np.flatnonzero(failures).tolist():
        chance = _more(chance, int(failures[file]), shares[:, :, file], each)
    return chance


def _more(chance: Numbers, failures: int, shares: Numbers, each: int) -> Numbers:
    """The same after more failures of one file."""
    more = binom.pmf(np.arange(failures + 1), failures, shares[:, :, None])
    then = np.zeros((*chance.shape[:2], chance.shape[2] + each * failures))
    for count in np.flatnonzero(more.max(axis=(0, 1)) > NOTHING).tolist():
        then[:, :, each * count : each * count + chance.shape[2]] += more[:, :, [count]] * chance
    return then


def spending(look: int) -> float:
    """The share of the false alarms allowed that may be spent by a look, counted from 1: it grows towards 1."""
    if look <= SOON:
        return SPENT_SOON * (look / SOON) ** 3
    return SPENT_SOON + (1 - SPENT_SOON - SPENT_LATELY) * (1 - SOON / look)


def spending_lately(look: int) -> float:
    """The share that may be spent by a look on machines that turned bad: evenly over the rest of a year."""
    return SPENT_LATELY * min(max(look - SOON, 0) / (YEAR - SOON), 1.0)


def _compared(failures: Rows, hours: Numbers, machine: int, others: Flags) -> Compared:
    """A machine beside these others, over these looks [looks, machines, files]."""
    count, printed = int(failures[:, machine].sum()), float(hours[:, machine].sum())
    mine, my_hours = failures[:, machine].sum(axis=0), hours[:, machine].sum(axis=0)
    theirs, their_hours = (of[:, others].sum(axis=(0, 1)) for of in (failures, hours))
    both = (my_hours > 0) & (their_hours > 0)
    return Compared(count, printed, mine[both], theirs[both], my_hours[both] / their_hours[both])


def _reached(count: int, totals: Rows, shares: Numbers) -> float:
    """The chance that a machine with these shares of the failures of each file has so many or more."""
    laws = (binom.pmf(np.arange(total + 1), total, share) for total, share in zip(totals, shares, strict=True))
    return float(reduce(np.convolve, laws, np.ones(1))[count:].sum())
