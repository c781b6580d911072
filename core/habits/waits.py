"""How long finished prints wait for hands, as far as removals tell.

A removal is tapped when the parts are off: hands came a little sooner, and what is tapped sooner after an end than
parts come off is rare. Moments told from memory may be off; then a wait is only known to lie between two bounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import HOUR
from core.staffed import Staffed
from core.statistics.hazard import AGES, Hazard, step_of

#: A removal tapped sooner than parts usually come off is so much less likely than one after it.
HASTY = 0.03
#: Some prints waited for hours that a change nobody noted hides (this share to begin with), at any of so many hours.
HIDDEN, HIDDEN_HOURS = 0.05, 10.0
#: Steps of a life table.
STEPS_OF_AGE = len(AGES) - 1


@dataclass(frozen=True)
class WaitLaws:
    """How long prints wait that ended while people were in, and that ended before; the share of hidden changes."""

    inside: Hazard
    outside: Hazard
    hidden: float = HIDDEN

    @property
    def usual(self) -> float:
        """The median wait of prints that ended while people were in, in hours."""
        return float(self.inside.age(np.array([math.log(2)]))[0])


class PossibleWaits:
    """The waits of prints that ended at `ends` until hands `came`, to take the parts off (`removed`) or to look on.

    All in microseconds, a row for each end that is thought of; moments may be `off_by` off. `outside` ended while
    nobody was in. The step of the life tables at which a wait was over and the hours into it stand ready (the steps
    for outside follow those for inside).
    """

    def __init__(self, ends: Micros, came: Micros, removed: Flags, off_by: Micros, staffed: Staffed) -> None:
        opens, closes = staffed.spell_at(ends)
        self.removed, self.outside = removed, opens == closes
        self.hasty = np.where(removed & (ends > came), HASTY, 1.0)
        self.hidden = at_any_time(removed)
        self.waited = _hours(ends, came, staffed)
        self.step, self.into = self._placed(self.waited, self.outside)
        self.late = np.flatnonzero(removed & (off_by > 0))
        ends, came, off_by = ends[self.late], came[self.late], off_by[self.late]
        self.bounds = [_hours(ends, came + side * off_by, staffed) for side in (-1, 1)]
        self.told_within = 2 * off_by / HOUR

    def chances(self, laws: WaitLaws) -> Numbers:
        """The likelihood of what was seen for each end: of a removal then, or of waiting on until then."""
        rates, lasting = self._lasting(laws, self.step, self.into)
        density = np.where(self.removed, rates * self.hasty, 1.0) * lasting
        if len(self.late):
            outside = self.outside[self.late]
            first, last = (self._lasting(laws, *self._placed(bound, outside))[1] for bound in self.bounds)
            density[self.late] = (first - last) / self.told_within
        return np.asarray((1 - laws.hidden) * density + laws.hidden * self.hidden)

    def laws(self, laws: WaitLaws, weights: Numbers, chances: Numbers) -> WaitLaws:
        """The waits that fit best by how likely each end is, and how likely its wait hides a change."""
        mine = weights * (1 - laws.hidden * self.hidden / chances)
        share = 1 - (mine.sum() + 10 * (1 - HIDDEN)) / (weights.sum() + 10)
        (inside, outside), waited = self._tables(mine, laws)
        fitted = Hazard.falling(inside, waited[0]), Hazard.fitted(outside, waited[1])
        return WaitLaws(*fitted, float(np.clip(share, 0.01, 0.3)))

    def _tables(self, weights: Numbers, laws: WaitLaws) -> tuple[Numbers, Numbers]:
        """Waits with these weights that ended at each step of the two life tables, and the hours waited at it."""
        step, into = self._on_average(laws) if len(self.late) else (self.step, self.into)
        counted = weights, weights * into, np.where(self.removed, weights, 0.0)
        tables = np.array([np.bincount(step, one, 2 * STEPS_OF_AGE) for one in counted])
        over, into, ended = tables.reshape(3, 2, STEPS_OF_AGE)
        beyond = np.cumsum(over[:, ::-1], axis=1)[:, ::-1] - over
        return ended, into + beyond * np.diff(AGES)

    def _on_average(self, laws: WaitLaws) -> tuple[Rows, Numbers]:
        """Where waits were over; those within bounds at their mean, were they exponential with the usual median."""
        waited, (first, last) = self.waited.copy(), self.bounds
        waited[self.late] = first + _mean_within(last - first, laws.usual / math.log(2))
        return self._placed(waited, self.outside)

    @staticmethod
    def _placed(waited: Numbers, outside: Flags) -> tuple[Rows, Numbers]:
        step = step_of(waited)
        return step + outside * STEPS_OF_AGE, waited - AGES[step]

    @staticmethod
    def _lasting(laws: WaitLaws, step: Rows, into: Numbers) -> tuple[Numbers, Numbers]:
        """The chance an hour that each wait ends there, and that it lasted until then."""
        rates = np.concatenate([law.rates for law in (laws.inside, laws.outside)])[step]
        begun = np.concatenate([law.at_edges[:-1] for law in (laws.inside, laws.outside)])[step]
        return rates, np.exp(-(begun + rates * into))


def at_any_time(removed: Flags) -> Numbers:
    """The likelihood of a removal that may be at any time, or of none until then."""
    return np.where(removed, 1 / HIDDEN_HOURS, 0.5)


def _hours(starts: Micros, ends: Micros, staffed: Staffed) -> Numbers:
    return np.maximum(staffed.hours(starts, ends), 0.0)


def _mean_within(width: Numbers, mean: float) -> Numbers:
    """The mean of an exponential law with this one, of what is within `width`: half of it where that is short."""
    width = np.maximum(width, 1e-6 * mean)
    return mean - width / np.expm1(np.minimum(width / mean, 500.0))
