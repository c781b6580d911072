"""What prints use of spools: announced ones what they state, others so many grams an hour."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from core.arrays import Flags, Numbers
from core.epoch import FAR, HOUR
from core.hours.replays import Replays
from core.numbering import numbering_of
from core.setup import PrintFile, Setup
from core.timeline.spans import PRINTING

#: A print nobody announced uses grams an hour like the others of its material, give or take so much.
UNTOLD_SPREAD = 0.3


@dataclass(frozen=True, slots=True)
class Use:
    """A print on a spool: from `begin` to `end` (microseconds; FAR: still running) it needs `grams` of it.

    `share` of them it has used, give or take `doubt`; `told`: a start announced it; `itself`: it ran to its end.
    `takes` is how long it prints with that much, `until` when it was found over (FAR: nobody has said; microseconds).
    """

    begin: int
    end: int
    grams: float
    share: float
    doubt: float
    told: bool
    itself: bool
    takes: int
    until: int


def shares_by_clock(use: Use, at: int) -> tuple[float, float]:
    """The least and the most of a print's whole that can have been printed before a spool was fitted into it at `at`.

    It may have stood without material for a while before; what is printed after it takes its time.
    """
    most = min(max(at - use.begin, 0) / use.takes, 1.0)
    least = max(1 - max(use.until - at, 0) / use.takes, 0.0) if use.itself else 0.0
    return min(least, most), most


def split_at(use: Use, at: int, now: int, fed: float, doubt: float) -> tuple[Use, Use]:
    """A print's use before and after a spool was fitted into it at `at`, as known at `now`.

    The spool before has `fed` that share of what it needs, give or take `doubt`.
    """
    before = replace(use, end=at, share=fed, doubt=math.hypot(doubt, use.doubt * fed), itself=False)
    left = max(1 - fed, 1e-9)
    takes = max(round(use.takes * left), 1)
    if use.end == FAR:
        share, doubt = min(max(now - at, 0) / takes, 1.0), 0.0
    else:
        share, doubt = max(use.share - fed, 0.0) / left, math.hypot(doubt, use.doubt * left) / left
    return before, replace(use, begin=at, grams=use.grams * left, share=share, doubt=doubt, takes=takes)


def announced(gaps: pl.DataFrame, setup: Setup, at: int) -> Iterator[tuple[str, Use, str | None]]:
    """Prints that a start announced, and how far they got."""
    starts = gaps.filter((pl.col("kind") == "PrintStarted") & pl.col("takes").is_not_null())
    last = (
        gaps.filter(pl.col("print").is_not_null() & (pl.col("leaves") == "printing"))
        .group_by("print", maintain_order=True)
        .agg(pl.col("t", "until", "end", "shape", "next_found").last(), first=pl.col("began").first())
    )
    rows = starts.select("machine", "file", "revision", "takes", print="id").join(
        last, on="print", maintain_order="left"
    )
    for row in rows.iter_rows(named=True):
        file = setup.file(row["file"], row["revision"])
        if file:
            yield row["machine"], _use(row, file, at), file.material


def _use(row: dict[str, object], file: PrintFile, at: int) -> Use:
    begin, takes = int(str(row["first"])), int(str(row["takes"]))
    until, end = int(str(row["until"])), int(str(row["end"]))
    use = Use(begin, end, file.grams, 1.0, 0.0, told=True, itself=True, takes=takes, until=until)
    if until == FAR:  # nobody has said how it ended
        over = at >= end
        share = 1.0 if over else min(max(at - begin, 0) / takes, 1.0)
        return replace(use, end=end if over else FAR, share=share, itself=over)
    if row["next_found"] == "stopped" or str(row["shape"]).startswith("stopped"):
        least, most = (min(max(t - begin, 0) / takes, 1.0) for t in (int(str(row["t"])), until))
        doubt = (most - least) / math.sqrt(12)
        share = (least + most) / 2
        return replace(use, end=until, share=share, doubt=doubt, itself=False)
    return replace(use, end=max(end, begin + 1))


def untold(
    replays: Sequence[Replays], gaps: pl.DataFrame, setup: Setup, at: int
) -> Iterator[tuple[str, Use, str | None]]:
    """Prints that nobody announced, as far as replays have it: their hours at the usual grams an hour.

    A print that goes on with another spool was announced by its start.
    """
    rates = grams_an_hour(setup)
    goes_on = gaps.filter((pl.col("kind") == "SpoolFitted") & pl.col("print").is_not_null())
    told = set(goes_on.select("machine", "t").iter_rows())
    for group in replays:
        spans = zip(group.spans.machine, group.spans.start, strict=True)
        running = group.spans.running & [(str(machine), int(start)) not in told for machine, start in spans]
        grams, begins, ends = _printed_untold(group, running, rates)
        mean = (group.weights * grams).sum(axis=1)
        spread = np.sqrt(np.maximum((group.weights * grams**2).sum(axis=1) - mean**2, 0.0))
        for place in np.flatnonzero(mean > 1.0):
            share = group.weights[place] * grams[place] / mean[place]
            begin, end = (int((share * moments[place]).sum()) for moments in (begins, ends))
            doubt = math.hypot(spread[place] / mean[place], UNTOLD_SPREAD)
            used, end = float(mean[place]), min(end, at)
            takes = max(end - begin, 1)
            use = Use(begin, end, used, 1.0, float(doubt), told=False, itself=True, takes=takes, until=end)
            yield str(group.spans.machine[int(place)]), use, None


def _printed_untold(group: Replays, running: Flags, rates: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """In every replay of every span: the grams of prints nobody announced, when they began and when they ended.

    Spans are `running` at whose beginning such a print runs.
    """
    size = len(group.spans) * group.count
    grams, begins, ends = np.zeros(size), np.full(size, float(FAR)), np.zeros(size)
    for turn in group.turns:
        untold = (turn.state == PRINTING) & (~turn.first | running[turn.rows // group.count])
        rows = turn.rows[untold]
        hours = (turn.end[untold] - turn.start[untold]) / HOUR
        grams[rows] += hours * rates[turn.material[untold]]
        begins[rows] = np.minimum(begins[rows], turn.start[untold])
        ends[rows] = np.maximum(ends[rows], turn.end[untold])
    begins = np.where(grams > 0, begins, 0.0)
    shape = (len(group.spans), group.count)
    return grams.reshape(shape), begins.reshape(shape), ends.reshape(shape)


def grams_an_hour(setup: Setup) -> Numbers:
    """What the files of every material state, by its place, and last what all of them do."""
    files = setup.history(PrintFile)
    groups = [*([f for f in files if f.material == m] for m in numbering_of(setup).materials), files]
    return np.array([math.fsum(f.grams for f in of) / (math.fsum(f.hours for f in of) or 1.0) for of in groups])
