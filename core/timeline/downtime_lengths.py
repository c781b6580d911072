"""How long machines stay down: from when they went down to when they were back.

Both ends may lie between two entries, and some machines are down still: durations are interval-censored, and
their distribution is that of Turnbull (`turnbull`), who takes in what is known of each.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from core.epoch import FAR, HOUR
from core.statistics.turnbull import turnbull
from core.timeline.faults import down_spells


def durations(gaps: pl.DataFrame) -> pl.DataFrame:
    """Every time a machine was down: machine, least, most (hours; infinite where it may be down still)."""
    spells, since = down_spells(gaps), pl.col("since")
    noted = pl.col("kind").list.first() == "WentDown"
    earliest = pl.when(noted).then(since).otherwise(pl.coalesce("before", since))
    back = pl.when(pl.col("back") == "CameBack").then("until").otherwise("last")
    most = pl.when(pl.col("until") == FAR).then(np.inf).otherwise((pl.col("until") - earliest) / HOUR)
    return spells.select("machine", least=(back - since) / HOUR, most=most)


def mended_within(rows: pl.DataFrame, shares: tuple[float, ...]) -> tuple[float | None, ...]:
    """The hours within which such shares of the faults in rows of `durations` were mended; None where not over yet."""
    if rows.is_empty():
        return (None,) * len(shares)
    hours = turnbull(rows["least"].to_numpy(), rows["most"].to_numpy()).quantile(shares)
    return tuple(float(h) if np.isfinite(h) else None for h in hours)
