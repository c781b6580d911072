"""The daily figures of the shop, or of any part of it: machines, files, causes. Each says what it is counted of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers
from core.entries import Figure
from core.epoch import micros
from core.hours import account
from core.review.quarter import Past
from core.review.types import Unit
from core.statistics import scores
from core.statistics.calls import Score
from core.statistics.weekdays import weekday_effects

#: Rates of faults are told in so many printing hours.
RATE_HOURS = 100.0
#: What happens less often than this in the time looked at is seldom: the time to the next one is watched, not a number.
SELDOM = 13

SPOILT, STOPPED = pl.col("scrap") > 0, pl.col("ended") == "stopped"

#: Parts of a print fail together if their number varies so many times as widely as if each failed on its own.
TOGETHER = 1.5

Kind = Literal["individuals", "p", "u", "g", "t"]


@dataclass(frozen=True)
class Part:
    """A part of the shop: these machines, or these print files; None for all of them."""

    machines: Sequence[str] | None = None
    files: Sequence[str] | None = None

    def of_machines(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows of its machines."""
        return rows if self.machines is None else rows.filter(pl.col("machine").is_in(list(self.machines)))

    def removals(self, past: Past) -> pl.DataFrame:
        """What came off its machines, of its files."""
        rows = self.of_machines(past.removals)
        return rows if self.files is None else rows.filter(pl.col("file").is_in(list(self.files)))


WHOLE = Part()


@dataclass(frozen=True)
class DailyFigure:
    """A figure before it is judged: `counted` of `each` (both 1 a value for single values) at the end of each day."""

    figure: Figure
    of: str | None
    kind: Kind
    days: list[date]
    counted: Numbers
    each: Numbers
    unit: Unit = "prints"

    def score(self) -> Score:
        """Its scores, given what is past to what follows."""
        if self.kind == "individuals":
            level = self.counted - weekday_effects(self.days, self.counted)
            return lambda past: scores.individuals(level, past)
        if self.kind in {"p", "u"}:
            law = scores.shares if self.kind == "p" else scores.rates
            return lambda past: law(self.counted, self.each, past)
        seldom = scores.gaps if self.kind == "g" else scores.waits
        return lambda past: seldom(self.counted, past)

    @property
    def values(self) -> Numbers:
        """The values as they are shown."""
        return self.counted / self.each * (RATE_HOURS if self.kind == "u" else 1.0)


def shares_of_time(past: Past, part: Part = WHOLE, of: str | None = None) -> Iterator[DailyFigure]:
    """Utilisation, downtime, and finished parts that waited, of every staffed day of which there is word."""
    mine = past.by_day
    if part.machines is not None:
        mine = mine.of(pl.col("machine").is_in(list(part.machines)))
    rows = account.daily(mine).filter(pl.col("window").is_in(past.staffed_days)).sort("window")
    days = [past.date_of(past.days[place]) for place in rows["window"]]
    figures: tuple[Figure, ...] = ("utilisation", "downtime", "waiting")
    for figure in figures:
        yield DailyFigure(figure, of, "individuals", days, rows[figure].to_numpy(), np.ones(len(rows)), "days")


def good(past: Past, part: Part = WHOLE, of: str | None = None) -> DailyFigure:
    """Good parts that came off, a staffed day."""
    rows = part.removals(past).drop_nulls("good")
    found = _summed(rows["t"].to_numpy(), rows["good"].to_numpy().astype(np.float64), past)
    return DailyFigure("good", of, "individuals", _days(past), found, np.ones(len(found)), "days")


def scrap(past: Past, part: Part = WHOLE, of: str | None = None) -> DailyFigure:
    """Scrap: of parts where parts fail one by one, of prints (with any) where they fail together.

    A figure is known best by what fails on its own: 24 parts of one print that came loose tell no more than one.
    """
    rows = part.removals(past)
    told = rows.drop_nulls("parts")
    if together(told["scrap"].to_numpy().astype(np.float64), told["parts"].to_numpy().astype(np.float64)) > TOGETHER:
        return _share(past, "scrap", of, rows, SPOILT)
    t = told["t"].to_numpy()
    hits, whole = (_summed(t, told[name].to_numpy().astype(np.float64), past) for name in ("scrap", "parts"))
    there = np.flatnonzero(whole > 0)
    return DailyFigure("scrap", of, "p", _days(past, there), hits[there], whole[there], "parts")


def together(hits: Numbers, of: Numbers) -> float:
    """How many times as widely counts of failed ones of so many vary as if each failed on its own; 1 of none."""
    share = hits.sum() / of.sum() if of.sum() else 0.0
    expected = float((of * share * (1 - share)).sum())
    return float(((hits - of * share) ** 2).sum() / expected) if expected else 1.0


def prints(past: Past, figure: Figure, hit: pl.Expr, part: Part = WHOLE, of: str | None = None) -> DailyFigure:
    """The share of prints taken off that `hit` holds for, by day."""
    return _share(past, figure, of, part.removals(past), hit)


