"""The quarter up to a midnight, read once: the hours of its days and weeks, and all that came off the platforms."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np
import polars as pl

from core.calc import counts
from core.calc.faults import Fault
from core.calc.orders import ORDER_KINDS, order_book
from core.calc.pace import Pace
from core.calc.spent import Spent
from core.calc.staffed import Micros, micros
from core.log.store import Log
from core.reading import Reading
from core.setup import Machine
from core.watch import faults_told
from core.window import Window, last_days

#: Weeks looked at, the newest one and those it is compared with.
WEEKS, BEFORE = 13, 4
#: Orders were taken so long before they are due at most.
ORDERS_KEPT = timedelta(weeks=26)


class Quarter:
    """The `WEEKS` times seven days up to the last midnight before `at`, as known then.

    `pace` as of `reading.pace_at`, if kept by the caller. Of a young shop, from its first whole day on.
    """

    def __init__(self, log: Log, at: datetime, pace: Pace | None = None) -> None:
        self.log = log
        self.setup = log.setup()
        self.zone = self.setup.zone
        whole = last_days(at, 7 * WEEKS, self.zone)
        self.end = whole.end
        self.shop = self.setup.shop(self.end)
        first = self._first_midnight(whole.start)
        self.window = Window(min(max(whole.start, first), whole.end), whole.end)
        self.week = last_days(at, 7, self.zone)
        self.machines = self.setup.machines(self.end)
        self.read = Reading(log, self.window, self.end, pace)

    def _first_midnight(self, otherwise: datetime) -> datetime:
        span = self.log.span()
        if span is None:
            return otherwise
        days = Window(span.start, max(span.start, self.end)).days(self.zone)
        return days[0].end if days else otherwise

    @cached_property
    def weeks(self) -> list[Window]:
        """Seven days each, the newest last; the oldest may be cut short by the first day of the log."""
        edges = [last_days(self.end, 7 * n, self.zone).start for n in range(WEEKS, 0, -1)]
        cut = [max(edge, self.window.start) for edge in [*edges, self.end]]
        return [Window(a, b) for a, b in zip(cut, cut[1:], strict=False) if a < b]

    @property
    def before(self) -> Window:
        """The weeks the newest one is compared with."""
        mine = self.weeks[-1 - BEFORE : -1] or self.weeks[-1:]
        return Window(mine[0].start, mine[-1].end)

    @cached_property
    def days(self) -> list[Window]:
        """The days of the quarter."""
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
    def by_day(self) -> Spent:
        """The hours of every day."""
        return self.read.spent(self.days)

    @cached_property
    def by_week(self) -> Spent:
        """The hours of every week."""
        return self.read.spent(self.weeks)

    @cached_property
    def removals(self) -> pl.DataFrame:
        """What came off the platforms (`counts.removals`), with the model of its machine, as far as it is announced."""
        rows = counts.removals(self.read.reckoned.gaps)
        rows = rows.filter(pl.col("t").is_between(*self.edges_of(self.window), closed="left"))
        return rows.with_columns(model=self.model_of()).sort("t", "id")

    @cached_property
    def due(self) -> pl.DataFrame:
        """Orders due in the quarter: order, product, quantity, due, left (microseconds; null: not yet), kept, earliest first.

        An order packed whole counts as left where nobody noted that it was shipped.
        """
        known = Window(self.window.start - ORDERS_KEPT, self.end)
        rows = order_book(self.log.entries_of(ORDER_KINDS, known, self.end))
        left = pl.coalesce("shipped", "over")
        mine = rows.filter(pl.col("due").is_between(*self.edges_of(self.window), closed="left"))
        kept = (left <= pl.col("due")).fill_null(value=False)
        return mine.select("order", "product", "quantity", "due", left=left, kept=kept).sort("due", "order")

    def model_of(self) -> pl.Expr:
        """The model of column `machine`, as at the end."""
        models = {row.machine: row.model for row in self.setup.all(Machine, self.end)}
        return pl.col("machine").replace_strict(models, default=None, return_dtype=pl.String)

    @cached_property
    def faults(self) -> list[Fault]:
        """The faults told of, oldest first."""
        return faults_told(self.log, self.window, self.end)

    @cached_property
    def printed(self) -> pl.DataFrame:
        """Hours printed by machine and day: machine, window, best; proving prints too."""
        rows = self.by_day.rows.filter(pl.col("state").is_in(["printing", "proving"]))
        return rows.group_by("machine", "window").agg(pl.col("best").sum()).sort("machine", "window")

    @staticmethod
    def edges_of(window: Window) -> tuple[int, int]:
        """Start and end in microseconds."""
        return micros(window.start), micros(window.end)

    @staticmethod
    def edges(windows: list[Window]) -> Micros:
        """Where consecutive windows begin, and where the last one ends (microseconds)."""
        return np.array([micros(w.start) for w in windows] + [micros(windows[-1].end)], dtype=np.int64)
