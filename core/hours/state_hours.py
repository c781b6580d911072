"""Hours of every state in windows of time, with the doubts they really have.

Best values are means over the replays of each span, so they add up to the window exactly. What a span does
beyond what is told of it is its own chance: variances add. But a file that takes longer than learned takes
longer in every print, and a habit of forgetting that is stronger than learned hides more prints everywhere:
such errors move all their hours together, so they add before they are squared. The 5th and 95th percentile
follow from mean, variance and skewness (Cornish and Fisher's expansion).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from core.arrays import Flags, Micros, Numbers
from core.epoch import HOUR, micros
from core.habits.learned import Learned
from core.habits.pace import NOBODY_SEEN, Presence
from core.habits.quiet import Quiet
from core.hours.cuts import cut_at, line, marked
from core.hours.down_untold import loosened, no_word, suspected, unreturned, unseen
from core.hours.law import Law
from core.hours.replays import Replays, replay_all
from core.hours.state_rows import IDLE, KEYS, SCHEMA, StateHours
from core.numbering import numbering_of
from core.setup import Setup
from core.staffed import Staffed
from core.sums import summed
from core.timeline.reckon import Reckoned
from core.timeline.silence import silences
from core.timeline.spans import Spans, certain, spans
from core.window import Window

#: Replays of a span with one story and with many.
FEW, MANY = 32, 160
#: How far the law itself is off, as a share of the hours it gives (one standard deviation): of prints nobody
#: announced, and of announced ones. From invented shops (`report --how-sure`), which no shop is quite like.
UNTOLD_DOUBT, TOLD_DOUBT = 0.2, 0.03
#: How much more a span's own variance is than its replays show: they all go by one average law. From the same shops.
OWN_DOUBT = 1.75
#: The same of prints that began in a quiet stretch: every machine went on in it or none, so they are off together, by
#: how little is known of it, and at most by so much.
MOST_QUIET_DOUBT = 2.0
#: The states of replays.
_STATES = ("printing", "done", "stopped", "empty", "proving", "upkeep")
_PROVING, _UPKEEP = 4, 5
_SUMS = np.vstack([np.eye(6), [0, 1, 1, 1, 0, 0]]).T


def replayed(  # noqa: PLR0913, PLR0917 - all that the time between entries hangs on
    reckoned: Reckoned,
    setup: Setup,
    staffed: Staffed,
    learned: Learned,
    window: Window,
    known_at: int,
    seen: Presence = NOBODY_SEEN,
) -> list[Replays]:
    """Replays of all spans in the window that have more than one story; none where nothing is learned yet.

    `known_at` is the moment (microseconds) up to which no further entry is known; `seen` tells when hands came past.
    """
    if (law := Law.of(learned, staffed, setup.zone, seen=seen)) is None:
        return []
    mine = spans(reckoned.gaps, learned, numbering_of(setup), known_at)
    mine = mine.of((mine.end > micros(window.start)) & (mine.start < micros(window.end)))
    mine = mine.of(~certain(mine, law.habits.menu.shortest))
    return [_fitting(replays) for replays in replay_all(mine, law, FEW, MANY)]


def state_hours(
    reckoned: Reckoned, replays: list[Replays], learned: Learned, windows: Sequence[Window], staffed: Staffed
) -> StateHours:
    """The hours of what was reckoned, and replayed, in consecutive `windows`."""
    edges = np.array([micros(w.start) for w in windows] + [micros(windows[-1].end)], dtype=np.int64)
    covariance = learned.times.covariance
    places = {m: i for i, m in enumerate(reckoned.stretches["machine"].unique(maintain_order=True))}
    silent = silences(reckoned.gaps, staffed, int(edges[-1]))
    silent = learned.silences.weighed(silent if learned.habits else silent.clear())
    stretches = _marked(reckoned, silent, places)
    plain, doubtful = _parted(stretches, [group.spans for group in replays], places)
    rows = [loosened(_told(plain, edges), learned)]
    for number, group in enumerate(replays):
        mine = _pieces(doubtful.filter(pl.col("group") == number), edges)
        rows.append(_hours(group, mine, covariance, learned.quiet))
    told = pl.concat(rows)
    rows = [suspected(told), unseen(told, learned), no_word(told)]
    return StateHours(summed(pl.concat(rows), KEYS, pl.exclude(*KEYS)), covariance)


def _marked(reckoned: Reckoned, silent: pl.DataFrame, places: dict[str, int]) -> pl.DataFrame:
    """The stretches with the `place` of their machine, the chance that it was `down` in silence, and whether they are
    `unreturned` downtime (1 or 0).
    """
    rows = reckoned.stretches.with_columns(place=pl.col("machine").replace_strict(places, return_dtype=pl.Int64))
    rows = marked(rows, silent, places, "down").with_columns(
        down=pl.when(pl.col("state").is_in([*_STATES[:4], "no word"])).then("down").otherwise(0.0)
    )
    return marked(rows, unreturned(reckoned.gaps).with_columns(unreturned=1.0), places, "unreturned")


def _fitting(replays: Replays) -> Replays:
    """The spans of which at least one replay fits; of the others the likeliest line of states is kept."""
    fits = replays.weights.sum(axis=1) > 0
    return replays if fits.all() else replays.of(fits)


def _parted(stretches: pl.DataFrame, groups: list[Spans], places: dict[str, int]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Stretches that are told, and the pieces of others with the group and row of the span they lie in.

    Those of which there is no word are in both: they stay so, and the replays tell what they may have been.
    """
    marks = [
        pl.DataFrame({
            "place": [places.get(m, -1) for m in spans.machine], "from": spans.start, "to": spans.end,
            "group": np.full(len(spans), number), "row": np.arange(len(spans)),
        }) for number, spans in enumerate(groups)
    ]  # fmt: skip
    if not any(len(mark) for mark in marks):
        return stretches, stretches.clear().with_columns(group=pl.lit(0, pl.Int64), row=pl.lit(0, pl.Int64))
    mark = pl.concat(marks).filter(pl.col("place") >= 0).sort("place", "from")
    edges = np.unique(np.concatenate([line(mark["place"], mark["from"]), line(mark["place"], mark["to"])]))
    cut = cut_at(stretches, edges)
    at = np.searchsorted(line(mark["place"], mark["from"]), line(cut["place"], cut["start"]), side="right") - 1
    within = (at >= 0) & (line(mark["place"], mark["to"])[at] >= line(cut["place"], cut["end"]))
    open_to, silent = pl.col("state").is_in([*_STATES[:5], "upkeep", "no word"]), pl.col("state") == "no word"
    cut = cut.with_columns(
        within=pl.Series(within),
        group=mark["group"].gather(np.maximum(at, 0)),
        row=mark["row"].gather(np.maximum(at, 0)),
    )
    return cut.filter(~(pl.col("within") & open_to) | silent), cut.filter(pl.col("within") & open_to)


