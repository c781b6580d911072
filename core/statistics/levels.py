"""How high a figure was over some days, with its 90 % range as a level: what it would be if the same went on."""

from __future__ import annotations

import numpy as np
from scipy.stats import t as student

from core.arrays import Numbers
from core.estimate import HIGH, Estimate
from core.statistics.ranges import poisson_range, wilson


def share(hits: Numbers, of: Numbers) -> Estimate:
    """Of shares by day: Wilson's range; where they vary more than chance, that of as few as tell as much (Kish)."""
    best = float(hits.sum() / of.sum())
    spread = _spread(hits, of, best * (1 - best))
    found = wilson(round(hits.sum() / spread), max(round(of.sum() / spread), 1))
    low, high = (found.low, found.high) if found else (0.0, 1.0)
    return Estimate(low=min(low, best), best=best, high=max(high, best))


def rate(counts: Numbers, units: Numbers) -> Estimate:
    """Of counts a unit by day: Garwood's range, wider by the root of how much wider than chance counts are spread."""
    best, found = float(counts.sum()), poisson_range(round(counts.sum()))
    wider = float(np.sqrt(_spread(counts, units, best / float(units.sum()))))
    low, high = max(best - wider * (best - found.low), 0.0), best + wider * (found.high - best)
    return Estimate(low=low, best=best, high=high).scaled(1 / float(units.sum()))


def mean(values: Numbers) -> Estimate:
    """Of single values: Student's range of their mean; those that go on from one to the next count for fewer."""
    best, count = float(values.mean()), len(values)
    off = values - best
    goes_on = float(np.clip((off[1:] * off[:-1]).sum() / max(float((off**2).sum()), 1e-12), 0.0, 0.9))
    own = max(count * (1 - goes_on) / (1 + goes_on), 2.0)
    reach = float(student.ppf(HIGH, own - 1) * values.std(ddof=1) / np.sqrt(own)) if count > 1 else float("inf")
    return Estimate(low=best - reach, best=best, high=best + reach)


def _spread(counts: Numbers, each: Numbers, variance: float) -> float:
    """How many times as widely counts vary as chance has it (Pearson's chi-square by its degrees); 1 at least."""
    if variance <= 0 or len(counts) < 2:
        return 1.0
    expected = each * counts.sum() / each.sum()
    return max(float(((counts - expected) ** 2 / (each * variance)).sum() / (len(counts) - 1)), 1.0)
