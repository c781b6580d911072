"""How far out each value of a figure is, by what came before it: scores that are standard normal if nothing changes.

Every value is judged by the exact chance of it given those before it, whatever their unknown mean (and spread) is, so
the scores of a steady figure are independent of each other and need no long past to begin with: Quesenberry's Q
statistics (J. Qual. Technol. 23 (1991) 184-224 and 27 (1995) 304-315, from memory). Of counts, half of the chance
of the value itself is counted (mid-p), which leaves them a little less spread than 1: never too many calls.
Scores are NaN where too little came before. `past` marks the values that what follows is judged by.
"""

from __future__ import annotations

import numpy as np
from scipy.special import betainc, ndtri, stdtr
from scipy.stats import binom, hypergeom, nhypergeom

from core.arrays import Numbers

#: A chance this near to 0 or 1 is told no nearer.
NEAREST = 1e-9


def individuals(values: Numbers, past: Numbers) -> Numbers:
    """Of single values, normal ones: Student's t of each against the mean and spread of those before it."""
    n, total, square = _before(past), _before(past * values), _before(past * values**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / n
        variance = (square - n * mean**2) / (n - 1)
        t = (values - mean) / np.sqrt(np.maximum(variance, 0.0) * (n + 1) / n)
    enough = (n >= 2) & (variance > 1e-12 * np.maximum(mean**2, 1e-12))
    return _scores(np.where(enough, stdtr(np.where(enough, n - 1, 1.0), np.where(enough, t, 0.0)), np.nan))


def shares(hits: Numbers, of: Numbers, past: Numbers) -> Numbers:
    """Of `hits` of so many, binomial: hypergeometric, given the hits so far and those of the value together."""
    before, there = _before(past * hits), _before(past * of)
    below = _mid(hypergeom, hits, there + of, before + hits, of)
    return _scores(np.where((there > 0) & (before + hits > 0) & (of > 0), below, np.nan))


def rates(counts: Numbers, units: Numbers, past: Numbers) -> Numbers:
    """Of counts in so many units, Poisson: binomial, given the counts so far and that of the value together."""
    before, there = _before(past * counts), _before(past * units)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(there > 0, units / (there + units), np.nan)
    below = _mid(binom, counts, before + counts, np.nan_to_num(part, nan=0.5))
    return _scores(np.where((there > 0) & (before + counts > 0) & (units > 0), below, np.nan))


def waits(times: Numbers, past: Numbers) -> Numbers:
    """Of times from one seldom event to the next, exponential (a t chart): their share in all the time so far, which
    is beta distributed; a short one scores above 0, as more of a count does.
    """
    n, total = _before(past), _before(past * times)
    enough = (n >= 1) & (total + times > 0)
    part = np.where(enough, times / np.where(enough, total + times, 1.0), 0.0)
    return -_scores(np.where(enough, betainc(1.0, np.maximum(n, 1.0), part), np.nan))


def gaps(counts: Numbers, past: Numbers) -> Numbers:
    """Of good ones between two bad ones, geometric (a g chart): each way to share out all so far among the gaps is as
    likely as any other; a short gap scores above 0.
    """
    n, total = _before(past), _before(past * counts)
    whole = total + counts
    # Good ones drawn before the first of n bad ones, of so many good and bad ones in all.
    below = _mid(nhypergeom, counts, whole + np.maximum(n, 1.0), whole, 1)
    return -_scores(np.where((n >= 1) & (whole > 0), below, np.nan))


def _before(values: Numbers) -> Numbers:
    """The sum of all before each."""
    return np.concatenate([[0.0], np.cumsum(values)[:-1]]) if len(values) else values


def _mid(law: object, value: Numbers, *parameters: object) -> Numbers:
    """The chance of less, and half of that of as much."""
    with np.errstate(all="ignore"):
        return np.asarray(law.cdf(value, *parameters) - law.pmf(value, *parameters) / 2)  # type: ignore[attr-defined]


def _scores(below: Numbers) -> Numbers:
    return np.asarray(ndtri(np.clip(below, NEAREST, 1 - NEAREST)))
