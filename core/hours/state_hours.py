"""Hours of every state in windows of time, with the doubts they really have.

Best values are means over the replays of each span, so they add up to the window exactly. What a span does
beyond what is told of it is its own chance: variances add. But a file that takes longer than learned takes
longer in every print, and a habit of forgetting that is stronger than learned hides more prints everywhere:
such errors move all their hours together, so they add before they are squared. The 5th and 95th percentile
follow from mean, variance and skewness (Cornish and Fisher's expansion).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from core.arrays import Flags, Micros, Numbers
from core.epoch import HOUR, WEEK_HOURS, micros
from core.estimate import NINETY, Estimate
from core.habits.learned import Learned
from core.habits.pace import NOBODY_SEEN, Presence
from core.hours.law import Law
from core.hours.replays import Replays, replay_all
from core.numbering import numbering_of
from core.setup import Setup
from core.staffed import Staffed
from core.sums import summed
from core.timeline import silence
from core.timeline.reckon import Reckoned
from core.timeline.spans import Spans, certain, spans
from core.window import Window

#: Replays of a span with one story and with many.
FEW, MANY = 32, 160
#: How far the law itself is off, as a share of the hours it gives (one standard deviation): of prints nobody
#: announced, and of announced ones. From invented shops (`report --how-sure`), which no shop is quite like.
UNTOLD_DOUBT, TOLD_DOUBT = 0.2, 0.03
#: How much more a span's own variance is than its replays show: they all go by one average law. From the same shops.
OWN_DOUBT = 1.75
#: The same of declared downtime, for a shop that forgets nothing and for each share of entries forgotten.
DOWN_DOUBT, DOWN_UNNOTED = 0.01, 0.12
#: The ends of a time somebody noted are off by minutes (hours, one standard deviation), and one time in so many is
#: another machine's, or its end was told at another time altogether.
DOWN_ENDS, DOWN_WRONG = 0.05, 0.03
#: Upkeep nobody noted takes a machine so many hours a week if it is never noted (one standard deviation).
DOWN_UNSEEN = 0.8
#: How far the share of silences that are faults nobody told may be off (one standard deviation).
SILENT_DOUBT = 0.1
#: The states of replays, and the idle ones together: their hours trade with each other, not with the rest.
_STATES = ("printing", "done", "stopped", "empty", "proving", "upkeep")
IDLE = "idle"
_PROVING, _UPKEEP = 4, 5
_SUMS = np.vstack([np.eye(6), [0, 1, 1, 1, 0, 0]]).T

_KEYS = ("machine", "window", "state", "cause", "spare", "kind")
_SCHEMA = {
    "machine": pl.String, "window": pl.Int64, "state": pl.String, "cause": pl.String, "spare": pl.String,
    "kind": pl.Int64, "best": pl.Float64, "below": pl.Float64, "above": pl.Float64, "third": pl.Float64,
    "moved": pl.Float64, "loose": pl.Float64, "upward": pl.Float64,
}  # fmt: skip


@dataclass(frozen=True)
class StateHours:
    """Hours in windows, to be added up.

    `rows`: machine, window (index), state (`IDLE` besides: done, stopped and empty together), cause, spare,
    kind (place in `PrintTimes.kinds` or -1), best (hours), below and above (variance of what is the row's own
    chance, to either side), third (its third central moment), moved (hours by which one more in the logarithm of its
    kind's time moves it), loose (hours by which an error of the law as a whole moves it), upward (hours without a word
    that were of this state as the shop works).
    `covariance` is that of the logarithms of the kinds' times.
    """

    rows: pl.DataFrame
    covariance: Numbers

    def of(self, which: pl.Expr) -> StateHours:
        """The rows that `which` picks."""
        return StateHours(self.rows.filter(which), self.covariance)

    def by(self, *names: str) -> pl.DataFrame:
        """The rows added up by the named columns: best, low and high (hours; the range holds nine in ten)."""
        group = pl.struct(names).rank("dense").cast(pl.Int64) - 1 if names else pl.lit(0)
        rows = self.rows.with_columns(group=group)
        moments = pl.col("best", "below", "above", "third", "loose", "upward")
        sums = summed(rows, ["group", *names], moments).sort("group")
        shared = self._shared(rows, len(sums)) + sums["loose"].to_numpy() ** 2
        best, below, above, third = (sums[name].to_numpy() for name in ("best", "below", "above", "third"))
        low, high = _ends(best, below, above, third, shared)
        return sums.select(*names, "best", low=pl.Series(low), high=pl.Series(high) + pl.col("upward"))

    def total(self, states: Sequence[str]) -> Estimate:
        """The hours of these states together."""
        mine = self.of(pl.col("state").is_in(states)).by()
        if mine.is_empty():
            return Estimate.exact(0.0)
        return Estimate(low=mine["low"][0], best=mine["best"][0], high=mine["high"][0])

    @property
    def hours(self) -> float:
        """The hours of all states."""
        return math.fsum(self.rows.filter(pl.col("state") != IDLE)["best"])

    def _shared(self, rows: pl.DataFrame, groups: int) -> Numbers:
        """The variance of each group's hours that comes from the doubt about what kinds of prints take."""
        moved = np.zeros((groups, len(self.covariance)))
        mine = rows.filter(pl.col("kind") >= 0)
        np.add.at(moved, (mine["group"].to_numpy(), mine["kind"].to_numpy()), mine["moved"].to_numpy())
        return np.asarray(np.einsum("gk,kl,gl->g", moved, self.covariance, moved))


