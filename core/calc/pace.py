"""How long prints really take against what their files state, learned from sightings alone.

Nobody times a print. But a print seen printing at one moment and done (or its parts off) at a later
one ended in between, so each such print gives an interval for the ratio true / stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import log_ndtr

#: With fewer sightings than this the files are believed, with ten per cent either way.
ENOUGH = 10
#: The newest sightings say as much as a shop needs, and keep the fit quick.
NEWEST = 2000


@dataclass(frozen=True, slots=True)
class Pace:
    """The ratio true / stated: `best` for the shop, `low` to `high` for nine prints in ten; from `seen` prints.

    `usual` is the stated time of a usual print in hours: what a print nobody announced is taken to need.
    """

    best: float = 1.0
    low: float = 0.9
    high: float = 1.1
    seen: int = 0
    usual: float = 6.0


def learn(earliest: npt.NDArray[np.float64], latest: npt.NDArray[np.float64], usual: float) -> Pace:
    """The pace from intervals (earliest, latest] of the ratio, oldest first.

    Maximum likelihood of a normal law of the logarithm under interval censoring: each print adds
    ln(F(latest) - F(earliest)), so wide intervals say little and none is thrown away.
    """
    useful = (latest > earliest) & (latest > 0.3) & (earliest < 3.0)
    low = np.log(np.maximum(earliest[useful][-NEWEST:], 0.05))
    high = np.log(np.minimum(latest[useful][-NEWEST:], 20.0))
    if len(low) < ENOUGH:
        return Pace(usual=usual, seen=len(low))
    fit = minimize(
        lambda p: -_log_likelihood(low, high, p[0], float(np.exp(p[1]))),
        x0=[0.0, np.log(0.08)],
        method="Nelder-Mead",
        options={"xatol": 1e-5, "fatol": 1e-6},
    )
    middle, spread = float(fit.x[0]), float(np.exp(fit.x[1]))
    reach = 1.6448536269514722 * spread
    return Pace(float(np.exp(middle)), float(np.exp(middle - reach)), float(np.exp(middle + reach)), len(low), usual)


def _log_likelihood(
    low: npt.NDArray[np.float64], high: npt.NDArray[np.float64], middle: float, spread: float
) -> float:
    a, b = (low - middle) / spread, (high - middle) / spread
    # In the upper tail both probabilities round to 1; mirrored, they keep their digits.
    a, b = np.where(a > 0, -b, a), np.where(a > 0, -a, b)
    chance = log_ndtr(b) + np.log1p(-np.exp(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-12)))
    # One print in a hundred is a slip (a wrong file, a wrong time) and may lie anywhere.
    return float(np.logaddexp(np.log(0.99) + chance, np.log(0.01)).sum())
