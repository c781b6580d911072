"""Limits that a steady figure stays within: Shewhart's charts for single values, counts and seldom things.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.3 (counts). `reach` is how many standard
deviations the limits lie from the centre; 3 is customary. Where a chance is known exactly, as of a count, it is what
`scores` goes by: three standard deviations of a lopsided figure are no fixed chance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr
from scipy.stats import expon, geom

from core.arrays import Numbers

#: The mean range of two standard normal values (2 / sqrt(pi) = 1.128): a moving range is so many sigma on average.
D2 = 2 / math.sqrt(math.pi)
REACH = 3.0


@dataclass(frozen=True)
class Limits:
    """The centre of a chart, and its limits at each point."""

    centre: float
    lower: Numbers
    upper: Numbers


def individuals(values: Sequence[float] | Numbers, reach: float = REACH) -> Limits:
    """Of single values: mean +/- `reach` sigma, sigma from the moving ranges. ValueError for fewer than two."""
    mine = np.asarray(values, dtype=float)
    if len(mine) < 2:
        raise ValueError(f"moving ranges need two values at least, got {len(mine)}")
    # Rounding must not put the mean of equal values beside them.
    centre = min(max(math.fsum(mine) / len(mine), mine.min()), mine.max())
    return _about(centre, np.full(len(mine), np.abs(np.diff(mine)).mean() / D2), reach)


def shares(hits: Sequence[int] | Numbers, of: Sequence[int] | Numbers, reach: float = REACH) -> Limits:
    """Of shares `hits` / `of` (a p chart); limits vary with `of`, and stay within 0 and 1."""
    count, each = np.asarray(hits, dtype=float), np.asarray(of, dtype=float)
    centre = count.sum() / each.sum()
    found = _about(centre, np.sqrt(centre * (1 - centre) / each), reach)
    return Limits(centre, np.maximum(found.lower, 0.0), np.minimum(found.upper, 1.0))


def rates(counts: Sequence[int] | Numbers, units: Sequence[float] | Numbers, reach: float = REACH) -> Limits:
    """Of counts a unit (a u chart; with one unit a point, a c chart); limits vary with `units`."""
    count, each = np.asarray(counts, dtype=float), np.asarray(units, dtype=float)
    centre = count.sum() / each.sum()
    found = _about(centre, np.sqrt(centre / each), reach)
    return Limits(centre, np.maximum(found.lower, 0.0), found.upper)


def quantiles(values: Numbers, reach: float, whole: bool) -> Limits:
    """Of times (or counts, if `whole`) from one seldom event to the next: as seldom out as `reach` sigma of a normal
    figure, since these are too lopsided for sigma (exponential, or geometric).
    """
    centre, tail = float(np.mean(values)), float(ndtr(-reach))
    law = geom(1 / (centre + 1), loc=-1) if whole else expon(scale=max(centre, 1e-9))
    return Limits(centre, np.array([float(law.ppf(tail))]), np.array([float(law.isf(tail))]))


def _about(centre: float, sigma: Numbers, reach: float) -> Limits:
    return Limits(float(centre), centre - reach * sigma, centre + reach * sigma)
