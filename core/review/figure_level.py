"""The level of a figure over some of its values, whatever it is counted of."""

from __future__ import annotations

from typing import Literal

from core.arrays import Numbers
from core.estimate import Estimate, difference
from core.review.figures import RATE_HOURS, Kind
from core.statistics import levels


def level_of(kind: Kind, values: Numbers, of_each: Numbers) -> Estimate:
    """The level with its 90 % range, in the unit in which the values are shown; of one value at least."""
    if kind == "p":
        return levels.share(values * of_each, of_each)
    if kind == "u":
        return levels.rate(values * of_each / RATE_HOURS, of_each).scaled(RATE_HOURS)
    return levels.mean(values)


def says(before: Estimate, after: Estimate) -> tuple[Estimate, Literal["more", "less", "cannot tell"]]:
    """The change from one level to another with its range, and whether that leaves out none."""
    change = difference(after, before)
    if change.low <= 0 <= change.high:
        return change, "cannot tell"
    return change, "more" if change.best > 0 else "less"