def scrap_cause(past: Past, cause: str) -> DailyFigure:
    """Prints with scrap of a cause, of all; of a seldom one, prints without it from one to the next."""
    rows = past.removals.with_row_index("place")
    hit = SPOILT & (pl.col("cause") == cause)
    mine = rows.filter(hit)
    if mine.height >= SELDOM:
        return _share(past, "scrap cause", cause, rows, hit)
    days = _days(past, _turn_of(mine["t"].to_numpy(), past))
    between = np.diff(mine["place"].to_numpy().astype(np.float64)) - 1
    return DailyFigure("scrap cause", cause, "g", days[1:], between, np.ones(len(between)))


def faults(past: Past, part: Part = WHOLE, of: str | None = None) -> DailyFigure:
    """Faults told of in the hours printed."""
    mine = [f.began for f in past.faults if part.machines is None or f.machine in part.machines]
    return _rate(past, "faults", of, mine, _hours(past, part.of_machines(past.printed)))


def fault_cause(past: Past, cause: str) -> DailyFigure:
    """Faults of a cause in the hours printed; of a seldom one, hours printed from one to the next."""
    moments = np.array([fault.began for fault in past.faults if fault.cause == cause], dtype=np.int64)
    hours = _hours(past, past.printed)
    if len(moments) >= SELDOM:
        return _rate(past, "fault cause", cause, moments.tolist(), hours)
    printed = np.interp(moments, past.edges(past.turns), np.concatenate([[0.0], np.cumsum(hours)]))
    days = _days(past, _turn_of(moments, past))
    ones = np.ones(max(len(moments) - 1, 0))
    return DailyFigure("fault cause", cause, "t", days[1:], np.diff(printed), ones, "hours")


def unnoted(past: Past, machines: Sequence[str], of: str | None) -> DailyFigure:
    """Starts and removals of these machines that nobody noted, of those the other tap tells of."""
    rows = past.read.visits.filter(pl.col("machine").is_in(list(machines)))
    return replace(_share(past, "unnoted", of, rows, ~pl.col("noted")), unit="taps")


def late(past: Past) -> DailyFigure:
    """Orders that did not leave by their due time, of those due of which that is known, by week."""
    rows = past.due.drop_nulls("kept")
    week = np.searchsorted(past.edges(past.weeks), rows["due"].to_numpy(), side="right") - 1
    missed = (~rows["kept"]).to_numpy().astype(np.float64)
    counted, each = (_counts(week, weights, len(past.weeks)) for weights in (missed, np.ones(len(missed))))
    there = each > 0
    days = [past.date_of(week) for week, mine in zip(past.weeks, there, strict=True) if mine]
    return DailyFigure("late", None, "p", days, counted[there], each[there], "orders")


def _share(past: Past, figure: Figure, of: str | None, rows: pl.DataFrame, hit: pl.Expr) -> DailyFigure:
    """The share of rows that `hit` holds for, by turn; turns without any are left out."""
    t = rows["t"].to_numpy()
    hits = _summed(t, rows.select(hit.cast(pl.Float64).fill_null(0.0)).to_series().to_numpy(), past)
    whole = _summed(t, np.ones(len(t)), past)
    there = np.flatnonzero(whole > 0)
    return DailyFigure(figure, of, "p", _days(past, there), hits[there], whole[there])


def _rate(past: Past, figure: Figure, of: str | None, moments: Sequence[int], hours: Numbers) -> DailyFigure:
    counted = _summed(np.array(moments, dtype=np.int64), np.ones(len(moments)), past)
    there = np.flatnonzero(hours > 0)
    return DailyFigure(figure, of, "u", _days(past, there), counted[there], hours[there], "hours")


def _hours(past: Past, printed: pl.DataFrame) -> Numbers:
    """Hours printed in each turn."""
    starts = np.array([micros(day.start) for day in past.days])
    return _summed(starts[printed["window"].to_numpy()], printed["best"].to_numpy(), past)


def _days(past: Past, turns: Micros | None = None) -> list[date]:
    """The last day of each of these turns, or of all."""
    places = range(len(past.turns)) if turns is None else turns.tolist()
    return [past.date_of(past.turns[place]) for place in places]


def _turn_of(moments: Micros, past: Past) -> Micros:
    """The place of the turn each moment lies in; the last one for what came after it."""
    edges = past.edges(past.turns)
    return np.clip(np.searchsorted(edges, moments, side="right") - 1, 0, len(past.turns) - 1)


def _summed(moments: Micros, weights: Numbers, past: Past) -> Numbers:
    """The weights added up by turn; what came after the last staffed day is left out."""
    within = moments < micros(past.turns[-1].end)
    return _counts(_turn_of(moments[within], past), weights[within], len(past.turns))


def _counts(places: Micros, weights: Numbers, many: int) -> Numbers:
    return np.bincount(places, weights, many).astype(np.float64)
