"""Exact ranges of counts."""

from __future__ import annotations

from scipy.stats import chi2

from core.estimate import Estimate


def poisson_range(count: int, confidence: float = 0.90) -> Estimate:
    """The mean number of events of which `count` were seen, with Garwood's exact interval.

    Garwood, Biometrika 28 (1936) 437-442: the means that would give as few or as many as seen with half of what
    is left of `confidence` each.
    """
    tail = (1 - confidence) / 2
    low = float(chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    return Estimate(low=low, best=float(count), high=float(chi2.isf(tail, 2 * count + 2)) / 2)
