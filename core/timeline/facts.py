"""Entries about machines, turned into facts: what each tells of the time before it and after it.

A fact `found` a machine in some condition and `leaves` it in one. Both are words of the house:
printing, done, stopped, empty, down, waiting (down, for a spare), aside. Besides, `found` may be
"clear" (a start: the platform was clear by then) or "any" (nothing said about the time before).
All times and durations are whole microseconds, so that equal means equal.
"""

import math
from datetime import timedelta

import polars as pl

from core.entries import OUT_OF_ORDER_MINUTES, PARTS_THERE, SAME_MOMENT
from core.epoch import HOUR, MINUTE
from core.habits.learned import Learned
from core.numbering import numbering_of
from core.setup import Machine, PrintFile, Setup

_FOUND = {"PrintStarted": "clear", "WentDown": "any", "CameBack": "down", "SetAside": "any",
          "PutBack": "aside", "SpoolFitted": "any", "UpkeepDone": "upkeep"}  # fmt: skip
_LEAVES = {"PrintStarted": "printing", "PartsOff": "empty", "WentDown": "down", "CameBack": "empty",
           "SetAside": "aside", "PutBack": "empty", "SpoolFitted": "printing", "UpkeepDone": "empty"}  # fmt: skip

#: The spares that an entry of upkeep or of a machine that came back names, as a list: empty where it names none.
SPARES_USED = (
    pl.col("spares").fill_null("").str.split(";").list.eval(pl.element().str.strip_chars())
    .list.eval(pl.element().filter(pl.element() != ""))
)  # fmt: skip

_SLIP = OUT_OF_ORDER_MINUTES * MINUTE

#: How far off the moment of an entry may be that was tapped so long after it (minutes): the half of the steps
#: that are offered for what happened earlier. What is tapped within five minutes is told as it happens.
HALF_STEPS = (
    (timedelta(minutes=5), 0.0), (timedelta(minutes=20), 10.0), (timedelta(minutes=45), 15.0), (timedelta.max, 30.0),
)  # fmt: skip


def facts(entries: pl.DataFrame, setup: Setup, learned: Learned) -> pl.DataFrame:
    """The telling entries of every machine in the order they happened.

    Columns: machine, t (microseconds), id, kind, saw, found, leaves, hand (somebody left the machine
    empty and ready), loaded (the material on the machine as far as told), loads (the material it is told to
    carry within minutes), file, revision, model, parts, proving, takes (microseconds a print of this start takes),
    blur (hours: how far, one standard deviation, a moment told from memory is off), ended, scrap, scrap_cause,
    cause, spare, spares (that went in), down_since (microseconds: the first word of its being down), came
    (microseconds: when the spare it waits for was delivered, or null). Upkeep is not among them: see `upkeep`.
    """
    kind = pl.col("kind")
    rows = entries.filter(kind.is_in(list(_LEAVES)) | (kind == "Looked")).select(
        "machine", "id", "kind", "saw", "file", "revision", "ended", "scrap", "scrap_cause", "on_platform",
        "cause", "spare", "spares", "material",
        t=pl.col("at").dt.epoch("us"),
        proving=pl.col("proving").fill_null(value=False),
        blur=_blur(pl.col("noted_at") - pl.col("at")),
        model=pl.col("machine").replace_strict(_models(setup), default=None, return_dtype=pl.String),
    )  # fmt: skip
    takes = _file_table(setup, learned)
    rows = rows.join(takes, on=["file", "revision", "model"], how="left", maintain_order="left")
    rows = rows.with_columns(
        parts=pl.coalesce("on_platform", "parts"),
        material=pl.coalesce("of_file", "material"),
        found=pl.coalesce(
            kind.replace_strict(_FOUND, default=None, return_dtype=pl.String),
            "saw",
            pl.when(pl.col("ended") == "stopped").then(pl.lit("stopped")).otherwise(pl.lit("done")),
        ),
        leaves=pl.coalesce(kind.replace_strict(_LEAVES, default=None, return_dtype=pl.String), "saw"),
        hand=kind.is_in(["PartsOff", "CameBack", "PutBack", "UpkeepDone"]),
        rank=_rank(),
    )
    rows = _keep_what_tells(_with_materials(_in_their_order(rows)))
    return _remember_what_is_down(rows, _deliveries(entries)).drop("on_platform", "rank", "of_file", "material")


def upkeep(entries: pl.DataFrame) -> pl.DataFrame:
    """Planned maintenance as machine, start, end (microseconds): the minutes before each was noted as done."""
    end = pl.col("at").dt.epoch("us")
    return (
        entries.filter((pl.col("kind") == "UpkeepDone") & (pl.col("minutes") > 0))
        .select("machine", start=end - (pl.col("minutes") * MINUTE).cast(pl.Int64), end=end)
        .sort("machine", "start", "end")
    )


