"""What came off the platforms: good and scrap parts, and what was never counted."""

from __future__ import annotations

import polars as pl

from core.entries import PARTS_THERE
from core.epoch import micros
from core.timeline.gaps import DECLARED
from core.window import Window


def starts(gaps: pl.DataFrame) -> pl.DataFrame:
    """The announced starts: print (its id), machine, began (microseconds), file, revision, parts, proving."""
    return gaps.filter(pl.col("kind") == "PrintStarted").select(
        "machine", "file", "revision", "parts", "proving", print="id", began="t"
    )


def removals(gaps: pl.DataFrame) -> pl.DataFrame:
    """Every removal with the print it ended: machine, t, id, print, file, revision, parts, good, scrap, cause, ended.

    parts and good are null where no start says how many were on the platform.
    """
    before = gaps.select("machine", "id", "kind", "t", "ended", "scrap", "scrap_cause", "parts",
                         print=pl.col("print").shift(1).over("machine"))  # fmt: skip
    off = before.filter(pl.col("kind") == "PartsOff").rename({"parts": "on_platform"})
    off = off.join(starts(gaps).select("print", "file", "revision", "parts"), on="print", how="left",
                   maintain_order="left")  # fmt: skip
    parts = pl.coalesce("on_platform", "parts")
    return off.select(
        "machine", "t", "id", "print", "file", "revision", "scrap", "ended",
        cause="scrap_cause", parts=parts, good=parts - pl.col("scrap"),
    )  # fmt: skip


def uncounted(gaps: pl.DataFrame) -> pl.DataFrame:
    """Prints whose parts left the platform and were never counted.

    Columns: machine, print, file, revision, parts, began, gone (when they were off, best), next_id
    (the fact that shows it).
    """
    left, found = pl.col("leaves"), pl.col("next_found")
    parts_there = left.is_in(PARTS_THERE) & pl.col("print").is_not_null()
    gone = (
        found.is_in(["clear", "empty", *DECLARED])
        | (pl.col("shape") == "another")
        | (left.is_in(["done", "stopped"]) & (found == "printing") & (pl.col("next_kind") == "Looked"))
    )
    when = (
        pl.when(pl.col("shape").is_in(["another", "emptied"])).then("swap")
        .when(pl.col("shape") == "unseen start").then("next_begin")
        .when(pl.col("shape") == "stopped and emptied").then("clear")
        .when(found.is_in(["empty", *DECLARED])).then("mid")
        .otherwise("until")
    )  # fmt: skip
    rows = gaps.filter(parts_there & gone).select("machine", "print", "next_id", gone=when)
    # Parts come off a machine that is down as well, after it was seen so.
    rows = rows.unique("print", keep="first", maintain_order=True).join(removals(gaps), on="print", how="anti")
    return rows.join(starts(gaps).drop("machine"), on="print", how="inner", maintain_order="left")


def within(rows: pl.DataFrame, window: Window, at: str) -> pl.DataFrame:
    """The rows whose moment `at` (microseconds) lies in the window."""
    return rows.filter(pl.col(at).is_between(micros(window.start), micros(window.end), closed="left"))
