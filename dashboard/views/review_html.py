"""The weekly review as HTML."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from core.review.types import Action, Comparison, Review
from dashboard.kit.blocks import folded, key, note, section, table, told
from dashboard.words import plan_words
from dashboard.words import review_words as said
from dashboard.words.floor_words import Names
from dashboard.words.written import Clock


def week(found: Review, clock: Clock) -> str:
    """The figures of the week and of the four before it."""
    heads, rows = said.figures(found)
    return section(said.week(found, clock), table(heads, rows), note(f"{said.WEEK_KEY} {said.AS_KNOWN}"))


def changed(found: Review, names: Names) -> str:
    """What was called this week, then what was called before; and how much of it is chance."""
    new: list[tuple[date, str]] = []
    before: list[tuple[date, str]] = []
    for chart in found.charts:
        for call in chart.called:
            what, how = said.called(chart, call, names)
            line = told(what, how, said.beside(call, names))
            (new if call.new else before).append((call.at, line))
    lines = "".join(line for _, line in sorted(new, reverse=True)) or key(said.NOTHING_CHANGED)
    earlier = "".join(line for _, line in sorted(before, reverse=True))
    why = note(said.NOT_WHY) if new else ""
    return section(said.CHANGED, lines, why, folded(f"{said.EARLIER} ({len(before)})", earlier),
                   note(said.false_calls(found)))  # fmt: skip


def spares(found: Review, names: Names) -> str:
    """Days waited for each spare."""
    rows = [said.spare(line, names) for line in found.spares]
    return section(said.SPARES, table(said.SPARES_HEAD, rows) if rows else key(said.NO_SPARES))


def keeping(found: Review) -> str:
    """Forgotten taps by rack."""
    return section(said.KEEPING, table(said.KEEPING_HEAD, map(said.keeping, found.keeping)))


def promises(found: Review, clock: Clock) -> str:
    """Orders due by week, newest first, and those that are late, or left late this week."""
    weeks = [line for line in reversed(found.promises) if line.due]
    late = "".join(key(said.late(line, clock)) for line in found.late)
    late += key(plan_words.as_packed(found.unpacked)) if found.unpacked else ""
    rows = table(said.PROMISES_HEAD, (said.promises(line, clock) for line in weeks[:5]))
    return section(said.PROMISES, rows, late)


def material(found: Review) -> str:
    """Material used against what was expected when the week began."""
    return section(said.MATERIAL, table(said.MATERIAL_HEAD, map(said.material, found.materials)))


def models(found: Review) -> str:
    """What fast and slow models gave."""
    names = {line.model: line.name for line in found.models}
    lines = [said.compared(line, names) for line in found.compared] or [said.NOT_COMPARED]
    rows = table(said.MODELS_HEAD, map(said.model, found.models))
    return section(said.MODELS, *map(key, lines), rows, note(said.MODELS_KEY))


def action(line: Action, names: Names, clock: Clock) -> str:
    """An action and what has come of it."""
    return section("", _action(line, names, clock))


def ended(lines: Sequence[Action], names: Names, clock: Clock) -> str:
    """The actions that have ended, a tap away."""
    rows = "".join(_action(line, names, clock) for line in lines)
    return section("", folded(f"{said.ENDED} ({len(lines)})", rows))


def _action(line: Action, names: Names, clock: Clock) -> str:
    what, how = said.action(line, names, clock)
    return told(what, how, said.moved(line, names))


def comparison(found: Comparison, names: Names) -> str:
    """Two periods side by side; of groups those with most changes first, each a tap away."""
    head = ("", said.days(*found.first), said.days(*found.second), said.COMPARED_HEAD[-1])
    tables = [(group, table(head, map(said.compared_figure, group.figures))) for group in found.groups]
    if found.by != "shop":
        tables.sort(key=lambda one: -len(said.told_apart(one[0])))
        parts = [folded(said.group(group, found.by, names), rows) for group, rows in tables]
    else:
        parts = [rows for _, rows in tables]
    return section("", *parts, note(said.COMPARED_KEY))