def _deliveries(entries: pl.DataFrame) -> pl.DataFrame:
    """When each spare was delivered: spare, came (microseconds)."""
    mine = entries.filter(pl.col("kind") == "StockReceived")
    return mine.select(spare="item", came=pl.col("at").dt.epoch("us")).sort("came")


def _blur(late: pl.Expr) -> pl.Expr:
    """What is told from memory is told to the nearest step there is to tap: it may lie anywhere within half of it."""
    minutes = pl.lit(HALF_STEPS[-1][1])
    for up_to, half in reversed(HALF_STEPS[:-1]):
        minutes = pl.when(late <= up_to).then(half).otherwise(minutes)
    return minutes / 60 / math.sqrt(3)


def _rank() -> pl.Expr:
    name = pl.concat_str([pl.col("kind"), pl.lit(" ") + pl.col("saw")], ignore_nulls=True)
    return name.replace_strict(SAME_MOMENT, list(range(len(SAME_MOMENT))), return_dtype=pl.Int64)


def _models(setup: Setup) -> dict[str, str]:
    return {row.machine: row.model for row in setup.history(Machine)}


def _file_table(setup: Setup, learned: Learned) -> pl.DataFrame:
    """How long every revision of a file takes on every model, its parts and its material."""
    files = {(row.file, row.revision): row for row in setup.history(PrintFile)}
    models = numbering_of(setup).models
    rows = [
        (f.file, f.revision, model, f.material, f.parts, int(f.hours * learned.ratio(f.file, f.revision, model) * HOUR))
        for f in files.values()
        for model in models
    ]
    schema = {
        "file": pl.String, "revision": pl.Int64, "model": pl.String, "of_file": pl.String, "parts": pl.Int64,
        "takes": pl.Int64,
    }  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row")


def _in_their_order(rows: pl.DataFrame) -> pl.DataFrame:
    """A visit's taps put in the order in which its work must have gone, where they tell of it another way round.

    Parts come off, and a machine comes back, before the next print starts: what was noted of it a little after that
    start is put before it.
    A look that tells what can only have been so on the other side of the change next to it is left out.
    """
    rows = _without_misplaced_looks(rows.sort("machine", "t", "rank", "id"))
    return _what_was_first(rows).sort("machine", "t", "rank", "id")


def _without_misplaced_looks(rows: pl.DataFrame) -> pl.DataFrame:
    change = pl.col("kind").is_in(list(_LEAVES)) & ~pl.col("kind").is_in(["SpoolFitted", "UpkeepDone"])
    at_change = {name: pl.when(change).then(name) for name in ("kind", "leaves", "t")}
    before = {name: c.shift(1).fill_null(strategy="forward").over("machine") for name, c in at_change.items()}
    after = {name: c.shift(-1).fill_null(strategy="backward").over("machine") for name, c in at_change.items()}
    t, saw = pl.col("t"), pl.col("saw")
    just_after, just_before = t - before["t"] < _SLIP, after["t"] - t < _SLIP
    empty_before = before["leaves"] == "empty"
    misplaced = (
        (just_after & (before["kind"] == "PrintStarted") & saw.is_in(["done", "empty"]))
        | (just_after & empty_before & saw.is_in(["done", "stopped"]))
        | (just_before & empty_before & (saw == "printing") & (after["kind"] == "PrintStarted"))
        | (just_before & before["leaves"].is_in(PARTS_THERE) & (saw == "empty") & (after["kind"] == "PartsOff"))
    )
    return rows.filter(~misplaced.fill_null(value=False))


def _what_was_first(rows: pl.DataFrame) -> pl.DataFrame:
    seen = pl.when((pl.col("saw") != "printing").fill_null(value=True))
    start = pl.when(pl.col("kind") == "PrintStarted")
    told = {
        "last": seen.then("kind").shift(1).fill_null(strategy="forward").over("machine"),
        "start_at": start.then("t").shift(1).fill_null(strategy="forward").over("machine"),
        "left_before": start.then(pl.col("leaves").shift(1)).shift(1).fill_null(strategy="forward").over("machine"),
    }
    off = (pl.col("kind") == "PartsOff") & told["left_before"].is_in(PARTS_THERE)
    back = (pl.col("kind") == "CameBack") & (told["left_before"] == "down")
    soon = (told["last"] == "PrintStarted") & (pl.col("t") - told["start_at"] < _SLIP)
    slipped = (soon & (off | back)).fill_null(value=False)
    return rows.with_columns(t=pl.when(slipped).then(told["start_at"]).otherwise("t"))


