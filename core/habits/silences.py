"""Silences: times in which nobody spoke of a machine that might run, and how likely it was down in each."""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

#: The share of silences that are faults which nobody told, before anything is known of a shop.
USUAL = 0.1

_FOUND = {"machine": pl.String, "start": pl.Int64, "end": pl.Int64, "down": pl.Float64}


@dataclass(frozen=True)
class Silences:
    """The silences of a shop: the `share` that are faults which nobody told, and each one's own chance of being one.

    `found`: machine, start, end (microseconds), down (chance).
    """

    share: float = USUAL
    found: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=_FOUND))

    def weighed(self, silent: pl.DataFrame) -> pl.DataFrame:
        """Silences (machine, start, end) with their chance `down`: that of the one found then, or else the share."""
        rows = silent.with_row_index("row")
        both = rows.join(self.found.rename({"start": "began", "end": "ended"}), on="machine")
        chance = both.filter((pl.col("began") < pl.col("end")) & (pl.col("start") < pl.col("ended")))
        found = rows.join(chance.group_by("row").agg(pl.col("down").max()), on="row", how="left", maintain_order="left")
        return found.with_columns(pl.col("down").fill_null(self.share)).drop("row")
