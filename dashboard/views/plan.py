"""Can we promise it: what is due, what could be taken, and the finished parts there are."""

from __future__ import annotations

from datetime import datetime, time

import streamlit as st

from core.answers import gains, promise
from core.epoch import utc_now
from core.errors import Refused
from core.plan.types import Plan
from core.setup import Model
from dashboard.charts import drawn
from dashboard.kit import data, parts
from dashboard.kit.blocks import put
from dashboard.views import plan_html
from dashboard.words import plan_words as said
from dashboard.words.written import Clock

PLACE = "plan"


def page() -> None:
    """The plan, for whoever is here."""
    if refused := data.no_shop():
        parts.text("refused", refused.sentence)
        return
    by = parts.who()
    with st.spinner(said.PLAYING):
        plan = data.plan()
    clock = Clock(data.setup().zone, plan.at)
    put(plan_html.due(plan, clock))
    with st.container(key="load"):
        put(plan_html.loading(data.loading(), data.loaded(), clock, data.names().materials))
    with st.container(key="promise"):
        _ask(plan, clock)
    with st.container(key="room"):
        _room(clock)
    with st.container(key="finished"):
        _finished(plan, by)


def _ask(plan: Plan, clock: Clock) -> None:
    """The form: a product, how many, by when."""
    parts.text("ask", said.ASK, tag="h2")
    names = {line.product: line.name for line in plan.products}
    if not names:
        return
    with st.form("promise-form", border=False):
        product = st.selectbox(said.PRODUCT, list(names), format_func=names.__getitem__)
        quantity = st.number_input(said.HOW_MANY, value=100, step=10, format="%d")
        day = st.date_input(said.BY, value=None, format="YYYY-MM-DD")
        asked = st.form_submit_button(said.WHEN, type="primary")
    if asked and product:
        wanted = datetime.combine(day, time(17), clock.zone) if day else None
        bar = st.progress(0.0, said.PLAYING)
        try:
            found = promise(data.outlook(), product, float(quantity or 0), wanted, bar.progress)
        except Refused as refused:
            parts.text("refused", refused.sentence)
            return
        finally:
            bar.empty()
        parts.text("entry", *said.promise(found, plan.promise, clock))


def _room(clock: Clock) -> None:
    """What the room gives, against what is wanted, and what would give more."""
    found = data.capacity()
    put(plan_html.falling(found))
    told = (
        said.headroom(found, clock),
        said.BANDS,
        said.required(found, data.setup().shop(utc_now()).planning_downtime),
    )
    parts.text("entry", *filter(None, told))
    parts.chart(drawn.headroom(found, clock), said.ROOM)
    parts.text("ask", said.MORE, tag="h2")
    if parts.button("main-play", said.PLAY, "takes some seconds"):
        bar = st.progress(0.0, said.PLAYING)
        more = gains(data.outlook(), bar.progress)
        bar.empty()
        models = {row.model: row.name for row in data.setup().all(Model, utc_now())}
        put(plan_html.gains(more, models))


def _finished(plan: Plan, by: str | None) -> None:
    """The finished parts, and a count of them."""
    parts.text("ask", said.FINISHED, tag="h2")
    parts.receipt(PLACE, by or "")
    put(plan_html.finished(plan))
    if by is None:
        parts.ask_who()
        return
    names = {line.product: line.name for line in plan.products}
    product = st.selectbox(said.COUNT, list(names), format_func=names.__getitem__, key="count-product")
    number = st.number_input(said.HOW_MANY, value=None, min_value=0, step=1, format="%d", key="count-parts")
    if not product or number is None:
        return
    if parts.button("main-count", said.COUNTED, f"{number} {names[product]}"):
        made = parts.entries([{"kind": "StockCounted", "item": product, "quantity": float(number)}], by)
        parts.tap("main-count", PLACE, made, lambda _: said.counted(names[product], float(number), data.clock()))


if __name__ == "__main__":
    page()
