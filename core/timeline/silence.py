"""Machines that nobody spoke of for days: most had no work, some were down and nobody told.

A fault that left no word shows itself by nothing but a machine that stands. How likely such a silence is one is told by
the faults that were told: so many of them lasted as long, and for every so many told there is one that was not.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from core.arrays import Micros
from core.epoch import FAR, HOUR
from core.staffed import Staffed
from core.timeline.faults import down_spells

#: A machine is silent when nothing was done at it for so many hours with people in.
SILENT = 12.0
#: For each fault that was told there are so many that nobody ever tells (common practice, no source), besides those
#: that the share of entries forgotten makes.
NEVER_TOLD = 0.2
#: The share of silences that are faults is drawn toward this by so many silences.
USUAL, STEADY = 0.1, 5.0


def silences(gaps: pl.DataFrame, staffed: Staffed) -> pl.DataFrame:
    """The times in which machines that might run stood untouched for long: machine, start, end (microseconds)."""
    stands = pl.when(pl.col("leaves") == "printing").then(pl.max_horizontal("end", "t")).otherwise("t")
    rows = gaps.filter(pl.col("leaves").is_in(["printing", "done", "stopped", "empty"]))
    rows = rows.select("machine", start=stands, end=pl.col("until"))
    return rows.filter(pl.Series(staffed.hours(rows["start"].to_numpy(), rows["end"].to_numpy()) > SILENT))


def share_down(gaps: pl.DataFrame, staffed: Staffed, forgets: float) -> float:
    """The share of silences that are faults which nobody told."""
    down = down_spells(gaps).filter(pl.col("until") < FAR)
    lasted = staffed.hours(down["began"].to_numpy(), down["until"].to_numpy())
    untold = float((lasted > SILENT).sum()) * (NEVER_TOLD + forgets)
    return min((untold + STEADY * USUAL) / (len(silences(gaps, staffed)) + STEADY), 1.0)


def within(silent: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """The hours of silences in consecutive windows between `edges`: machine, window, hours (a row each)."""
    rows = silent.join(pl.DataFrame({"window": np.arange(len(edges) - 1), "opens": edges[:-1], "closes": edges[1:]}),
                       how="cross")  # fmt: skip
    hours = (pl.min_horizontal("end", "closes") - pl.max_horizontal("start", "opens")) / HOUR
    return rows.select("machine", "window", hours=hours).filter(pl.col("hours") > 0)
