"""How well the record is kept: which starts and removals nobody noted, told by the other tap of the same visit.

Whoever takes parts off usually starts the next print. Where only one of the two was noted, the other was
forgotten; where neither was, the replays reckon with it (`replays`). Counted by rack and shift, never by person.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from core.entries import PARTS_THERE
from core.epoch import HOUR, micros
from core.staffed import Spell

#: Prints differ: a tenth of the shortest one is allowed for.
SURELY_SHORTER = 0.9


def visits(gaps: pl.DataFrame, shortest: float) -> pl.DataFrame:
    """Starts and removals that the other one of their visit gives away: machine, t (microseconds), what, noted.

    `what` is "start" or "removal"; `noted` is false where the other tap alone tells of it. Between a removal and
    a start that are closer than the `shortest` print (hours) nothing was left out.
    """
    off, started = pl.col("kind") == "PartsOff", pl.col("next_kind") == "PrintStarted"
    brief = pl.col("until") - pl.col("t") < SURELY_SHORTER * shortest * HOUR
    both = gaps.filter(off & started & brief)
    alone = {
        "removal": gaps.filter(pl.col("leaves").is_in(PARTS_THERE) & started).select("machine", t="until"),
        "start": gaps.filter(off & pl.col("next_found").is_in(PARTS_THERE)).select("machine", "t"),
    }
    told = [
        part.with_columns(what=pl.lit(what), noted=pl.lit(value=noted))
        for what in ("start", "removal")
        for part, noted in ((both.select("machine", "t"), True), (alone[what], False))
    ]
    return pl.concat(told)


def by_rack_and_shift(seen: pl.DataFrame, racks: Mapping[str, str], spells: list[Spell]) -> pl.DataFrame:
    """Of rows of `visits`: rack, shift, what, missed, of. What was told after a shift counts to it."""
    begins = np.array([micros(spell.window.start) for spell in spells], dtype=np.int64)
    shifts = np.array([0, *(spell.shift for spell in spells)], dtype=np.int64)
    rows = seen.with_columns(
        rack=pl.col("machine").replace_strict(racks, default=None, return_dtype=pl.String),
        shift=pl.Series(shifts[np.searchsorted(begins, seen["t"].to_numpy(), side="right")]),
    ).filter(pl.col("rack").is_not_null() & (pl.col("shift") > 0))
    counted = rows.group_by("rack", "shift", "what").agg(missed=(~pl.col("noted")).sum().cast(pl.Int64), of=pl.len())
    return counted.sort("rack", "shift", "what")
