"""The figures that are watched for changes, and what is called: signals, not noise.

Every figure is a chart of its own, and each may call falsely a little; `FALSE_CALLS` is shared among them, so that the
page can say how many false calls a quarter to expect however many charts there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
import polars as pl

from core.calc import account, limits, scores
from core.calc.calls import Call, Score, calls, reach_of
from core.calc.hazard import Numbers
from core.calc.staffed import micros
from core.meanwhile import Happenings
from core.quarter import Quarter
from core.review_types import Called, Chart, Figure

#: False calls a quarter of all charts together, on average.
FALSE_CALLS = 3.0
#: A chart needs so many values, and counts so many events (or misses) in the quarter.
ENOUGH, EVENTS = 10, 5
#: What happens less often than this a quarter is seldom: the time to the next one is watched, not their number.
SELDOM = 13
#: Rates of faults are told in so many printing hours.
RATE_HOURS = 100.0

Kind = Literal["individuals", "p", "u", "g", "t"]


@dataclass(frozen=True)
class Watched:
    """A figure before it is judged: `counted` of `each` (both 1 a value for single values) at the end of each day."""

    figure: Figure
    of: str | None
    kind: Kind
    days: list[date]
    counted: Numbers
    each: Numbers

    def score(self) -> Score:
        """Its scores, given what is past to what follows."""
        if self.kind == "individuals":
            level = self.counted - _weekdays(self.days, self.counted)
            return lambda past: scores.individuals(level, past)
        if self.kind == "p":
            return lambda past: scores.shares(self.counted, self.each, past)
        if self.kind == "u":
            return lambda past: scores.rates(self.counted, self.each, past)
        law = scores.gaps if self.kind == "g" else scores.waits
        return lambda past: law(self.counted, past)

    @property
    def values(self) -> Numbers:
        """The values as they are shown."""
        return self.counted / self.each * (RATE_HOURS if self.kind == "u" else 1.0)


def charts(quarter: Quarter) -> list[Chart]:
    """All charts of the quarter, the shop's own first."""
    found = [watched for watched in _watched(quarter) if _tells(watched)]
    each = FALSE_CALLS / max(len(found), 1)
    happened = Happenings(quarter)
    return [_chart(watched, each, quarter, happened) for watched in found]


def _tells(watched: Watched) -> bool:
    if len(watched.days) < ENOUGH:
        return False
    total = float(watched.counted.sum())
    if watched.kind == "p":
        return total >= EVENTS and float(watched.each.sum()) - total >= EVENTS
    return total >= EVENTS if watched.kind == "u" else True


def _watched(quarter: Quarter) -> Iterator[Watched]:
    yield from _shares_of_time(quarter)
    yield _good(quarter)
    yield from _removed(quarter)
    yield from _faults(quarter)
    yield from _unnoted(quarter)
    yield from _late(quarter)


def _shares_of_time(quarter: Quarter) -> Iterator[Watched]:
    """Utilisation, downtime, and finished parts that waited, of every staffed day of which there is word."""
    rows = account.daily(quarter.by_day).filter(pl.col("window").is_in(quarter.staffed_days)).sort("window")
    days = [quarter.date_of(quarter.days[place]) for place in rows["window"]]
    figures: tuple[Figure, ...] = ("utilisation", "downtime", "waiting")
    for figure in figures:
        yield Watched(figure, None, "individuals", days, rows[figure].to_numpy(), np.ones(len(rows)))


def _good(quarter: Quarter) -> Watched:
    """Good parts that came off, a staffed day."""
    rows, turns = quarter.removals.drop_nulls("good"), quarter.turns
    good = _summed(rows["t"].to_numpy(), rows["good"].to_numpy().astype(float), quarter)
    return Watched("good", None, "individuals", [quarter.date_of(t) for t in turns], good, np.ones(len(turns)))


def _removed(quarter: Quarter) -> Iterator[Watched]:
    """Prints with scrap, of the shop and of each file, prints that stopped, and each cause of scrap."""
    rows = quarter.removals
    spoilt = pl.col("scrap") > 0
    yield _of_prints(quarter, "scrap", None, rows, spoilt)
    for file in sorted(rows["file"].drop_nulls().unique()):
        yield _of_prints(quarter, "scrap", file, rows.filter(pl.col("file") == file), spoilt)
    yield _of_prints(quarter, "stops", None, rows, pl.col("ended") == "stopped")
    for cause in sorted(rows.filter(spoilt)["cause"].drop_nulls().unique()):
        hit = spoilt & (pl.col("cause") == cause)
        if rows.filter(hit).height >= SELDOM:
            yield _of_prints(quarter, "scrap cause", cause, rows, hit)
        else:
            yield _between(quarter, cause, rows.with_row_index("place").filter(hit))


