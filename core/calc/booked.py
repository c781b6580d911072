"""What the orders on the book will use of every material, week by week."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl

from core.calc.hazard import Numbers
from core.setup import PrintFile, Setup

#: The kinds of entry that tell what is still to be printed for an order.
KINDS = ("OrderTaken", "OrderPacked", "OrderShipped", "PrintStarted")


def open_orders(entries: pl.DataFrame, setup: Setup) -> pl.DataFrame:
    """Orders not shipped: product, due, and the parts for which no print was started and none was packed yet."""
    kind = pl.col("kind")
    files = pl.DataFrame(
        [(f.file, f.revision, f.parts) for f in setup.history(PrintFile)],
        schema={"file": pl.String, "revision": pl.Int64, "parts": pl.Int64}, orient="row",
    ).unique(["file", "revision"], keep="last")  # fmt: skip
    rows = entries.filter(pl.col("order").is_not_null()).join(files, on=["file", "revision"], how="left")
    orders = rows.group_by("order", maintain_order=True).agg(
        product=pl.col("product").filter(kind == "OrderTaken").first(),
        due=pl.col("due").filter(kind == "OrderTaken").first(),
        wanted=pl.col("quantity").filter(kind == "OrderTaken").sum(),
        packed=pl.col("quantity").filter(kind == "OrderPacked").sum(),
        started=pl.col("parts").filter(kind == "PrintStarted").sum(),
        shipped=(kind == "OrderShipped").any(),
    )
    left = pl.col("wanted") - pl.max_horizontal("packed", "started")
    orders = orders.with_columns(parts=left).filter(~pl.col("shipped") & (left > 0) & pl.col("product").is_not_null())
    return orders.select("product", "due", "parts")


def grams_booked(orders: pl.DataFrame, setup: Setup, at: datetime, weeks: int) -> dict[str, Numbers]:
    """Grams of each material that open orders need in each of the coming `weeks`; what is overdue, in the first."""
    found: dict[str, Numbers] = {}
    for product, due, parts in orders.iter_rows():
        files = [file for file in setup.newest_files(at) if file.product == product]
        week = min(max(int((due - at).total_seconds() // (7 * 24 * 3600)), 0), weeks - 1)
        for file in files:
            grams = parts * file.grams / file.parts / len(files)
            found.setdefault(file.material, np.zeros(weeks))[week] += grams
    return found
