"""What the room can give: what became of its hours, what it will give against what is wanted, what would give more."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import time, timedelta
from typing import Literal

import numpy as np
import polars as pl

from core.arrays import Numbers
from core.epoch import WEEK, WEEK_HOURS, micros
from core.estimate import BEST, HIGH, LOW, NINETY, Estimate
from core.plan import room
from core.plan.choosing import Habit
from core.plan.forward import play
from core.plan.laws import HandsClock, Laws, Preferences, Wanted
from core.plan.outlook import FILLING, PAST_DAYS, WAITS, Outlook
from core.plan.types import Capacity, Gain, HoursStep, Week
from core.setup import WEEKDAYS, Machine, Model, Setup, Shift
from core.statistics.forecasts import PAST, forecast
from core.statistics.required import machines_required
from core.timeline import stops
from core.timeline.counts import removals

#: Weeks that are compared; replications.
WEEKS, PLAYS = 12, 60
#: Weeks over which changes are compared.
COMPARED = 4
#: Hours that another evening and another Saturday add; points of downtime less; how much more hands mind the night.
EVENING, SATURDAY, POINTS, NIGHT = 1.0, 4.0, 0.05, 3.0
#: Files that are not the largest of their product are started so much more rarely (logarithm) with bigger batches.
RARELY = 3.0
#: Weeks that a machine is paid for over (common practice, no source).
PAID_OVER = 104

#: States of the account in the order in which their hours are taken off.
LOST: dict[Literal["no word", "aside", "down", "upkeep", "proving", "waited", "empty"], tuple[str, ...]] = {
    "no word": ("no word",), "aside": ("aside",), "down": ("down", "waiting"), "upkeep": ("upkeep",),
    "proving": ("proving",), "waited": WAITS, "empty": ("empty",),
}  # fmt: skip


def capacity(outlook: Outlook) -> Capacity:
    """What the room gave, and what it will give."""
    weeks = PAST_DAYS / 7
    spent = outlook.read.state_hours([outlook.read.window])
    lost = [HoursStep(name=name, hours=_range(spent.of(pl.col("state").is_in(states)).by(), weeks))
            for name, states in LOST.items()]  # fmt: skip
    printed = _range(spent.of(pl.col("state") == "printing").by(), weeks)
    failed, scrap, parts = _spoilt(outlook)
    lost.append(HoursStep(name="failed", hours=printed.scaled(failed)))
    lost.append(HoursStep(name="scrap", hours=printed.scaled((1 - failed) * scrap)))
    gives, (weekly, doubt, short) = _gives(outlook), _wanted(outlook)
    wanted = _hours_wanted(outlook, weekly, doubt)
    starts = [outlook.at + timedelta(weeks=n) for n in range(WEEKS)]
    ahead = [
        Week(start=start, gives=_estimate(gives[FILLING + n]), wanted=wanted[n] if wanted else None)
        for n, start in enumerate(starts)
    ]
    between = sum(step.hours.best for step in lost if step.name in ("waited", "empty")) * weeks / _prints(outlook)
    passed = next((week.start for week in ahead if week.wanted and week.wanted.best > week.gives.best), None)
    return Capacity(
        measured_weeks=weeks, wall=spent.hours / weeks, steps=lost, good=printed.scaled((1 - failed) * (1 - scrap)),
        parts=parts / weeks, weeks=ahead, passed=passed, short_history=short, machines=len(outlook.machines),
        required=_required(outlook, weekly, between) if wanted else None,
    )  # fmt: skip


def _range(row: pl.DataFrame, weeks: float) -> Estimate:
    if row.is_empty():
        return Estimate.exact(0.0)
    low, best, high = (float(row[name][0]) for name in ("low", "best", "high"))
    return Estimate(low=low, best=best, high=high).scaled(1 / weeks)


def _estimate(values: Numbers) -> Estimate:
    low, best, high = np.quantile(values, (LOW, BEST, HIGH))
    return Estimate(low=float(low), best=float(best), high=float(high))


def _counted(outlook: Outlook) -> pl.DataFrame:
    """The removals of the window whose good parts were counted (`counts.removals`)."""
    off = removals(outlook.read.reckoned.gaps)
    return off.filter(pl.col("good").is_not_null() & (pl.col("t") >= micros(outlook.read.window.start)))


def _spoilt(outlook: Outlook) -> tuple[float, float, float]:
    """The share of printing hours in prints that stopped, the scrap share of the others' parts, good parts counted."""
    prints = stops.ended(outlook.read.reckoned.gaps)
    # Polars adds up a column in the pieces it lies in, as many as there are threads.
    hours = math.fsum(prints["hours"])
    failed = math.fsum(prints.filter("stopped")["hours"]) / hours if hours else 0.0
    off = _counted(outlook)
    whole = off.filter(pl.col("ended") == "itself")
    made, kept = float(whole["parts"].sum()), float(whole["good"].sum())
    return failed, 1 - kept / made if made else 0.0, float(off["good"].sum())


