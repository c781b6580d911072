"""Is it getting better: the weekly review."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from functools import partial

import streamlit as st

from core.answers import agree, end
from core.entries import MOST_ACTIONS
from core.epoch import utc_now
from core.errors import Refused
from core.review.types import Action, Chart, Review
from dashboard.charts import drawn
from dashboard.charts.charts import Spec
from dashboard.kit import data, parts
from dashboard.kit.blocks import explained, put
from dashboard.paper.week_paper import week
from dashboard.views import review_html
from dashboard.words import review_words as said
from dashboard.words.names import Names
from dashboard.words.written import Clock

PLACE = "review"


def page() -> None:
    """The review of the seven days up to the last midnight."""
    if refused := data.no_shop():
        parts.text("refused", refused.sentence)
        return
    by = parts.who()
    with st.spinner(said.LOOKING):
        found, specs = data.review(), data.review_charts()
    clock, names = Clock(data.setup().zone, found.end), data.names()
    left, right = (column.container(gap="xsmall") for column in st.columns([6, 6], gap="medium"))
    with left:
        put(review_html.week(found, clock))
        put(review_html.changed(found, names))
        _actions(found, by, names)
    with right:
        _cost(specs)
        _waits(found, specs)
    _charts(found, names, specs)
    with st.grid(min_column_width=420, gap="medium", key="review-tables"):
        put(review_html.promises(found, clock))
        put(review_html.spares(found, names))
        put(review_html.keeping(found))
        put(review_html.material(found))
    put(review_html.models(found))
    _compare(found, names, clock)
    with st.container(key="paper"):
        put(week(found, data.actions(found), names, clock))


def _cost(specs: Mapping[str, Spec]) -> None:
    """The reasons that cost most, the four weeks before pale behind."""
    parts.text("ask", said.COST, tag="h2")
    if spec := specs.get("cost"):
        parts.chart(spec, said.COST)
        put(explained(said.COST_KEY))


def _waits(found: Review, specs: Mapping[str, Spec]) -> None:
    """When finished parts wait, hour by hour of the week."""
    parts.text("ask", said.WAITS, tag="h2")
    parts.chart(specs["waits"], said.WAITS)
    put(explained(said.waits(found)))


def _charts(found: Review, names: Names, specs: Mapping[str, Spec]) -> None:
    """The shop's figures by week and by day, and any other one."""
    parts.text("ask", said.GOES, tag="h2")
    always = drawn.always(found)
    with st.grid(min_column_width=300, gap="small", key="review-charts"):
        for figure in ("utilisation", "downtime"):
            if spec := specs.get(figure):
                parts.chart(spec, said.by_week(figure)[0])
        for chart in always:
            parts.chart(specs[chart.code], _title(chart, names))
    put(explained(said.BAND_KEY))
    others = {_title(chart, names): chart for chart in found.charts if chart not in always}
    picked = st.selectbox(said.MORE_CHARTS, list(others), index=None, placeholder=said.WHICH)
    if picked:
        parts.chart(drawn.watched(others[picked], names), picked)


def _title(chart: Chart, names: Names) -> str:
    return ", ".join(said.chart_title(chart, names))


def _actions(found: Review, by: str | None, names: Names) -> None:
    """What is tried, with before and after; and the next action."""
    parts.text("ask", said.TRY, tag="h2")
    told, clock = data.actions(found), data.clock()
    open_ = [line for line in told if line.ended is None]
    if not open_:
        parts.text("entry", said.NO_ACTION)
    for line in open_:
        put(review_html.action(line, names, clock))
        if by:
            _ends(line, by)
    put(review_html.ended([line for line in told if line.ended], names, clock))
    if (last := parts.session().said) and last.place == PLACE:
        parts.receipt(PLACE, by or "")
    if by is None:
        parts.ask_who()
    elif len(open_) < MOST_ACTIONS:
        _agree(found, by, names, clock, len(told))
    else:
        parts.text("entry", said.ACTIONS_FULL)


def _ends(line: Action, by: str) -> None:
    """An action is done, or dropped."""
    with st.container(key=f"answers-{line.id}", horizontal=True, gap="small"):
        for answer, label in (("done", said.DONE), ("dropped", said.DROPPED)):
            if parts.pressed(f"end-{answer}-{line.id}", label):
                made = end(line.id, answer, by, utc_now())
                sentence = said.over(line.what, label.lower())
                parts.tap(f"end-{answer}-{line.id}", PLACE, [made], partial(_saying, sentence))


def _saying(sentence: str, _: object) -> str:
    return sentence


def _agree(found: Review, by: str, names: Names, clock: Clock, many: int) -> None:
    """The next action: what, who, by when, and which figure should move.

    What was refused stays in the form to be corrected; with one action more (`many` so far) it is empty again.
    """
    titles = {_title(chart, names): chart for chart in found.charts}
    people = {person.person: person.name for person in data.people()}
    with st.form(f"action-form-{many}", border=False):
        what = st.text_input(said.WHAT)
        left, right = st.columns(2)
        who = left.selectbox(said.WHO, list(people), format_func=people.__getitem__)
        until = right.date_input(said.UNTIL, value=_in_four_weeks(clock), format="YYYY-MM-DD")
        moves = st.selectbox(said.MOVES, list(titles))
        agreed = st.form_submit_button(said.AGREE)
    if not (agreed and who and moves and until):
        return
    due = datetime.combine(until, time(17), clock.zone)
    try:
        made = agree(what or "", who, due, titles[moves], by, utc_now())
    except Refused as refused:
        parts.refuse(PLACE, refused.sentence)
    else:
        parts.tap("main-agree", PLACE, [made], lambda _: said.agreed(made.note, due, clock))


def _in_four_weeks(clock: Clock) -> date:
    return clock.local(clock.at).date() + timedelta(weeks=4)


def _compare(found: Review, names: Names, clock: Clock) -> None:
    """Any two periods: at first this week and the four before it."""
    parts.text("ask", said.SIDE_BY_SIDE, tag="h2")
    last = clock.local(found.end).date() - timedelta(days=1)
    week = last - timedelta(days=6)
    with st.form("compare-form", border=False):
        one, other, by = st.columns(3)
        first = one.date_input(said.FIRST, value=(week - timedelta(days=28), week - timedelta(days=1)),
                               format="YYYY-MM-DD")  # fmt: skip
        second = other.date_input(said.SECOND, value=(week, last), format="YYYY-MM-DD")
        what = by.selectbox(said.BY, list(said.BYS), format_func=said.BYS.__getitem__)
        asked = st.form_submit_button(said.COMPARE)
    if not asked or not what:
        return
    if len(first) != 2 or len(second) != 2:
        parts.text("refused", said.TWO_DAYS)
        return
    try:
        with st.spinner(said.LOOKING):
            put(review_html.comparison(data.compare(first, second, what), names))
    except Refused as refused:
        parts.text("refused", refused.sentence)


if __name__ == "__main__":
    page()
