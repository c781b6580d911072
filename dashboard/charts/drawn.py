"""Answers to charts: what the pages draw, and what can be taken along as a picture.

`DRAWINGS` are all that can be taken along. To add one, write how it is drawn from its answer, use that in its page,
and put a `Drawing` here and its name in `dashboard/words/download_words.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Generic, Literal, TypeVar

import altair as alt
import polars as pl

from core.answers import by_fours
from core.estimate import Estimate
from core.frozen import Frozen
from core.morning.types import Report
from core.plan.types import Capacity
from core.reading.types import Change, Loss, RunsOut, Series, SpoolEnds
from core.review.types import Called, Chart, Review
from core.stores.types import Stored, Stores
from core.upkeep.types import Cumulative, FailuresByHours, MachineRecord, RoomUpkeep
from dashboard.charts import charts
from dashboard.words import owner_words, review_words, upkeep_words
from dashboard.words.names import Names
from dashboard.words.written import Clock

A = TypeVar("A", bound=Frozen)

LOSSES_SEEN = 6
REVIEW_LOSSES_SEEN = 8
#: Figures of the whole shop whose charts the review always shows.
REVIEW_FIGURES = ("good", "scrap", "waiting", "faults")
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
RUN_OUTS_SEEN = 6
WEEKS_SEEN = 104

#: Failures by hours printed since a machine was first watched, where others are since a task.
AGE = "age"

#: What a drawing is of, where there is one of each.
Each = Literal["machine", "item", "model", "figure", "task"]


@dataclass(frozen=True)
class Seen:
    """What else a drawing needs: what the set-up calls its codes, the shop's clock, and the code that is asked for."""

    names: Names
    clock: Clock
    code: str = ""


@dataclass(frozen=True)
class Drawing(Generic[A]):
    """A chart that can be taken along: its file's name, the answer it is drawn from; None where that tells nothing."""

    name: str
    answer: type[A]
    draw: Callable[[A, Seen], alt.LayerChart | None]
    each: Each | None = None


def losses(report: Report, names: Names) -> alt.LayerChart | None:
    """The reasons that cost most last week."""
    seen = report.week.losses[:LOSSES_SEEN]
    return charts.hours_lost(_reasons(seen, names)) if seen else None


def _reasons(losses: Sequence[Loss], names: Names) -> pl.DataFrame:
    told = [(owner_words.reason(loss, names.down, names.spares), owner_words.lost(loss)) for loss in losses]
    hours = pl.DataFrame([loss.hours.model_dump() for loss in losses])
    return pl.DataFrame(told, schema=["reason", "told"], orient="row").hstack(hours)


def run_outs(report: Report, names: Names) -> alt.LayerChart | None:
    """The spools that run out soonest, on a clock."""
    runs, clock = report.runs_out, owner_words.clock_of(report)
    if not (seen := runs.spools[:RUN_OUTS_SEEN]):
        return None
    span = (_written(report.at, clock), _written(runs.until, clock))
    return charts.run_outs(_ends(seen, clock, names, span), _closed(runs, clock, span), span)


def _ends(ends: Sequence[SpoolEnds], clock: Clock, names: Names, span: tuple[datetime, datetime]) -> pl.DataFrame:
    told = [owner_words.run_out(end, clock, names.materials) for end in ends]
    when = [[_written(getattr(end.when, name), clock) for name in ("low", "best", "high")] for end in ends]
    frame = pl.DataFrame(
        [(*t, *w) for t, w in zip(told, when, strict=True)], schema=["spool", "told", "low", "best", "high"],
        orient="row",
    )  # fmt: skip
    return frame.with_columns(pl.col("low", "best", "high").clip(*span))


def _closed(runs: RunsOut, clock: Clock, span: tuple[datetime, datetime]) -> pl.DataFrame:
    """The times when nobody is in, from now to the end of the clock."""
    edges = [span[0], *(_written(m, clock) for spell in runs.staffed for m in (spell.start, spell.end)), span[1]]
    closed = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if a < b]
    return pl.DataFrame(closed, schema={"start": pl.Datetime("ms"), "end": pl.Datetime("ms")}, orient="row")


def _written(moment: datetime, clock: Clock) -> datetime:
    """A moment as it stands on the shop's clock."""
    return clock.local(moment).replace(tzinfo=None)


def daily(series: Series) -> alt.LayerChart | None:
    """A figure day by day; one day is no line."""
    if len(series.days) < 2:
        return None
    return charts.daily(_days(series), owner_words.series_title(series), share=series.name != "good")


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


