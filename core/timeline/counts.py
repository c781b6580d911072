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

    parts and good are null where no start says how many were on the platform. Where more was scrap than the print
    had parts, all that came off is taken to be scrap, none good, of a file that nobody noted: see `contradicted`.
    """
    told = pl.coalesce("on_platform", "parts")
    parts = pl.when(told.is_not_null()).then(pl.max_horizontal(told, "scrap"))
    of_it = [pl.when(~_too_much_scrap()).then(name).alias(name) for name in ("file", "revision")]
    return _ended(gaps).select(
        "machine", "t", "id", "print", *of_it, "scrap", "ended",
        cause="scrap_cause", parts=parts, good=parts - pl.col("scrap"),
    )  # fmt: skip


def contradicted(gaps: pl.DataFrame) -> pl.DataFrame:
    """Removals of more scrap than the announced print before them has parts: either another print came off, and that
    one's parts were never counted, or its start was tapped wrong.

    Columns: machine, model, t, id, scrap; of the announced print: print, file, revision, parts, began.
    """
    rows = _ended(gaps).filter(_too_much_scrap())
    return rows.select("machine", "model", "t", "id", "scrap", "print", "file", "revision", "parts", "began")


def _ended(gaps: pl.DataFrame) -> pl.DataFrame:
    """Every removal with the announced print it ended, as both were told."""
    before = gaps.select("machine", "model", "id", "kind", "t", "ended", "scrap", "scrap_cause", on_platform="parts",
                         print=pl.col("print").shift(1).over("machine"))  # fmt: skip
    return before.filter(pl.col("kind") == "PartsOff").join(
        starts(gaps).drop("machine", "proving"), on="print", how="left", maintain_order="left"
    )


def _too_much_scrap() -> pl.Expr:
    more = pl.col("on_platform").is_null() & (pl.col("scrap") > pl.col("parts"))
    return more.fill_null(value=False)


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


def perhaps_good(gaps: pl.DataFrame) -> pl.DataFrame:
    """Parts that may have been good besides those counted, by when they were gone: t (microseconds), parts."""
    return pl.concat([uncounted(gaps).select("parts", t="gone"), contradicted(gaps).select("parts", "t")])


def within(rows: pl.DataFrame, window: Window, at: str) -> pl.DataFrame:
    """The rows whose moment `at` (microseconds) lies in the window."""
    return rows.filter(pl.col(at).is_between(micros(window.start), micros(window.end), closed="left"))
