"""What a figure owes to its weekday: a short Saturday is no change."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from core.arrays import Numbers

#: A weekday is told from the others after so many of it.
SEVERAL = 4


def weekday_effects(days: Sequence[date], values: Numbers) -> Numbers:
    """By how much each value's weekday usually differs from all, as far as it has happened often enough; 0 on average.

    Medians, so that one day far out makes no usual.
    """
    if not len(days):
        return np.zeros(0)
    of = np.array([day.weekday() for day in days])
    usual = np.zeros(7)
    for weekday in np.unique(of):
        mine = values[of == weekday]
        usual[weekday] = np.median(mine) - np.median(values) if len(mine) >= SEVERAL else 0.0
    return np.asarray(usual[of] - usual[of].mean())
