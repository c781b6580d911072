"""How often machines fail by the hours printed since something, in bands of such hours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.arrays import Numbers
from core.estimate import Estimate
from core.statistics.failures import FailureTimes
from core.statistics.ranges import poisson_range

#: So many bands at most, of a round width; the last takes in what lies beyond it, less than this share of the hours.
BANDS, THIN = 6, 0.05
#: Round widths, times powers of ten.
ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Band:
    """From `start` to `end` hours since: `failures` in `hours` of printing; `rate` an hour (exact 90 % range)."""

    start: float
    end: float
    failures: int
    hours: float
    rate: Estimate


def bands(machines: Sequence[FailureTimes]) -> list[Band]:
    """The bands from 0 to the longest time anything was watched; none of nothing watched.

    The rate of a band is its failures by its hours, with Garwood's exact range: right if it is steady within the band.
    """
    if not machines:
        return []
    watched = np.sort([one.hours for one in machines])
    most = float(watched[-1])
    width = _round_up(_nearly_all(watched) / BANDS)
    edges = np.append(np.arange(0.0, min(BANDS * width, most) - width / 2, width), most)
    hours = np.clip(watched[:, None] - edges[:-1], 0.0, np.diff(edges)).sum(axis=0)
    failed = np.concatenate([np.asarray(one.failed, dtype=np.float64) for one in machines])
    counts = np.histogram(failed, edges)[0].tolist()
    return [
        Band(a, b, count, lasted, poisson_range(count).scaled(1 / lasted))
        for a, b, count, lasted in zip(edges[:-1].tolist(), edges[1:].tolist(), counts, hours.tolist(), strict=True)
    ]


def _nearly_all(watched: Numbers) -> float:
    """The time beyond which less than `THIN` of the hours lie."""
    times = np.linspace(0.0, float(watched[-1]), 1001)
    beyond = np.clip(watched[:, None] - times, 0.0, None).sum(axis=0)
    return float(times[np.argmax(beyond <= THIN * beyond[0])])


def _round_up(width: float) -> float:
    power = 10.0 ** math.floor(math.log10(width))
    return power * next(step for step in ROUND if step * power >= width * (1 - 1e-9))
