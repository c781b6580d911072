"""Which machine of a group fails more often than the others, looked at again and again without crying wolf.

If all machines have one rate, which of them the next failure hits is drawn by their printing hours alone, whatever the
rate is and however it changes with the season: given the failures of the group, those of one machine are binomial
(Przyborowski and Wilenski, Biometrika 31 (1940) 313-323). Its limit at each look is set so that the chance ever to
reach one, for any machine at any look, stays below `false_alarms` (alpha spending: Lan and DeMets, Biometrika 70 (1983)
659-663), exactly for counts, shared evenly over the machines (Holm, Scand. J. Stat. 6 (1979) 65-70: those named are
left out and the rest share anew).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import roots_hermitenorm
from scipy.stats import beta, binom

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


@dataclass(frozen=True)
class Compared:
    """A machine beside its group: `failures` in `hours` printed, and how many `times` as often as the others that are
    not named, exact 90 % range (infinite if those never failed); None if there is nothing to compare.
    """

    failures: int
    hours: float
    times: Estimate | None


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
    """How each machine stands, from its failures and printing hours in the time of each look [looks, machines].

    A look is a week, or whatever time passes between two, oldest first; who asked at each of them would have been told
    the same. The chance that a machine of a group without a bad one is ever named is `false_alarms` at most, where the
    rates of like machines `differ` by this coefficient of variation (log-normal; 0: all have one rate). It is the sum
    of two chances: to be named by all its failures so far, and by those of late. Begin a watch anew after a year.
    ValueError for counts or hours that are none.
    """
    counts = _checked(failures, hours, false_alarms, differ)
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


def _checked(failures: Rows, hours: Numbers, false_alarms: float, differ: float) -> Rows:
    failures = np.asarray(failures)
    if failures.ndim != 2 or failures.shape != hours.shape:
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
    return failures.astype(np.int64)


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
    looks, machines = failures.shape
    never = np.full(machines, looks)
    if not looks or machines < 2:
        return never
    rates, likely = _rates(differ)
    share = _shares(hours)[:, :, None]
    shares = _weighed(share, rates)
    limits = _limits(failures.sum(axis=1), shares, likely, _least(failures, hours), false_alarms / machines)
    reached = np.cumsum(failures, axis=0) >= limits
    reached |= _lately(failures, share[:, :, 0], shares, likely, false_alarms / machines)
    return np.asarray(np.where(reached.any(axis=0), reached.argmax(axis=0), never))


def _rates(differ: float) -> tuple[Numbers, Numbers]:
    """The rates of like machines, in those of a middling one, and how likely each is (Gauss-Hermite quadrature)."""
    normal, weights = roots_hermitenorm(NODES if differ else 1)
    spread = np.sqrt(np.log1p(differ**2))
    return np.exp(spread * normal - spread**2 / 2), weights / weights.sum()


def _shares(hours: Numbers) -> Numbers:
    """The chance that a failure of each look's time is that of each machine, if all are alike [looks, machines]."""
    total = hours.sum(axis=1, keepdims=True)
    return np.asarray(np.where(total > 0, hours / np.where(total > 0, total, 1.0), 1 / hours.shape[1]))


def _weighed(share: Numbers, rates: Numbers | float) -> Numbers:
    """The share of failures of a machine with so many times the rate of the others."""
    return np.asarray(rates * share / (1 + (rates - 1) * share))


def _least(failures: Rows, hours: Numbers) -> Rows:
    """The failures below which nobody is named, by look: `FEWEST`, and `WORSE` times the rate of the others."""
    mine = np.cumsum(hours, axis=0)
    others = mine.sum(axis=1, keepdims=True) - mine
    weight = np.divide(WORSE * mine, others + WORSE * mine, out=np.zeros_like(mine), where=mine > 0)
    least = np.ceil(weight * np.cumsum(failures.sum(axis=1))[:, None] - 1e-9)
    return np.asarray(np.maximum(least, FEWEST).astype(np.int64))


def _limits(totals: Rows, shares: Numbers, likely: Numbers, least: Rows, allowed: float) -> Rows:
    """The failures at which each machine is named, by look, so that it ever happens to one that is like the others with
    a chance of `allowed` at most; never fewer than `least`. The `shares` are by look, machine and rate.

    What one look leaves of its allowance, as counts are whole numbers, goes to the next.
    """
    machines = shares.shape[1]
    limits, spent = np.zeros_like(least), np.zeros(machines)
    chance = np.ones((machines, len(likely), 1))
    for look, total in enumerate(totals.tolist()):
        left = allowed * spending(look + 1) - spent
        chance, limits[look], lost = _cut(_after(chance, total, shares[look]), likely, left, least[look])
        spent += lost
    return limits


def _lately(failures: Rows, share: Numbers, shares: Numbers, likely: Numbers, allowed: float) -> Flags:
    """Whether each machine has turned bad by each look, from its failures lately [looks, machines].

    Counted are those beyond `WORSE` times the rate of the others, and never fewer than none: so the sum forgets the
    time in which a machine was like the others (cumulative sum: Page, Biometrika 41 (1954) 100-115). It is kept in
    steps of a failure, so that the chance of every value of it is exact as well.
    """
    totals, machines = failures.sum(axis=1), failures.shape[1]
    twice = totals[:, None] * _weighed(share, WORSE)
    falls = np.diff(np.rint((np.cumsum(twice, axis=0) * STEPS).round(6)).astype(np.int64), axis=0, prepend=0)
    reached, spent = np.zeros(failures.shape, dtype=bool), np.zeros(machines)
    beyond, chance = np.zeros(machines, dtype=np.int64), np.ones((machines, len(likely), 1))
    for look, (count, fall) in enumerate(zip(totals.tolist(), falls, strict=True)):
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


def _after(chance: Numbers, failures: int, shares: Numbers, each: int = 1) -> Numbers:
    """The chance of each value [machines, rates, values] after so many more failures of the group, `each` so many."""
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
    """A machine beside these others."""
    count, printed = int(failures[:, machine].sum()), float(hours[:, machine].sum())
    times = _times(count, printed, int(failures[:, others].sum()), float(hours[:, others].sum()))
    return Compared(count, printed, times)


def _times(count: int, hours: float, others: int, their_hours: float) -> Estimate | None:
    """How many times the others' rate that of a machine is: Clopper and Pearson's limits of its share, as odds."""
    if not (hours and their_hours and count + others):
        return None
    low = float(beta.ppf(LOW, count, others + 1)) if count else 0.0
    high = float(beta.ppf(HIGH, count + 1, others)) if others else 1.0
    low, best, high = (_odds(share) * their_hours / hours for share in (low, count / (count + others), high))
    return Estimate(low=low, best=best, high=high)


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else float("inf")
