"""Faults: when each machine went down and was back, why, and what the time between went to.

There is one way to tell them, whatever is asked: from the gaps that the states of machines are laid out from, so the
floor, hours, the review, the shelf and upkeep cannot differ. The time to restore has three parts: until the cause was
known, until the spare was there, and the mending itself, with the wait for hands in it (EN 13306 calls the first two
fault diagnosis and logistic delay).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from typing import Any

import polars as pl

from core.epoch import FAR, HOUR
from core.setup import DONT_KNOW
from core.timeline.facts import SPARES_USED
from core.timeline.gaps import SHAPES


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault of a machine: it `began` and `ended` (microseconds; FAR: not yet); `cause` and `spare` as told last.

    `waits`: it waits for that spare still, for no delivery of it was noted. `fitted` are the spares that went in: those
    told when it came back, or else the one it waited for. `diagnosed`, `waited` and `mended` are the hours it took to
    know the cause, to have the spare, and the rest.
    """

    machine: str
    began: int
    ended: int
    cause: str
    spare: str | None
    waits: bool
    diagnosed: float
    waited: float
    mended: float
    fitted: tuple[str, ...]

    @property
    def over(self) -> bool:
        """Whether the machine is back."""
        return self.ended != FAR

    @property
    def hours(self) -> float:
        """The time to restore, so far where it is not over."""
        return self.diagnosed + self.waited + self.mended


def around(facts: pl.DataFrame) -> pl.DataFrame:
    """Those of `facts` that tell of machines that are down, and those next to them: they tell of the same faults."""
    down = pl.col("down_since").is_not_null() | (pl.col("kind") == "CameBack")
    beside = (down.shift(side, fill_value=False).over("machine") for side in (1, -1))
    return facts.filter(reduce(pl.Expr.or_, beside, down))


def down_spells(gaps: pl.DataFrame) -> pl.DataFrame:
    """Every time a machine was down: machine, since (the first word of it), before (the fact before that, or null),
    began and ended (as its states are laid out; FAR: not yet), last (the last word that it was down), until (the first
    that it was not), back (the kind of that one), spares (that it names) and, as lists, the time `t` of every word of
    it with its kind, cause and spare, and when that came. Times are microseconds.
    """
    first = pl.coalesce(pl.when(pl.col("shape") == name).then(states[0][1]) for name, states in SHAPES.items())
    shown = pl.col("shape").is_in(["broke", "moved"])
    found = pl.when(shown).then("mid")
    rows = gaps.with_columns(
        over=first, before=pl.col("t").shift(1).over("machine"), found=found.shift(1).over("machine")
    )
    told = (
        rows.filter(pl.col("down_since").is_not_null())
        .group_by("machine", since="down_since", maintain_order=True)
        .agg(
            pl.col("before").first(),
            pl.col("until").last(),
            pl.col("t", "kind", "cause", "spare", "came"),
            began=pl.coalesce("found", "t").first(),
            ended=pl.col("over").last(),
            last=pl.col("t").last(),
            back=pl.col("next_kind").last(),
            spares=pl.col("next_spares").last(),
        )
    )
    untold = gaps.filter(shown & (pl.col("next_kind") == "CameBack"))
    return pl.concat([told, _came_back(untold).select(told.columns)]).with_columns(SPARES_USED)


def _came_back(gaps: pl.DataFrame) -> pl.DataFrame:
    """Machines of which nobody said that they went down until they were back, as in `down_spells`."""
    nothing = {name: pl.concat_list(pl.lit(None, pl.String)) for name in ("cause", "spare")}
    return gaps.select(
        "machine", "until", since="until", before="t", t=pl.concat_list("until"), kind=pl.concat_list("next_kind"),
        came=pl.concat_list(pl.lit(None, pl.Int64)), began="mid", ended="until", last="until", back="next_kind",
        spares="next_spares", **nothing,
    )  # fmt: skip


def faults(gaps: pl.DataFrame, now: int) -> list[Fault]:
    """The faults that gaps tell of, as known at `now` (microseconds), oldest first."""
    found = (_fault(row, now) for row in down_spells(gaps).iter_rows(named=True))
    return sorted(found, key=lambda fault: (fault.began, fault.machine))


def _fault(row: Mapping[str, Any], now: int) -> Fault:
    spare, over, back = row["spare"][-1], row["ended"] != FAR, row["back"]
    times, part = dict.fromkeys(("diagnosed", "waited", "mended"), 0), ""
    for part, time in _parts(row, min(row["ended"], now)):
        times[part] += time
    awaited = (spare,) if spare and over and back != "SetAside" else ()
    named = tuple(row["spares"]) if back == "CameBack" else ()
    return Fault(
        row["machine"], row["began"], row["ended"], row["cause"][-1] or DONT_KNOW, spare,
        waits=not over and part == "waited", fitted=named or awaited,
        **{name: time / HOUR for name, time in times.items()},
    )  # fmt: skip


def _parts(row: Mapping[str, Any], end: int) -> Iterator[tuple[str, int]]:
    """What the time of a fault went to, in order: the name of each part and how long it took (microseconds)."""
    known, edges = False, [row["began"], *row["t"][1:], end]
    for (start, until), cause, spare, came in zip(
        pairwise(edges), row["cause"], row["spare"], row["came"], strict=True
    ):
        known = known or (cause is not None and cause != DONT_KNOW)
        there = min(max(start, until if came is None else came), until) if spare else start
        if there > start:
            yield "waited", there - start
        if until > there:
            yield "mended" if known else "diagnosed", until - there
