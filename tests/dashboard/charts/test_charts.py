"""The charts of the owner's page, read as the specification the browser draws from."""

from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import altair as alt
import polars as pl
import pytest
from PIL import Image, ImageOps

from core.answers import last_quarter, review
from core.log.store import Log
from dashboard.charts import charts, drawn
from dashboard.words.names import Names
from dashboard.words.written import Clock
from tests.core.larkfield import ROWS, when

LOST = pl.DataFrame({
    "reason": ["Done, nobody in", "Empty", "Down: belt"],
    "low": [90.0, 40.0, 8.0],
    "best": [97.0, 44.0, 8.0],
    "high": [104.0, 46.0, 8.0],
    "told": ["97 h, 27 times", "44 h, 12 times", "8 h, once"],
})  # fmt: skip
DAYS = pl.DataFrame({
    "day": [date(2026, 10, 28) + timedelta(days=n) for n in range(28)],
    "value": [0.5 + 0.01 * (n % 5) for n in range(28)],
}).with_columns(mean=0.52, lower=0.4, upper=0.64, changed=pl.col("day") == date(2026, 11, 24))  # fmt: skip
TITLE = ("Printing", "share of machine time")


def specs() -> list[dict[str, Any]]:
    return [charts.hours_lost(LOST).to_dict(), charts.daily(DAYS, TITLE, share=True).to_dict()]


def rows(spec: dict[str, Any]) -> list[dict[str, Any]]:
    (data,) = spec["datasets"].values()
    return data


def marks(spec: dict[str, Any]) -> list[str]:
    return [layer["mark"]["type"] for layer in spec["layer"]]


def test_reasons_stay_in_the_order_given_and_begin_at_nothing():
    spec = charts.hours_lost(LOST).to_dict()
    assert [row["reason"] for row in rows(spec)] == LOST["reason"].to_list()
    bar = spec["layer"][marks(spec).index("bar")]["encoding"]
    assert bar["y"]["sort"] is None
    assert bar["x"]["scale"]["domainMin"] == 0


def test_every_bar_shows_its_range_and_says_its_hours_and_times():
    spec = charts.hours_lost(LOST).to_dict()
    rule = spec["layer"][marks(spec).index("rule")]["encoding"]
    assert (rule["x"]["field"], rule["x2"]["field"]) == ("low", "high")
    assert {layer["encoding"]["text"]["field"] for layer in spec["layer"] if "text" in layer["encoding"]} == {
        "reason",
        "told",
    }


def test_a_reason_keeps_its_height_whatever_their_number():
    heights = [charts.hours_lost(LOST.head(n)).to_dict()["height"] for n in (1, 2, 3)]
    assert heights == [charts.REASON * n for n in (1, 2, 3)]


def test_days_are_drawn_as_written_in_whatever_zone_they_are_looked_at():
    spec = charts.daily(DAYS, TITLE, share=True).to_dict()
    assert rows(spec)[0]["day"] == "2026-10-28T00:00:00"  # no offset: local wherever it is drawn
    first, last = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "line")["encoding"]["x"]["axis"][
        "values"
    ]
    assert (first["date"], first["month"], last["date"], last["month"]) == (28, 10, 24, 11)
    assert "utc" not in first


def test_mean_and_limits_are_drawn_once_each():
    spec = charts.daily(DAYS, TITLE, share=True).to_dict()
    drawn = [layer["encoding"]["y"]["field"] for layer in spec["layer"] if layer["mark"]["type"] == "rule"]
    assert drawn == ["mean", "lower", "upper"]


def test_without_a_usual_there_are_no_limits():
    empty = pl.lit(None, pl.Float64)
    spec = charts.daily(DAYS.with_columns(mean=empty, lower=empty, upper=empty), TITLE, share=False).to_dict()
    assert "rule" not in marks(spec)


def test_a_change_is_a_mark_and_not_only_a_sentence():
    spec = charts.daily(DAYS, TITLE, share=True).to_dict()
    point = spec["layer"][marks(spec).index("point")]
    assert point["transform"] == [{"filter": "datum.changed"}]
    assert [row["day"][:10] for row in rows(spec) if row["changed"]] == ["2026-11-24"]


def test_the_title_says_what_is_shown_and_in_what():
    title = charts.daily(DAYS, TITLE, share=True).to_dict()["title"]
    assert (title["text"], title["subtitle"]) == TITLE


def colours(node: Any) -> set[str]:
    if isinstance(node, dict):
        return set().union(*map(colours, node.values()), set())
    if isinstance(node, list):
        return set().union(*map(colours, node), set())
    return {node} if isinstance(node, str) and node.startswith("#") else set()


