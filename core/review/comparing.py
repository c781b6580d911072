"""Any two periods side by side, of the shop or of its models, racks, machines, products or files."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from core.errors import Refused
from core.estimate import Estimate
from core.habits.learned import Learned
from core.log.store import Log
from core.review import figures
from core.review.figure_level import level_of, says
from core.review.figures import SPOILT, STOPPED, WHOLE, DailyFigure, Part
from core.review.quarter import Past
from core.review.types import ComparedBy, ComparedFigure, ComparedGroup, Comparison
from core.setup import PrintFile
from core.window import Window, midnight

#: No period is longer than a year.
LONGEST = 366


#: The first and the last day of a period.
Days = tuple[date, date]


def compare(
    log: Log,
    first: Days,
    second: Days,
    by: ComparedBy,
    at: datetime,
    learned: Learned | None = None,
) -> Comparison:
    """The levels of two periods (first and last day of each), and what can be told of the change.

    Raises `Refused` for a period that ends before it begins, is not over, lies before all entries or is longer than a
    year, and for periods that overlap.
    """
    if first[0] <= second[1] and second[0] <= first[1]:
        raise Refused("periods_overlap", "The two periods share days: choose days that lie in one of them only.")
    one, other = (_past(log, days, at, learned) for days in (first, second))
    parts = _parts(other, by)
    return Comparison(
        by=by, zone=str(one.zone), first=first, second=second,
        groups=[ComparedGroup(code=code, figures=list(_figures(one, other, part))) for code, part in parts.items()],
    )  # fmt: skip


def _past(log: Log, days: Days, at: datetime, learned: Learned | None) -> Past:
    past = Past(log, _window(days, log, at), at, learned)
    if not past.turns:
        raise Refused("nobody_in", f"Nobody was in from {days[0]} to {days[1]}: choose days with people in.")
    return past


def _window(days: Days, log: Log, at: datetime) -> Window:
    first, last = days
    zone = log.setup().zone
    if last < first:
        raise Refused("period_backwards", f"The period ends on {last} before it begins on {first}: swap the two days.")
    if (last - first).days >= LONGEST:
        raise Refused("period_too_long", f"The period from {first} to {last} is longer than a year: make it shorter.")
    window = Window(midnight(first, zone), midnight(last + timedelta(days=1), zone))
    if window.end > at:
        raise Refused("period_not_over", f"The period ends on {last}, which is not over yet: end it sooner.")
    span = log.span()
    if span is None or window.end <= span.start:
        raise Refused("period_before_all", f"Nothing was noted until {last} yet: choose days with entries.")
    return window


def _parts(past: Past, by: ComparedBy) -> dict[str, Part]:
    """The groups by their codes, as at the end of the second period."""
    if by == "shop":
        return {"shop": WHOLE}
    if by in {"product", "file"}:
        found: dict[str, list[str]] = {}
        for file in past.setup.all(PrintFile, past.end):
            found.setdefault(getattr(file, by), []).append(file.file)
        return {code: Part(files=files) for code, files in sorted(found.items())}
    return {code: Part(machines=machines) for code, machines in past.machines_by(by).items()}


def _figures(one: Past, other: Past, part: Part) -> Iterator[ComparedFigure]:
    for before, after in zip(_watched(one, part), _watched(other, part), strict=True):
        then, now = _level(before), _level(after)
        change, told = says(then, now) if then and now else (None, None)
        yield ComparedFigure(
            figure=after.figure, unit=after.unit, before=then, after=now, change=change, says=told or "cannot tell"
        )


def _watched(past: Past, part: Part) -> list[DailyFigure]:
    mine = [
        figures.good(past, part),
        figures.prints(past, "scrap", SPOILT, part),
        figures.prints(past, "stops", STOPPED, part),
    ]
    if part.files is not None:
        return mine
    return [*figures.shares_of_time(past, part), *mine, figures.faults(past, part)]


def _level(watched: DailyFigure) -> Estimate | None:
    return level_of(watched.kind, watched.values, watched.each) if len(watched.days) else None
