"""Frames to charts. One message each, told again in words beside it; sizes for a monitor at arm's length.

Days are drawn as written, on the shop's own calendar. No text is below 16 px.
"""

import textwrap
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any, Literal

import altair as alt
import polars as pl
import vl_convert
from altair.utils.schemapi import disable_debug_mode

# A chart is checked once, as it is drawn: to check every part of it as it is made takes as long again.
disable_debug_mode()

#: A chart as it is sent to the browser.
Spec = dict[str, Any]

TEXT = 16
INK = "#262626"
GREY = "#767676"
PALE = "#BDBDBD"
FONT = '"Source Sans", "Source Sans Pro", sans-serif'

#: Height of one reason: a line of words and a bar under it.
REASON = 40
RUN_OUT = 44
SMALL = 180
#: Width of a chart that stands alone and of a line under its heading (characters), and the grammar that charts are in.
WIDE, TOLD = 800, 95
VEGA_LITE = ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])
#: What is marked on a machine's time: sign and word in the legend, shape, colour. Pixels between two rows of marks, and
#: the room they need above a week that was full.
MARKS = {
    "fault": ("\N{BLACK UP-POINTING TRIANGLE}", "fault", "triangle-up", INK),
    "upkeep": ("\N{BLACK CIRCLE}", "upkeep", "circle", "#0072b2"),
    "spare": ("\N{BLACK DIAMOND}", "spare", "diamond", INK),
    "card": ("\N{BLACK SQUARE}", "card", "square", "#0072b2"),
}
MARK, HEADROOM = 19, 1.45
# Channels are told in full everywhere: for a bare "high:Q" altair searches its whole schema, 10 ms each.
LEFT, RIGHT = alt.XValue(0), alt.XValue("width")  # type: ignore[no-untyped-call]
#: A clock over more than a day names the days where they begin.
_HOUR_OR_DAY = "timeFormat(datum.value, hours(datum.value) ? '%-H:%M' : '%a')"
#: As wide as its place and as high as told: fitted in height too, a chart of one reason loses its words.
_WIDE = alt.AutoSizeParams(type="fit-x", contains="padding")


def hours_lost(reasons: pl.DataFrame) -> alt.LayerChart:
    """Bars of machine-hours lost, in the order of the rows, each with its range as a thin line.

    Columns: reason, low, best, high (hours), told (the hours and times in words); `before`, if there, is pale behind.
    """
    base = alt.Chart(reasons).encode(y=alt.Y("reason:N", sort=None, axis=None, scale=alt.Scale(padding=0)))
    scale = alt.Scale(domainMin=0, nice=False)
    bars = base.mark_bar(color=GREY, size=10, yOffset=9).encode(x=alt.X("best:Q", axis=None, scale=scale))
    behind = [] if "before" not in reasons.columns else [
        base.mark_bar(color=PALE, size=18, yOffset=9).encode(x=alt.X("before:Q", axis=None, scale=scale))
    ]  # fmt: skip
    doubt = base.mark_rule(color=INK, strokeWidth=2, yOffset=9).encode(x=alt.X("low:Q", axis=None), x2=alt.X2("high:Q"))
    room = alt.ExprRef("width - 140")  # what the hours and times at the right leave
    words = base.mark_text(align="left", baseline="middle", yOffset=-8, limit=room).encode(
        text=alt.Text("reason:N"), x=LEFT
    )
    told = base.mark_text(align="right", baseline="middle", yOffset=-8).encode(text=alt.Text("told:N"), x=RIGHT)
    chart = alt.LayerChart(layer=[*behind, bars, doubt, words, told], autosize=_WIDE)
    return _dressed(chart.properties(height=REASON * reasons.height, width="container"))


