"""What hands start next, learned from what they did start.

A conditional logit (McFadden, in: Frontiers in Econometrics (1974) 105-142): every file that a machine can print has a
weight of its own, times a factor if its material is loaded, times one if parts of its product are wanted, times a
power of the share of the time to the next hands that it would print: people load what ends when somebody is there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import HOUR
from core.staffed import Staffed

#: Before any start is seen: the logarithms of the factors of a loaded material and of a wanted product, and the power
#: of the share that prints, and how sure these are (one standard deviation; of files about the usual one).
BEFOREHAND, DOUBT, APART = np.array([3.0, 1.0, 3.0]), np.array([2.0, 1.0, 3.0]), 1.5
#: Hours that a print which ends while people are in usually waits.
USUAL_WAIT = 0.5


@dataclass(frozen=True)
class Habit:
    """How hands choose: logarithms of the weights of files [files] and of the factors of a loaded material and of a
    wanted product, and the power of the share that prints. `doubt` is the covariance of the logarithms in that order,
    [files + 2, files + 2].
    """

    files: Numbers
    loaded: float
    wanted: float
    suits: float
    doubt: Numbers

    def drawn(self, count: int, seed: int) -> tuple[Numbers, Numbers, Numbers]:
        """So many habits as likely as this one: weights [count, files] and both factors [count], as they multiply.

        Their means are what is likeliest: a file that was seldom started is not drawn more often for that.
        """
        mean = np.concatenate([self.files, [self.loaded, self.wanted]]) - np.diag(self.doubt) / 2
        drawn = np.exp(np.random.default_rng(seed).multivariate_normal(mean, self.doubt, count))
        return drawn[:, :-2], drawn[:, -2], drawn[:, -1]


@dataclass(frozen=True)
class Starts:
    """Starts, and what might have been started instead: [starts] and [starts, files].

    `file` was started (its place); each file `fits` the machine or not, is of the `loaded` material, its product is so
    likely `wanted`, and it would print the share `prints` of the time to the next hands.
    """

    file: Rows
    fits: Flags
    loaded: Flags
    wanted: Numbers
    prints: Numbers


def share_printing(begun: Micros, hours: Numbers, staffed: Staffed) -> Numbers:
    """The share of the time to the next hands that prints of so many `hours`, begun at moments, would print."""
    ends = begun + np.where(np.isnan(hours), 0, hours * HOUR).astype(np.int64)
    stands = (staffed.next_staffed(ends.ravel()).reshape(ends.shape) - ends) / HOUR
    return np.asarray(hours / (hours + stands + USUAL_WAIT))


def learned(starts: Starts) -> Habit:
    """The habit most likely after these starts (maximum a posteriori, normal laws beforehand), its doubt by the curve
    of the likelihood there (Laplace).
    """
    row = np.arange(len(starts.file))
    mine = starts.fits[row, starts.file] if len(row) else np.zeros(0, dtype=bool)
    fits, file = starts.fits[mine], starts.file[mine]
    features = np.stack([
        starts.loaded[mine], starts.wanted[mine], np.log(np.where(fits, starts.prints[mine], 1.0)),
    ], axis=-1).astype(np.float64)  # fmt: skip
    chosen = features[np.arange(len(file)), file].sum(axis=0)
    count = np.bincount(file, minlength=starts.fits.shape[1]).astype(np.float64)

    def loss(guess: Numbers) -> tuple[float, Numbers]:
        share, whole = _shares(guess, features, fits)
        off, apart = (guess[:3] - BEFOREHAND) / DOUBT, guess[3:] / APART
        told = float(chosen @ guess[:3] + count @ guess[3:] - whole.sum())
        slope = np.concatenate([np.einsum("sf,sfk->k", share, features) - chosen, share.sum(axis=0) - count])
        prior = float(off @ off + apart @ apart) / 2
        return prior - told, slope + np.concatenate([off / DOUBT, apart / APART])

    best = minimize(loss, np.concatenate([BEFOREHAND, np.zeros(len(count))]), jac=True, method="L-BFGS-B").x
    loaded, wanted, suits = best[:3].tolist()
    return Habit(best[3:], loaded, wanted, suits, _doubt(best, features, fits))


def _shares(guess: Numbers, features: Numbers, fits: Flags) -> tuple[Numbers, Numbers]:
    """How likely each file is at each start, and the logarithms of the sums of weights [starts]."""
    value = np.where(fits, features @ guess[:3] + guess[3:], -np.inf)
    top = value.max(axis=1, keepdims=True, initial=-1e9)
    share = np.exp(value - top)
    whole = share.sum(axis=1, keepdims=True)
    return share / whole, (top + np.log(whole))[:, 0]


def _doubt(best: Numbers, features: Numbers, fits: Flags) -> Numbers:
    """The covariance of files, loaded and wanted, the power of the share taken as it is."""
    share, _ = _shares(best, features, fits)
    mean = np.concatenate([share, np.einsum("sf,sfk->sk", share, features[..., :2])], axis=1)
    curve = -mean.T @ mean + np.diag(np.concatenate([share.sum(axis=0), np.zeros(2)]))
    across = np.einsum("sf,sfk->fk", share, features[..., :2])
    curve[:-2, -2:] += across
    curve[-2:, :-2] += across.T
    curve[-2:, -2:] += np.einsum("sf,sfk,sfl->kl", share, features[..., :2], features[..., :2], optimize=True)
    sure = np.concatenate([np.full(len(best) - 3, APART), DOUBT[:2]]) ** -2.0
    return np.asarray(np.linalg.inv(curve + np.diag(sure)))