def _ends(best: Numbers, below: Numbers, above: Numbers, third: Numbers, shared: Numbers) -> tuple[Numbers, Numbers]:
    """The 5th and the 95th percentile; the mean lies within them and nothing is below nought."""
    down, up = np.sqrt(below + shared), np.sqrt(above + shared)
    cube = np.maximum(down * up * (down + up) / 2, 1e-12)
    lean = np.clip(third / cube, -2.0, 2.0) / 6 * (NINETY**2 - 1)
    low, high = best + down * (lean - NINETY), best + up * (lean + NINETY)
    return np.clip(low, 0.0, best), np.maximum(high, best)


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
    stretches = reckoned.stretches.with_columns(place=pl.col("machine").replace_strict(places, return_dtype=pl.Int64))
    told, doubtful = _parted(stretches, [group.spans for group in replays], places)
    rows = [_loosened(_told(told, edges), learned), _silent(silence.silences(reckoned.gaps, staffed), edges, learned)]
    for number, group in enumerate(replays):
        rows.append(_hours(group, _pieces(doubtful.filter(pl.col("group") == number), edges), covariance))
    rows += [_unseen(pl.concat(rows), learned), _no_word(pl.concat(rows), learned)]
    return StateHours(summed(pl.concat(rows), _KEYS, pl.exclude(*_KEYS)), covariance)


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
    edges = np.unique(np.concatenate([_line(mark["place"], mark["from"]), _line(mark["place"], mark["to"])]))
    cut = _cut(stretches, edges)
    at = np.searchsorted(_line(mark["place"], mark["from"]), _line(cut["place"], cut["start"]), side="right") - 1
    within = (at >= 0) & (_line(mark["place"], mark["to"])[at] >= _line(cut["place"], cut["end"]))
    open_to, silent = pl.col("state").is_in([*_STATES[:5], "upkeep", "no word"]), pl.col("state") == "no word"
    cut = cut.with_columns(
        within=pl.Series(within),
        group=mark["group"].gather(np.maximum(at, 0)),
        row=mark["row"].gather(np.maximum(at, 0)),
    )
    return cut.filter(~(pl.col("within") & open_to) | silent), cut.filter(pl.col("within") & open_to)


def _line(place: pl.Series, moment: pl.Series) -> Micros:
    """Machine and time as one number, so that sorting by both is sorting by it."""
    return np.asarray(place.to_numpy().astype(np.int64) * 2**52 + moment.to_numpy())


def _cut(rows: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """The rows cut at the edges that lie inside them; a cut so made has no doubt."""
    start, end = _line(rows["place"], rows["start"]), _line(rows["place"], rows["end"])
    first, last = np.searchsorted(edges, start, side="right"), np.searchsorted(edges, end, side="left")
    row = np.repeat(np.arange(len(rows)), last - first + 1)
    step = np.arange(len(row)) - np.repeat(np.cumsum(last - first + 1) - (last - first + 1), last - first + 1)
    begins, ends = step == 0, step == np.repeat(last - first, last - first + 1)
    inner = edges[np.clip(first[row] + step, 0, len(edges) - 1)] - rows["place"].to_numpy()[row] * 2**52
    before = edges[np.clip(first[row] + step - 1, 0, len(edges) - 1)] - rows["place"].to_numpy()[row] * 2**52
    pieces = rows[row]
    told = {
        f"start{end}": np.where(begins, pieces[f"start{end}"].to_numpy(), before) for end in ("", "_low", "_high")
    } | {f"end{end}": np.where(ends, pieces[f"end{end}"].to_numpy(), inner) for end in ("", "_low", "_high")}
    return pieces.with_columns(**{name: pl.Series(values) for name, values in told.items()})


def _pieces(rows: pl.DataFrame, edges: Micros) -> pl.DataFrame:
    """Pieces cut at the windows: row (of the span), window, from, to, upkeep (idle hours in it are upkeep), silent."""
    places = rows["place"].unique().to_numpy()
    lines = np.sort((places[:, None] * 2**52 + edges[None, :]).ravel()) if len(places) else edges
    cut = _cut(rows, lines)
    window = np.searchsorted(edges, cut["start"].to_numpy(), side="right") - 1
    cut = cut.select(
        "machine", "row", "start", "end", window=pl.Series(window), upkeep=pl.col("state") == "upkeep",
        silent=pl.col("state") == "no word",
    )  # fmt: skip
    return cut.filter(pl.col("window").is_between(0, len(edges) - 2)).sort("row", "start")


def _hours(replays: Replays, pieces: pl.DataFrame, covariance: Numbers) -> pl.DataFrame:
    """The rows of `StateHours` that the replays of these pieces come to."""
    row = pieces["row"].to_numpy()
    each, untold = _overlaps(replays, pieces)
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
    loose = UNTOLD_DOUBT * hidden + TOLD_DOUBT * (best[:, 0] + best[:, _PROVING] - hidden)
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
    }, schema={name: kind for name, kind in _SCHEMA.items() if name != "upward"})  # fmt: skip
    return _of_no_word(frame, np.repeat(pieces["silent"].to_numpy(), len(names))).filter(
        (pl.col("best") > 0) | (pl.col("upward") > 0)
    )


