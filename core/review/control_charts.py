"""The figures that are watched for changes, and what is called: signals, not noise.

Every figure is a chart of its own, and each may call falsely a little; `FALSE_CALLS` is shared among them, so that the
page can say how many false calls a quarter to expect however many charts there are.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise

import numpy as np

from core.arrays import Numbers
from core.review import figures
from core.review.figures import RATE_HOURS, SPOILT, STOPPED, DailyFigure, Part
from core.review.happened_then import Happenings
from core.review.quarter import Past
from core.review.types import Called, Chart
from core.statistics import control_limits
from core.statistics.calls import Call, CallRules, calls
from core.statistics.weekdays import weekday_effects

#: False calls a quarter of all charts together, on average.
FALSE_CALLS = 4.0
#: A chart needs so many values, and counts so many events (and as many that are none).
ENOUGH, EVENTS = 10, 5


def charts(past: Past) -> list[Chart]:
    """All charts of a quarter, the shop's own first; none where nobody was ever in."""
    if not past.turns:
        return []
    found = [watched for watched in _watched(past) if _tells(watched)]
    each = FALSE_CALLS / max(len(found), 1)
    happened = Happenings(past)
    return [_chart(watched, each, past, happened) for watched in found]


def _tells(watched: DailyFigure) -> bool:
    if len(watched.days) < ENOUGH:
        return False
    total = float(watched.counted.sum())
    if watched.kind == "p":
        return total >= EVENTS and float(watched.each.sum()) - total >= EVENTS
    return total >= EVENTS if watched.kind == "u" else True


def _watched(past: Past) -> Iterator[DailyFigure]:
    """The shop's figures, then those of files, models, causes and racks."""
    rows = past.removals
    yield from figures.shares_of_time(past)
    yield figures.good(past)
    yield figures.scrap(past)
    yield figures.prints(past, "stops", STOPPED)
    yield figures.faults(past)
    yield figures.late(past)
    for file in sorted(rows["file"].drop_nulls().unique()):
        yield figures.scrap(past, Part(files=[file]), file)
    for cause in sorted(rows.filter(SPOILT)["cause"].drop_nulls().unique()):
        yield figures.scrap_cause(past, cause)
    for model, machines in past.machines_by("model").items():
        yield figures.faults(past, Part(machines=machines), model)
    for cause in sorted({fault.cause for fault in past.faults}):
        yield figures.fault_cause(past, cause)
    for rack, machines in past.machines_by("rack").items():
        yield figures.unnoted(past, machines, rack)


def _chart(watched: DailyFigure, false_calls: float, past: Past, happened: Happenings) -> Chart:
    # Of the shop as a whole a fall is news as well; of a file, a cause or a rack a rise is what is looked for.
    rules = CallRules.of(false_calls, len(watched.days), both=watched.of is None)
    found = calls(watched.score(), len(watched.days), rules)
    begins = [0, *(call.since for call in found if call.rule == "adds up")]
    edges = [*begins, len(watched.days)]
    centre, lower, upper = np.zeros((3, len(watched.days)))
    for a, b in pairwise(edges):
        left_out = {call.at for call in found if call.rule == "beyond"}
        centre[a:b], lower[a:b], upper[a:b] = _usual(watched, slice(a, b), left_out, rules.reach)
    told = [_called(call, watched, centre, past, happened) for call in found]
    return Chart(
        figure=watched.figure, of=watched.of, kind=watched.kind, unit=watched.unit, days=watched.days,
        values=watched.values.tolist(),
        of_each=watched.each.tolist(), centre=centre.tolist(), lower=lower.tolist(), upper=upper.tolist(), called=told,
    )  # fmt: skip


def _usual(watched: DailyFigure, part: slice, left_out: set[int], reach: float) -> tuple[Numbers, ...]:
    """Centre and limits of one part between two lasting changes, from its values but those far out."""
    places = range(len(watched.days))[part]
    kept = np.array([place for place in places if place not in left_out] or list(places))
    mine = slice(part.start, part.stop)
    counted, each = watched.counted, watched.each
    scale = RATE_HOURS if watched.kind == "u" else 1.0
    if watched.kind == "individuals":
        shift = weekday_effects(watched.days, counted)
        # A change that is a day old has no range of its own yet: it has that of all days.
        kept = kept if len(kept) > 1 else np.arange(len(counted))
        found = control_limits.individuals((counted - shift)[kept], reach)
        return tuple(shift[mine] + value for value in (found.centre, found.lower[0], found.upper[0]))
    if watched.kind in {"g", "t"}:
        found = control_limits.quantiles(counted[kept], reach, whole=watched.kind == "g")
        return tuple(np.full(len(places), value) for value in (found.centre, found.lower[0], found.upper[0]))
    law = control_limits.shares if watched.kind == "p" else control_limits.rates
    centre = float(counted[kept].sum() / each[kept].sum())
    found = law(np.full(len(places), centre) * each[mine], each[mine], reach)
    return np.full(len(places), centre * scale), found.lower * scale, found.upper * scale


def _pooled(watched: DailyFigure, since: int, at: int) -> float:
    """The figure over its values from one to another."""
    counted, each = (column[since : at + 1].sum() for column in (watched.counted, watched.each))
    return float(counted / each) * (RATE_HOURS if watched.kind == "u" else 1.0)


def _called(call: Call, watched: DailyFigure, centre: Numbers, past: Past, happened: Happenings) -> Called:
    at, since = watched.days[call.at], watched.days[call.since]
    lasting = call.rule == "adds up"
    before = centre[max(call.since - 1, 0)] if lasting else centre[call.at]
    after = _pooled(watched, call.since, call.at) if lasting else watched.values[call.at]
    return Called(
        rule=call.rule, at=at, since=since, upward=bool(after > before), before=float(before), after=float(after),
        new=at >= past.weeks[-1].start.astimezone(past.zone).date(),
        meanwhile=happened.around(watched.figure, watched.of, since - timedelta(days=7), at),
    )  # fmt: skip