def _pieces(rows: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """Pieces cut at the windows: row (of the span), window, from, to, upkeep (idle hours in it are upkeep), silent, and
    the chance `down`.
    """
    places = rows["place"].unique().to_numpy()
    lines = np.sort((places[:, None] * 2**52 + edges[None, :]).ravel()) if len(places) else edges
    cut = cut_at(rows, lines)
    window = np.searchsorted(edges, cut["start"].to_numpy(), side="right") - 1
    cut = cut.select(
        "machine", "row", "start", "end", "down", window=pl.Series(window), upkeep=pl.col("state") == "upkeep",
        silent=pl.col("state") == "no word",
    )  # fmt: skip
    return cut.filter(pl.col("window").is_between(0, len(edges) - 2)).sort("row", "start")


def _hours(replays: Replays, pieces: pl.DataFrame, covariance: Numbers, quiet: Quiet) -> pl.DataFrame:
    """The rows of `StateHours` that the replays of these pieces come to."""
    row = pieces["row"].to_numpy()
    each, untold, hushed = _overlaps(replays, pieces, quiet)
    weights = replays.weights[row]
    sums = each @ _SUMS
    best = np.einsum("mp,mps->ms", weights, sums)
    off = sums - best[:, None, :]
    moved = np.einsum("mp,mps->ms", weights * replays.ratio[row], off)
    kind = replays.spans.kind[row]
    known = (kind >= 0)[:, None]
    variance = OWN_DOUBT * np.maximum(np.einsum("mp,mps->ms", weights, off**2) - np.where(known, moved**2, 0.0), 0.0)
    third = np.einsum("mp,mps->ms", weights, off**3)
    doubt = np.sqrt(np.diag(covariance))[kind] if len(covariance) else np.ones(len(kind))
    names = [*_STATES, IDLE]
    hidden = (weights * untold).sum(axis=1)
    loose = (
        UNTOLD_DOUBT * hidden + (weights * hushed).sum(axis=1) + TOLD_DOUBT * (best[:, 0] + best[:, _PROVING] - hidden)
    )
    idle = np.maximum(best[:, [1, 2, 3]].sum(axis=1), 1e-12)
    shares = np.column_stack(
        [np.ones(len(row)), -best[:, 1:4] / idle[:, None], np.zeros((len(row), 2)), -np.ones(len(row))]
    )
    frame = pl.DataFrame({
        "machine": pieces["machine"].gather(np.repeat(np.arange(len(row)), len(names))),
        "window": np.repeat(pieces["window"].to_numpy(), len(names)),
        "state": np.tile(np.array(names, dtype=object), len(row)).tolist(),
        "cause": pl.Series([None] * (len(row) * len(names)), dtype=pl.String),
        "spare": pl.Series([None] * (len(row) * len(names)), dtype=pl.String),
        "kind": np.repeat(kind, len(names)),
        "best": best.ravel(), "below": variance.ravel(), "above": variance.ravel(), "third": third.ravel(),
        "moved": (np.where(known, moved / doubt[:, None], 0.0)).ravel(),
        "loose": (loose[:, None] * shares).ravel(),
    }, schema={name: kind for name, kind in SCHEMA.items() if name != "upward"})  # fmt: skip
    rows = _of_no_word(frame, np.repeat(pieces["silent"].to_numpy(), len(names)))
    rows = rows.select(*SCHEMA, down=pieces["down"].gather(np.repeat(np.arange(len(row)), len(names))))
    return rows.filter((pl.col("best") > 0) | (pl.col("upward") > 0))


def _of_no_word(rows: pl.DataFrame, silent: Flags) -> pl.DataFrame:
    """Rows of which those of `silent` pieces are no hours, but a range upward."""
    here = pl.lit(pl.Series(silent))
    nought = {name: pl.when(here).then(0.0).otherwise(name) for name in ("best", "below", "third", "moved", "loose")}
    return rows.with_columns(upward=pl.when(here).then("best").otherwise(0.0)).with_columns(**nought)


def _overlaps(replays: Replays, pieces: pl.DataFrame, quiet: Quiet) -> tuple[Numbers, Numbers, Numbers]:
    """Hours of each state in each replay of each piece [piece, replay, state], of prints nobody announced, and by how
    many hours those are off together that began in quiet stretches.
    """
    count, states = replays.count, len(_STATES)
    row, upkeep = pieces["row"].to_numpy(), pieces["upkeep"].to_numpy()
    opens, closes = pieces["start"].to_numpy(), pieces["end"].to_numpy()
    first, last = (np.searchsorted(row, np.arange(len(replays.spans)), side=side) for side in ("left", "right"))
    flat = np.zeros(len(row) * count * states)
    hidden, hushed = np.zeros(len(row) * count), np.zeros(len(row) * count)
    weights = replays.weights.ravel()
    for turn in replays.turns:
        counts = np.where(weights[turn.rows] > 0, (last - first)[turn.rows // count], 0)
        which = np.repeat(np.arange(len(turn.rows)), counts)
        step = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
        piece = first[turn.rows[which] // count] + step
        hours = (np.minimum(turn.end[which], closes[piece]) - np.maximum(turn.start[which], opens[piece])) / HOUR
        touch = hours > 0
        which, piece, hours = which[touch], piece[touch], hours[touch]
        state, rows = turn.state[which], turn.rows[which]
        proving = (state == 0) & turn.first[which] & replays.spans.proving[rows // count]
        state = np.where(proving, _PROVING, np.where((state > 0) & upkeep[piece], _UPKEEP, state))
        place = piece * count + rows % count
        np.add.at(flat, place * states + state, hours)
        untold = (state == 0) & ~turn.first[which]
        np.add.at(hidden, place[untold], hours[untold])
        off = np.minimum(quiet.doubt(turn.start[which[untold]]), MOST_QUIET_DOUBT)
        np.add.at(hushed, place[untold], hours[untold] * off)
    shape = (len(row), count)
    return flat.reshape(*shape, states), hidden.reshape(shape), hushed.reshape(shape)


def _told(stretches: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """The rows of `StateHours` of stretches no replay is needed for: cuts in doubt are spread evenly over it."""
    first = np.searchsorted(edges, stretches["start_low"].to_numpy(), side="right") - 1
    last = np.searchsorted(edges, stretches["end_high"].to_numpy(), side="left")
    touched = pl.int_ranges(
        pl.Series(np.maximum(first, 0)), pl.Series(np.minimum(last, len(edges) - 1)), dtype=pl.Int64
    )
    rows = stretches.with_columns(window=touched).explode("window", empty_as_null=False)
    opens = pl.lit(pl.Series(edges)).gather("window")
    closes = pl.lit(pl.Series(edges)).gather(pl.col("window") + 1)
    rows = rows.with_columns(
        best=_overlap("start", "end", opens, closes),
        least=_overlap("start_high", "end_low", opens, closes),
        most=_overlap("start_low", "end_high", opens, closes),
    )
    rows = rows.with_columns(
        kind=pl.lit(-1, pl.Int64),
        below=(pl.col("best") - pl.col("least")) ** 2 / 3,
        above=(pl.col("most") - pl.col("best")) ** 2 / 3,
        third=pl.lit(0.0),
        moved=pl.lit(0.0),
        loose=pl.lit(0.0),
        upward=pl.lit(0.0),
    ).select(*SCHEMA, "down", "unreturned")
    idle = rows.filter(pl.col("state").is_in(["done", "stopped", "empty"])).with_columns(state=pl.lit(IDLE))
    return pl.concat([rows, idle])


def _overlap(start: str, end: str, opens: pl.Expr, closes: pl.Expr) -> pl.Expr:
    length = pl.min_horizontal(pl.col(end), closes) - pl.max_horizontal(pl.col(start), opens)
    return length.clip(lower_bound=0) / HOUR
