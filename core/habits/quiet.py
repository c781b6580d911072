"""Hours in which nobody tapped anything at any machine: was nobody there, or did people work and tell nothing?

A lone owner is out for an afternoon, or the phone lies in another room: the log is silent both times. In the one case
no machine changed, in the other they all went on as usual. What the machines were found doing afterwards tells
(`core.hours.attention`); here is what is made of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from core.arrays import Micros, Numbers
from core.epoch import HOUR

#: A room is quiet when nobody tapped anything for so many staffed hours on end.
QUIET_HOURS = 2.5
#: People worked through this share of quiet stretches (common practice, no source), drawn toward it by so many.
WORKED, STEADY = 0.3, 4.0
#: Nobody is surer than so that they did.
SURE = 0.9


@dataclass(frozen=True)
class Quiet:
    """Quiet stretches of a room: `start` and `end` (microseconds, in order), and how likely people `worked` in each."""

    start: Micros = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    end: Micros = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    worked: Numbers = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return len(self.start)

    def at(self, moments: Micros) -> Numbers:
        """How likely people worked at each moment without a tap; 0 where somebody tapped."""
        place = np.searchsorted(self.start, moments, side="right") - 1
        inside = (place >= 0) & (moments < np.append(self.end, 0)[place])
        return np.where(inside, np.append(self.worked, 0.0)[place], 0.0)

    def doubt(self, moments: Micros) -> Numbers:
        """How far what was done unseen at each moment is off, as a share of what is expected of it (one standard
        deviation): all of it was done or nothing. 0 where somebody tapped; at least that of nine in ten sure.
        """
        worked = self.at(moments)
        sure = np.clip(worked, 1e-3, SURE)
        return np.where(worked > 0, np.sqrt((1 - sure) / sure), 0.0)

    def unnoted(self, moments: Micros, pace: float) -> Numbers:
        """How likely hands at work at each moment told nothing, if without this they go at a `pace` (of the usual)."""
        worked = self.at(moments)
        return worked / np.maximum(worked + (1 - worked) * pace, 1e-9)


NEVER_QUIET = Quiet()


def quiet_edges(seen: Micros, bins: Micros) -> Micros:
    """The quiet stretches of staffed time by its `bins` (from, to; in order) and the moments of taps, in order."""
    none = np.searchsorted(seen, bins[:, 1]) == np.searchsorted(seen, bins[:, 0])
    begins = none & ~np.append(False, none[:-1] & (bins[1:, 0] == bins[:-1, 1]))
    ends = none & np.append(begins[1:] | ~none[1:], True)
    edges = np.column_stack([bins[begins, 0], bins[ends, 1]])
    return np.asarray(edges[edges[:, 1] - edges[:, 0] >= QUIET_HOURS * HOUR])