def run_outs(spools: pl.DataFrame, closed: pl.DataFrame, span: tuple[datetime, datetime]) -> alt.LayerChart:
    """When spools run out, on a clock from now to the end of `span`; the times when nobody is in are grey.

    Times are on the shop's clock. `spools`: spool and told (words), low, best, high; `closed`: start, end.
    """
    scale = alt.Scale(domain=[_written(moment) for moment in span], nice=False)
    axis = alt.Axis(labelExpr=_HOUR_OR_DAY, tickCount=8, grid=False, title=None, orient="bottom", labelFlush=True)
    nights = (
        alt.Chart(closed)
        .mark_rect(color="#EDEDED")
        .encode(x=alt.X("start:T", scale=scale, axis=axis), x2=alt.X2("end:T"))
    )
    base = alt.Chart(spools).encode(y=alt.Y("spool:N", sort=None, axis=None, scale=alt.Scale(padding=0)))
    doubt = base.mark_rule(color=GREY, strokeWidth=8, yOffset=10).encode(
        x=alt.X("low:T", scale=scale), x2=alt.X2("high:T")
    )
    best = base.mark_tick(color=INK, thickness=4, size=18, yOffset=10).encode(x=alt.X("best:T", scale=scale))
    words = base.mark_text(align="left", baseline="middle", yOffset=-9).encode(text=alt.Text("spool:N"), x=LEFT)
    told = base.mark_text(align="right", baseline="middle", yOffset=-9).encode(text=alt.Text("told:N"), x=RIGHT)
    chart = alt.LayerChart(layer=[nights, doubt, best, words, told], autosize=_WIDE)
    return _dressed(chart.properties(height=RUN_OUT * spools.height, width="container"))


def headroom(weeks: pl.DataFrame) -> alt.LayerChart:
    """Good printing hours a week that the room gives, and that are wanted, with their ranges.

    Columns: week (date), gives, gives_low, gives_high, wanted, wanted_low, wanted_high (null where not known).
    """
    base = alt.Chart(weeks.with_columns(pl.col("week").cast(pl.Datetime("ms")))).encode(
        x=alt.X("week:T", axis=alt.Axis(title=None, format="%-d %b", grid=False, tickCount=6, labelFlush=True))
    )
    hours = alt.Axis(title=None, grid=False, tickCount=5)
    y = alt.Y("gives:Q", axis=hours, scale=alt.Scale(zero=True))
    gives = base.mark_line(color=INK, strokeWidth=3).encode(y=y)
    range_ = base.mark_area(color=GREY, opacity=0.35).encode(
        y=alt.Y("gives_low:Q", axis=hours), y2=alt.Y2("gives_high:Q")
    )
    wanted = base.mark_line(color="#0072b2", strokeWidth=3, strokeDash=[6, 4]).encode(y=alt.Y("wanted:Q", axis=hours))
    spread = base.mark_area(color="#0072b2", opacity=0.15).encode(
        y=alt.Y("wanted_low:Q", axis=hours), y2=alt.Y2("wanted_high:Q")
    )
    heading = alt.TitleParams(
        "Good printing hours a week", subtitle="black: the room gives; blue, dashed: orders want", anchor="start",
        frame="bounds",
    )  # fmt: skip
    chart = alt.LayerChart(layer=[range_, spread, gives, wanted], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL * 2, title=heading, width="container"))


def cumulative(steps: pl.DataFrame, title: str) -> alt.LayerChart:
    """Mean number of failures of a machine by hours printed, as a step line with its range.

    Columns: hours, low, best, high.
    """
    x = alt.X("hours:Q", axis=alt.Axis(title="hours printed", grid=False, tickCount=5), scale=alt.Scale(nice=False))
    y = alt.Axis(title=None, grid=False, tickCount=4)
    base = alt.Chart(steps).encode(x=x)
    band = base.mark_area(color=GREY, opacity=0.3, interpolate="step-after").encode(
        y=alt.Y("low:Q", axis=y), y2=alt.Y2("high:Q")
    )
    line = base.mark_line(color=INK, strokeWidth=2, interpolate="step-after").encode(y=alt.Y("best:Q", axis=y))
    heading = alt.TitleParams(title, subtitle="mean failures of a machine", anchor="start",
                              frame="bounds")  # fmt: skip
    chart = alt.LayerChart(layer=[band, line], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL, title=heading, width="container"))


