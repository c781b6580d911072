"""The weekly review on one sheet of paper: to be gone through with a pen in twenty minutes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup

from core.entries import MOST_ACTIONS
from core.review.types import Action, Chart, Review
from dashboard.paper import paper
from dashboard.paper.paper import Block, Cells, Column, Drawn, Head, Line
from dashboard.words import owner_words
from dashboard.words import review_words as said
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: Reasons for lost hours, and weeks of promises.
REASONS, WEEKS = 10, 4
#: The shares of the width of the words, the drawing and the number.
BARS, LINES = (0.32, 0.36, 0.32), (0.42, 0.34, 0.24)


def week(review: Review, actions: Sequence[Action], names: Names, clock: Clock) -> Markup:
    """The sheet, as HTML; `clock` is that of the review's end."""
    head = Head(review.shop, said.week_days(review, clock), said.false_calls(review))
    columns = (
        Column(31, [_changed(review, names), _actions(actions, review.start, names, clock)]),
        Column(39, [_figures(review), _lost(review, names), _promises(review, clock)]),
        Column(30, [_charts(review, names), _models(review), _spares(review, names), _keeping(review)]),
    )
    return paper.sheet(head, columns)


def _changed(review: Review, names: Names) -> Block:
    """This week's calls, then those of the quarter, newest first."""
    calls = [(chart, call) for chart in review.charts for call in chart.called]
    calls.sort(key=lambda pair: pair[1].at, reverse=True)
    new = [Line(*said.called(*pair, names), said.beside(pair[1], names)) for pair in calls if pair[1].new]
    earlier = [Line(*said.called(*pair, names)) for pair in calls if not pair[1].new]
    told = new or [Line("", said.NOTHING_CHANGED)]
    lines = [*told, *([Line("", under=f"{said.EARLIER}:")] if earlier else []), *earlier]
    return Block(said.CHANGED, lines, 2, lambda n: owner_words.on_the_page(said.more_calls(len(lines) - n)))


def _actions(actions: Sequence[Action], since: datetime, names: Names, clock: Clock) -> Block:
    """What is tried or has ended in the week, and room for what is tried next."""
    told = [Line(said.action(line, names, clock)[0], said.action(line, names, clock)[1], said.moved(line, names),
                 tick=line.ended is None) for line in actions if line.ended is None or line.ended >= since]  # fmt: skip
    free = MOST_ACTIONS - sum(line.ended is None for line in actions)
    blank = [Line("", said.BLANK_ACTION, answer=1)] * max(free, 0)
    return Block(said.TRY, [*told, *blank] or [Line("", said.NO_ACTION)], 3)


def _figures(review: Review) -> Block:
    heads, rows = said.figures(review, 3)
    shares = (0.19, *[0.81 / (len(heads) - 1)] * (len(heads) - 1))
    return Block(said.FIGURES, [Cells(heads, shares, head=True), *(Cells(row, shares) for row in rows)])


def _lost(review: Review, names: Names) -> Block:
    """The reasons that cost most; grey: a week of the four before."""
    losses = review.losses[:REASONS]
    most = max((max(line.hours.best, line.before.best) for line in losses), default=0.0) or 1.0
    rows = [
        Drawn(
            said.loss(line, names)[0],
            paper.bars([(line.before.best / most, "#bbb"), (line.hours.best / most, "#000")]),
            said.loss(line, names)[1], 4.0, BARS,
        )
        for line in losses
    ]  # fmt: skip
    return Block(said.COST, rows or [Line("", said.NOTHING_LOST)], 3)


def _promises(review: Review, clock: Clock) -> Block:
    rows = [said.promises(line, clock) for line in reversed(review.promises) if line.due]
    return _table(said.PROMISES, said.PROMISES_HEAD, rows[:WEEKS])


def _charts(review: Review, names: Names) -> Block:
    rows = [_chart(chart, names) for chart in review.charts if chart.of is None]
    return Block(said.GOES, rows or [Line("", said.TOO_YOUNG)], 3)


def _chart(chart: Chart, names: Names) -> Drawn:
    """A figure over the quarter, and its usual."""
    span = (min([0.0, *chart.values]), max([*chart.values, *chart.centre]) or 1.0)
    drawing = paper.line(chart.values, [chart.centre[-1]], span)
    return Drawn(said.on_paper(chart, names), drawing, said.usual(chart), 7.0, LINES)


def _models(review: Review) -> Block:
    names = {line.model: line.name for line in review.models}
    lines = [said.compared(line, names) for line in review.compared] or [said.NOT_COMPARED]
    return Block(said.MODELS, [Line("", line) for line in lines], 1)


def _spares(review: Review, names: Names) -> Block:
    return _table(said.SPARES, said.SPARES_HEAD, [said.spare(line, names) for line in review.spares])


def _keeping(review: Review) -> Block:
    return _table(said.KEEPING, said.KEEPING_HEAD, [said.keeping(line) for line in review.keeping])


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Block:
    """A small table, its first column wider."""
    first = 0.3
    shares = (first, *[(1 - first) / (len(heads) - 1)] * (len(heads) - 1))
    told = [Cells(heads, shares, head=True), *(Cells(row, shares) for row in rows)]
    nothing = [Line("", said.NOTHING_HERE)]
    return Block(title, told if rows else nothing, 2, lambda n: owner_words.on_the_page(said.more_rows(len(told) - n)))
