"""Hours of the states of machines in windows of time, as rows that add up, each with its doubts.

What a row may be off by its own chance and what moves many rows together are kept apart (see `state_hours`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from core.arrays import Numbers
from core.estimate import NINETY, Estimate
from core.sums import summed

#: The idle states together (done, stopped, empty): their hours trade with each other, not with the rest.
IDLE = "idle"

KEYS = ("machine", "window", "state", "cause", "spare", "kind")
SCHEMA = {
    "machine": pl.String, "window": pl.Int64, "state": pl.String, "cause": pl.String, "spare": pl.String,
    "kind": pl.Int64, "best": pl.Float64, "below": pl.Float64, "above": pl.Float64, "third": pl.Float64,
    "moved": pl.Float64, "loose": pl.Float64, "upward": pl.Float64,
}  # fmt: skip


@dataclass(frozen=True)
class StateHours:
    """Hours in windows, to be added up.

    `rows`: machine, window (index), state (`IDLE` besides: done, stopped and empty together), cause, spare,
    kind (place in `PrintTimes.kinds` or -1), best (hours), below and above (variance of what is the row's own
    chance, to either side), third (its third central moment), moved (hours by which one more in the logarithm of its
    kind's time moves it), loose (hours by which an error of the law as a whole moves it), upward (hours without a word
    that were of this state as the shop works).
    `covariance` is that of the logarithms of the kinds' times.
    """

    rows: pl.DataFrame
    covariance: Numbers

    def of(self, which: pl.Expr) -> StateHours:
        """The rows that `which` picks."""
        return StateHours(self.rows.filter(which), self.covariance)

    def by(self, *names: str) -> pl.DataFrame:
        """The rows added up by the named columns: best, low and high (hours; the range holds nine in ten)."""
        group = pl.struct(names).rank("dense").cast(pl.Int64) - 1 if names else pl.lit(0)
        rows = self.rows.with_columns(group=group)
        moments = pl.col("best", "below", "above", "third", "loose", "upward")
        sums = summed(rows, ["group", *names], moments).sort("group")
        shared = self._shared(rows, len(sums)) + sums["loose"].to_numpy() ** 2
        best, below, above, third = (sums[name].to_numpy() for name in ("best", "below", "above", "third"))
        low, high = _ends(best, below, above, third, shared)
        return sums.select(*names, "best", low=pl.Series(low), high=pl.Series(high) + pl.col("upward"))

    def total(self, states: Sequence[str]) -> Estimate:
        """The hours of these states together."""
        mine = self.of(pl.col("state").is_in(states)).by()
        if mine.is_empty():
            return Estimate.exact(0.0)
        return Estimate(low=mine["low"][0], best=mine["best"][0], high=mine["high"][0])

    @property
    def hours(self) -> float:
        """The hours of all states."""
        return math.fsum(self.rows.filter(pl.col("state") != IDLE)["best"])

    def _shared(self, rows: pl.DataFrame, groups: int) -> Numbers:
        """The variance of each group's hours that comes from the doubt about what kinds of prints take."""
        moved = np.zeros((groups, len(self.covariance)))
        mine = rows.filter(pl.col("kind") >= 0)
        np.add.at(moved, (mine["group"].to_numpy(), mine["kind"].to_numpy()), mine["moved"].to_numpy())
        return np.asarray(np.einsum("gk,kl,gl->g", moved, self.covariance, moved))


def _ends(best: Numbers, below: Numbers, above: Numbers, third: Numbers, shared: Numbers) -> tuple[Numbers, Numbers]:
    """The 5th and the 95th percentile; the mean lies within them and nothing is below nought."""
    down, up = np.sqrt(below + shared), np.sqrt(above + shared)
    cube = np.maximum(down * up * (down + up) / 2, 1e-12)
    lean = np.clip(third / cube, -2.0, 2.0) / 6 * (NINETY**2 - 1)
    low, high = best + down * (lean - NINETY), best + up * (lean + NINETY)
    return np.clip(low, 0.0, best), np.maximum(high, best)
