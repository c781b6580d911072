"""The share of so many counted things, with its interval."""

from __future__ import annotations

import math
from statistics import NormalDist

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
