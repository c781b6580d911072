"""The owner's page: what stands where, what needs a hand, what was given and lost, what is changing."""

from collections.abc import Callable
from contextlib import suppress

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from core.answers import entries_for
from core.epoch import utc_now
from core.errors import Refused
from core.morning.types import Report
from core.reading.types import AnswerChoice, Question
from dashboard.charts import drawn
from dashboard.kit import data, parts
from dashboard.kit.blocks import key, plainly, put
from dashboard.kit.links import Links
from dashboard.paper.morning_paper import morning
from dashboard.views import owner_html, plan_html, upkeep_html
from dashboard.words import owner_words, plan_words, question_words
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: Seconds between two looks whether anything new was noted.
LOOK_EVERY = 5
PLACE = "owner"
QUESTIONS_SEEN = 2
DUE_SEEN = 4
#: The place that is filled last: the room is played forward for it.
LAST = "due"
#: What is seen when the page is printed, hidden on a screen; it needs what the last place needs.
PAPER = "paper"


def page() -> None:
    """Draw the page, and keep it fresh."""
    shown = data.moment()
    if refused := data.no_shop():
        put(plainly(owner_words.NO_SHOP, refused.sentence, "rs-plain"))
    else:
        _draw(parts.who())
    _watch(shown)


def _draw(by: str | None) -> None:
    said = parts.session().said
    if by and said and said.place == PLACE:
        _draw_after_a_tap(by)
        return
    draw = _drawing(data.report(), data.names(), by)
    places: dict[str, DeltaGenerator] = {}
    _lay_out(
        lambda name, place: _into(place, draw[name]) if name not in (LAST, PAPER) else places.update({name: place})
    )
    _into(places[LAST], draw[LAST])
    _into(places[PAPER], draw[PAPER])


def _draw_after_a_tap(by: str) -> None:
    """What was recorded is shown at once, on the page as it stands; the new report follows."""
    places: dict[str, DeltaGenerator] = {}
    _lay_out(places.__setitem__)
    _into(places["said"], lambda: parts.receipt(PLACE, by))
    draw = _drawing(data.report(), data.names(), by)
    for name, place in sorted(places.items(), key=lambda named: (named[0] == LAST, named[0] == PAPER)):
        _into(place, draw[name])


def _lay_out(put: Callable[[str, DeltaGenerator], None]) -> None:
    """Name every place of the page in its order: two columns side by side, one under the other on a phone.

    Places keep their room before they are filled (see `owner.css`).
    """
    put("trust", st.container(key="owner-trust"))
    left, right = _halves("now")
    for name in ("needs", "where"):
        put(name, left.container(key=f"owner-{name}"))
    for name in ("gave", "lost"):
        put(name, right.container(key=f"owner-{name}", gap="xsmall"))
    left, right = _halves("then")
    put("runs", left.container(key="owner-runs", gap="xsmall"))
    put("changing", left.container(gap="xsmall"))
    put(LAST, right.container(key="owner-due", gap="xsmall"))
    for name in ("orders", "asked", "said", "questions"):
        put(name, right.container(gap="xsmall"))
    put("foot", st.container())
    put(PAPER, st.container(key="paper"))


def _halves(name: str) -> list[DeltaGenerator]:
    with st.container(key=f"owner-{name}"):
        return [column.container(gap="xsmall") for column in st.columns([7, 5], gap="medium")]


def _into(place: DeltaGenerator, draw: Callable[[], object]) -> None:
    with place:
        draw()