def _of_no_word(rows: pl.DataFrame, silent: Flags) -> pl.DataFrame:
    """Rows of which those of `silent` pieces are no hours, but a range upward."""
    here = pl.lit(pl.Series(silent))
    nought = {name: pl.when(here).then(0.0).otherwise(name) for name in ("best", "below", "third", "moved", "loose")}
    return rows.with_columns(upward=pl.when(here).then("best").otherwise(0.0)).with_columns(**nought)


def _overlaps(replays: Replays, pieces: pl.DataFrame) -> tuple[Numbers, Numbers]:
    """Hours of each state in each replay of each piece [piece, replay, state], and of prints nobody announced."""
    count, states = replays.count, len(_STATES)
    row, upkeep = pieces["row"].to_numpy(), pieces["upkeep"].to_numpy()
    opens, closes = pieces["start"].to_numpy(), pieces["end"].to_numpy()
    first, last = (np.searchsorted(row, np.arange(len(replays.spans)), side=side) for side in ("left", "right"))
    flat = np.zeros(len(row) * count * states)
    hidden = np.zeros(len(row) * count)
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
    return flat.reshape(len(row), count, states), hidden.reshape(len(row), count)


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
    ).select(*_SCHEMA)
    idle = rows.filter(pl.col("state").is_in(["done", "stopped", "empty"])).with_columns(state=pl.lit(IDLE))
    return pl.concat([rows, idle])


def _loosened(rows: pl.DataFrame, learned: Learned) -> pl.DataFrame:
    """Declared downtime with what faults, returns and upkeep that nobody noted may move it."""
    if learned.habits is None:
        return rows
    share = DOWN_DOUBT + DOWN_UNNOTED * learned.habits.forgets
    down = pl.col("state").is_in(["upkeep", "down", "waiting"])
    own = pl.when(down).then(DOWN_ENDS**2 + DOWN_WRONG * pl.col("best") ** 2).otherwise(0.0)
    return rows.with_columns(
        pl.col("below", "above") + own, loose=pl.when(down).then(share * pl.col("best")).otherwise("loose")
    )


def _unseen(rows: pl.DataFrame, learned: Learned) -> pl.DataFrame:
    """Upkeep that nobody noted and nothing gives away: no hours, since any guess would be wrong, but a range upward."""
    if learned.habits is None:
        return rows.clear()
    a_week = DOWN_UNSEEN**2 * learned.habits.forgets / WEEK_HOURS
    hours = summed(rows.filter(pl.col("state") != IDLE), ["machine", "window"], pl.col("best"))
    return _upward(hours, "upkeep", above=a_week * pl.col("best"))


def _no_word(rows: pl.DataFrame, learned: Learned) -> pl.DataFrame:
    """A machine of which there is no word may have been down all the time: a range upward, with what its silence adds
    up to every hour of it, and of all such machines together by how little is known of their share.
    """
    share = max(1 / NINETY**2 - learned.silent, 0.0) if learned.habits else 0.0
    hours = summed(rows.filter(pl.col("state") == "no word"), ["machine", "window"], pl.col("best"))
    loose = SILENT_DOUBT if learned.habits else 0.0
    return _upward(hours, "down", above=share * pl.col("best") ** 2, loose=loose * pl.col("best"))


def _silent(silent: pl.DataFrame, edges: Micros, learned: Learned) -> pl.DataFrame:
    """Faults that nobody told, in the times in which nobody spoke of a machine: no hours, but a range upward."""
    rows = silence.within(silent if learned.habits else silent.clear(), edges)
    return _upward(rows, "down", above=learned.silent * pl.col("hours") ** 2, upward=learned.silent * pl.col("hours"))


def _upward(rows: pl.DataFrame, state: str, **doubt: pl.Expr) -> pl.DataFrame:
    """Rows of machines and windows that may have been in a state with nothing telling: no hours, but this doubt."""
    none = dict.fromkeys(("best", "below", "above", "third", "moved", "loose", "upward"), pl.lit(0.0))
    told = {"state": pl.lit(state), "cause": pl.lit(None, pl.String), "spare": pl.lit(None, pl.String),
            "kind": pl.lit(-1, pl.Int64)}  # fmt: skip
    return rows.with_columns(**told, **none | doubt).select(*_SCHEMA)


def _overlap(start: str, end: str, opens: pl.Expr, closes: pl.Expr) -> pl.Expr:
    length = pl.min_horizontal(pl.col(end), closes) - pl.max_horizontal(pl.col(start), opens)
    return length.clip(lower_bound=0) / HOUR
