"""Gaps: what happened between two successive facts of a machine.

It follows from what the first fact left and what the second one found: a table of shapes, each one to
three states with cuts between them.

Words used below. A print *takes* its file's hours times what was learned of it; it is *due* at its start plus
that. A print still seen printing after five quarters of it is *another* print; one gone before three
quarters was cut short. A print nobody announced takes what prints begun last in a shift, with so much of it
left, usually take here; where nothing but a sighting is known of it, the sighting is its half-way point.
A finished print that seems to have waited for hands beyond all patience was *changed* unseen, both taps
forgotten (see `learned`); so was one that was seen done and left for so long. The *middle* of a time is that
of its staffed part, since only hands change anything but the end of a print.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from core.epoch import FAR, HOUR
from core.habits.learned import Learned
from core.staffed import Staffed

#: Conditions that somebody declared; they hold until somebody says otherwise.
DECLARED = ("down", "waiting", "aside", "upkeep")

#: The states of a gap in order, each with the column that holds the moment it ended. "now" is what the
#: fact before the gap left, "then" what the fact after it found.
SHAPES: dict[str, tuple[tuple[str, str], ...]] = {
    "same": (("now", "until"),),
    "ended": (("now", "end"), ("done", "until")),
    "stopped": (("now", "stop"), ("stopped", "until")),
    "another": (("now", "end"), ("done", "swap"), ("printing", "until")),
    "changed": (("now", "end"), ("done", "change"), ("printing", "change_end"), ("done", "until")),
    "left and changed": (("now", "change"), ("printing", "change_end"), ("done", "until")),
    "emptied": (("now", "end"), ("done", "swap"), ("empty", "until")),
    "stopped and emptied": (("now", "stop"), ("stopped", "clear"), ("empty", "until")),
    "broke": (("now", "cease"), ("done", "mid"), ("then", "until")),
    "moved": (("now", "mid"), ("then", "until")),
    "unseen start": (("now", "next_begin"), ("printing", "until")),
    "unseen print": (("now", "next_begin"), ("printing", "finish"), ("done", "until")),
    "unseen failure": (("now", "next_begin"), ("printing", "fail"), ("stopped", "until")),
}


class _Usual:
    """What a print takes that nobody announced, by how much of the shift was left when it began."""

    def __init__(self, learned: Learned, staffed: Staffed) -> None:
        self._staffed = staffed
        self._takes = np.array([int(hours * learned.best * HOUR) for hours in learned.usual], dtype=np.int64)

    def at(self, moment: pl.Expr) -> pl.Expr:
        """Microseconds a print begun at `moment` takes."""
        return moment.fill_null(0).map_batches(self._takes_from, return_dtype=pl.Int64)

    def _takes_from(self, moments: pl.Series) -> pl.Series:
        left = self._staffed.hours_left(moments.to_numpy())
        return pl.Series(self._takes[np.minimum(left, len(self._takes) - 1)])


def find_gaps(told: pl.DataFrame, staffed: Staffed, learned: Learned) -> pl.DataFrame:
    """Each machine's gaps, one after every fact of `facts`, with their shape and the cuts it may use."""
    usual = _Usual(learned, staffed)
    told = _with_due(_with_prints(told, staffed, usual), learned, usual)
    after = {
        f"next_{name}": pl.col(name).shift(-1).over("machine")
        for name in ("id", "kind", "found", "file", "begin", "begin_low", "blur", "loads", "spares")
    }
    gaps = told.with_columns(until=pl.col("t").shift(-1).over("machine").fill_null(FAR), **after)
    return _with_cuts(gaps, staffed, learned, usual).with_columns(
        shape=_shape(), then=pl.col("next_found").replace("clear", "empty")
    )