def _drawing(report: Report, names: Names, by: str | None) -> dict[str, Callable[[], object]]:
    """How each place is filled."""
    links = Links(by)
    return {
        "trust": lambda: put(owner_html.trust(report)),
        "needs": lambda: put(owner_html.needs(report, names, links)),
        "where": lambda: put(owner_html.where(report, links)),
        "gave": lambda: put(owner_html.gave(report)),
        "lost": lambda: _losses(report, names),
        "runs": lambda: _runs_out(report, names),
        "changing": lambda: _changing(report),
        LAST: lambda: _due(report, names, by),
        "orders": lambda: put(owner_html.order_now(report, links)),
        "asked": lambda: put(owner_html.asked()),
        "said": lambda: None,
        "questions": lambda: _questions(report, names, by),
        "foot": lambda: put(
            owner_html.print_times(report)
            + owner_html.stops(report)
            + owner_html.unnoted(report)
            + owner_html.counted()
        ),
        PAPER: lambda: put(morning(report, data.plan(), data.reliability(), names)),
    }


def _losses(report: Report, names: Names) -> None:
    """The reasons that cost most as bars, and all of them folded away."""
    if chart := drawn.losses(report, names):
        put(key(owner_words.LOST))
        parts.chart(chart, owner_words.LOST)
        put(owner_html.all_losses(report.week, report.mending, names))


def _runs_out(report: Report, names: Names) -> None:
    """The spools that run out soonest, on a clock."""
    runs, clock = report.runs_out, owner_words.clock_of(report)
    chart = drawn.run_outs(report, names)
    title = owner_words.runs_out(runs, clock)
    put(plainly(title, "" if chart else owner_words.no_run_out(runs), "rs-plain"))
    if chart:
        parts.chart(chart, title)
    rest = [owner_words.run_out(end, clock, names.materials) for end in runs.spools[drawn.RUN_OUTS_SEEN :]]
    put(owner_html.below_run_outs(rest, bool(chart), owner_words.no_spool_noted(runs)))


def _changing(report: Report) -> None:
    put(owner_html.changing(report))
    with st.grid(min_column_width=165, gap="small", key="owner-lines"):
        for series in report.series:
            if chart := drawn.daily(series):
                parts.chart(chart, ", ".join(owner_words.series_title(series)))


def _due(report: Report, names: Names, by: str | None) -> None:
    """The orders most at risk, whether the room gives what is wanted, and upkeep and repairs."""
    plan, clock = data.plan(), owner_words.clock_of(report)
    put(plan_html.due(plan, clock, DUE_SEEN))
    if plan.orders:
        put(key(plan_words.headroom(data.capacity(), clock)))
    put(upkeep_html.brief(data.reliability(), clock, names, Links(by)))


def _questions(report: Report, names: Names, by: str | None) -> None:
    if not report.questions:
        put(key(owner_words.NOTHING_ASKED))
    elif by is None:
        parts.ask_who()
    else:
        for question in report.questions[:QUESTIONS_SEEN]:
            _question(question, owner_words.clock_of(report), names, by)
        if len(report.questions) > QUESTIONS_SEEN:
            put(owner_html.more(len(report.questions) - QUESTIONS_SEEN))


def _question(question: Question, clock: Clock, names: Names, by: str) -> None:
    """A question with a button for each answer; a tap records it."""
    put(key(question_words.question_sentence(question, clock)))
    with st.container(key=f"answers-{question.id}", horizontal=True, gap="small"):
        for choice in question.choices:
            label = question_words.choice_words(question, choice, names.down)
            if parts.pressed(f"answer-{question.id}-{choice.name}", label):
                _answer(question, choice, label, by)


def _answer(question: Question, choice: AnswerChoice, label: str, by: str) -> None:
    """Record an answer; draws the page anew."""
    said = question_words.answered(question, label)
    made = entries_for(question, choice, by, utc_now())
    parts.tap(f"answer-{question.id}-{choice.name}", PLACE, made, lambda _: said)


@st.fragment(run_every=LOOK_EVERY)
def _watch(shown: data.Moment) -> None:
    """Draw the page again when something was noted or a minute has gone by.

    The report is reckoned before the page is drawn anew, so that the old one does not fade meanwhile.
    """
    now = data.moment()
    if now[-1] != shown[-1]:  # a page that stays open for a minute, such as that on the wall
        data.prepare()
    if now != shown:
        with suppress(Refused):
            data.report()
        st.rerun()


if __name__ == "__main__":
    page()
