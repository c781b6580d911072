"""Sums by group that are the same to the last digit wherever they are made.

Polars adds up a group in as many parts as it has threads, also where its order is maintained, and a sum of floats
depends on its order. Lists of the values keep the order of the rows, and each is added up by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl


def summed(rows: pl.DataFrame, by: Sequence[str], *values: pl.Expr, **named: pl.Expr) -> pl.DataFrame:
    """A row a group, in the order of their first rows: the columns `by`, and the sums of the values in the group."""
    lists = rows.group_by(*by, maintain_order=True).agg(*values, **named)
    return lists.with_columns(pl.exclude(*by).list.sum())