def record(weeks: pl.DataFrame, marks: pl.DataFrame, each: int) -> alt.LayerChart:
    """A machine's whole time: hours printed a week as bars of `each` so many weeks, those it was down on top, and above
    them marks of what happened, each kind in a row of its own.

    `weeks`: week (date and time), printed, down (hours a week). `marks`: at, what (one of `MARKS`).
    """
    week = alt.Axis(title=None, format="%-d %b %y", grid=False, tickCount=6, labelFlush=True)
    # A bar ends before its weeks do, so that there is a gap to the next one.
    bars = weeks.with_columns(end=pl.col("week") + timedelta(days=6 * each), top=pl.col("printed") + pl.col("down"))
    base = alt.Chart(bars).encode(x=alt.X("week:T", axis=week), x2=alt.X2("end:T"))
    most = 168 * HEADROOM
    scale = alt.Scale(domain=[0, most], nice=False)
    hours = alt.Axis(title=None, grid=False, values=[0, 50, 100, 150])
    printed = base.mark_bar(color=GREY).encode(y=alt.Y("printed:Q", axis=hours, scale=scale), y2=alt.Y2Datum(0))
    down = base.mark_bar(color="#d55e00").encode(y=alt.Y("printed:Q", axis=hours, scale=scale), y2=alt.Y2("top:Q"))
    happened = [_marked(marks, what, row) for row, what in enumerate(MARKS)]
    legend = "  ".join(f"{sign} {name}" for sign, name, *_ in MARKS.values())
    told = "grey: printed; orange: down" + (f"; a bar is {each} weeks" if each > 1 else "")
    heading = alt.TitleParams("Hours a week", subtitle=[told, legend], anchor="start", frame="bounds")
    chart = alt.LayerChart(layer=[printed, down, *happened], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL * 1.6, title=heading, width="container"))


def _marked(marks: pl.DataFrame, what: str, row: int) -> alt.Chart:
    """The marks of a kind, in a row of their own."""
    _, _, shape, color = MARKS[what]
    mine = alt.Chart(marks.filter(pl.col("what") == what))
    height = alt.YValue(8 + MARK * row)  # type: ignore[no-untyped-call]
    return mine.mark_point(shape=shape, size=70, color=color, filled=True, opacity=1).encode(x=alt.X("at:T"), y=height)


def by_hours(bands: pl.DataFrame, title: str, told: str, since: str) -> alt.LayerChart:
    """Failures in 100 h printed, band by band of the hours `since` something, with their ranges and how many they were.

    Columns: band (words, in order), failures, low, best, high.
    """
    x = alt.X("band:N", sort=None, axis=alt.Axis(title=since, labelAngle=0, grid=False, labelOverlap="greedy"))
    y = alt.Axis(title=None, grid=False, tickCount=4)
    base = alt.Chart(bands).encode(x=x)
    doubt = base.mark_rule(color=GREY, strokeWidth=3).encode(y=alt.Y("low:Q", axis=y), y2=alt.Y2("high:Q"))
    best = base.mark_point(color=INK, filled=True, size=80, opacity=1).encode(y=alt.Y("best:Q", axis=y))
    count = base.mark_text(baseline="bottom", dy=-4).encode(y=alt.Y("high:Q", axis=y), text=alt.Text("failures:Q"))
    heading = alt.TitleParams(title, subtitle=told, anchor="start", frame="bounds")
    chart = alt.LayerChart(layer=[doubt, best, count], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL, title=heading, width="container"))


def use(weeks: pl.DataFrame, unit: str) -> alt.LayerChart:
    """What was used each week, and what is expected: columns week (0 is this one), amount, what ("used", ...)."""
    base = alt.Chart(weeks).encode(
        x=alt.X("week:Q", axis=alt.Axis(title="weeks from now", grid=False, tickMinStep=1)),
        y=alt.Y("amount:Q", axis=alt.Axis(title=None, grid=False, tickCount=4), scale=alt.Scale(zero=True)),
    )
    used = base.transform_filter("datum.what == 'used'").mark_line(color=INK, strokeWidth=2)
    ahead = base.transform_filter("datum.what == 'expected'").mark_line(color=GREY, strokeWidth=2, strokeDash=[5, 4])
    heading = alt.TitleParams("Use a week", subtitle=f"{unit}; dashed: expected", anchor="start", frame="bounds")
    return _dressed(
        alt.LayerChart(layer=[used, ahead], autosize=_WIDE).properties(height=SMALL, title=heading, width="container")
    )


