"""Hours that machines printed, week by week, and how many since a moment."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.arrays import Micros, Numbers
from core.epoch import DAY, WEEK
from core.estimate import NINETY, Estimate


@dataclass(frozen=True)
class PrintedHours:
    """Printing hours of `machines` [machines, spans] between `edges` (microseconds, ascending), and their doubts (one
    standard deviation). The spans are weeks; the last one may be shorter.
    """

    machines: Sequence[str]
    edges: Micros
    best: Numbers
    sd: Numbers

    def shares(self, since: int, until: int) -> Numbers:
        """Which share of every span lies between two moments."""
        inside = np.minimum(self.edges[1:], until) - np.maximum(self.edges[:-1], since)
        return np.asarray(np.clip(inside / np.diff(self.edges), 0.0, 1.0))

    def since(self, machine: str, moment: int) -> Estimate:
        """Hours that a machine printed since then, with their 90 % range."""
        place, share = self.machines.index(machine), self.shares(moment, int(self.edges[-1]))
        best = float(self.best[place] @ share)
        # Within a span cut in two nobody knows how its hours fell on the halves.
        cut = self.best[place] * np.sqrt(share * (1 - share)) / 2
        spread = NINETY * math.sqrt(float(self.sd[place] ** 2 @ share + (cut**2).sum()))
        return Estimate(low=max(best - spread, 0.0), best=best, high=best + spread)

    def at(self, machine: str, moment: int) -> float:
        """Hours that it had printed by then since the first edge, most likely."""
        return float(self.best[self.machines.index(machine)] @ self.shares(int(self.edges[0]), moment))

    def a_day(self, machine: str, weeks: int) -> float:
        """Hours a day over the last so many weeks, or as many as there are."""
        end = int(self.edges[-1])
        start = max(int(self.edges[0]), end - weeks * WEEK)
        return float(self.best[self.machines.index(machine)] @ self.shares(start, end)) / ((end - start) / DAY)

    def of(self, machines: Sequence[str]) -> PrintedHours:
        """The same of these machines; those that are not among its own printed nothing."""
        places = {machine: place for place, machine in enumerate(self.machines)}
        rows = np.array([places.get(machine, len(places)) for machine in machines], dtype=np.int64)
        best, sd = (np.vstack([told, np.zeros(told.shape[1])])[rows] for told in (self.best, self.sd))
        return PrintedHours(machines, self.edges, best, sd)

    def followed_by(self, more: PrintedHours) -> PrintedHours:
        """This one and one that begins where it ends, as one, of the machines of the second."""
        before = self.of(more.machines)
        return PrintedHours(more.machines, np.concatenate([self.edges, more.edges[1:]]),
                      np.hstack([before.best, more.best]), np.hstack([before.sd, more.sd]))  # fmt: skip
