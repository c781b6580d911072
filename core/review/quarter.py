"""Some weeks of the past, read once: the hours of their days and weeks, what came off the platforms, what was due."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise

import numpy as np
import polars as pl

from core.arrays import Micros
from core.epoch import micros
from core.habits.learned import Learned
from core.hours.state_rows import StateHours
from core.log.store import Log
from core.orders import ORDER_KINDS, ORDERS_KEPT, order_book
from core.plan.outlook import Outlook
from core.reading.reading import Reading
from core.setup import Machine
from core.sums import summed
from core.timeline import counts
from core.timeline.faults import Fault
from core.window import Window, last_days

#: Weeks of a quarter, and weeks that the newest one is compared with.
WEEKS, BEFORE = 13, 4


class Past:
    """The days of `window`, which begins and ends at midnights of the shop, as known at `at`.

    `learned` as of `reading.learned_at`, if kept by the caller.
    """

    def __init__(self, log: Log, window: Window, at: datetime, learned: Learned | None = None) -> None:
        self.log, self.window, self.at = log, window, at
        self.setup = log.setup()
        self.zone = self.setup.zone
        self.end = window.end
        self.shop = self.setup.shop(self.end)
        self.machines = self.setup.machines(self.end)
        self.read = Reading(log, window, at, learned)

    @cached_property
    def weeks(self) -> list[Window]:
        """Seven days each, the newest last; the oldest may be shorter."""
        many = math.ceil(len(self.days) / 7)
        edges = [last_days(self.end, 7 * n, self.zone).start for n in range(many, 0, -1)]
        cut = [max(edge, self.window.start) for edge in [*edges, self.end]]
        return [Window(a, b) for a, b in pairwise(cut) if a < b]

    @cached_property
    def places_before(self) -> list[int]:
        """The places of the weeks that the newest one is compared with."""
        return list(range(len(self.weeks)))[-1 - BEFORE : -1] or [0]

    @property
    def before(self) -> Window:
        """The weeks that the newest one is compared with, as one window."""
        return Window(self.weeks[self.places_before[0]].start, self.weeks[self.places_before[-1]].end)

    def hours_in(self, weeks: Sequence[int]) -> StateHours:
        """The hours of weeks, by their places."""
        return self.by_week.of(pl.col("window").is_in(list(weeks)))

    @cached_property
    def days(self) -> list[Window]:
        """The days, on the shop's calendar."""
        return self.window.days(self.zone)

    @cached_property
    def staffed_days(self) -> list[int]:
        """The places of the days on which people were in."""
        begins, ends = (np.array([micros(getattr(day, at)) for day in self.days]) for at in ("start", "end"))
        return np.flatnonzero(self.read.staffed.hours(begins, ends) > 0).tolist()

    @cached_property
    def turns(self) -> list[Window]:
        """From one staffed day's end to the next: what happens while nobody is in is found when somebody is."""
        ends = [self.days[place].end for place in self.staffed_days]
        return [Window(a, b) for a, b in zip([self.window.start, *ends], ends, strict=False)]

    def date_of(self, window: Window) -> date:
        """The last day of a window, on the shop's calendar."""
        return (window.end - timedelta(microseconds=1)).astimezone(self.zone).date()

    @cached_property
    def by_day(self) -> StateHours:
        """The hours of every day."""
        return self.read.state_hours(self.days)

    @cached_property
    def by_week(self) -> StateHours:
        """The hours of every week."""
        return self.read.state_hours(self.weeks)

    @cached_property
    def removals(self) -> pl.DataFrame:
        """What came off the platforms (`counts.removals`), with the model of its machine, as far as it is announced."""
        rows = counts.removals(self.read.reckoned.gaps)
        rows = rows.filter(pl.col("t").is_between(*self.edges_of(self.window), closed="left"))
        return rows.with_columns(model=self.model_of()).sort("t", "id")

    @cached_property
    def due(self) -> pl.DataFrame:
        """Orders due in the window, earliest first: order, product, quantity, due, left (microseconds), kept and
        as_packed.

        `left` is null where that is still to come; an order packed whole has left if nobody noted that it was shipped.
        `as_packed`: it must have been packed, and nobody noted it, so whether it was kept is not known (null).
        """
        known = Window(self.window.start - timedelta(weeks=ORDERS_KEPT), self.end)
        rows = order_book(self.log.entries_of(ORDER_KINDS, known, self.at))
        left = pl.coalesce("shipped", "over")
        mine = rows.filter(pl.col("due").is_between(*self.edges_of(self.window), closed="left"))
        as_packed = left.is_null() & pl.col("order").is_in(self.outlook.as_packed)
        kept = pl.when(~as_packed).then((left <= pl.col("due")).fill_null(value=False))
        told = {"left": left, "kept": kept, "as_packed": as_packed}
        return mine.select("order", "product", "quantity", "due", **told).sort("due", "order")

    @cached_property
    def outlook(self) -> Outlook:
        """The plan as it stood: it knows which orders are late that have not left."""
        return Outlook(self.log, self.at, self.read.learned)

    def model_of(self) -> pl.Expr:
        """The model of column `machine`, as at the end."""
        models = {row.machine: row.model for row in self.setup.all(Machine, self.end)}
        return pl.col("machine").replace_strict(models, default=None, return_dtype=pl.String)

    @cached_property
    def faults(self) -> list[Fault]:
        """The faults that began in the window, oldest first."""
        start, end = self.edges_of(self.window)
        return [fault for fault in self.read.faults if start <= fault.began < end]

    @cached_property
    def printed(self) -> pl.DataFrame:
        """Hours printed by machine and day: machine, window, best; proving prints too."""
        rows = self.by_day.rows.filter(pl.col("state").is_in(["printing", "proving"]))
        return summed(rows, ["machine", "window"], pl.col("best")).sort("machine", "window")

    def machines_by(self, column: str) -> dict[str, list[str]]:
        """The machines in service at the end, by their model, rack or own code."""
        found: dict[str, list[str]] = {}
        for machine in self.machines:
            found.setdefault(getattr(machine, column), []).append(machine.machine)
        return found

    @staticmethod
    def edges_of(window: Window) -> tuple[int, int]:
        """Start and end in microseconds."""
        return micros(window.start), micros(window.end)

    @staticmethod
    def edges(windows: list[Window]) -> Micros:
        """Where consecutive windows begin, and where the last one ends (microseconds)."""
        return np.array([micros(w.start) for w in windows] + [micros(windows[-1].end)], dtype=np.int64)


def last_quarter(log: Log, at: datetime, learned: Learned | None = None) -> Past:
    """The `WEEKS` times seven days up to the last midnight before `at`, as known then.

    Of a young shop, from its first whole day on, but seven days at least.
    """
    zone = log.setup().zone
    whole, week, span = last_days(at, 7 * WEEKS, zone), last_days(at, 7, zone), log.span()
    days = Window(span.start, max(span.start, whole.end)).days(zone) if span else []
    first = min(days[0].end if days else whole.end, week.start)
    return Past(log, Window(max(whole.start, first), whole.end), whole.end, learned)