def _with_materials(rows: pl.DataFrame) -> pl.DataFrame:
    told = pl.col("material").is_not_null()
    following, at = (
        pl.when(told).then(name).fill_null(strategy="backward").over("machine") for name in ("material", "t")
    )
    return rows.with_columns(
        loaded=pl.col("material").fill_null(strategy="forward").over("machine"),
        loads=pl.when(at - pl.col("t") < _SLIP).then(following),
    )


def _keep_what_tells(rows: pl.DataFrame) -> pl.DataFrame:
    """A spool fitted right after a machine was seen stopped, or in the midst of a print, lets that print go on, and
    upkeep noted right after it was seen going on ends it; other spools and upkeep tell nothing of what the machine did.
    """
    before = pl.col("saw").shift(1).over("machine").fill_null("")
    kind, midst = pl.col("kind"), _in_the_midst()
    ran_out = (kind == "SpoolFitted") & midst
    idle_spool = (kind == "SpoolFitted") & (before != "stopped") & ~midst
    idle_upkeep = (kind == "UpkeepDone") & (before != "upkeep")
    rows = rows.with_columns(found=pl.when(ran_out).then(pl.lit("stopped")).otherwise("found"))
    return rows.filter(~idle_spool & ~idle_upkeep)


def _in_the_midst() -> pl.Expr:
    """Whether a print had begun some time before and was not touched till some time after: nobody changes the spool of
    one that has ended and leaves it there, so this one had run out.
    """
    look = pl.col("kind") == "Looked"
    touched = pl.when(
        (look & (pl.col("saw") != "printing")).fill_null(value=False)
        | (~look & ~pl.col("kind").is_in(["SpoolFitted", "UpkeepDone"]))
    )
    t, at = pl.col("t"), touched.then("t")
    last, begun = (touched.then(name).shift(1).fill_null(strategy="forward").over("machine") for name in ("kind", "t"))
    following = at.shift(-1).fill_null(strategy="backward").over("machine")
    still = (following - t >= _SLIP).fill_null(value=True)
    return ((last == "PrintStarted") & (t - begun >= _SLIP) & still).fill_null(value=False)


def _remember_what_is_down(rows: pl.DataFrame, deliveries: pl.DataFrame) -> pl.DataFrame:
    """A machine that is down stays so, with its cause, the spare it waits for and since when, until somebody says
    that it is not: a look that finds it still down says nothing new, and parts come off a machine that is down as well.
    """
    kind = pl.col("kind")
    off = kind == "PartsOff"
    says = pl.when(~off).then((kind == "WentDown") | (pl.col("saw") == "down").fill_null(value=False))
    still = says.forward_fill().over("machine").fill_null(value=False)
    rows = rows.with_columns(still=still, spell=(still != still.shift(1)).fill_null(value=True).cum_sum())
    down = _told_of_it(rows.filter("still").select("machine", "spell", "id", "t", "kind", "cause", "spare"), deliveries)
    rows = rows.drop("cause", "spare").join(down, on="id", how="left", maintain_order="left")
    gone_on = off & pl.col("still")
    return rows.with_columns(
        found=pl.when(gone_on).then(pl.lit("any")).otherwise("found"),
        leaves=pl.coalesce("stays", "leaves"),
        hand=pl.col("hand") & ~gone_on,
    ).drop("still", "spell", "stays")


def _told_of_it(down: pl.DataFrame, deliveries: pl.DataFrame) -> pl.DataFrame:
    """Of the facts of machines that are down: id, stays (what they are in), cause, spare, down_since, came."""
    spell = ["machine", "spell"]
    down = down.with_columns(told=(pl.col("kind") == "WentDown").cum_sum().over(spell))
    down = down.with_columns(pl.col("cause", "spare").first().over(*spell, "told"))
    waits, before = pl.col("spare").is_not_null(), pl.col("spare").shift(1).over(spell)
    down = down.with_columns(wait=(pl.col("spare") != before).fill_null(value=True).cum_sum().over(spell))
    down = down.with_columns(since=pl.col("t").first().over(*spell, "wait")).sort("since")
    return down.join_asof(
        deliveries, left_on="since", right_on="came", by="spare", strategy="forward", check_sortedness=False
    ).select(
        "id", "cause", "spare", "came",
        stays=pl.when(waits).then(pl.lit("waiting")).otherwise(pl.lit("down")),
        down_since=pl.col("t").min().over(spell),
    )  # fmt: skip