def headroom(found: Capacity, clock: Clock) -> alt.LayerChart:
    """What the room gives against what is wanted."""
    rows = [(clock.local(w.start).date(), *_numbers(w.gives), *_numbers(w.wanted)) for w in found.weeks]
    names = [f"{name}{end}" for name in ("gives", "wanted") for end in ("", "_low", "_high")]
    schema = {"week": pl.Date, **dict.fromkeys(names, pl.Float64)}
    return charts.headroom(pl.DataFrame(rows, schema=schema, orient="row"))


def _numbers(estimate: Estimate | None) -> tuple[float | None, ...]:
    return (estimate.best, estimate.low, estimate.high) if estimate else (None, None, None)


def use(item: Stored) -> alt.LayerChart | None:
    """What was used of an item week by week and what is expected."""
    if len(item.used) < 2:
        return None
    share = 1000 if item.unit == "g" else 1
    past = [(n - len(item.used), v / share if v is not None else None, "used") for n, v in enumerate(item.used)]
    ahead = [(n, v / share, "expected") for n, v in enumerate(item.expected)]
    weeks = pl.DataFrame([*past, *ahead], schema=["week", "amount", "what"], orient="row")
    unit = "kg" if item.unit == "g" else "pieces" if item.unit == "piece" else item.unit
    return charts.use(weeks, unit)


def cumulative(one: Cumulative) -> alt.LayerChart:
    """The failures of a machine of a model by the hours it printed."""
    steps = pl.DataFrame({name: getattr(one, name) for name in ("hours", "low", "best", "high")})
    return charts.cumulative(steps, one.name)


def record(found: MachineRecord, clock: Clock) -> alt.LayerChart:
    """A machine's whole time; where single weeks would be hairs, four in one."""
    long = len(found.weeks) > WEEKS_SEEN
    rows = [
        (_written(week.start, clock), week.printed, week.down)
        for week in (by_fours(found.weeks) if long else found.weeks)
    ]
    weeks = pl.DataFrame(
        rows, schema={"week": pl.Datetime("ms"), "printed": pl.Float64, "down": pl.Float64}, orient="row"
    )
    return charts.record(weeks, _marks(found, clock), 4 if long else 1)


def _marks(found: MachineRecord, clock: Clock) -> pl.DataFrame:
    """What happened as marks on the time line."""
    told = [*((one.at, "fault") for one in found.faults), *((one.at, "upkeep") for one in found.upkeep),
            *((one.at, "spare") for one in found.fitted), *((one.at, "card") for one in found.cards)]  # fmt: skip
    rows = [(_written(at, clock), what) for at, what in told]
    return pl.DataFrame(rows, schema={"at": pl.Datetime("ms"), "what": pl.String}, orient="row")


def by_hours(one: FailuresByHours) -> alt.LayerChart:
    """Whether machines fail more often with age, or the longer upkeep is ago."""
    rates = [(upkeep_words.band(band), band.failures, band.per_100_hours) for band in one.bands]
    rows = [(band, failures, rate.low, rate.best, rate.high) for band, failures, rate in rates]
    bands = pl.DataFrame(rows, schema=["band", "failures", "low", "best", "high"], orient="row")
    return charts.by_hours(bands, *upkeep_words.by_hours(one))


def week_losses(found: Review, names: Names) -> alt.LayerChart | None:
    """The reasons that cost most in the week, the four weeks before pale behind."""
    rows = [
        (*review_words.loss(line, names), line.hours.low, line.hours.best, line.hours.high, line.before.best)
        for line in found.losses[:REVIEW_LOSSES_SEEN]
    ]
    columns = ["reason", "told", "low", "best", "high", "before"]
    return charts.hours_lost(pl.DataFrame(rows, schema=columns, orient="row")) if rows else None


def waits(found: Review) -> alt.LayerChart:
    """When finished parts wait, hour by hour of the week."""
    rows = [(WEEKDAYS[cell.weekday], cell.hour, cell.hours, cell.staffed >= 0.5) for cell in found.waits]
    return charts.week_hours(pl.DataFrame(rows, schema=["weekday", "hour", "hours", "staffed"], orient="row"))


