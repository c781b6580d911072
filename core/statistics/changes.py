"""Is anything changing: a daily figure against its own usual spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from core.statistics.control_limits import individuals

#: So many days in a row on one side of the mean is a shift (one chance in 128 for a steady figure).
RUN = 8
#: Fewer days than this give no limits.
ENOUGH = 15


@dataclass(frozen=True, slots=True)
class UsualRange:
    """The usual of a daily figure: its mean, and the limits a steady figure stays within."""

    mean: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Signal:
    """A change beyond the usual: which rule ("limit" or "run"), from which value on (index), up or down."""

    rule: str
    index: int
    upward: bool


def limits(values: Sequence[float]) -> UsualRange | None:
    """The limits for individual values from their moving ranges; None with too few values."""
    if len(values) < ENOUGH:
        return None
    found = individuals(values)
    return UsualRange(found.centre, float(found.lower[0]), float(found.upper[0]))


def signal(values: Sequence[float], usual: UsualRange, recent: int = 7) -> Signal | None:
    """The newest change that shows in the last `recent` values, or None."""
    first_recent = len(values) - recent
    for index in range(len(values) - 1, max(first_recent, 0) - 1, -1):
        if not usual.lower <= values[index] <= usual.upper:
            return Signal("limit", index, values[index] > usual.mean)
    return _run(values, usual.mean)


def _run(values: Sequence[float], mean: float) -> Signal | None:
    """A run that is still going on at the last value; a value at the mean is on neither side."""
    sides = [(value > mean) - (value < mean) for value in values]
    length = 0
    for side in reversed(sides):
        if side != sides[-1] or not side:
            break
        length += 1
    return Signal("run", len(values) - length, sides[-1] > 0) if length >= RUN else None
