"""The season of a shop: how its use moves through the year, told from items known for a year or more."""

from __future__ import annotations

import numpy as np

from core.arrays import Numbers, Rows

#: Weeks in a year; the season is told from so many known weeks on.
YEAR = 365.25 / 7
#: Waves in a season, and one standard deviation, known beforehand, of the first (of the k-th: a k-th) and of growth.
WAVES, WAVE, GROWTH = 3, 0.5, 0.4


def seasons(use: Numbers, groups: Rows, until: int, weeks: int, year: float = YEAR) -> Numbers:
    """Each group's seasonal index in each of so many weeks [groups, weeks], from the columns of `use` before `until`.

    Items known for a year or more count, each as a share of its own mean and the more the steadier it is; 1 where
    there are none. Waves of a year and its parts are fitted to the logarithm beside steady growth, drawn towards
    none: a quasi-likelihood (Wedderburn, Biometrika 61 (1974) 439-447) with a normal law beforehand.
    """
    shares, weight = _shares(use[:, :until], groups, int(year))
    design = _waves(np.arange(weeks), until, year)
    rough = np.concatenate([[0.0, 1 / GROWTH**2], np.repeat((np.arange(1, WAVES + 1) / WAVE) ** 2, 2)])
    fitted = _log_linear(design[:until], shares, weight, rough)
    waves = np.exp(fitted[:, 2:] @ design[:, 2:].T)
    first = max(0, until - round(year))
    return np.asarray(waves / waves[:, first : max(until, 1)].mean(axis=1, keepdims=True))


def _shares(use: Numbers, groups: Rows, year: int) -> tuple[Numbers, Numbers]:
    """The use of each group as a share of its mean, and what it weighs: [groups, weeks] each."""
    known = ~np.isnan(use)
    count = known.sum(axis=1)
    some = np.where(known, use, 0.0)
    mean = some.sum(axis=1) / np.maximum(count, 1)
    mean = np.where((count >= year) & (mean > 0), mean, np.inf)
    spread = np.where(known, (use / mean[:, None] - 1) ** 2, 0.0).sum(axis=1) / np.maximum(count, 1)
    worth = np.where(np.isfinite(mean), 1 / (spread + 0.1), 0.0)
    member = (groups == np.arange(groups.max(initial=-1) + 1)[:, None]) * worth
    weight = member @ known.astype(float)
    shares = (member / mean) @ some / np.where(weight > 0, weight, 1.0)
    return np.asarray(shares), np.asarray(weight)


def _waves(weeks: Rows, until: int, year: float) -> Numbers:
    """The columns of the fit: 1, years, and cosine and sine of each wave."""
    phase = 2 * np.pi * weeks / year
    pairs = [f(k * phase) for k in range(1, WAVES + 1) for f in (np.cos, np.sin)]
    return np.stack([np.ones(len(weeks)), (weeks - until / 2) / year, *pairs], axis=1)


def _log_linear(design: Numbers, shares: Numbers, weight: Numbers, rough: Numbers) -> Numbers:
    """Coefficients [groups, columns] of the logarithm of `shares` [groups, weeks]."""
    found = np.zeros((len(shares), design.shape[1]))
    excess = np.full(len(shares), 0.1)
    for _ in range(8):
        mean = np.exp(np.clip(found @ design.T, -5, 5))
        pull = weight * mean
        gain = np.einsum("gt,tk,tl->gkl", pull, design, design, optimize=True)
        gain += (excess[:, None, None] * rough + 1e-9) * np.eye(len(rough))
        slope = (weight * (shares - mean)) @ design - excess[:, None] * rough * found
        found = found + np.clip(np.linalg.solve(gain, slope[..., None])[..., 0], -1, 1)
        seen = (weight > 0).sum(axis=1)
        excess = (weight * (shares - mean) ** 2 / mean).sum(axis=1) / np.maximum(seen - len(rough), 1)
        excess = np.maximum(excess, 1e-6)
    return found