def _of_prints(quarter: Quarter, figure: Figure, of: str | None, rows: pl.DataFrame, hit: pl.Expr) -> Watched:
    """The share of prints taken off that `hit` holds for, by day; days on which none came off are left out."""
    t = rows["t"].to_numpy()
    hits = _summed(t, rows.select(hit.cast(pl.Float64).fill_null(0.0)).to_series().to_numpy(), quarter)
    whole = _summed(t, np.ones(len(t)), quarter)
    there = whole > 0
    days = [quarter.date_of(turn) for turn, mine in zip(quarter.turns, there, strict=True) if mine]
    return Watched(figure, of, "p", days, hits[there], whole[there])


def _between(quarter: Quarter, cause: str, rows: pl.DataFrame) -> Watched:
    """Prints taken off between two with scrap of a seldom cause."""
    places = rows["place"].to_numpy().astype(float)
    days = [quarter.date_of(quarter.turns[turn]) for turn in _turn_of(rows["t"].to_numpy(), quarter)]
    return Watched("scrap cause", cause, "g", days[1:], np.diff(places) - 1, np.ones(max(len(places) - 1, 0)))


def _faults(quarter: Quarter) -> Iterator[Watched]:
    """Faults in hours printed: of the shop, of each model, and of each cause."""
    models = {row.machine: row.model for row in quarter.machines}
    hours = quarter.printed.with_columns(model=quarter.model_of())
    told = [(fault.began, models.get(fault.machine), fault.cause) for fault in quarter.faults]
    began = [t for t, _, _ in told]
    whole = _hours(quarter, hours)
    yield _rate(quarter, "faults", None, began, whole)
    for model in sorted(set(models.values())):
        mine = [t for t, of, _ in told if of == model]
        yield _rate(quarter, "faults", model, mine, _hours(quarter, hours.filter(pl.col("model") == model)))
    for cause in sorted({cause for _, _, cause in told}):
        mine = [t for t, _, of in told if of == cause]
        if len(mine) >= SELDOM:
            yield _rate(quarter, "fault cause", cause, mine, whole)
        else:
            yield _until_next(quarter, cause, np.array(mine), whole)


def _rate(quarter: Quarter, figure: Figure, of: str | None, moments: Sequence[int], hours: Numbers) -> Watched:
    counted = _summed(np.array(moments, dtype=np.int64), np.ones(len(moments)), quarter)
    there = hours > 0
    days = [quarter.date_of(turn) for turn, mine in zip(quarter.turns, there, strict=True) if mine]
    return Watched(figure, of, "u", days, counted[there], hours[there])


def _until_next(quarter: Quarter, cause: str, moments: Numbers, hours: Numbers) -> Watched:
    """Hours printed from one fault of a seldom cause to the next."""
    edges = quarter.edges(quarter.turns)
    printed = np.interp(moments, edges, np.concatenate([[0.0], np.cumsum(hours)]))
    days = [quarter.date_of(quarter.turns[turn]) for turn in _turn_of(moments, quarter)]
    return Watched("fault cause", cause, "t", days[1:], np.diff(printed), np.ones(max(len(moments) - 1, 0)))


def _hours(quarter: Quarter, printed: pl.DataFrame) -> Numbers:
    """Hours printed in each turn."""
    starts = np.array([micros(day.start) for day in quarter.days])
    return _summed(starts[printed["window"].to_numpy()], printed["best"].to_numpy(), quarter)


def _unnoted(quarter: Quarter) -> Iterator[Watched]:
    """Starts and removals of each rack that nobody noted, of those the other tap tells of."""
    racks = {machine.machine: machine.rack for machine in quarter.machines}
    rows = quarter.read.visits.with_columns(
        rack=pl.col("machine").replace_strict(racks, default=None, return_dtype=pl.String)
    )
    for rack in sorted(set(racks.values())):
        yield _of_prints(quarter, "unnoted", rack, rows.filter(pl.col("rack") == rack), ~pl.col("noted"))


