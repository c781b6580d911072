"""Entries about machines, turned into facts: what each tells of the time before it and after it.

A fact `found` a machine in some condition and `leaves` it in one. Both are words of the house:
printing, done, stopped, empty, down, waiting (down, for a spare), aside. Besides, `found` may be
"clear" (a start: the platform was clear by then) or "any" (nothing said about the time before).
All times and durations are whole microseconds, so that equal means equal.
"""

import polars as pl

from core.calc.pace import Pace
from core.entries import SAME_MOMENT
from core.setup import PrintFile, Setup

_FOUND = {"PrintStarted": "clear", "WentDown": "any", "CameBack": "down", "SetAside": "any",
          "PutBack": "aside", "SpoolFitted": "any"}  # fmt: skip
_LEAVES = {"PrintStarted": "printing", "PartsOff": "empty", "WentDown": "down", "CameBack": "empty",
           "SetAside": "aside", "PutBack": "empty", "SpoolFitted": "printing"}  # fmt: skip

HOUR = 3_600_000_000


def facts(entries: pl.DataFrame, setup: Setup, pace: Pace) -> pl.DataFrame:
    """The telling entries of every machine in the order they happened.

    Columns: machine, t (microseconds), id, kind, saw, found, leaves, hand (somebody left the machine
    empty and ready), file, revision, parts, proving, takes (microseconds a print of this start takes),
    ended, scrap, cause, spare. Upkeep is not among them: see `upkeep`.
    """
    kind = pl.col("kind")
    rows = entries.filter(kind.is_in(list(_LEAVES)) | (kind == "Looked")).select(
        "machine", "id", "kind", "saw", "file", "revision", "ended", "scrap", "on_platform", "cause", "spare",
        t=pl.col("at").dt.epoch("us"),
        proving=pl.col("proving").fill_null(value=False),
    )  # fmt: skip
    rows = rows.join(_file_table(setup, pace), on=["file", "revision"], how="left", maintain_order="left")
    rows = rows.with_columns(
        parts=pl.coalesce("on_platform", "parts"),
        found=pl.coalesce(
            kind.replace_strict(_FOUND, default=None, return_dtype=pl.String),
            "saw",
            pl.when(pl.col("ended") == "stopped").then(pl.lit("stopped")).otherwise(pl.lit("done")),
        ),
        leaves=pl.coalesce(kind.replace_strict(_LEAVES, default=None, return_dtype=pl.String), "saw"),
        hand=kind.is_in(["PartsOff", "CameBack", "PutBack"]),
        rank=_rank(),
    )
    rows = rows.sort("machine", "t", "rank", "id")
    return _remember_what_is_down(_keep_resuming_spools(rows)).drop("on_platform", "rank")


def upkeep(entries: pl.DataFrame) -> pl.DataFrame:
    """Planned maintenance as machine, start, end (microseconds): the minutes before each was noted as done."""
    end = pl.col("at").dt.epoch("us")
    return (
        entries.filter((pl.col("kind") == "UpkeepDone") & (pl.col("minutes") > 0))
        .select("machine", start=end - (pl.col("minutes") * 60_000_000).cast(pl.Int64), end=end)
        .sort("machine", "start", "end")
    )


def _rank() -> pl.Expr:
    name = pl.concat_str([pl.col("kind"), pl.lit(" ") + pl.col("saw")], ignore_nulls=True)
    return name.replace_strict(SAME_MOMENT, list(range(len(SAME_MOMENT))), return_dtype=pl.Int64)


def _file_table(setup: Setup, pace: Pace) -> pl.DataFrame:
    files = {(row.file, row.revision): row for row in setup.history(PrintFile)}
    rows = [(f.file, f.revision, f.parts, int(f.hours * pace.best * HOUR)) for f in files.values()]
    schema = {"file": pl.String, "revision": pl.Int64, "parts": pl.Int64, "takes": pl.Int64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _keep_resuming_spools(rows: pl.DataFrame) -> pl.DataFrame:
    """A spool fitted right after a machine was seen stopped lets its print go on; other spools tell nothing."""
    spool = pl.col("kind") == "SpoolFitted"
    before = pl.col("saw").shift(1).over("machine")
    return rows.filter(~spool | (before == "stopped").fill_null(value=False))


def _remember_what_is_down(rows: pl.DataFrame) -> pl.DataFrame:
    """A look that finds a machine still down keeps its cause and the spare it waits for."""
    still = pl.col("saw") == "down"
    went = pl.col("kind") == "WentDown"
    # "" ends a spell, so that a later look does not reach back across it.
    carried = {
        name: pl.when(went)
        .then(pl.col(name).fill_null(""))
        .when(~still.fill_null(value=False))
        .then(pl.lit(""))
        .forward_fill()
        .over("machine")
        for name in ("cause", "spare")
    }
    rows = rows.with_columns(**carried).with_columns(
        pl.col("cause", "spare").replace("", None),
    )
    waits = pl.col("spare").is_not_null() & (pl.col("leaves") == "down")
    return rows.with_columns(leaves=pl.when(waits).then(pl.lit("waiting")).otherwise("leaves"))
