"""How often prints stop before their end, an hour of printing.

A stopped print is found later: it stopped at any moment between the last look that saw it printing and the
first that saw it stopped. Hands come because prints stop, so how soon they were found says little of how far
they got (estimators for looks by the clock put most stops into the first minutes); the middle is taken, and a
stopped print is too small a part of the hours for it to matter much.
"""

from __future__ import annotations

import polars as pl

from core.epoch import HOUR
from core.statistics.ranges import poisson_range
from core.sums import summed

#: The groups of which the rate is told.
GROUPS = ("file", "model", "machine", "material")


def ended(gaps: pl.DataFrame) -> pl.DataFrame:
    """Announced prints that were seen through: machine, model, file, material, stopped, hours (printed).

    A print that a spool ran out on and that went on counts as one.
    """
    mine = gaps.filter(pl.col("print").is_not_null())
    begun = gaps.filter(pl.col("kind") == "PrintStarted").select("model", "file", material="loaded", print="id")
    last = mine.filter(pl.col("leaves") == "printing").group_by("print", maintain_order=True).last()
    last = last.filter(pl.col("next_found").is_in(["done", "stopped"]) & ~pl.col("proving"))
    stopped, takes = pl.col("next_found") == "stopped", pl.col("takes")
    least, most = ((pl.col(at) - pl.col("began")).clip(0, takes) for at in ("t", "until"))
    printed = pl.when(stopped).then((least + most) / 2).otherwise(takes)
    rows = last.select("print", "machine", stopped=stopped, hours=printed / HOUR)
    return rows.join(begun, on="print", maintain_order="left").drop("print")


def rates(prints: pl.DataFrame) -> pl.DataFrame:
    """How often prints stop, for the shop and each of `GROUPS`: of, name, stops, hours, low, best, high.

    `best` is stops an hour of printing; low and high hold the true rate nine times in ten (`poisson_range`).
    """
    rows = prints.with_columns(shop=pl.lit("shop"))
    told = [
        summed(rows.with_columns(name=of), ["name"], stops=pl.col("stopped").cast(pl.Int64), hours=pl.col("hours"))
        .select(pl.lit(of).alias("of"), "name", "stops", "hours").sort("name")
        for of in ("shop", *GROUPS)
    ]  # fmt: skip
    counted = pl.concat(told).filter(pl.col("name").is_not_null() & (pl.col("hours") > 0))
    ends = [poisson_range(int(n)) for n in counted["stops"]]
    return counted.with_columns(
        low=pl.Series([e.low for e in ends], dtype=pl.Float64) / pl.col("hours"),
        best=pl.col("stops") / pl.col("hours"),
        high=pl.Series([e.high for e in ends], dtype=pl.Float64) / pl.col("hours"),
    )
