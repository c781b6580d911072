"""The weekly review: what changed, what the week cost, and how the figures went over the past."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import polars as pl

from core.arrays import Micros
from core.epoch import DAY, HOUR, WEEK_HOURS, instant, micros
from core.estimate import Estimate
from core.hours import account
from core.hours.state_rows import StateHours
from core.reading import periods
from core.reading.reading import tally
from core.reading.types import Loss, Tally
from core.review.control_charts import FALSE_CALLS, charts
from core.review.models_compared import compared, models
from core.review.quarter import Past
from core.review.types import (
    HourWait,
    Keeping,
    LateOrder,
    LossChange,
    MaterialUse,
    PromiseWeek,
    Review,
    SpareWait,
    WeekFigures,
)
from core.setup import Rack
from core.stores.stores import stores
from core.stores.types import Stores
from core.timeline import counts
from core.timeline.reckon import spells
from core.window import Window

#: Microseconds of a day.


def review(past: Past) -> Review:
    """The review of the seven days up to the quarter's last midnight."""
    work, losses = models(past), _losses(past)
    usual = {loss.reason: loss.before.best for loss in losses if loss.reason.startswith("hands")}
    return Review(
        shop=past.shop.name,
        zone=past.shop.zone,
        start=past.weeks[-1].start,
        end=past.end,
        weeks=list(_weeks(past)),
        losses=losses,
        charts=charts(past),
        false_calls=FALSE_CALLS,
        waits=_waits(past),
        waited=math.fsum(usual.values()),
        waited_inside=usual.get("hands inside", 0.0),
        spares=_spares(past),
        keeping=list(_keeping(past)),
        promises=list(_promises(past)),
        late=list(_late(past)),
        unpacked=[code for code, gone in past.due.select("order", "as_packed").iter_rows() if gone],
        materials=_materials(past),
        models=work,
        compared=compared(work),
    )


def _weeks(past: Past) -> Iterator[WeekFigures]:
    off, missing = past.removals, counts.perhaps_good(past.read.reckoned.gaps)
    for place, week in enumerate(past.weeks):
        mine = counts.within(off, week, "t")
        begin, end = past.edges_of(week)
        faults = sum(begin <= fault.began < end for fault in past.faults)
        hours = account.account("shop", past.by_week.of(pl.col("window") == place), faults)
        good = int(mine["good"].sum())
        uncounted = int(counts.within(missing, week, "t")["parts"].sum())
        yield WeekFigures(
            start=week.start,
            end=week.end,
            utilisation=hours.utilisation,
            downtime=hours.downtime,
            printing=hours.productive_time,
            good=Estimate(low=good, best=good, high=good + uncounted),
            scrap=int(mine["scrap"].sum()),
            spoilt=tally(mine.filter(pl.col("scrap") > 0).height, mine.height),
            faults=faults,
        )


def _losses(past: Past) -> list[LossChange]:
    """The week's, most hours first, and those of the weeks before that it had none of."""
    newest, earlier = past.hours_in([len(past.weeks) - 1]), past.hours_in(past.places_before)
    usual = {(loss.reason, loss.detail): loss for loss in periods.losses(past.read, past.before, earlier)}
    week = {(loss.reason, loss.detail): loss for loss in periods.losses(past.read, past.weeks[-1], newest)}
    share = past.weeks[-1].hours / past.before.hours
    nothing = Estimate.exact(0.0)
    found = [
        LossChange(
            reason=reason, detail=detail,
            hours=_hours(week.get((reason, detail))) or nothing,
            times=week[reason, detail].times if (reason, detail) in week else 0,
            before=(_hours(usual.get((reason, detail))) or nothing).scaled(share),
        )
        for reason, detail in {**week, **usual}
    ]  # fmt: skip
    return sorted(found, key=lambda loss: (-loss.hours.best, -loss.before.best, loss.reason, loss.detail or ""))


def _hours(loss: Loss | None) -> Estimate | None:
    return loss.hours if loss else None