def _with_prints(told: pl.DataFrame, staffed: Staffed, usual: _Usual) -> pl.DataFrame:
    """What is on the platform after each fact: print (id of its start, or null), began, takes, proving; and how much
    of it can have been printed at `most` (microseconds) when it went on after its spool had run out.
    """
    left = pl.col("leaves").shift(1).over("machine")
    started, resumed = pl.col("kind") == "PrintStarted", pl.col("kind") == "SpoolFitted"
    told = told.with_columns(
        usual=usual.at(pl.coalesce(pl.col("t").shift(1).over("machine"), "t")),
        left=left,
        fresh=(pl.col("saw") == "printing").fill_null(value=False) & (left != "printing").fill_null(value=True),
        cleared=pl.col("leaves").is_in(["empty", "aside"]) | (pl.col("kind") == "PartsOff"),
    )
    told = _with_begin(told, staffed)
    unknown = pl.col("fresh") | pl.col("cleared")
    told = told.with_columns(
        print=_carried(pl.when(started).then("id").when(unknown).then(pl.lit(""))).replace("", None),
        proving=_carried(pl.when(started).then("proving").when(unknown).then(pl.lit(value=False))),
        takes=_carried(pl.when(started).then(pl.coalesce("takes", "usual")).when(unknown).then("usual")),
    ).with_columns(pl.col("takes").fill_null(pl.col("usual")), pl.col("proving").fill_null(value=False))
    begun = _carried(pl.when(started).then("t").when(unknown).then(pl.lit(-1))).replace(-1, None)
    told = told.with_columns(most=pl.min_horizontal("takes", pl.col("t") - begun))
    half_way = pl.col("t") - pl.col("takes") // 2
    began = (
        pl.when(started).then("t")
        .when(resumed).then(pl.col("t") - pl.col("most") // 2)
        .when("fresh").then(pl.coalesce("begin", half_way))
    )  # fmt: skip
    paused = resumed.cum_sum().over("machine", "print") > 0
    return told.with_columns(began=_carried(began), paused=paused)


def _with_begin(told: pl.DataFrame, staffed: Staffed) -> pl.DataFrame:
    """When the print began that a fact finds and no start announced: `begin`, at the earliest `begin_low`.

    A hand that left the machine empty is taken to have started it; that was a print ago at most if it
    still prints. Otherwise the middle of the time in which it can have begun.
    """
    t, left_at = pl.col("t"), pl.col("t").shift(1).over("machine")
    printing = pl.col("found") == "printing"
    recent = ~printing | (t - left_at <= pl.col("usual") * 5 // 4)
    ready = (pl.col("left") == "empty") & pl.col("hand").shift(1).over("machine") & recent
    floor = pl.when(printing & (left_at < t - pl.col("usual"))).then(t - pl.col("usual")).otherwise(left_at)
    told = told.with_columns(begin_low=floor, begin=_middle(staffed, floor, t))
    return told.with_columns(
        begin_low=pl.when(ready).then(left_at).otherwise("begin_low"),
        begin=pl.when(ready).then(left_at).otherwise("begin"),
    )


def _with_due(told: pl.DataFrame, learned: Learned, usual: _Usual) -> pl.DataFrame:
    """When the print after a fact is due (low, best, high); from `late` on a print seen is another one."""
    began, takes, t = pl.col("began"), pl.col("takes"), pl.col("t")
    other = usual.at(t)
    late = began + takes * 5 // 4
    overdue = (pl.col("saw") == "printing").fill_null(value=False) & (t > late)
    due = pl.min_horizontal(pl.max_horizontal(began + takes, t + takes // 20), late)
    told = told.with_columns(
        overdue=overdue,
        due=pl.when(overdue).then(t + other // 2).otherwise(due),
        late=pl.when(overdue).then(t + other * 3 // 4).otherwise(late),
        early=began + takes * 3 // 4,
    )
    # From such a sighting on, what is on the platform is not the print that was announced.
    another = pl.col("overdue").cum_sum().over("machine", "print") > 0
    told = told.with_columns(
        print=pl.when(~another).then("print"),
        proving=pl.col("proving") & ~another,
    )
    # Of a print known by a sighting alone, anything from its last minute to its first may be left.
    guessed = pl.col("overdue") | pl.col("fresh") | (pl.col("kind") == "SpoolFitted")
    early_by = (takes * (1 - learned.low / learned.best)).cast(pl.Int64)
    late_by = (takes * (learned.high / learned.best - 1)).cast(pl.Int64)
    return told.with_columns(
        due_low=pl.when(guessed).then(t).otherwise(pl.max_horizontal(pl.col("due") - early_by, t)),
        due_high=pl.when(guessed).then(pl.col("due") * 2 - t).otherwise(pl.col("due") + late_by),
    )


def _with_cuts(gaps: pl.DataFrame, staffed: Staffed, learned: Learned, usual: _Usual) -> pl.DataFrame:
    """Every cut a shape may use, best and with the earliest and latest it can have been."""
    t, until, begin = pl.col("t"), pl.col("until"), pl.col("next_begin")
    gaps = gaps.with_columns(
        until_low=until,
        until_high=until,
        end=pl.min_horizontal("due", until),
        end_low=pl.min_horizontal("due_low", until),
        end_high=pl.min_horizontal("due_high", until),
        mid=_middle(staffed, t, until),
        next_begin_high=until,
        finish=pl.min_horizontal(begin + usual.at(begin), until),
    )
    waits_from = pl.when(pl.col("leaves") == "done").then(t).otherwise("end")
    gaps = gaps.with_columns(
        stop=t + (pl.col("end") - t) // 2,
        cease=pl.min_horizontal("end", "mid"),
        fail=begin + (pl.col("finish") - begin) // 2,
        swap=_middle(staffed, _swap_from(usual), until),
        change=pl.min_horizontal(_after(staffed, waits_from, learned.wait), until),
        waited_long=_after(staffed, waits_from, learned.patience) < until,
    ).with_columns(clear=_middle(staffed, pl.col("stop"), until))
    gaps = gaps.with_columns(changed_takes=usual.at(pl.col("change"))).with_columns(
        change_end=pl.min_horizontal(pl.col("change") + pl.col("changed_takes"), until)
    )
    return gaps.with_columns(
        stop_low=t,
        stop_high=pl.col("end_high"),
        swap_low=pl.min_horizontal("end_low", "swap"),
        swap_high=until,
        change_low=pl.min_horizontal("end_low", "change"),
        changed=pl.col("waited_long") & (pl.col("change") + pl.col("changed_takes") * 3 // 4 <= until),
        change_high=until,
        **{f"{cut}_low": t for cut in ("mid", "cease", "finish", "fail", "clear", "change_end")},
        **{f"{cut}_high": until for cut in ("mid", "cease", "finish", "fail", "clear", "change_end")},
    )


def _swap_from(usual: _Usual) -> pl.Expr:
    """The earliest a next print was begun: after the first one's end, and if it still prints, a print ago."""
    still = pl.col("next_found") == "printing"
    ago = pl.max_horizontal("end", pl.col("until") - usual.at(pl.col("end")))
    return pl.when(still).then(ago).otherwise("end")


def _shape() -> pl.Expr:
    """Which shape a gap has, from what was left and what was found."""
    left = pl.col("leaves")
    return (
        pl.when(left == "printing").then(_after_printing())
        .when(left.is_in(["done", "stopped"])).then(_after_parts_left())
        .when(left == "empty").then(_after_empty())
        .otherwise(_after_declared())
    )  # fmt: skip


def _after_printing() -> pl.Expr:
    found, until = pl.col("next_found"), pl.col("until")
    whole = until >= pl.col("early")
    return (
        pl.when(found.is_null()).then(pl.lit("ended"))
        .when(found.is_in(["done", "clear"]) & whole & pl.col("changed")).then(pl.lit("changed"))
        .when(found == "done").then(pl.lit("ended"))
        .when(found == "printing").then(_either(until <= pl.col("late"), "same", "another"))
        .when(found == "clear").then(_either(whole, "ended", "stopped"))
        .when(found == "empty").then(_either(whole, "emptied", "stopped and emptied"))
        .when(found == "any").then(_either(until >= pl.col("due"), "ended", "stopped"))
        .when(found.is_in(DECLARED)).then(pl.lit("broke"))
        .otherwise(pl.lit("stopped"))
    )  # fmt: skip


def _after_parts_left() -> pl.Expr:
    found = pl.col("next_found")
    return (
        pl.when(found == "printing").then(pl.lit("unseen start"))
        .when((pl.col("leaves") == "done") & found.is_in(["done", "clear"]) & pl.col("changed"))
        .then(pl.lit("left and changed"))
        .when(found.is_in(["empty", *DECLARED])).then(pl.lit("moved"))
        .otherwise(pl.lit("same"))
    )  # fmt: skip


def _after_empty() -> pl.Expr:
    moved = pl.when(pl.col("next_found").is_in(DECLARED)).then(pl.lit("moved"))
    return pl.coalesce(_unseen(), moved, pl.lit("same"))


def _after_declared() -> pl.Expr:
    moved = pl.when(pl.col("next_found") == "empty").then(pl.lit("moved"))
    return pl.coalesce(_unseen(), moved, pl.lit("same"))


def _unseen() -> pl.Expr:
    """A print that nobody announced shows itself."""
    found = pl.col("next_found")
    return (
        pl.when(found == "printing").then(pl.lit("unseen start"))
        .when(found == "done").then(pl.lit("unseen print"))
        .when(found == "stopped").then(pl.lit("unseen failure"))
    )  # fmt: skip


def _either(true: pl.Expr, yes: str, no: str) -> pl.Expr:
    return pl.when(true).then(pl.lit(yes)).otherwise(pl.lit(no))


def _carried(values: pl.Expr) -> pl.Expr:
    return values.forward_fill().over("machine")


def _middle(staffed: Staffed, start: pl.Expr, end: pl.Expr) -> pl.Expr:
    """The middle of the staffed time between two moments; null where one of them is."""
    both = pl.struct(start.fill_null(0).alias("a"), end.fill_null(0).alias("b"))
    middle = both.map_batches(
        lambda s: pl.Series(staffed.middle(s.struct.field("a").to_numpy(), s.struct.field("b").to_numpy())),
        return_dtype=pl.Int64,
    )
    return pl.when(start.is_not_null() & end.is_not_null()).then(middle)


def _after(staffed: Staffed, start: pl.Expr, hours: float) -> pl.Expr:
    """The moment by which so many staffed hours have passed since `start`; null where it is."""
    after = start.fill_null(0).map_batches(
        lambda s: pl.Series(staffed.after(s.to_numpy(), hours)), return_dtype=pl.Int64
    )
    return pl.when(start.is_not_null()).then(after)
