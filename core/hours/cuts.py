"""Stretches of machines cut at moments: each machine's time lies on one line after the other's."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from core.arrays import Micros


def line(place: pl.Series, moment: pl.Series) -> Micros:
    """Machine and time as one number, so that sorting by both is sorting by it."""
    return np.asarray(place.to_numpy().astype(np.int64) * 2**52 + moment.to_numpy())


def cut_at(rows: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """The rows cut at the edges that lie inside them; a cut so made has no doubt."""
    start, end = line(rows["place"], rows["start"]), line(rows["place"], rows["end"])
    first, last = np.searchsorted(edges, start, side="right"), np.searchsorted(edges, end, side="left")
    row = np.repeat(np.arange(len(rows)), last - first + 1)
    step = np.arange(len(row)) - np.repeat(np.cumsum(last - first + 1) - (last - first + 1), last - first + 1)
    begins, ends = step == 0, step == np.repeat(last - first, last - first + 1)
    inner = edges[np.clip(first[row] + step, 0, len(edges) - 1)] - rows["place"].to_numpy()[row] * 2**52
    before = edges[np.clip(first[row] + step - 1, 0, len(edges) - 1)] - rows["place"].to_numpy()[row] * 2**52
    pieces = rows[row]
    told = {
        f"start{end}": np.where(begins, pieces[f"start{end}"].to_numpy(), before) for end in ("", "_low", "_high")
    } | {f"end{end}": np.where(ends, pieces[f"end{end}"].to_numpy(), inner) for end in ("", "_low", "_high")}
    return pieces.with_columns(**{name: pl.Series(values) for name, values in told.items()})


def marked(rows: pl.DataFrame, spans: pl.DataFrame, places: Mapping[str, int], name: str) -> pl.DataFrame:
    """The rows cut at the ends of `spans` (machine, start, end and a value called `name`, none over another of its
    machine) and with that value where they lie in one, 0 outside.
    """
    mine = spans.filter(pl.col("machine").is_in(list(places)))
    if mine.is_empty():
        return rows.with_columns(pl.lit(0.0).alias(name))
    mine = mine.with_columns(place=pl.col("machine").replace_strict(places, return_dtype=pl.Int64))
    mine = mine.sort("place", "start")
    opens, closes = line(mine["place"], mine["start"]), line(mine["place"], mine["end"])
    cut = cut_at(rows, np.unique(np.concatenate([opens, closes])))
    at = np.searchsorted(opens, line(cut["place"], cut["start"]), side="right") - 1
    inside = (at >= 0) & (closes[at] >= line(cut["place"], cut["end"]))
    return cut.with_columns(pl.Series(name, np.where(inside, mine[name].to_numpy()[at], 0.0)))
