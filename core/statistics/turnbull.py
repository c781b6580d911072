"""When something happened that was only found at the next look: the likeliest distribution of such times.

Turnbull, J. R. Stat. Soc. B 38 (1976) 290-295: the nonparametric maximum likelihood estimate puts mass on
innermost intervals only, and is a fixed point of his self-consistency (EM) step. That step alone creeps, so
each one is followed by a convex minorant step (Wellner and Zhan, J. Am. Stat. Assoc. 92 (1997) 945-959).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import isotonic_regression

from core.arrays import Numbers, Rows
from core.errors import Refused

#: Done when the mean log likelihood is within this of its maximum (see `_Cover.pull`).
CLOSE = 1e-10
#: A few dozen steps get there; so many never run in practice, and the masses would still be a distribution.
STEPS = 1000
#: A step of the convex minorant that gains nothing at this share of its length is left out.
SHORTEST = 1e-4
#: Less mass than this is none.
LEAST = 1e-9


@dataclass(frozen=True, eq=False)
class Masses:
    """The probability `mass` of each innermost interval (`left`, `right`], ascending; equal ends are one moment.

    The masses add up to 1. How each lies inside its interval is unknown. All empty where nothing was seen.
    """

    left: Numbers
    right: Numbers
    mass: Numbers

    def quantile(self, p: npt.ArrayLike) -> Numbers:
        """The times by which the shares `p` (0 to 1) have happened, each mass spread evenly over its interval.

        Infinite where the share falls into an interval without end. Refused for other shares, and with no masses.
        """
        share = np.asarray(p, dtype=np.float64)
        if not self.mass.size:
            raise Refused("no_times", "Of no times there is no quantile: take in at least one.")
        wrong = ~((share >= 0) & (share <= 1))  # of nan both are false
        if wrong.any():
            raise Refused("not_a_share", f"{share[wrong][0]} is no share of the whole: give a number from 0 to 1.")
        reached = np.cumsum(self.mass)
        at = np.minimum(np.searchsorted(reached, share), len(reached) - 1)
        inside = np.clip(1 - (reached[at] - share) / self.mass[at], 0, 1)
        endless = np.isinf(self.right[at])
        width = np.where(endless, 0.0, self.right[at] - self.left[at])
        return np.where(endless, np.inf, self.left[at] + inside * width)


def turnbull(left: npt.ArrayLike, right: npt.ArrayLike) -> Masses:
    """The likeliest distribution of times known to lie in (left, right], one interval each, in any unit.

    An infinite `right`: later than `left` is all that is known. Equal ends: the time itself is known.
    No intervals give no masses: a shop where it never happened is nothing wrong. Where the intervals leave the
    split of mass between some innermost intervals open, it is one of the likeliest. Refused for other ends.
    """
    begin, end = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    _check(begin, end)
    if not begin.size:
        return Masses(begin, end, np.empty(0))
    inner_left, inner_right, cover = _innermost(begin, end)
    mass = _likeliest(cover)
    kept = mass >= LEAST
    return Masses(inner_left[kept], inner_right[kept], mass[kept] / mass[kept].sum())


def _check(begin: Numbers, end: Numbers) -> None:
    if begin.ndim != 1 or begin.shape != end.shape:
        raise Refused("uneven", f"{begin.size} left ends and {end.size} right ends: give two lists of one length.")
    wrong = ~(np.isfinite(begin) & (begin <= end))
    if wrong.any():
        row = int(wrong.argmax())
        raise Refused(
            "no_interval",
            f"({begin[row]}, {end[row]}] in place {row} is no interval: "
            "give a finite left end and a right end that is not before it.",
        )


@dataclass(frozen=True)
class _Cover:
    """What was seen: a share `weight` of the intervals covers the innermost ones from `first` up to before `stop`.

    Sums over a run of innermost intervals are differences of cumulative sums, so no table of
    intervals by innermost ones is needed. `size`: the number of innermost intervals.
    """

    first: Rows
    stop: Rows
    weight: Numbers
    size: int

    def chance(self, mass: Numbers) -> Numbers:
        """The probability of each interval."""
        reached = np.concatenate([[0.0], np.cumsum(mass)])
        return np.asarray(reached[self.stop] - reached[self.first])

    def likelihood(self, mass: Numbers) -> float:
        """The mean log likelihood; minus infinity if something seen would be impossible."""
        chance = self.chance(mass)
        return float(self.weight @ np.log(chance)) if (chance > 0).all() else -np.inf

    def at_edges(self, each: Numbers) -> Numbers:
        """The sums of a number per interval, by the edge it begins at (first row) and the one it stops at."""
        return np.array([np.bincount(edge, each, self.size + 1) for edge in (self.first, self.stop)], dtype=np.float64)

    def pull(self, mass: Numbers) -> Numbers:
        """The slope of the mean log likelihood by each mass; its mean over the masses is 1.

        The likelihood is concave, so its maximum is at most max(pull) - 1 higher than it is here.
        """
        begins, stops = self.at_edges(self.weight / self.chance(mass))
        return np.cumsum(begins - stops)[:-1]


def _innermost(begin: Numbers, end: Numbers) -> tuple[Numbers, Numbers, _Cover]:
    """The ends of the innermost intervals (a left end with a right end next after it), and who covers them."""
    values, rank = np.unique(np.concatenate([begin, end]), return_inverse=True)
    # At one value a known time begins before a right end, and an open interval begins after it.
    starts = 3 * rank[: len(begin)] + np.where(begin == end, 0, 2)
    ends = 3 * rank[len(begin) :] + 1
    all_starts, all_ends = np.unique(starts), np.unique(ends)
    last_start, nearest = np.unique(np.searchsorted(all_starts, all_ends) - 1, return_index=True)
    inner_start, inner_end = all_starts[last_start], all_ends[nearest]
    runs = np.stack([np.searchsorted(inner_start, starts), np.searchsorted(inner_end, ends, side="right")])
    (first, stop), count = np.unique(runs, axis=1, return_counts=True)
    cover = _Cover(first, stop, count / count.sum(), len(inner_start))
    return values[inner_start // 3], values[inner_end // 3], cover


def _likeliest(cover: _Cover) -> Numbers:
    """The masses of the innermost intervals."""
    mass = np.full(cover.size, 1 / cover.size)
    for _ in range(STEPS):
        pull = cover.pull(mass)
        if pull.max() <= 1 + CLOSE:
            break
        consistent = mass * pull
        mass = _convex_minorant(cover, consistent / consistent.sum())
    return mass


def _convex_minorant(cover: _Cover, mass: Numbers) -> Numbers:
    """A step uphill: the cumulative masses by slope and curvature, kept in order, as far as the likelihood rises."""
    chance = cover.chance(mass)
    begins, stops = cover.at_edges(cover.weight / chance)
    slope = (stops - begins)[1:-1]
    curvature = cover.at_edges(cover.weight / chance**2).sum(axis=0)[1:-1]
    ordered = isotonic_regression(np.cumsum(mass)[:-1] + slope / curvature, weights=curvature).x
    step = np.diff(np.clip(ordered, 0, 1), prepend=0, append=1) - mass
    length, here = 1.0, cover.likelihood(mass)
    while length > SHORTEST:
        further: Numbers = mass + length * step
        if cover.likelihood(further) > here:
            return further
        length /= 2
    return mass