def picture(chart: alt.LayerChart, kind: Literal["svg", "png"], heading: str, told: Sequence[str]) -> bytes:
    """The file of a chart that stands alone: on white, `WIDE` pixels wide (a PNG has twice as many).

    `heading` is for a chart that has none; the lines of `told` stand under it. Nothing is asked of another host.
    """
    spec = chart.to_dict()
    title = spec.get("title", {"text": heading, "anchor": "start", "frame": "bounds", "offset": 12})
    own = title.get("subtitle", [])
    lines = [part for line in told for part in textwrap.wrap(line, TOLD)]
    title["subtitle"] = [*([own] if isinstance(own, str) else own), *lines]
    spec |= {"title": title, "width": WIDE}
    spec["config"] |= {"background": "white", "padding": 16, "font": "sans-serif"}
    if kind == "svg":
        return vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE, allowed_base_urls=[]).encode()
    return vl_convert.vegalite_to_png(spec, vl_version=VEGA_LITE, allowed_base_urls=[], scale=2)


def _written(moment: datetime) -> alt.DateTime:
    return alt.DateTime(year=moment.year, month=moment.month, date=moment.day, hours=moment.hour, minutes=moment.minute)


def daily(days: pl.DataFrame, title: tuple[str, str], share: bool) -> alt.LayerChart:
    """A small line of a daily figure with its mean and the limits of its usual spread.

    At least one row, by day. Columns: day, value, mean, lower, upper (null where there is no usual yet),
    changed (whether a change beyond the usual shows on that day). `share` says that values are fractions.
    """
    base = alt.Chart(days.with_columns(pl.col("day").cast(pl.Datetime("ms"))))
    line = base.mark_line(color=INK, strokeWidth=2).encode(x=_days(days["day"].to_list()), y=_values(share))
    layers: list[alt.Chart] = [line]
    if days["mean"].null_count() == 0:
        first = base.transform_window(row="row_number()").transform_filter("datum.row == 1")
        layers += [
            first.mark_rule(color=GREY, strokeDash=dash).encode(y=alt.Y(f"{name}:Q"))
            for name, dash in (("mean", [1, 0]), ("lower", [5, 4]), ("upper", [5, 4]))
        ]
    changed = base.transform_filter("datum.changed").mark_point(color=INK, filled=True, size=70, opacity=1)
    layers.append(changed.encode(x=alt.X("day:T"), y=alt.Y("value:Q")))
    heading = alt.TitleParams(title[0], subtitle=title[1], anchor="start", frame="bounds", offset=6, limit=400)
    return _dressed(alt.LayerChart(layer=layers).properties(height=SMALL, title=heading))


def watched(days: pl.DataFrame, title: tuple[str, str], share: bool) -> alt.LayerChart:
    """A figure over the quarter, with its usual and the limits of a steady one, which may differ from day to day.

    Columns: day, value, centre, lower, upper, called (whether a change was called there). `share`: fractions.
    """
    base = alt.Chart(days.with_columns(pl.col("day").cast(pl.Datetime("ms")))).encode(x=_days(days["day"].to_list()))
    band = base.mark_area(color=PALE, opacity=0.4, interpolate="step").encode(y=alt.Y("lower:Q"), y2=alt.Y2("upper:Q"))
    centre = base.mark_line(color=GREY, strokeWidth=1, interpolate="step").encode(y=alt.Y("centre:Q"))
    line = base.mark_line(color=INK, strokeWidth=1.5).encode(y=_values(share))
    called = base.transform_filter("datum.called").mark_point(color="#d55e00", filled=True, size=110, opacity=1)
    heading = alt.TitleParams(title[0], subtitle=title[1], anchor="start", frame="bounds", offset=6, limit=400)
    layers = [band, centre, line, called.encode(y=alt.Y("value:Q"))]
    chart = alt.LayerChart(layer=layers, autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL, title=heading, width="container"))


