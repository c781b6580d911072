"""Stretches of machines cut at moments: each machine's time lies on one line after the other's."""

from __future__ import annotations

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
