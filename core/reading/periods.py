"""What a window of the shop gave and lost, and whether its daily figures change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from core.arrays import Micros
from core.entries import FROM_MEMORY_MINUTES, KINDS
from core.epoch import micros
from core.estimate import Estimate
from core.hours import account
from core.hours.state_rows import StateHours
from core.reading.reading import Reading
from core.reading.types import Change, Loss, MachineNow, Period, Series, Trust
from core.setup import Setup
from core.staffed import Staffed, staffed_spells
from core.statistics import changes
from core.timeline import counts
from core.timeline.reckon import spells
from core.window import Window


def trust(read: Reading, now: Sequence[MachineNow], week: Window) -> Trust:
    """Who was heard from since the last shift began, and how word came in over `week`."""
    since = _last_shift(read.setup, read.at)
    asked = [m for m in now if m.state != "aside"]
    silent = [m.machine for m in asked if m.last_word is None or m.last_word < since]
    spent = read.state_hours([week])
    whole, silence = spent.hours, spent.of(pl.col("state") == "no word").hours
    told = read.log.entries_of(list(KINDS), week, read.at)
    late = (told["noted_at"] - told["at"]).dt.total_seconds() > 60 * FROM_MEMORY_MINUTES
    p = read.learned
    return Trust(
        machines=len(asked),
        heard=len(asked) - len(silent),
        since=since,
        silent=silent,
        newest=read.log.last_noted(read.at),
        no_word=silence / whole if whole else 1.0,
        from_memory=float(late.sum()) / max(told.height, 1),
        takes=Estimate(low=p.low, best=p.best, high=p.high),
        seen=p.seen,
        starts=read.unnoted("start"),
        removals=read.unnoted("removal"),
        right=read.looks_right(),
    )


def _last_shift(setup: Setup, at: datetime) -> datetime:
    """When the last shift began that has given people time for a round: two hours ago, or it is over."""
    before = staffed_spells(setup, Window(at - timedelta(days=14), at))
    given = [s.window.start for s in before if s.window.end < at or s.window.hours >= 2]
    return given[-1] if given else at - timedelta(days=1)


def period(read: Reading, window: Window) -> Period:
    """What the window gave and lost; it must lie within what was read."""
    spent = read.state_hours([window])
    faults = account.faults_begun(read.reckoned.gaps, [window]).height
    off = counts.within(counts.removals(read.reckoned.gaps), window, "t")
    missing = counts.within(counts.perhaps_good(read.reckoned.gaps), window, "t")
    good = int(off["good"].sum())
    scrapped = off.filter(pl.col("scrap") > 0).group_by("cause").agg(pl.col("scrap").sum()).sort("scrap", "cause")
    return Period(
        start=window.start,
        end=window.end,
        account=account.account("shop", spent, faults),
        good=Estimate(low=good, best=good, high=good + int(missing["parts"].sum())),
        scrap=int(off["scrap"].sum()),
        scrap_by_cause={row[0] or "": row[1] for row in scrapped.reverse().iter_rows()},
        prints_ended=off.filter(pl.col("ended") == "itself").height,
        prints_stopped=off.filter(pl.col("ended") == "stopped").height,
        losses=losses(read, window, spent),
    )


def losses(read: Reading, window: Window, spent: StateHours) -> list[Loss]:
    """Machine-hours of the window that printed nothing, by reason, most first; `state_hours` are its hours."""
    whole = within(spells(read.reckoned.stretches), window)
    found = _losses(spent, whole) + _waits_for_hands(whole, spent, window, read.staffed)
    return sorted(found, key=lambda loss: -loss.hours.best)


def within(stretches: pl.DataFrame, window: Window) -> pl.DataFrame:
    """The stretches that reach into the window."""
    return stretches.filter(pl.col("start") < micros(window.end), pl.col("end") > micros(window.start))


def _losses(spent: StateHours, whole: pl.DataFrame) -> list[Loss]:
    """Where the hours went that printed nothing, less finished prints; `whole` has the spells to be counted."""
    lost = pl.col("state").is_in(["stopped", "empty", "upkeep", "down", "waiting"])
    detail = pl.coalesce(pl.when(pl.col("state") == "waiting").then("spare"), "cause").alias("detail")
    times = whole.filter(lost).with_columns(detail).group_by("state", "detail").len("times")
    rows = StateHours(spent.rows.filter(lost).with_columns(detail), spent.covariance).by("state", "detail")
    rows = rows.join(times, on=["state", "detail"], how="left", nulls_equal=True, maintain_order="left")
    return [
        Loss(reason=r["state"], detail=r["detail"], times=r["times"] or 0,
             hours=Estimate(low=r["low"], best=r["best"], high=r["high"]))
        for r in rows.filter(pl.col("best") > 0).iter_rows(named=True)
    ]  # fmt: skip


def _waits_for_hands(whole: pl.DataFrame, spent: StateHours, window: Window, staffed: Staffed) -> list[Loss]:
    """Finished prints that waited, split by whether people were in."""
    waits = account.waits(whole.filter(pl.col("state") == "done"), window, staffed)
    waited, told = spent.total(("done",)), math.fsum(waits["inside"]) + math.fsum(waits["outside"])
    found = []
    for reason, column in (("hands inside", "inside"), ("hands outside", "outside")):
        mine = waits.filter(pl.col(column) > 0)
        share = math.fsum(mine[column]) / told if told else 0.0
        if mine.height:
            found.append(Loss(reason=reason, detail=None, hours=waited.scaled(share), times=mine.height))
    return found


def series(read: Reading, days: Window) -> list[Series]:
    """The daily figures of the owner's page over the days on which people were in and of which there is word."""
    zone = read.setup.zone
    windows = days.days(zone)
    spent = read.state_hours(windows)
    off = counts.removals(read.reckoned.gaps)
    figures: dict[str, list[float]] = {"utilisation": [], "downtime": [], "good": [], "scrap_share": []}
    shares = {row["window"]: row for row in account.daily(spent).iter_rows(named=True)}
    worked = {n: w for n, w in enumerate(windows) if read.staffed.hours(*_ends(w))[0] > 0}
    told = {n: window for n, window in worked.items() if n in shares}  # of some days nobody has word
    for n, window in told.items():
        day = shares[n]
        mine = counts.within(off, window, "t")
        good, scrap = int(mine["good"].sum()), int(mine["scrap"].sum())
        figures["utilisation"].append(day["utilisation"])
        figures["downtime"].append(day["downtime"])
        figures["good"].append(float(good))
        figures["scrap_share"].append(scrap / (good + scrap) if good + scrap else 0.0)
    dates = [w.start.astimezone(zone).date() for w in told.values()]
    return [_one_series(name, dates, values) for name, values in figures.items()]


def _one_series(name: str, dates: list[date], values: list[float]) -> Series:
    usual = changes.limits(values)
    found = changes.signal(values, usual) if usual else None
    return Series(
        name=name,  # type: ignore[arg-type]
        days=dates,
        values=values,
        mean=usual.mean if usual else None,
        lower=max(usual.lower, 0.0) if usual else None,
        upper=usual.upper if usual else None,
        change=Change(rule=found.rule, since=dates[found.index], upward=found.upward) if found else None,  # type: ignore[arg-type]
    )


def _ends(window: Window) -> tuple[Micros, Micros]:
    return np.array([micros(window.start)]), np.array([micros(window.end)])