def share_by_week(found: Review, figure: Literal["utilisation", "downtime"], clock: Clock) -> alt.LayerChart | None:
    """A share of the hours meant to run, week by week; None where no week has a word of them."""
    rows = [
        (clock.local(week.end - timedelta(days=1)).date(), share.low, share.best, share.high)
        for week in found.weeks
        if (share := week.utilisation if figure == "utilisation" else week.downtime)
    ]
    if not rows:
        return None
    weeks = pl.DataFrame(rows, schema={"week": pl.Date, "low": float, "best": float, "high": float}, orient="row")
    return charts.weekly(weeks, review_words.by_week(figure))


def watched(chart: Chart, names: Names) -> alt.LayerChart:
    """A figure over the quarter with its limits, and what was called."""
    frame = pl.DataFrame({
        "day": chart.days, "value": chart.values, "centre": chart.centre, "lower": chart.lower, "upper": chart.upper,
        "called": [any(_shows(call, day) for call in chart.called) for day in chart.days],
    })  # fmt: skip
    share = chart.kind == "p" or chart.figure in review_words.OF_TIME
    return charts.watched(frame, review_words.chart_title(chart, names), share)


def of_review(found: Review, names: Names, clock: Clock) -> dict[str, charts.Spec]:
    """The charts that the review always shows: "cost" (none where nothing was lost), "waits", "utilisation" and
    "downtime" (none where nothing is known), and those of `REVIEW_FIGURES` by their codes.
    """
    made = {
        "cost": week_losses(found, names), "waits": waits(found),
        "utilisation": share_by_week(found, "utilisation", clock),
        "downtime": share_by_week(found, "downtime", clock),
        **{chart.code: watched(chart, names) for chart in always(found)},
    }  # fmt: skip
    return {name: chart.to_dict() for name, chart in made.items() if chart}


def always(found: Review) -> list[Chart]:
    """The watched figures whose charts the review always shows."""
    return [chart for chart in found.charts if chart.of is None and chart.figure in REVIEW_FIGURES]


def _shows(call: Called, day: date) -> bool:
    """The day far out, or every day from when a lasting change began until it showed."""
    return call.since <= day <= call.at


def _by_hours_of(room: RoomUpkeep, seen: Seen) -> alt.LayerChart | None:
    return next((by_hours(one) for one in room.by_hours if (one.task or AGE) == seen.code), None)


def _watched_of(found: Review, seen: Seen) -> alt.LayerChart | None:
    return next((watched(chart, seen.names) for chart in found.charts if chart.code == seen.code), None)


def _line_of(name: str) -> Callable[[Report, Seen], alt.LayerChart | None]:
    return lambda report, _: next((daily(one) for one in report.series if one.name == name), None)


def _use_of(stores: Stores, seen: Seen) -> alt.LayerChart | None:
    return next((use(item) for item in stores.items if item.item == seen.code), None)


def _cumulative_of(room: RoomUpkeep, seen: Seen) -> alt.LayerChart | None:
    return next((cumulative(one) for one in room.cumulative if one.model == seen.code), None)


_DRAWINGS: tuple[Drawing[Any], ...] = (
    Drawing("owner-losses", Report, lambda report, seen: losses(report, seen.names)),
    Drawing("owner-spools", Report, lambda report, seen: run_outs(report, seen.names)),
    Drawing("owner-utilisation", Report, _line_of("utilisation")),
    Drawing("owner-downtime", Report, _line_of("downtime")),
    Drawing("owner-good", Report, _line_of("good")),
    Drawing("owner-scrap-share", Report, _line_of("scrap_share")),
    Drawing("stores-use", Stores, _use_of, each="item"),
    Drawing("plan-headroom", Capacity, lambda found, seen: headroom(found, seen.clock)),
    Drawing("upkeep-failures", RoomUpkeep, _cumulative_of, each="model"),
    Drawing("upkeep-hours", RoomUpkeep, _by_hours_of, each="task"),
    Drawing("review-losses", Review, lambda found, seen: week_losses(found, seen.names)),
    Drawing("review-waits", Review, lambda found, _: waits(found)),
    Drawing("review-printing", Review, lambda found, seen: share_by_week(found, "utilisation", seen.clock)),
    Drawing("review-downtime", Review, lambda found, seen: share_by_week(found, "downtime", seen.clock)),
    Drawing("review-figure", Review, _watched_of, each="figure"),
    Drawing("machine-time", MachineRecord, lambda found, seen: record(found, seen.clock), each="machine"),
)
#: Every chart that can be taken along, by its name, those of a page together.
DRAWINGS: dict[str, Drawing[Any]] = {drawing.name: drawing for drawing in _DRAWINGS}
