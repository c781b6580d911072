"""Upkeep and repairs: what is due, what waits, what fails how often; and the record of one machine."""

from __future__ import annotations

import polars as pl
import streamlit as st

from core.errors import Refused
from core.estimate import Estimate
from core.upkeep_types import MachineRecord, Room
from dashboard import charts, data, parts
from dashboard import floor_words as words
from dashboard import upkeep_words as said
from dashboard.views import upkeep_html
from dashboard.written import Clock


def page() -> None:
    """The room, or the machine named in the address."""
    if no_shop := data.no_shop():
        parts.text("refused", no_shop.sentence)
        return
    machine = st.query_params.get("machine")
    if machine is None:
        room()
        return
    try:
        record(machine, parts.who())
    except Refused as refused:
        parts.text("refused", refused.sentence)


def room() -> None:
    """The room."""
    with st.spinner(said.LOOKING):
        found = data.reliability()
    clock, names = Clock(data.setup().zone, found.at), data.names()
    links = upkeep_html.Links(parts.who())
    st.html(upkeep_html.due(found, clock, links))
    parts.text("hands", words.HANDS_IN)
    st.html(upkeep_html.waits(found, clock, names, links))
    st.html(upkeep_html.fails(found))
    with st.grid(min_column_width=300, gap="small", key="cumulative"):
        for one in found.cumulative:
            steps = pl.DataFrame({name: getattr(one, name) for name in ("hours", "low", "best", "high")})
            st.altair_chart(charts.cumulative(steps, one.name), theme=None, width="stretch", alt=said.FAILS)
    by_hours(found)
    st.html(upkeep_html.causes(found, names))
    st.html(upkeep_html.intervals(found))
    st.html(upkeep_html.spares(found))


def by_hours(found: Room) -> None:
    """Whether machines fail more often with age, or the longer upkeep is ago."""
    if not found.by_hours:
        return
    st.html(upkeep_html.heading(said.AGE, said.AGE_KEY))
    with st.grid(min_column_width=300, gap="small", key="by-hours"):
        for one in found.by_hours:
            rows = [(said.band(band), band.failures, *_ends(band.per_100_hours)) for band in one.bands]
            frame = pl.DataFrame(rows, schema=["band", "failures", "low", "best", "high"], orient="row")
            title = said.by_hours(one)
            st.altair_chart(charts.by_hours(frame, *title), theme=None, width="stretch", alt=": ".join(title[:2]))


def _ends(estimate: Estimate) -> tuple[float, float, float]:
    return estimate.low, estimate.best, estimate.high


def record(machine: str, by: str | None) -> None:
    """Everything that was done to one machine."""
    found = data.machine_record(machine)
    clock, names = Clock(data.setup().zone, found.at), data.names()
    parts.text("ask", said.RECORD.format(machine), tag="h2")
    recurs = (said.recurs(line, names.down) for line in found.recurs)
    parts.text("entry", said.record(found, clock), *said.cost(found.cost), *recurs)
    if known := data.kept_reliability():
        mine = [line for line in known.due if line.machine == machine]
        st.html(upkeep_html.tasks(mine, clock))
    parts.text("hands", words.HANDS_IN)
    st.altair_chart(charts.record(_weeks(found, clock), _marks(found, clock)), theme=None, width="stretch",
                    alt=said.PRINTED)  # fmt: skip
    st.html(upkeep_html.story(found, clock, names))
    st.html(upkeep_html.check_in(machine, upkeep_html.Links(by)))


def _weeks(found: MachineRecord, clock: Clock) -> pl.DataFrame:
    rows = [(clock.local(week.start).replace(tzinfo=None), week.printed, week.down) for week in found.weeks]
    return pl.DataFrame(
        rows, schema={"week": pl.Datetime("ms"), "printed": pl.Float64, "down": pl.Float64}, orient="row"
    )


def _marks(found: MachineRecord, clock: Clock) -> pl.DataFrame:
    """What happened as marks on the time line."""
    told = [*((one.at, "fault") for one in found.faults), *((one.at, "upkeep") for one in found.upkeep),
            *((one.at, "spare") for one in found.fitted), *((one.at, "card") for one in found.cards)]  # fmt: skip
    rows = [(clock.local(at).replace(tzinfo=None), what) for at, what in told]
    return pl.DataFrame(rows, schema={"at": pl.Datetime("ms"), "what": pl.String}, orient="row")


if __name__ == "__main__":
    page()