def _gives(outlook: Outlook) -> Numbers:
    """Good printing hours week by week from now [weeks, replications], work being there for every machine."""
    hours = (FILLING + WEEKS) * WEEK_HOURS
    start = outlook.at - timedelta(weeks=FILLING)
    clock, choice = outlook.staffed(start, hours), outlook.choosing(start, hours, PLAYS)
    return _weekly(outlook, outlook.machines, clock, choice, outlook.laws, hours)


def _weekly(
    outlook: Outlook, machines: list[Machine], clock: HandsClock, choice: Preferences, laws: Laws, hours: float
) -> Numbers:  # fmt: skip
    """Good printing hours of each week [weeks, replications], from an empty room."""
    now, nothing = room.empty(outlook.names, machines, clock, PLAYS), Wanted.nothing(outlook.work.products)
    done = play(now, clock, outlook.work, choice, laws, nothing, hours, outlook.seed)
    good = done.parts * np.append(outlook.hours_a_part, 0.0)[done.product]
    week = (np.minimum(np.where(np.isfinite(done.off), done.off, hours), hours) // WEEK_HOURS).astype(np.int64)
    found = np.zeros((int(hours // WEEK_HOURS) + 1, PLAYS))
    np.add.at(found, (week, np.broadcast_to(np.arange(PLAYS), week.shape)), good)
    return found[:-1]


def _wanted(outlook: Outlook) -> tuple[Numbers, Numbers, bool]:
    """Parts of every product that orders will want in each week to come [products, weeks] ([products, 0] of none), how
    well that is known (one standard deviation), and whether it rests on few weeks.
    """
    book, weeks = outlook.orders_since(PAST), PAST
    use = np.full((len(outlook.names.products), weeks), np.nan)
    if book.is_empty():
        return np.zeros((len(use), 0)), np.zeros((len(use), 0)), True
    age = (outlook.now - book["taken"].to_numpy()) // WEEK
    use[:, weeks - 1 - min(int(age.max()), weeks - 1) :] = 0.0
    for product, quantity, ago in zip(book["product"], book["quantity"], age, strict=True):
        if product in outlook.names.products and ago < weeks:
            use[outlook.names.products.index(product), weeks - 1 - int(ago)] += quantity
    told = forecast(use, np.ones(len(use)), np.zeros(len(use), dtype=np.int64), WEEKS)
    doubt = np.repeat(np.nan_to_num(told.sd)[:, None], WEEKS, axis=1)
    return np.nan_to_num(told.weekly), doubt, bool(told.short.all())


def _hours_wanted(outlook: Outlook, weekly: Numbers, sd: Numbers) -> list[Estimate]:
    """Printing hours of those parts, week by week."""
    best, spread = outlook.hours_a_part @ weekly, NINETY * np.sqrt(outlook.hours_a_part**2 @ sd**2)
    both = zip(best.tolist(), spread.tolist(), strict=True)
    return [Estimate(low=max(hours - doubt, 0.0), best=hours, high=hours + doubt) for hours, doubt in both]


def _prints(outlook: Outlook) -> float:
    """Prints that came off in the window, those of which nobody noted it as well."""
    habits = outlook.read.learned.habits
    off = removals(outlook.read.reckoned.gaps).filter(pl.col("t") >= micros(outlook.read.window.start)).height
    return max(off, 1) / (1 - habits.forgets_off if habits else 1.0)


def _required(outlook: Outlook, weekly: Numbers, between: float) -> float:
    """Machines that the busiest week takes, downtime being what the owner plans with."""
    work, of = outlook.work, outlook.work.product
    weight = np.exp(outlook.habit.files)
    lot = np.array([np.average(work.parts[of == p], weights=weight[of == p]) for p in range(work.products)])
    stands, downtime = np.full(len(lot), between), outlook.shop.planning_downtime
    return max(machines_required(week, outlook.hours_a_part, lot, stands, WEEK_HOURS, downtime) for week in weekly.T)


def gains(outlook: Outlook, tell: Callable[[float], object] | None = None) -> list[Gain]:
    """What would give more, the most first: each change played against the room as it is, with the same chances.

    `tell` is called with the share done.
    """
    hours, changes = (FILLING + COMPARED) * WEEK_HOURS, list(_changes(outlook))
    before, parts_an_hour = _played(outlook, _Change("machine"), hours), _parts_an_hour(outlook)
    found = []
    for done, change in enumerate(changes, start=1):
        more = _played(outlook, change, hours) - before
        mean, error = float(more.mean()), NINETY * float(more.std(ddof=1)) / PLAYS**0.5
        gained = Estimate(low=mean - error, best=mean, high=mean + error)
        parts = gained.scaled(parts_an_hour)
        cost = change.cost / parts.best if change.cost is not None and parts.low > 0 else None
        found.append(Gain(what=change.what, model=change.model, hours=gained, parts=parts, cost=cost))
        if tell:
            tell(done / len(changes))
    return sorted(found, key=lambda gain: -gain.hours.best)


def _parts_an_hour(outlook: Outlook) -> float:
    """Good parts an hour of printing that comes to good parts, in the mix of the last weeks."""
    a_part = outlook.hours_a_part
    of = {row.file: a_part[product] for row, product in zip(outlook.names.files, outlook.work.product, strict=True)}
    known = _counted(outlook).filter(pl.col("file").is_in(list(of)))
    made = float(known["good"].sum())
    spent = sum(float(good) * of[file] for file, good in known.select("file", "good").iter_rows())
    return made / spent if spent else 1 / float(np.mean(a_part))


@dataclass(frozen=True)
class _Change:
    """A change, what it costs a week if that is known, and what of the room is another then."""

    what: Literal["machine", "evening", "saturday", "downtime", "night", "batch"]
    model: str | None = None
    cost: float | None = None
    machines: tuple[Machine, ...] = ()
    setup: Setup | None = None
    laws: Laws | None = None
    habit: Habit | None = None


def _played(outlook: Outlook, change: _Change, hours: float) -> Numbers:
    """Good printing hours a week with a change [replications]."""
    clock = outlook.staffed(outlook.at, hours, change.setup)
    choice = outlook.choosing(outlook.at, hours, PLAYS, change.setup, change.habit)
    machines = [*outlook.machines, *change.machines]
    return np.asarray(
        _weekly(outlook, machines, clock, choice, change.laws or outlook.laws, hours)[FILLING:].mean(axis=0)
    )


def _changes(outlook: Outlook) -> Iterator[_Change]:
    """One more machine of each model, more staffed time, less downtime, minding the night more, bigger batches."""
    at, hand, habit = outlook.at, outlook.shop.hand_cost, outlook.habit
    for row in outlook.setup.all(Model, at):
        if row.model in outlook.names.models:
            one = next(m for m in outlook.machines if m.model == row.model)
            cost = row.price / PAID_OVER if row.price is not None else None
            yield _Change("machine", row.model, cost, machines=(one,))
    evening, people = _longer(outlook, [day for day in WEEKDAYS if day not in ("sat", "sun")], EVENING)
    yield _Change("evening", cost=people * hand if hand is not None else None, setup=evening)
    saturday, people = _longer(outlook, ["sat"], SATURDAY)
    yield _Change("saturday", cost=people * hand if hand is not None else None, setup=saturday)
    out = outlook.read.state_hours([outlook.read.window])
    share = out.of(pl.col("state").is_in([*LOST["down"], *LOST["upkeep"]])).hours / max(out.hours, 1e-9)
    less = max(1 - POINTS / max(share, 1e-9), 0.0)
    yield _Change("downtime", laws=replace(outlook.laws, down=outlook.laws.down * less))
    yield _Change("night", habit=replace(habit, suits=habit.suits * NIGHT))
    largest = np.array([row.parts == max(r.parts for r in outlook.names.files if r.product == row.product)
                        for row in outlook.names.files])  # fmt: skip
    yield _Change("batch", habit=replace(habit, files=np.where(largest, habit.files, habit.files - RARELY)))


def _longer(outlook: Outlook, days: Sequence[str], hours: float) -> tuple[Setup, float]:
    """The set-up with the last shift of those days so many hours longer, or such a shift where there is none, and the
    hours of people that takes a week. No shift goes past midnight for it.
    """
    rows, people = [], 0.0
    shifts = [row for row in outlook.setup.all(Shift, outlook.at) if row.hands]
    for day in days:
        last = max((row for row in shifts if row.weekday == day), key=lambda row: row.end, default=None)
        if last and last.end > last.start:
            minutes = min(60 * last.end.hour + last.end.minute + round(60 * hours), 24 * 60 - 1)
            rows.append(last.model_copy(update={"end": time(minutes // 60, minutes % 60), "since": outlook.at}))
            people += hours * last.hands
        elif last is None and shifts:
            begin = min(row.start for row in shifts)
            end = time(min(begin.hour + round(hours), 23), begin.minute)
            rows.append(Shift(weekday=day, start=begin, end=end, hands=1, since=outlook.at))  # type: ignore[arg-type]
            people += hours
    return Setup([*outlook.setup.rows, *rows]), people
