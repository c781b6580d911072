"""How busy hands were, by the quarter of an hour: where nobody tapped anything, nobody came past the machines either.

Whoever works in rounds, through a queue at opening or besides errands leaves a room alone for hours that its shifts
call staffed. The taps of all machines tell: visits in a quarter of an hour and those around it are taken to be Poisson
about a pace of their own, and the paces to follow a gamma law about the usual one of that time of day (so the counts
follow a negative binomial law). How widely is learned; a room that is visited evenly keeps the clock of its shifts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers, Rows
from core.epoch import HOUR, MINUTE
from core.habits.quiet import NEVER_QUIET, Quiet, quiet_edges
from core.staffed import Staffed

#: The bins of the pace, and how far before and after each its visits are counted as well (microseconds).
BIN, REACH = 15 * MINUTE, 15 * MINUTE
BINS_A_DAY = 96
#: What is tapped at one machine within so many microseconds is one visit.
ONE_VISIT = 10 * MINUTE
#: What is tapped later than this after it happened says nothing of who was there when.
PROMPT = 5 * MINUTE
#: The shape of the gamma law of paces lies between these; at the most, hands are taken to be about evenly.
LEAST_SHAPE, MOST_SHAPE = 0.3, 50.0
#: The usual pace of a time of day is drawn toward that of all by so many days.
STEADY_DAYS = 5.0
#: Who takes longer than this from one machine to the next had other things to do between them (microseconds).
ON_THE_WAY = 30 * MINUTE
#: Hours that parts take to come off, before so many removals tell (common practice, no source).
TAKING_OFF, ENOUGH_REMOVALS = 2 / 60, 20
#: That part of the times from one machine to parts off the next held nothing else.
AT_A_STRETCH = 0.25


@dataclass(frozen=True)
class Pace:
    """How the visits of a shop come: so many in a bin and its reach on average (`mean`), about `usual` [bins of the
    shop's day] times as many at each time of day, the paces of so gamma a `shape`.
    """

    mean: float = 1.0
    shape: float = MOST_SHAPE
    usual: Numbers = field(default_factory=lambda: np.ones(BINS_A_DAY))

    @property
    def unseen(self) -> float:
        """The pace at which hands are taken to go where nobody tapped, as a share of the usual one."""
        return self.shape / (self.mean + self.shape)


@dataclass(frozen=True)
class Presence:
    """When somebody was at a machine between two moments (all in microseconds), in order.

    `told` are the moments anything was told of or told at, from memory too: then it was not quiet.
    """

    visits: Micros
    start: int
    end: int
    told: Micros = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    @classmethod
    def of(cls, entries: pl.DataFrame, start: int, end: int) -> Presence:
        """As entries tell (machine, at, noted_at)."""
        theirs = entries.filter(pl.col("machine").is_not_null())
        moments = np.concatenate([theirs[name].dt.epoch("us").to_numpy() for name in ("at", "noted_at")])
        return cls(visits(entries), start, end, np.sort(moments))


NOBODY_SEEN = Presence(np.zeros(0, dtype=np.int64), 0, 0)


def visits(entries: pl.DataFrame) -> Micros:
    """When somebody was at a machine, from entries (machine, at, noted_at), in order (microseconds)."""
    at = pl.col("at").dt.epoch("us")
    told = entries.filter(pl.col("machine").is_not_null()).select(
        "machine", t=at, late=pl.col("noted_at").dt.epoch("us") - at
    )
    told = told.filter(pl.col("late") <= PROMPT).sort("machine", "t")
    again = (pl.col("t") - pl.col("t").shift(1) <= ONE_VISIT) & (pl.col("machine") == pl.col("machine").shift(1))
    return told.filter(~again.fill_null(value=False))["t"].sort().to_numpy()


def taking_off(entries: pl.DataFrame) -> float:
    """The hours that hands need to come to a machine and take the parts off, until they tap it.

    From entries (kind, machine, by, at, noted_at): the time from a tap of somebody at one machine to his removal at
    another, where he did both without a pause.
    """
    at = pl.col("at").dt.epoch("us")
    told = entries.filter(pl.col("machine").is_not_null()).select(
        "kind", "machine", "by", t=at, late=pl.col("noted_at").dt.epoch("us") - at
    )
    told = told.filter(pl.col("late") <= PROMPT).sort("by", "t", "machine", "kind")
    since, before = pl.col("t").diff().over("by"), pl.col("machine").shift(1).over("by")
    removals = told.with_columns(since=since, before=before).filter(
        (pl.col("kind") == "PartsOff") & (pl.col("before") != pl.col("machine")) & (pl.col("since") < ON_THE_WAY)
    )
    if len(removals) < ENOUGH_REMOVALS:
        return TAKING_OFF
    return float(np.quantile(removals["since"].to_numpy(), AT_A_STRETCH)) / HOUR


def learn_pace(seen: Presence, staffed: Staffed, zone: ZoneInfo) -> Pace:
    """The pace of a shop from when somebody was seen."""
    edges = _bins(staffed, seen.start, seen.end)
    if not len(edges) or not len(seen.visits):
        return Pace()
    counts, time_of_day = _around(seen.visits, edges), _time_of_day(edges, zone)
    mean = max(float(counts.mean()), 1e-6)
    days = np.bincount(time_of_day, minlength=BINS_A_DAY)
    told = np.bincount(time_of_day, counts, BINS_A_DAY)
    usual = (told / mean + STEADY_DAYS) / (days + STEADY_DAYS)
    expected = mean * usual[time_of_day]
    spread = float(((counts - expected) ** 2 - expected).sum() / (expected**2).sum())
    return Pace(mean, float(np.clip(1 / max(spread, 1e-9), LEAST_SHAPE, MOST_SHAPE)), usual)


def quiet_of(staffed: Staffed, seen: Presence) -> Micros:
    """The stretches of staffed time in which nobody was seen for long: from, to (microseconds)."""
    return quiet_edges(seen.told, _bins(staffed, seen.start, seen.end))


def paced(staffed: Staffed, pace: Pace, zone: ZoneInfo, seen: Presence, quiet: Quiet = NEVER_QUIET) -> Staffed:
    """The staffed clock at the pace of hands: as they were seen, else the usual one of the time of day.

    In `quiet` stretches, as likely as people worked in them, the usual one as well.
    """
    first, last = staffed.edges[[0, -1]]
    edges = _bins(staffed, int(first), int(last))
    if not len(edges):
        return staffed
    speed = pace.usual[_time_of_day(edges, zone)]
    known = (edges[:, 0] >= seen.start) & (edges[:, 1] <= seen.end)
    told = (_around(seen.visits, edges) + pace.shape * speed) / (pace.mean + pace.shape)
    worked = quiet.at(edges[:, 0])
    return staffed.cut(edges, np.where(known, worked * speed + (1 - worked) * told, speed))


def _bins(staffed: Staffed, start: int, end: int) -> Micros:
    """The bins whose middles lie in staffed time, cut to it: from, to."""
    first = np.arange(start // BIN * BIN, end, BIN, dtype=np.int64)
    opens, closes = staffed.spell_at(first + BIN // 2)
    edges = np.column_stack([np.maximum(first, opens), np.minimum(first + BIN, closes)])
    return edges[opens < closes]


def _time_of_day(edges: Micros, zone: ZoneInfo) -> Rows:
    clock = pl.Series(edges[:, 0]).cast(pl.Datetime("us", "UTC")).dt.convert_time_zone(str(zone))
    return (clock.dt.hour().cast(pl.Int64) * 4 + clock.dt.minute().cast(pl.Int64) // 15).to_numpy()


def _around(seen: Micros, edges: Micros) -> Numbers:
    """How many visits there were in each bin and within its reach, brought to the length of a whole one."""
    count = np.searchsorted(seen, edges[:, 1] + REACH) - np.searchsorted(seen, edges[:, 0] - REACH)
    return np.asarray(count * ((BIN + 2 * REACH) / (edges[:, 1] - edges[:, 0] + 2 * REACH)))