def _waits(past: Past) -> list[HourWait]:
    """Finished parts that waited, by hour of the week: the likeliest line's hours, brought to the best total."""
    window = past.before
    done = periods.within(spells(past.read.reckoned.stretches).filter(pl.col("state") == "done"), window)
    begin, end = past.edges_of(window)
    edges = np.append(np.arange(begin, end, HOUR), end)
    begins, ends = (_so_far(done[at].to_numpy() - begin, edges - begin) for at in ("start", "end"))
    waited = np.diff(begins - ends) / HOUR
    best = past.hours_in(past.places_before).total(("done",)).best
    staffed = past.read.staffed.hours(edges[:-1], edges[1:])
    local = [instant(int(t)).astimezone(past.zone) for t in edges[:-1]]
    of = np.array([24 * moment.weekday() + moment.hour for moment in local])
    scale = (best / waited.sum() if waited.sum() else 0.0) * (WEEK_HOURS / window.hours)
    hours, inside = np.bincount(of, waited, 7 * 24) * scale, np.bincount(of, staffed, 7 * 24)
    there = np.maximum(np.bincount(of, np.diff(edges) / HOUR, 7 * 24), 1e-9)
    return [
        HourWait(weekday=n // 24, hour=n % 24, hours=float(hours[n]), staffed=float(min(inside[n] / there[n], 1.0)))
        for n in range(7 * 24)
    ]


def _so_far(moments: Micros, edges: Micros) -> Micros:
    """Of every moment the time that has gone by until each edge, added up."""
    mine = np.sort(moments)
    passed = np.searchsorted(mine, edges)
    sums = np.concatenate([[0], np.cumsum(mine)])
    return np.asarray(passed * edges - sums[passed])


def _spares(past: Past) -> list[SpareWait]:
    """Machine-days waited for each spare, most in the week first."""
    waiting = past.by_week.of(pl.col("state") == "waiting")
    week = _days_by_spare(waiting.of(pl.col("window") == len(past.weeks) - 1))
    usual = _days_by_spare(waiting)
    nothing, share = Estimate.exact(0.0), WEEK_HOURS / past.window.hours
    found = [
        SpareWait(spare=spare, week=week.get(spare, nothing), usual=days.scaled(share))
        for spare, days in usual.items()
    ]  # fmt: skip
    return sorted(found, key=lambda line: (-line.week.best, -line.usual.best, line.spare))


def _days_by_spare(waiting: StateHours) -> dict[str, Estimate]:
    rows = waiting.by("spare").drop_nulls("spare")
    return {
        spare: Estimate(low=low / 24, best=best / 24, high=high / 24)
        for spare, best, low, high in rows.select("spare", "best", "low", "high").iter_rows()
    }


def _keeping(past: Past) -> Iterator[Keeping]:
    rows = past.read.visits
    names = {rack.rack: rack.name for rack in past.setup.all(Rack, past.end)}
    for rack, machines in past.machines_by("rack").items():
        mine = rows.filter(pl.col("machine").is_in(machines))
        yield Keeping(
            rack=rack, name=names.get(rack, rack),
            week=_missed(mine, past.weeks[-1]), before=_missed(mine, past.before),
        )  # fmt: skip


def _missed(visits: pl.DataFrame, window: Window) -> Tally:
    mine = counts.within(visits, window, "t")
    return tally(mine.filter(~pl.col("noted")).height, mine.height)


def _promises(past: Past) -> Iterator[PromiseWeek]:
    for week in past.weeks:
        mine = counts.within(past.due, week, "due")
        late, left = ~pl.col("kept"), pl.col("left").is_not_null()
        yield PromiseWeek(
            start=week.start, due=mine.height, kept=mine.filter("kept").height,
            late=mine.filter(late & left).height, open=mine.filter(late & ~left).height,
            unpacked=mine.filter("as_packed").height,
        )  # fmt: skip


def _late(past: Past) -> Iterator[LateOrder]:
    """Those of the week that left late, and all that are late and have not left."""
    week = counts.within(past.due, past.weeks[-1], "due")
    gone = week.filter(~pl.col("kept") & pl.col("left").is_not_null())
    rows, now = pl.concat([gone, past.outlook.overdue], how="diagonal").sort("due", "order"), micros(past.end)
    for row in rows.iter_rows(named=True):
        left = row["left"]
        yield LateOrder(
            order=row["order"], product=row["product"], quantity=row["quantity"], due=instant(row["due"]),
            left=instant(left) if left is not None else None, days=((left or now) - row["due"]) / DAY,
        )  # fmt: skip


def _materials(past: Past) -> list[MaterialUse]:
    """What was used, beside what was expected when the week began."""
    then = {item.item: item for item in stores(past.log, past.weeks[-1].start).items}
    now: Stores = stores(past.log, past.end)
    return [
        MaterialUse(
            material=item.item, name=item.name, used=item.used[-1] if item.used else None,
            expected=then[item.item].expected[0],
        )
        for item in now.items
        if item.kind == "material" and item.item in then and then[item.item].expected
    ]  # fmt: skip