def weekly(weeks: pl.DataFrame, title: tuple[str, str]) -> alt.LayerChart:
    """A share by week with its range: columns week (the last day), low, best, high."""
    days = weeks.rename({"week": "day"})
    base = alt.Chart(days.with_columns(pl.col("day").cast(pl.Datetime("ms")))).encode(x=_days(days["day"].to_list()))
    doubt = base.mark_rule(color=GREY, strokeWidth=3).encode(y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    best = base.mark_line(color=INK, strokeWidth=2, point=alt.OverlayMarkDef(color=INK, size=50)).encode(
        y=_values(share=True, column="best")
    )
    heading = alt.TitleParams(title[0], subtitle=title[1], anchor="start", frame="bounds", offset=6, limit=400)
    chart = alt.LayerChart(layer=[doubt, best], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL, title=heading, width="container"))


def week_hours(hours: pl.DataFrame) -> alt.LayerChart:
    """Hours by weekday and hour of the day as shades; framed where people are in.

    Columns: weekday (word), hour (0 to 23), hours, staffed (whether people are in).
    """
    days = hours["weekday"].unique(maintain_order=True).to_list()
    shade = alt.Scale(range=["#ffffff", "#1a1a1a"], domainMin=0)
    base = alt.Chart(hours).encode(
        x=alt.X("hour:O", axis=alt.Axis(title=None, labelAngle=0, values=list(range(0, 24, 6)),
                                        labelExpr="datum.value + ':00'")),
        y=alt.Y("weekday:O", sort=days, axis=alt.Axis(title=None)),
    )  # fmt: skip
    cells = base.mark_rect().encode(
        color=alt.Color("hours:Q", scale=shade, legend=None),
        tooltip=[
            alt.Tooltip("weekday:N", title="day"),
            alt.Tooltip("hour:O"),
            alt.Tooltip("hours:Q", format=".1f", title="hours"),
        ],
    )
    framed = base.transform_filter("datum.staffed").mark_rect(fillOpacity=0, stroke="#0072b2", strokeWidth=2)
    chart = alt.LayerChart(layer=[cells, framed], autosize=_WIDE)
    return _dressed(chart.properties(height=SMALL * 1.3, width="container"))


def _days(days: Sequence[date]) -> alt.X:
    """Only the first and the last day are named: the axis is there to say how far back it goes."""
    ends = [alt.DateTime(year=day.year, month=day.month, date=day.day) for day in (days[0], days[-1])]
    return alt.X("day:T", title=None, axis=alt.Axis(values=ends, format="%-d %b", grid=False, labelFlush=True))


def _values(share: bool, column: str = "value") -> alt.Y:
    told = "format(datum.value * 100, '.0f') + ' %'" if share else "format(datum.value, ',.0f')"
    axis = alt.Axis(tickCount=3, labelExpr=told, grid=False)
    return alt.Y(f"{column}:Q", title=None, axis=axis, scale=alt.Scale(zero=True, nice=True))


def _dressed(chart: alt.LayerChart) -> alt.LayerChart:
    text: dict[str, Any] = {"labelFontSize": TEXT, "labelColor": INK, "domainColor": GREY, "tickColor": GREY}
    text |= {"titleFontSize": TEXT, "titleColor": INK, "titleFontWeight": "normal"}
    return chart.configure(
        font=FONT, background="transparent", padding={"left": 0, "right": 2, "top": 2, "bottom": 2},
        view=alt.ViewConfig(strokeWidth=0),
        axis=alt.AxisConfig(**text),
        text=alt.MarkConfig(fontSize=TEXT, color=INK),
        title=alt.TitleConfig(
            fontSize=TEXT, subtitleFontSize=TEXT, color=INK, subtitleColor="#595959", fontWeight="bold"
        ),
    )  # fmt: skip
