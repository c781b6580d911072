"""Laws of amounts used: by mean and standard deviation, and on a grid.

Few units are counted: a Poisson law, or a negative binomial where use comes in clusters. Many follow a gamma law, which
is skewed like use and never below none. On the grid a law is the chance of so many cells [items, cells], whatever a
cell of an item is in units: so laws can be added to each other, whatever their shape.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, rfft
from scipy.special import gammaincc, gammaln, pdtrc, xlogy
from scipy.stats import nbinom

from core.arrays import Flags, Numbers

#: Units below which single pieces matter: counted one by one rather than measured.
COUNTED = 20.0
#: A variance this many times the mean or more is no Poisson law's.
CLUSTERED = 1.05
#: Cells of a law, and the last of them.
CELLS, LAST = 256, 255
#: The steadiest use that a gamma law is taken for, as a share of its mean.
STEADIEST = 1e-3


def chance_short(have: Numbers, mean: Numbers, sd: Numbers) -> Numbers:
    """The chance [items] that use with this mean and standard deviation exceeds `have`."""
    have, mean, sd = np.broadcast_arrays(have, mean, sd)
    found = np.where(np.isnan(mean), np.nan, (mean > have).astype(float))
    clustered = sd**2 >= CLUSTERED * mean
    few = (mean > 0) & (mean < COUNTED)
    at = (mean >= COUNTED) & (sd > 0)
    scale = sd[at] ** 2 / mean[at]
    found[at] = gammaincc(mean[at] / scale, np.maximum(have[at], 0) / scale)
    at = few & ~clustered
    found[at] = pdtrc(np.floor(np.maximum(have[at], 0)), mean[at])
    at = few & clustered
    share = mean[at] / sd[at] ** 2
    found[at] = nbinom.sf(have[at], mean[at] * share / (1 - share), share)
    return np.asarray(np.where(have < 0, 1.0, found))


def law(mean: Numbers, sd: Numbers, step: Numbers, pieces: Flags) -> Numbers:
    """The law of an amount [items, cells] in cells of `step` units; of `pieces` a cell is one."""
    found = np.empty((len(mean), CELLS))
    found[pieces] = _counted(mean[pieces], sd[pieces])
    found[~pieces] = _measured(mean[~pieces] / step[~pieces], sd[~pieces] / step[~pieces])
    found[:, -1] += 1 - found.sum(axis=1)
    return np.maximum(found, 0)


def _counted(mean: Numbers, sd: Numbers) -> Numbers:
    """A Poisson or negative binomial law, each chance from the one before it (Panjer, ASTIN Bulletin 12 (1981) 22-26,
    from memory).
    """
    clustered = sd**2 >= CLUSTERED * mean
    share = mean / np.maximum(sd**2, CLUSTERED * mean)
    size = mean * share / (1 - share)
    none = np.where(clustered, share**size, np.exp(-mean))
    each = np.where(clustered, 1 - share, 0.0), np.where(clustered, (size - 1) * (1 - share), mean)
    steps = each[0][:, None] + each[1][:, None] / np.arange(1.0, CELLS)
    return np.asarray(np.cumprod(np.hstack([none[:, None], steps]), axis=1))


def _measured(mean: Numbers, sd: Numbers) -> Numbers:
    """A gamma law, each amount shared out between the two cells next to it, which keeps the mean."""
    shape = np.minimum(mean / np.maximum(sd, STEADIEST * mean), 1 / STEADIEST)[:, None] ** 2
    scale, cell = mean[:, None] / shape, np.arange(1.0, CELLS + 1)
    at = cell / scale
    exceeds = gammaincc(shape, at)
    # The mean excess over each cell; of gamma laws those of shape and shape + 1 differ by one term.
    beyond = mean[:, None] * (exceeds + np.exp(xlogy(shape, at) - at - gammaln(shape + 1))) - cell * exceeds
    return np.diff(np.hstack([mean[:, None] + 1, mean[:, None], beyond]), n=2)


def together(one: Numbers, other: Numbers) -> Numbers:
    """The law of the sum of two independent amounts [items, twice the cells]."""
    return np.asarray(irfft(rfft(one, 2 * CELLS) * rfft(other, 2 * CELLS), 2 * CELLS))


def least_stock(of: Numbers, step: Numbers, service: Numbers) -> Numbers:
    """The least whole units [items] that an amount of this law exceeds with at most 1 - service."""
    run = np.cumsum(of, axis=1)
    item, cell = np.arange(len(run)), np.argmax(run >= service[:, None] - 1e-9, axis=1)
    # What is in a cell of many units lies anywhere in it.
    within = (service - np.where(cell > 0, run[item, cell - 1], 0.0)) / np.maximum(of[item, cell], 1e-12)
    between = np.ceil((cell - 0.5 + within) * step - 1e-9)
    return np.asarray(np.where(step == 1, cell, np.maximum(between, 0.0)), float)
