"""Prints of a model may take another time than before: new firmware, new settings. The prints themselves tell.

If the prints of a model before some day agree with those after it far better once all are made longer or shorter by one
factor, its times changed then: a change point, likely before anything is seen only for one model in so many.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers, Rows
from core.habits.sightings import KINDS_SPREAD, RATIOS, Sightings, Way

#: The times of one model in so many change within the time learned from (common practice, no source).
CHANGED = 0.1
#: The changes that are thought of, in steps of `RATIOS`: what is smaller lies within the doubt of a file.
CHANGES = np.array([step for step in range(-20, 21, 2) if abs(step) > 3])
#: When they are thought to have happened: at these parts of a model's prints.
PARTS = np.linspace(0.1, 0.9, 9)


def as_now(prints: pl.DataFrame, sightings: Sightings, way: Way) -> pl.DataFrame:
    """The prints, `stated` of those before a change made such that their ratios are those after it."""
    logs, began = sightings.of_prints(way), prints["began"].to_numpy()
    stated, models = prints["stated"].to_numpy().copy(), prints["model"].to_numpy()
    for model in np.unique(models):
        kinds = [rows for kind, rows in sightings.mine.items() if kind[2] == model]
        at, change = _change(logs, kinds, began, np.quantile(began[models == model], PARTS).astype(np.int64), way.shop)
        stated[(models == model) & (began < at)] *= math.exp(-change)
    return prints.with_columns(stated=pl.Series(stated))


def _change(logs: Numbers, kinds: Sequence[Rows], began: Micros, moments: Micros, shop: float) -> tuple[int, float]:
    """When the times of these kinds changed, and the logarithm of the factor; never where that is not likely."""
    fits = np.array([_fits(logs, kinds, began, int(moment), shop) for moment in moments])
    gains = fits[:, 1:] - fits[:, :1]
    top = float(gains.max())
    if math.log(CHANGED / (1 - CHANGED)) + top + math.log(float(np.exp(gains - top).mean())) < 0:
        return 0, 0.0
    moment, change = np.unravel_index(int(gains.argmax()), gains.shape)
    return int(moments[moment]), float(CHANGES[change]) * math.log(RATIOS[1] / RATIOS[0])


def _fits(logs: Numbers, kinds: Sequence[Rows], began: Micros, moment: int, shop: float) -> Numbers:
    """The logarithm of the likelihood of these kinds without a change, and with each of `CHANGES` at a moment."""
    before, after = (
        np.array([logs[rows[(began[rows] < moment) == early]].sum(axis=0) for rows in kinds]) for early in (True, False)
    )
    places = np.arange(len(RATIOS)) - np.concatenate([[0], CHANGES])[:, None]
    prior = -0.5 * ((np.log(RATIOS) - shop) / KINDS_SPREAD) ** 2
    both = before[:, np.clip(places, 0, len(RATIOS) - 1)] + (after + prior)[:, None]
    top = both.max(axis=2)
    return np.asarray((np.log(np.exp(both - top[:, :, None]).sum(axis=2)) + top).sum(axis=0))
