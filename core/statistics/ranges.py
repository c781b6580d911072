"""Ranges of what is counted: a share of so many, and the mean number of events."""

from __future__ import annotations

import math
from statistics import NormalDist

from scipy.stats import chi2

from core.errors import Refused
from core.estimate import Estimate


def wilson(hits: int, of: int, confidence: float = 0.90) -> Estimate | None:
    """The share `hits` / `of` (0 to 1) and its score interval; None of nothing: no share was seen.

    Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212: the shares from which the one seen is less than z of their own
    standard deviations away. Unlike the share +/- z of its own, it never leaves 0 to 1, nor is 0 of 20 certain.
    Refused for fewer than no hits, or more than there are.
    """
    if not 0 <= hits <= of:
        raise Refused("not_a_count", f"{hits} of {of} is no share: count from none up to all of them.")
    if not of:
        return None
    z, share = NormalDist().inv_cdf((1 + confidence) / 2), hits / of
    middle = (share + z**2 / (2 * of)) / (1 + z**2 / of)
    reach = z / (1 + z**2 / of) * math.sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    # None and all are ends of the interval, but for rounding.
    low = middle - reach if hits else 0.0
    high = middle + reach if hits < of else 1.0
    return Estimate(low=low, best=share, high=high)


def poisson_range(count: int, confidence: float = 0.90) -> Estimate:
    """The mean number of events of which `count` were seen, with Garwood's exact interval.

    Garwood, Biometrika 28 (1936) 437-442: the means that would give as few or as many as seen with half of what
    is left of `confidence` each.
    """
    tail = (1 - confidence) / 2
    low = float(chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    return Estimate(low=low, best=float(count), high=float(chi2.isf(tail, 2 * count + 2)) / 2)
