"""Entries about machines, turned into facts: what each tells of the time before it and after it.

A fact `found` a machine in some condition and `leaves` it in one. Both are words of the house:
printing, done, stopped, empty, down, waiting (down, for a spare), aside. Besides, `found` may be
"clear" (a start: the platform was clear by then) or "any" (nothing said about the time before).
All times and durations are whole microseconds, so that equal means equal.
"""

from datetime import timedelta

import polars as pl

from core.calc.pace import Pace
from core.calc.staffed import HOUR
from core.entries import OUT_OF_ORDER_MINUTES, SAME_MOMENT
from core.setup import Machine, PrintFile, Setup

_FOUND = {"PrintStarted": "clear", "WentDown": "any", "CameBack": "down", "SetAside": "any",
          "PutBack": "aside", "SpoolFitted": "any", "UpkeepDone": "upkeep"}  # fmt: skip
_LEAVES = {"PrintStarted": "printing", "PartsOff": "empty", "WentDown": "down", "CameBack": "empty",
           "SetAside": "aside", "PutBack": "empty", "SpoolFitted": "printing", "UpkeepDone": "empty"}  # fmt: skip

#: An entry tapped later than this was put back from memory.
PROMPT = timedelta(minutes=5)


def facts(entries: pl.DataFrame, setup: Setup, pace: Pace) -> pl.DataFrame:
    """The telling entries of every machine in the order they happened.

    Columns: machine, t (microseconds), id, kind, saw, found, leaves, hand (somebody left the machine
    empty and ready), file, revision, model, parts, proving, takes (microseconds a print of this start takes),
    recalled (told from memory: its moment is one of the steps a person can tap), ended, scrap, scrap_cause,
    cause, spare, down_since (microseconds). Upkeep is not among them: see `upkeep`.
    """
    kind = pl.col("kind")
    rows = entries.filter(kind.is_in(list(_LEAVES)) | (kind == "Looked")).select(
        "machine", "id", "kind", "saw", "file", "revision", "ended", "scrap", "scrap_cause", "on_platform",
        "cause", "spare",
        t=pl.col("at").dt.epoch("us"),
        proving=pl.col("proving").fill_null(value=False),
        recalled=pl.col("noted_at") - pl.col("at") > PROMPT,
        model=pl.col("machine").replace_strict(_models(setup), default=None, return_dtype=pl.String),
    )  # fmt: skip
    takes = _file_table(setup, pace)
    rows = rows.join(takes, on=["file", "revision", "model"], how="left", maintain_order="left")
    rows = rows.with_columns(
        parts=pl.coalesce("on_platform", "parts"),
        found=pl.coalesce(
            kind.replace_strict(_FOUND, default=None, return_dtype=pl.String),
            "saw",
            pl.when(pl.col("ended") == "stopped").then(pl.lit("stopped")).otherwise(pl.lit("done")),
        ),
        leaves=pl.coalesce(kind.replace_strict(_LEAVES, default=None, return_dtype=pl.String), "saw"),
        hand=kind.is_in(["PartsOff", "CameBack", "PutBack", "UpkeepDone"]),
        rank=_rank(),
    )
    rows = _removals_before_starts(rows.sort("machine", "t", "rank", "id"))
    return _remember_what_is_down(_keep_what_tells(rows)).drop("on_platform", "rank")


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


def models_of(setup: Setup) -> list[str]:
    """The models there are machines of, in order."""
    return sorted(set(_models(setup).values()))


def _models(setup: Setup) -> dict[str, str]:
    return {row.machine: row.model for row in setup.history(Machine)}


def _file_table(setup: Setup, pace: Pace) -> pl.DataFrame:
    """How long every revision of a file takes on every model, and its parts."""
    files = {(row.file, row.revision): row for row in setup.history(PrintFile)}
    rows = [
        (f.file, f.revision, model, f.parts, int(f.hours * pace.ratio(f.file, f.revision, model) * HOUR))
        for f in files.values()
        for model in models_of(setup)
    ]
    schema = {"file": pl.String, "revision": pl.Int64, "model": pl.String, "parts": pl.Int64, "takes": pl.Int64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _removals_before_starts(rows: pl.DataFrame) -> pl.DataFrame:
    """Parts come off before the next print starts: a removal noted a little after that start is put before it."""
    start, start_at = pl.col("kind").shift(1).over("machine"), pl.col("t").shift(1).over("machine")
    parts_there = pl.col("leaves").shift(2).over("machine").is_in(["printing", "done", "stopped"])
    slipped = (
        (pl.col("kind") == "PartsOff")
        & (start == "PrintStarted")
        & (pl.col("t") - start_at < OUT_OF_ORDER_MINUTES * 60_000_000)
        & parts_there
    ).fill_null(value=False)
    rows = rows.with_columns(t=pl.when(slipped).then(start_at).otherwise("t"))
    return rows.sort("machine", "t", "rank", "id")


def _keep_what_tells(rows: pl.DataFrame) -> pl.DataFrame:
    """A spool fitted right after a machine was seen stopped lets its print go on, and upkeep noted right after
    it was seen going on ends it; other spools and upkeep tell nothing of what the machine did.
    """
    before = pl.col("saw").shift(1).over("machine").fill_null("")
    kind = pl.col("kind")
    idle_spool = (kind == "SpoolFitted") & (before != "stopped")
    idle_upkeep = (kind == "UpkeepDone") & (before != "upkeep")
    return rows.filter(~idle_spool & ~idle_upkeep)


def _remember_what_is_down(rows: pl.DataFrame) -> pl.DataFrame:
    """A look that finds a machine still down keeps its cause, the spare it waits for and since when it is down."""
    went = pl.col("kind") == "WentDown"
    still = went | (pl.col("saw") == "down").fill_null(value=False)
    spell = (still != still.shift(1).over("machine")).fill_null(value=True).cum_sum().over("machine")
    rows = rows.with_columns(spell=spell)
    told = went.cum_sum().over("machine", "spell")
    rows = rows.with_columns(
        pl.when(still).then(pl.col("cause", "spare").first().over("machine", "spell", told)),
        down_since=pl.when(still).then(pl.col("t").min().over("machine", "spell")),
    ).drop("spell")
    waits = pl.col("spare").is_not_null() & (pl.col("leaves") == "down")
    return rows.with_columns(leaves=pl.when(waits).then(pl.lit("waiting")).otherwise("leaves"))
