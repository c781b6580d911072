"""The weekly review as HTML."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from core.review.types import Action, Comparison, Review
from dashboard.kit.blocks import Told, told
from dashboard.templates.templating import macros
from dashboard.words import plan_words
from dashboard.words import review_words as said
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: Weeks of promises.
WEEKS = 5

_PAGE = macros("review.html", said=said)


def week(found: Review, clock: Clock) -> Markup:
    """The figures of the week and of the four before it."""
    return _PAGE.week(said.week(found, clock), *said.figures(found))


def changed(found: Review, names: Names) -> Markup:
    """What was called this week, then what was called before; and how much of it is chance."""
    calls = [
        (call.new, call.at, told(*said.called(chart, call, names), said.beside(call, names)))
        for chart in found.charts
        for call in chart.called
    ]
    calls.sort(reverse=True)
    new, before = ([line for is_new, _, line in calls if is_new == wanted] for wanted in (True, False))
    return _PAGE.changed(new, before, said.false_calls(found))


def spares(found: Review, names: Names) -> Markup:
    """Days waited for each spare."""
    return _PAGE.spares([said.spare(line, names) for line in found.spares])


def keeping(found: Review) -> Markup:
    """Forgotten taps by rack."""
    return _PAGE.keeping([said.keeping(line) for line in found.keeping])


def promises(found: Review, clock: Clock) -> Markup:
    """Orders due by week, newest first, and those that are late, or left late this week."""
    weeks = [said.promises(line, clock) for line in reversed(found.promises) if line.due]
    late = [said.late(line, clock) for line in found.late]
    packed = [plan_words.as_packed(found.unpacked)] if found.unpacked else []
    return _PAGE.promises(weeks[:WEEKS], [*late, *packed])


def material(found: Review) -> Markup:
    """Material used against what was expected when the week began."""
    return _PAGE.material([said.material(line) for line in found.materials])


def models(found: Review) -> Markup:
    """What fast and slow models gave."""
    names = {line.model: line.name for line in found.models}
    lines = [said.compared(line, names) for line in found.compared] or [said.NOT_COMPARED]
    return _PAGE.models(lines, [said.model(line) for line in found.models])


def action(line: Action, names: Names, clock: Clock) -> Markup:
    """An action and what has come of it."""
    return _PAGE.action(_action(line, names, clock))


def ended(lines: Sequence[Action], names: Names, clock: Clock) -> Markup:
    """The actions that have ended, a tap away."""
    return _PAGE.ended([_action(line, names, clock) for line in lines])


def _action(line: Action, names: Names, clock: Clock) -> Told:
    return told(*said.action(line, names, clock), said.moved(line, names))


def comparison(found: Comparison, names: Names) -> Markup:
    """Two periods side by side; of groups those with most changes first, each a tap away."""
    heads = ("", said.days(*found.first), said.days(*found.second), said.COMPARED_HEAD[-1])
    groups = sorted(found.groups, key=lambda group: -len(said.told_apart(group)))
    titles = [said.group(group, found.by, names) if found.by != "shop" else "" for group in groups]
    rows = [[said.compared_figure(figure) for figure in group.figures] for group in groups]
    return _PAGE.comparison(heads, list(zip(titles, rows, strict=True)))
