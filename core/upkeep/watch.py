"""One long look at the room: what its machines printed week by week, what failed, and what upkeep was done."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from functools import cached_property
from itertools import pairwise

import numpy as np
import polars as pl

from core.arrays import Micros
from core.epoch import HOUR, instant, micros
from core.estimate import NINETY
from core.habits.learned import Learned
from core.hours.printed_hours import PrintedHours
from core.log.store import Log
from core.reading.reading import Reading, faults_told
from core.setup import Machine, Model, PrintFile, Setup
from core.timeline.facts import SPARES_USED
from core.timeline.faults import Fault
from core.window import Window, last_midnight

#: A fault told within so many hours of a stopped print is why it stopped.
SAME = 2
#: Weeks looked back at: a year.
WEEKS = 52


def printed_before(log: Log, midnight: datetime, learned: Learned) -> PrintedHours:
    """Hours that every machine printed in the weeks before a midnight, proving prints too, as known by then.

    They need the stories of a year replayed, so a caller who asks often keeps them for the day.
    """
    weeks = min(WEEKS, weeks_known(log, midnight))
    edges = [midnight - timedelta(weeks=n) for n in range(weeks, -1, -1)]
    return _printed(Reading(log, Window(edges[0], midnight), midnight, learned), edges)


def weeks_known(log: Log, midnight: datetime) -> int:
    """How many weeks before a midnight the log tells of, one at least."""
    span = log.span()
    known = (midnight - span.start) / timedelta(weeks=1) if span else 0.0
    return max(math.ceil(known), 1)


def _printed(read: Reading, edges: Sequence[datetime]) -> PrintedHours:
    """Hours that every machine in service at the end printed between the edges."""
    spent = read.state_hours([Window(*pair) for pair in pairwise(edges)])
    rows = spent.of(pl.col("state").is_in(["printing", "proving"])).by("machine", "window")
    codes = [machine.machine for machine in read.setup.machines(read.at)]
    best, sd = np.zeros((2, len(codes), len(edges) - 1))
    places = {code: place for place, code in enumerate(codes)}
    for machine, window, hours, low, high in rows.select("machine", "window", "best", "low", "high").iter_rows():
        if machine in places:
            best[places[machine], window] = hours
            sd[places[machine], window] = (high - low) / 2 / NINETY
    return PrintedHours(codes, np.array([micros(edge) for edge in edges]), best, sd)


class Watch:
    """The weeks before the last midnight, as far as there are entries, and the hours since, until `at`.

    `learned` as of `reading.learned_at` and `before` as of `printed_before`, both of that midnight, if kept.
    """

    def __init__(
        self, log: Log, at: datetime, learned: Learned | None = None, before: PrintedHours | None = None
    ) -> None:
        self.log, self.at, self.now = log, at, micros(at)
        self.setup = log.setup()
        self.shop = self.setup.shop(at)
        self.machines = self.setup.machines(at)
        self.midnight = instant(int(before.edges[-1])) if before else last_midnight(at, self.setup.zone)
        self.weeks = min(WEEKS, weeks_known(log, self.midnight))
        self.window = Window(self.midnight - timedelta(weeks=self.weeks), at)
        self.today = Reading(log, Window(self.midnight, at), at, learned)
        self._before = before

    @cached_property
    def printed(self) -> PrintedHours:
        """Hours that every machine printed in every week before midnight, and since."""
        before = self._before or printed_before(self.log, self.midnight, self.today.learned)
        return before.followed_by(_printed(self.today, [self.midnight, self.at]))

    @cached_property
    def faults(self) -> list[Fault]:
        """The faults of machines in service that began in these weeks or were not over then, oldest first."""
        mine = {machine.machine for machine in self.machines}
        told = faults_told(self._entries, self.setup, self.window, self.at, self.today.learned)
        return [fault for fault in told if fault.machine in mine]

    @cached_property
    def stops(self) -> list[tuple[str, int]]:
        """The prints that stopped without a fault being told of it: machine and moment (microseconds)."""
        rows = self._removals.filter(pl.col("ended") == "stopped")
        told = rows.select("machine", t=pl.col("at").dt.epoch("us")).iter_rows()
        began = {(fault.machine, fault.began) for fault in self.faults}
        near = {machine: np.array([t for m, t in began if m == machine]) for machine, _ in began}
        return [
            (machine, t) for machine, t in told
            if machine not in near or np.abs(near[machine] - t).min() > SAME * HOUR
        ]  # fmt: skip

    @cached_property
    def begun(self) -> pl.DataFrame:
        """The prints whose start was noted: machine, file, start and end (microseconds), by machine and start. One ends
        by what its file states, or where the next one starts.
        """
        rows = self._entries.filter(pl.col("kind") == "PrintStarted").sort("machine", "at", "id")
        said = {(file.file, file.revision): file.hours for file in self.setup.history(PrintFile)}
        hours = pl.Series([said[named] for named in rows.select("file", "revision").iter_rows()], dtype=pl.Float64)
        start = pl.col("at").dt.epoch("us")
        takes = (hours * HOUR).cast(pl.Int64)
        end = pl.min_horizontal(start + takes, start.shift(-1).over("machine"))
        return rows.select("machine", "file", start=start, end=end)

    @cached_property
    def upkeep(self) -> pl.DataFrame:
        """The upkeep that was done (`upkeep_told`)."""
        return upkeep_told(self._entries, self.window)

    @cached_property
    def done(self) -> dict[tuple[str, str], datetime]:
        """When each task was done last at each machine."""
        rows = self.upkeep.group_by("machine", "task").agg(pl.col("at").max())
        return {(machine, task): at for machine, task, at in rows.iter_rows()}

    def removals(self, machine: str, since: datetime) -> int:
        """How often somebody noted since then that parts came off a machine."""
        told = self._removed.get(machine)
        return 0 if told is None else len(told) - int(np.searchsorted(told, micros(since), side="right"))

    @cached_property
    def _removed(self) -> dict[str, Micros]:
        rows = self._removals.group_by("machine").agg(t=pl.col("at").dt.epoch("us").sort())
        return {machine: np.array(t, dtype=np.int64) for machine, t in rows.iter_rows()}

    @cached_property
    def _removals(self) -> pl.DataFrame:
        return within(self._entries, self.window).filter(pl.col("kind") == "PartsOff")

    @cached_property
    def _entries(self) -> pl.DataFrame:
        return self.log.machine_entries(self.window, self.at)

    def cost(self, hours: Iterable[tuple[str, float]]) -> float | None:
        """What it cost that machines were out for so many `hours`; None where an hour of one of them has no price."""
        prices = hour_costs(self.setup, self.at)
        each = [(prices.get(machine), lost) for machine, lost in hours]
        known = [price * lost for price, lost in each if price is not None]
        return math.fsum(known) if len(known) == len(each) and known else None

    def since(self, machine: str) -> datetime:
        """When the watch of a machine begins: with the window, or with its service."""
        rows = [row.since for row in self.setup.history(Machine) if row.machine == machine]
        return max(self.window.start, min(rows, default=self.window.start))


def hour_costs(setup: Setup, at: datetime) -> dict[str, float]:
    """What an hour without each machine costs, of those whose model has a price for it."""
    models = {row.model: row.hour_cost for row in setup.all(Model, at)}
    prices = {machine.machine: models.get(machine.model) for machine in setup.machines(at)}
    return {machine: price for machine, price in prices.items() if price is not None}


def within(entries: pl.DataFrame, window: Window) -> pl.DataFrame:
    """The entries that happened in the window, oldest first."""
    return entries.filter(pl.col("at").is_between(window.start, window.end, closed="left")).sort("at", "id")


def upkeep_told(entries: pl.DataFrame, window: Window) -> pl.DataFrame:
    """The upkeep among entries, done in the window: machine, task, at, minutes, spares (a list); oldest first."""
    rows = within(entries, window).filter(pl.col("kind") == "UpkeepDone")
    return rows.select("machine", "task", "at", "minutes", spares=SPARES_USED)


def spares_fitted(faults: Iterable[Fault], upkeep: pl.DataFrame) -> list[tuple[str, datetime, str]]:
    """The spares that went into machines, in upkeep and in repairs that are over: machine, when and which; by time."""
    used = upkeep.explode("spares", empty_as_null=False).select("machine", "at", "spares").iter_rows()
    mended = ((one.machine, instant(one.ended), spare) for one in faults for spare in one.fitted)
    return sorted([*used, *mended], key=lambda one: (one[1], one[0]))
