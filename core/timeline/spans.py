"""Spans: from one fact that settles what a machine does to the next, with the looks in between.

A start, a removal or a declared state settles it; a look only says what was seen at that moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import FAR, HOUR
from core.habits.learned import Learned
from core.numbering import Numbering
from core.staffed import Staffed

#: What a machine does that nobody declared, as numbers.
PRINTING, DONE, STOPPED, EMPTY = range(4)
_STATES = {"printing": PRINTING, "done": DONE, "stopped": STOPPED, "empty": EMPTY}
#: How a span ends: found in one of those states, by a start ("clear"), by a fact that says nothing of the time
#: before it ("any"), or not yet.
CLEAR, ANY, OPEN = 4, 5, 6
_FOUND = {**_STATES, "clear": CLEAR, "any": ANY}


@dataclass(frozen=True, slots=True)
class Spans:
    """Spans as columns, a row a span: from `start` to `end` (microseconds), in the order of machine and time.

    `left` is the state it begins in, `found` how it ends (`removed`: by a removal). `hours`, `doubt` and `kind`
    are the best time of the print begun at its start, the spread of its logarithm and its place in
    `PrintTimes.kinds` (-1: not announced); `blur` how far the facts at its ends may be off (hours, one standard
    deviation); `running`: that print had begun before, `most` of it (a share) can have been printed by then. `hand`:
    somebody left the machine ready. `loaded` and `loads` are the materials it carries before and after, as places (-1:
    not told). `first` to `last` are its looks in `look_at` and `look_saw`. `key` gives it its own chance.
    """

    machine: pl.Series
    model: Rows
    loaded: Rows
    loads: Rows
    key: npt.NDArray[np.uint64]
    start: Micros
    end: Micros
    left: Rows
    found: Rows
    removed: Flags
    hand: Flags
    running: Flags
    most: Numbers
    proving: Flags
    hours: Numbers
    doubt: Numbers
    blur: Numbers
    kind: Rows
    first: Rows
    last: Rows
    look_at: Micros
    look_saw: Rows

    def __len__(self) -> int:
        return len(self.start)

    def of(self, rows: Flags | Rows) -> Spans:
        """The spans of these rows; the looks stay in their places."""
        mine = {name: getattr(self, name)[rows] for name in _OF_A_SPAN}
        return replace(self, machine=self.machine.gather(np.arange(len(self))[rows]), **mine)


_OF_A_SPAN = (
    "model", "loaded", "loads", "key", "start", "end", "left", "found", "removed", "hand", "running", "most", "proving",
    "hours", "doubt", "blur", "kind", "first", "last",
)  # fmt: skip


def spans(gaps: pl.DataFrame, learned: Learned, names: Numbering, known_at: int) -> Spans:
    """The spans of `gaps` between states that nobody declared; an open one ends at `known_at` (microseconds)."""
    states = list(_STATES)
    before = pl.col("leaves").shift(1).over("machine")
    look = (pl.col("kind") == "Looked") & pl.col("saw").is_in(states) & before.is_in(states)
    rows = gaps.with_columns(look=look.fill_null(value=False))
    rows = rows.group_by((~pl.col("look")).cum_sum().alias("span"), maintain_order=True).agg(
        pl.col(
            "machine",
            "model",
            "id",
            "kind",
            "t",
            "leaves",
            "hand",
            "file",
            "revision",
            "proving",
            "takes",
            "most",
            "blur",
            "loaded",
        ).first(),
        pl.col("until", "next_kind", "next_found", "next_blur", "next_loads").last(),
        look_at=pl.col("t").filter("look"),
        look_saw=pl.col("saw").filter("look"),
    )
    rows = rows.with_columns(
        end=pl.col("until").clip(upper_bound=known_at),
        found=pl.col("next_found").replace_strict(_FOUND, default=None, return_dtype=pl.Int64),
        left=pl.col("leaves").replace_strict(_STATES, default=None, return_dtype=pl.Int64),
    ).with_columns(found=pl.when(pl.col("until") == FAR).then(OPEN).otherwise("found"))
    rows = rows.filter(pl.col("found").is_not_null() & pl.col("left").is_not_null() & (pl.col("t") < pl.col("end")))
    return _columns(rows, learned, names)


def _columns(rows: pl.DataFrame, learned: Learned, names: Numbering) -> Spans:
    started = (rows["kind"] == "PrintStarted").to_numpy()
    places = {kind: place for place, kind in enumerate(learned.times.kinds)}
    named = zip(rows["file"], rows["revision"], rows["model"], started, strict=True)
    kind = np.array([places.get((f, r, m), -1) if s else -1 for f, r, m, s in named], dtype=np.int64)
    doubts = np.append(np.sqrt(np.diag(learned.times.covariance)), learned.times.shop_doubt)
    counts = rows["look_at"].list.len().to_numpy().astype(np.int64)
    last = np.cumsum(counts)
    left = rows["left"].to_numpy()
    seen = rows["look_saw"].explode(empty_as_null=False).replace_strict(_STATES, return_dtype=pl.Int64)
    return Spans(
        machine=rows["machine"],
        model=_places(rows["model"], names.models, 0),
        loaded=_places(rows["loaded"], names.materials, -1),
        loads=_places(rows["next_loads"], names.materials, -1),
        key=rows["id"].cast(pl.String).str.replace_all("-", "").str.slice(0, 15).str.to_integer(base=16)
        .to_numpy().astype(np.uint64),
        start=rows["t"].to_numpy(), end=rows["end"].to_numpy(), left=left, found=rows["found"].to_numpy(),
        removed=(rows["next_kind"] == "PartsOff").fill_null(value=False).to_numpy(),
        hand=rows["hand"].to_numpy(), running=~started & (left == PRINTING),
        most=_most(rows), proving=rows["proving"].to_numpy(),
        hours=rows["takes"].to_numpy() / HOUR, doubt=doubts[kind], kind=kind,
        blur=np.hypot(rows["blur"].to_numpy(), rows["next_blur"].fill_null(0.0).to_numpy()),
        first=last - counts, last=last,
        look_at=rows["look_at"].explode(empty_as_null=False).to_numpy(), look_saw=seen.to_numpy(),
    )  # fmt: skip


def _most(rows: pl.DataFrame) -> Numbers:
    """Which share of the print that goes on can have been printed before: all of one of which nothing else is told."""
    resumed = pl.col("kind") == "SpoolFitted"
    share = pl.when(resumed).then(pl.col("most") / pl.col("takes")).clip(0.0, 1.0).fill_null(1.0)
    return rows.select(share.alias("most"))["most"].to_numpy()


def _places(column: pl.Series, names: Sequence[str], other: int) -> Rows:
    places = dict(zip(names, range(len(names)), strict=True))
    return column.replace_strict(places, default=other, return_dtype=pl.Int64).to_numpy()


def certain(told: Spans, shortest: float) -> Flags:
    """Spans with one story only: the same idle state at both ends and no time for a print (hours) between."""
    brief = (told.end - told.start < shortest * HOUR) & (told.first == told.last)
    empty = (told.left == EMPTY) & np.isin(told.found, (CLEAR, EMPTY, ANY))
    parts = np.isin(told.left, (DONE, STOPPED)) & np.isin(told.found, (DONE, STOPPED, CLEAR))
    return np.asarray(brief & (empty | parts))


def crowded(told: Spans, staffed: Staffed, shortest: float) -> Flags:
    """Spans in which hands may have changed a print unseen: those need many replays."""
    over = np.where(told.left == PRINTING, told.start + (told.hours * 0.97 * HOUR).astype(np.int64), told.start)
    opens = staffed.next_staffed(over)
    looked = np.array([
        np.any((told.look_at[a:b] > over[i]) & (told.look_saw[a:b] == PRINTING))
        for i, (a, b) in enumerate(zip(told.first, told.last, strict=True))
    ], dtype=bool)  # fmt: skip
    sure = (told.left == PRINTING) | (told.first == told.last)
    return np.asarray((told.end - opens > shortest * HOUR) | looked | ~sure | told.running)