def _late(quarter: Quarter) -> Iterator[Watched]:
    """Orders that did not leave by their due time, of those due, by week."""
    rows = quarter.due
    edges = quarter.edges(quarter.weeks)
    week = np.searchsorted(edges, rows["due"].to_numpy(), side="right") - 1
    late = (~rows["kept"]).to_numpy().astype(float)
    counted, each = (np.bincount(week, weights, len(quarter.weeks)) for weights in (late, np.ones(len(late))))
    there = each > 0
    days = [quarter.date_of(w) for w, mine in zip(quarter.weeks, there, strict=True) if mine]
    yield Watched("late", None, "p", days, counted[there], each[there])


def _turn_of(moments: Numbers, quarter: Quarter) -> Numbers:
    """The place of the turn each moment lies in; the last one for what came after it."""
    edges = quarter.edges(quarter.turns)
    return np.clip(np.searchsorted(edges, moments, side="right") - 1, 0, len(quarter.turns) - 1)


def _summed(moments: Numbers, weights: Numbers, quarter: Quarter) -> Numbers:
    """The weights added up by turn; what came after the last staffed day is left out."""
    turns = quarter.turns
    within = moments < micros(turns[-1].end)
    return np.bincount(_turn_of(moments[within], quarter), weights[within], len(turns))


def _weekdays(days: Sequence[date], values: Numbers) -> Numbers:
    """By how much each value's weekday differs from the mean of all, as far as it has happened often enough."""
    of = np.array([day.weekday() for day in days])
    usual = np.zeros(7)
    for weekday in range(7):
        mine = values[of == weekday]
        usual[weekday] = np.median(mine) - np.median(values) if len(mine) >= limits.SEVERAL else 0.0
    return usual[of] - usual[of].mean() if len(days) else np.zeros(0)


def _chart(watched: Watched, false_calls: float, quarter: Quarter, happened: Happenings) -> Chart:
    found = calls(watched.score(), len(watched.days), false_calls, float(len(watched.days)))
    reach = reach_of(false_calls / 2, float(len(watched.days)))
    begins = [0, *(call.since for call in found if call.rule == "adds up")]
    edges = [*begins, len(watched.days)]
    centre, lower, upper = np.zeros((3, len(watched.days)))
    for a, b in zip(edges, edges[1:], strict=False):
        left_out = {call.at for call in found if call.rule == "beyond"}
        centre[a:b], lower[a:b], upper[a:b] = _usual(watched, slice(a, b), left_out, reach)
    told = [_called(call, watched, centre, quarter, happened) for call in found]
    return Chart(
        figure=watched.figure, of=watched.of, kind=watched.kind, days=watched.days, values=watched.values.tolist(),
        of_each=watched.each.tolist(), centre=centre.tolist(), lower=lower.tolist(), upper=upper.tolist(), called=told,
    )  # fmt: skip


def _usual(watched: Watched, part: slice, left_out: set[int], reach: float) -> tuple[Numbers, ...]:
    """Centre and limits of one part between two lasting changes, from its values but those far out."""
    places = range(len(watched.days))[part]
    kept = np.array([place for place in places if place not in left_out] or list(places))
    mine = slice(part.start, part.stop)
    counted, each = watched.counted, watched.each
    scale = RATE_HOURS if watched.kind == "u" else 1.0
    if watched.kind == "individuals":
        shift = _weekdays(watched.days, counted)
        found = limits.individuals((counted - shift)[kept], reach)
        return tuple(shift[mine] + value for value in (found.centre, found.lower[0], found.upper[0]))
    if watched.kind in {"g", "t"}:
        found = limits.quantiles(counted[kept], reach, whole=watched.kind == "g")
        return tuple(np.full(len(places), value) for value in (found.centre, found.lower[0], found.upper[0]))
    law = limits.shares if watched.kind == "p" else limits.rates
    centre = float(counted[kept].sum() / each[kept].sum())
    found = law(np.full(len(places), centre) * each[mine], each[mine], reach)
    return np.full(len(places), centre * scale), found.lower * scale, found.upper * scale


def _called(call: Call, watched: Watched, centre: Numbers, quarter: Quarter, happened: Happenings) -> Called:
    at, since = watched.days[call.at], watched.days[call.since]
    lasting = call.rule == "adds up"
    before = centre[max(call.since - 1, 0)] if lasting else centre[call.at]
    after = centre[call.since] if lasting else watched.values[call.at]
    return Called(
        rule=call.rule, at=at, since=since, upward=bool(after > before), before=float(before), after=float(after),
        new=at >= quarter.week.start.astimezone(quarter.zone).date(),
        meanwhile=happened.around(watched.figure, watched.of, since - timedelta(days=7), at),
    )  # fmt: skip
