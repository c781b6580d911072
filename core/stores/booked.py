"""What the orders on the book will use of every material, week by week."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl

from core.arrays import Numbers
from core.epoch import WEEK, micros
from core.orders import order_book, still_open
from core.setup import PrintFile, Setup

#: The kinds of entry that tell what is still to be printed for an order.
KINDS = ("OrderTaken", "OrderPacked", "OrderShipped", "PrintStarted")


def open_orders(entries: pl.DataFrame, setup: Setup) -> pl.DataFrame:
    """Open orders: product, due (microseconds), and the parts for which no print was started and none packed yet."""
    files = pl.DataFrame(
        [(f.file, f.revision, f.parts) for f in setup.history(PrintFile)],
        schema={"file": pl.String, "revision": pl.Int64, "parts": pl.Int64}, orient="row",
    ).unique(["file", "revision"], keep="last")  # fmt: skip
    begun = entries.filter(pl.col("kind") == "PrintStarted").join(files, on=["file", "revision"], how="inner")
    started = begun.group_by("order").agg(started=pl.col("parts").sum())
    orders = still_open(order_book(entries)).join(started, on="order", how="left", maintain_order="left")
    left = pl.col("quantity") - pl.max_horizontal("packed", pl.col("started").fill_null(0))
    return orders.select("product", "due", parts=left).filter(pl.col("parts") > 0)


def grams_booked(orders: pl.DataFrame, setup: Setup, at: datetime, weeks: int) -> dict[str, Numbers]:
    """Grams of each material that open orders need in each of the coming `weeks`; what is overdue, in the first."""
    found: dict[str, Numbers] = {}
    for product, due, parts in orders.iter_rows():
        files = [file for file in setup.newest_files(at) if file.product == product]
        week = min(max((due - micros(at)) // WEEK, 0), weeks - 1)
        for file in files:
            grams = parts * file.grams / file.parts / len(files)
            found.setdefault(file.material, np.zeros(weeks))[week] += grams
    return found
