"""Hours that machines printed, week by week, and how many since a moment."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.calc.hazard import Numbers
from core.calc.staffed import Micros
from core.estimate import NINETY, Estimate


@dataclass(frozen=True)
class Worked:
    """Printing hours of `machines` [machines, weeks] between `edges` (microseconds, ascending), and their doubts (one
    standard deviation).
    """

    machines: Sequence[str]
    edges: Micros
    best: Numbers
    sd: Numbers

    def shares(self, since: int, until: int) -> Numbers:
        """Which share of every week lies between two moments."""
        inside = np.minimum(self.edges[1:], until) - np.maximum(self.edges[:-1], since)
        return np.asarray(np.clip(inside / np.diff(self.edges), 0.0, 1.0))

    def since(self, machine: str, moment: int) -> Estimate:
        """Hours that a machine printed since then, with their 90 % range."""
        place, share = self.machines.index(machine), self.shares(moment, int(self.edges[-1]))
        best = float(self.best[place] @ share)
        # Within a week cut in two nobody knows how its hours fell on the halves.
        cut = self.best[place] * np.sqrt(share * (1 - share)) / 2
        spread = NINETY * math.sqrt(float(self.sd[place] ** 2 @ share + (cut**2).sum()))
        return Estimate(low=max(best - spread, 0.0), best=best, high=best + spread)

    def at(self, machine: str, moment: int) -> float:
        """Hours that it had printed by then since the first edge, most likely."""
        return float(self.best[self.machines.index(machine)] @ self.shares(int(self.edges[0]), moment))

    def a_day(self, machine: str, weeks: int) -> float:
        """Hours a day over the last so many weeks."""
        return float(self.best[self.machines.index(machine), -weeks:].mean()) / 7
