"""Entries as frames, and frames as entries."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

import polars as pl

from core.entries import AnyEntry, columns, entry_adapter

UUIDS = {"id", "round", "which"}
_TIMES = {"at", "noted_at", "arrived_at", "due", "expected"}
_WHOLE = {"revision", "scrap", "on_platform"}
_REAL = {"celsius", "grams", "humidity_pct", "left_grams", "minutes", "pm25_ug_m3", "quantity"}
_YES_NO = {"proving"}


def _polars_type(name: str) -> pl.DataType:
    if name in _TIMES:
        return pl.Datetime("us", "UTC")
    if name in _WHOLE:
        return pl.Int64()
    if name in _REAL:
        return pl.Float64()
    return pl.Boolean() if name in _YES_NO else pl.String()


#: The columns of a frame of entries; ids are text.
ENTRY_SCHEMA = pl.Schema({name: _polars_type(name) for name in columns()})


def entry_frame(entries: Sequence[AnyEntry]) -> pl.DataFrame:
    """Entries as a frame with the columns of `ENTRY_SCHEMA`."""
    rows = [_plain(entry) for entry in entries]
    return pl.DataFrame(rows, schema=dict(ENTRY_SCHEMA), orient="row")


def _plain(entry: AnyEntry) -> tuple[object, ...]:
    values = entry.model_dump()
    return tuple(str(v) if isinstance(v := values.get(name), UUID) else v for name in ENTRY_SCHEMA)


def entries_from(frame: pl.DataFrame) -> list[AnyEntry]:
    """The entries that a frame with the columns of `ENTRY_SCHEMA` holds."""
    return [
        entry_adapter.validate_python({name: value for name, value in row.items() if value is not None})
        for row in frame.iter_rows(named=True)
    ]
