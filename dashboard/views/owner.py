"""The owner's page: what stands where, what needs a hand, what was given and lost, what is changing."""

import polars as pl
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from core.answer_types import AnswerChoice, Change, Period, Question, Report, Series
from core.answers import entries_for
from core.entries import utc_now
from core.errors import Refused
from dashboard import charts, data, parts, words
from dashboard.floor_words import Names
from dashboard.views import owner_html
from dashboard.written import Clock

#: Seconds between two looks whether anything new was noted.
LOOK_EVERY = 5
LOSSES_SEEN = 6
PLACE = "owner"
QUESTIONS_SEEN = 2


def page() -> None:
    """Draw the page, and keep it fresh."""
    shown = data.moment()
    try:
        report = data.report()
    except Refused as refused:
        st.html(owner_html.plainly(words.NO_SHOP, refused.sentence))
    else:
        _draw(report, data.names())
    _watch(shown)


def _draw(report: Report, names: Names) -> None:
    by = parts.who()
    links = owner_html.Links(by)
    _words("trust", owner_html.trust(report))
    left, right = _halves("now")
    with left:
        _words("needs", owner_html.needs(report, names, links))
        _words("where", owner_html.where(report, links))
    with right:
        _words("gave", owner_html.gave(report))
        _losses(report.week, names)
    left, right = _halves("then")
    with left:
        st.html(owner_html.changing(report))
        _lines(report)
    with right:
        _questions(report, names, by)
    st.html(owner_html.counted())


def _words(name: str, html: str) -> None:
    """A part in a place of its own, which keeps its height before the words are there (see `owner.css`)."""
    with st.container(key=f"owner-{name}"):
        st.html(html)


def _halves(name: str) -> list[DeltaGenerator]:
    """Two columns side by side, one under the other on a phone; what is in them stands close."""
    with st.container(key=f"owner-{name}"):
        return [column.container(gap="xsmall") for column in st.columns([7, 5], gap="medium")]


def _losses(period: Period, names: Names) -> None:
    losses = period.losses[:LOSSES_SEEN]
    if not losses:
        return
    frame = pl.DataFrame(
        [
            {
                "reason": words.reason(loss, names.down, names.spares),
                "told": words.lost(loss),
                **loss.hours.model_dump(),
            }
            for loss in losses
        ]
    )
    st.html(owner_html.key(words.LOST))
    st.altair_chart(charts.hours_lost(frame), theme=None, width="stretch", alt=words.LOST)
    st.html(owner_html.all_losses(period, names))


def _lines(report: Report) -> None:
    with st.grid(min_column_width=165, gap="small", key="owner-lines"):
        for series in report.series:
            if series.days:
                title = words.series_title(series)
                chart = charts.daily(_days(series), title, share=series.name != "good")
                st.altair_chart(chart, theme=None, width="stretch", alt=", ".join(title))


def _days(series: Series) -> pl.DataFrame:
    return pl.DataFrame({"day": series.days, "value": series.values}).with_columns(
        mean=pl.lit(series.mean, pl.Float64),
        lower=pl.lit(series.lower, pl.Float64),
        upper=pl.lit(series.upper, pl.Float64),
        changed=_changed(series.change),
    )


def _changed(change: Change | None) -> pl.Expr:
    """The day beyond the limits, or every day of a run."""
    if change is None:
        return pl.lit(value=False)
    return pl.col("day") >= change.since if change.rule == "run" else pl.col("day") == change.since


def _questions(report: Report, names: Names, by: str | None) -> None:
    st.html(owner_html.asked(report))
    said = parts.session().said
    if by and said and said.place == PLACE:
        parts.receipt(PLACE, by)
    if report.questions and by is None:
        parts.ask_who()
        return
    for question in report.questions[:QUESTIONS_SEEN]:
        _question(question, words.clock_of(report), names, by or "")
    if len(report.questions) > QUESTIONS_SEEN:
        st.html(owner_html.more(len(report.questions) - QUESTIONS_SEEN))


def _question(question: Question, clock: Clock, names: Names, by: str) -> None:
    """A question with a button for each answer; a tap records it."""
    st.html(owner_html.key(words.question_sentence(question, clock)))
    with st.container(key=f"answers-{question.id}", horizontal=True, gap="small"):
        for choice in question.choices:
            label = words.choice_words(question, choice, names.down)
            if st.button(label, key=f"answer-{question.id}-{choice.name}"):
                _answer(question, choice, label, by)


def _answer(question: Question, choice: AnswerChoice, label: str, by: str) -> None:
    """Record an answer; draws the page anew."""
    said = words.answered(question, label)
    made = entries_for(question, choice, by, utc_now())
    parts.tap(f"answer-{question.id}-{choice.name}", PLACE, made, lambda _: said)


@st.fragment(run_every=LOOK_EVERY)
def _watch(shown: data.Moment) -> None:
    """Draw the page again when something was noted or a minute has gone by."""
    if data.moment() != shown:
        st.rerun()


if __name__ == "__main__":
    page()