@pytest.mark.parametrize("spec", specs())
def test_charts_are_grey_and_no_text_is_small(spec):
    for colour in colours(spec):
        assert len({colour[1:3], colour[3:5], colour[5:7]}) == 1, colour
    config = spec["config"]
    sizes = [
        config["axis"]["labelFontSize"],
        config["text"]["fontSize"],
        config["title"]["fontSize"],
        config["title"]["subtitleFontSize"],
    ]
    assert min(sizes) >= 16


def words(svg: bytes) -> set[str]:
    """All that is written in a picture."""
    texts = ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")  # noqa: S314 - our own
    return {line for text in texts for line in text.itertext()}


def test_a_picture_says_what_the_chart_says_and_of_what_it_is():
    told = ["Thin line: its range.", "Larkfield Hive Fittings, Thu 26 Nov 2026, 11:02"]
    svg = charts.picture(charts.hours_lost(LOST), "svg", "Machine-hours lost", told)
    assert words(svg) == {"Machine-hours lost", *told, *LOST["reason"], *LOST["told"]}


def test_a_picture_keeps_the_heading_of_its_chart():
    seen = words(charts.picture(charts.daily(DAYS, TITLE, share=True), "svg", "Another", ["Larkfield"]))
    assert "Another" not in seen
    assert {*TITLE, "Larkfield", "28 Oct", "24 Nov", "60 %"} <= seen


@pytest.mark.parametrize("chart", [charts.hours_lost(LOST), charts.daily(DAYS, TITLE, share=True)])
def test_nothing_of_a_picture_reaches_its_edge(chart):
    told = ["a line that is longer than the narrow charts of the owner's page, but not than a picture"]
    image = Image.open(BytesIO(charts.picture(chart, "png", "Heading", told))).convert("L")
    assert image.width >= 2 * charts.WIDE
    drawn = ImageOps.invert(image).getbbox()
    assert drawn is not None
    left, top, right, bottom = drawn
    assert min(left, top, image.width - right, image.height - bottom) >= 16


def test_a_picture_asks_no_other_host():
    line = alt.Chart("http://192.0.2.7/days.csv").mark_line().encode(x="day:T", y="value:Q")
    with pytest.raises(ValueError, match=r"192\.0\.2\.7"):
        charts.picture(alt.LayerChart(layer=[line]).configure(font="x"), "svg", "", [])


def test_a_record_draws_every_kind_of_mark_in_a_row_of_its_own_above_a_full_week():
    monday = datetime(2026, 11, 16)  # noqa: DTZ001 - as written, on the shop's own clock
    weeks = pl.DataFrame({"week": [monday], "printed": [100.0], "down": [68.0]})
    happened = pl.DataFrame({"at": [monday] * len(charts.MARKS), "what": list(charts.MARKS)})
    spec = charts.record(weeks, happened, 1).to_dict()
    rows_of = [layer["encoding"]["y"]["value"] for layer in spec["layer"] if layer["mark"]["type"] == "point"]
    assert len(set(rows_of)) == len(charts.MARKS)
    assert len({layer["mark"]["shape"] for layer in spec["layer"] if layer["mark"]["type"] == "point"}) == len(rows_of)
    bars = [layer["encoding"] for layer in spec["layer"] if layer["mark"]["type"] == "bar"]
    top = bars[0]["y"]["scale"]["domain"][1]
    # The lowest row of marks stays clear of a week of 168 hours.
    assert max(rows_of) + charts.MARK / 2 < spec["height"] * (1 - 168 / top)
    assert bars[0]["y2"] == {"datum": 0}


def test_failures_by_hours_have_their_range_and_count_in_the_order_of_the_bands():
    bands = pl.DataFrame({
        "band": ["0", "100", "1,000"], "failures": [9, 4, 0], "low": [1.0, 0.5, 0.0], "best": [2.0, 1.5, 0.0],
        "high": [3.0, 4.0, 6.0],
    })  # fmt: skip
    spec = charts.by_hours(bands, "Clean and oil", "the hours make no difference", "hours").to_dict()
    rule = spec["layer"][marks(spec).index("rule")]["encoding"]
    assert (rule["y"]["field"], rule["y2"]["field"], rule["x"]["sort"]) == ("low", "high", None)
    assert spec["layer"][marks(spec).index("text")]["encoding"]["text"]["field"] == "failures"
    assert [row["band"] for row in rows(spec)] == ["0", "100", "1,000"]


def test_a_shop_of_which_nothing_is_known_yet_draws_no_weeks(tmp_path: Path):
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(ROWS)
        found, setup = review(last_quarter(log, when(0, 20))), log.setup()
    assert set(drawn.of_review(found, Names.of(setup, found.end), Clock(setup.zone, found.end))) == {"waits"}


def test_what_stands_under_a_heading_is_no_wider_than_its_chart():
    spec = charts.daily(DAYS, TITLE, share=True)
    plain, long = (
        Image.open(BytesIO(charts.picture(spec, "png", "Printing", [told]))).width for told in ("", "word " * 60)
    )
    assert long == plain
