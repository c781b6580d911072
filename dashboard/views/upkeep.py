"""Upkeep and repairs: what is due, what waits, what fails how often; and the record of one machine."""

from __future__ import annotations

import streamlit as st

from core.epoch import utc_now
from core.errors import Refused
from core.upkeep.types import RoomUpkeep
from dashboard.charts import drawn
from dashboard.kit import data, parts
from dashboard.kit.blocks import plainly, put
from dashboard.kit.links import Links
from dashboard.views import upkeep_html
from dashboard.words import floor_words as words
from dashboard.words import upkeep_words as said
from dashboard.words.written import Clock


def page() -> None:
    """The room, or the machine named in the address."""
    if no_shop := data.no_shop():
        parts.text("refused", no_shop.sentence)
        return
    machine = st.query_params.get("machine")
    if not machine:
        room()
        return
    try:
        record(machine, parts.who())
    except Refused as refused:
        parts.text("refused", refused.sentence)
        records()


def records() -> None:
    """The way to every machine's record."""
    links = Links(parts.who())
    put(upkeep_html.records(data.setup().machines(utc_now()), data.names(), links))


def room() -> None:
    """The room."""
    with st.spinner(said.LOOKING):
        found = data.reliability()
    clock, names = Clock(data.setup().zone, found.at), data.names()
    links = Links(parts.who())
    put(upkeep_html.due(found, clock, links))
    parts.text("hands", words.HANDS_IN)
    put(upkeep_html.waits(found, clock, names, links))
    put(upkeep_html.fails(found))
    with st.grid(min_column_width=300, gap="small", key="cumulative"):
        for one in found.cumulative:
            parts.chart(drawn.cumulative(one), said.FAILS)
    by_hours(found)
    put(upkeep_html.causes(found, names))
    put(upkeep_html.intervals(found))
    put(upkeep_html.spares(found))
    records()


def by_hours(found: RoomUpkeep) -> None:
    """Whether machines fail more often with age, or the longer upkeep is ago."""
    if not found.by_hours:
        return
    put(plainly(said.AGE, said.AGE_KEY))
    with st.grid(min_column_width=300, gap="small", key="by-hours"):
        for one in found.by_hours:
            alt = ": ".join(said.by_hours(one)[:2])
            parts.chart(drawn.by_hours(one), alt)


def record(machine: str, by: str | None) -> None:
    """Everything that was done to one machine."""
    found = data.machine_record(machine)
    clock, names = Clock(data.setup().zone, found.at), data.names()
    parts.text("ask", said.RECORD.format(machine), tag="h2")
    recurs = (said.recurs(line, names.down) for line in found.recurs)
    parts.text("entry", said.record(found, clock), *said.cost(found.cost), *recurs)
    if known := data.kept_reliability():
        mine = [line for line in known.due if line.machine == machine]
        put(upkeep_html.tasks(mine, clock))
    parts.text("hands", words.HANDS_IN)
    parts.chart(drawn.record(found, clock), said.PRINTED)
    put(upkeep_html.story(found, clock, names))
    put(upkeep_html.ways_on(machine, Links(by)))


if __name__ == "__main__":
    page()
