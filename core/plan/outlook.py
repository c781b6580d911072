"""The shop played forward: one read of it, put together for `core.plan.forward`, and what comes of its orders."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np
import polars as pl

from core import orders
from core.arrays import Numbers
from core.epoch import HOUR, WEEK, WEEK_HOURS, micros
from core.habits.habits import in_rush
from core.habits.learned import Learned
from core.log.store import Log
from core.orders import ORDER_KINDS, ORDERS_KEPT, Cover
from core.plan import room
from core.plan.choosing import Habit
from core.plan.forward import Played, play
from core.plan.laws import DOWN, EMPTY, PRINTED, STATES, WAITED, HandsClock, Laws, Now, Preferences, Wanted, Work
from core.plan.present import Ways, as_it_is
from core.plan.promises import Asked, Coming, coming, leaves, wanted_later
from core.plan.types import PLAYS
from core.reading.reading import Reading
from core.setup import Product, Setup, is_for
from core.staffed import Staffed, staffed_spells
from core.timeline.counts import removals, starts
from core.window import Window

#: Days of the past that the room is judged by, weeks of orders that tell of those to come, weeks that are played.
PAST_DAYS, ORDER_WEEKS, AHEAD_WEEKS = 28, 8, 8
#: Replications of the pilots that play the last weeks again, their hours, the weeks before until an empty room has
#: filled, and rounds.
PILOTS, PILOT_HOURS, FILLING, PILOT_ROUNDS = 20, 3 * WEEK_HOURS, 1, 3
#: States of the account that a play does not tell apart.
WAITS, OUT = ("done", "stopped"), ("down", "waiting", "upkeep")


class Outlook:
    """One read of the shop at `at`, played forward when asked."""

    def __init__(self, log: Log, at: datetime, learned: Learned | None = None, weeks: int = AHEAD_WEEKS) -> None:
        self.at, self.now = at, micros(at)
        self.hours = weeks * WEEK_HOURS
        self.read = Reading(log, Window(at - timedelta(days=PAST_DAYS), at), at, learned)
        self.setup, self.shop = self.read.setup, self.read.setup.shop(at)
        files = self.setup.newest_files(at)
        self.machines = [m for m in self.setup.machines(at) if any(is_for(file, m.model) for file in files)]
        self.names = room.named(self.machines, files)
        self.products = {row.product: row for row in self.setup.all(Product, at)}
        self.log = log
        self._entries = log.entries_of(
            [*ORDER_KINDS, "StockCounted"], Window(at - timedelta(weeks=ORDERS_KEPT), at), at
        )
        self.seed = 1

    @cached_property
    def _noted(self) -> pl.DataFrame:
        return orders.order_book(self._entries.filter(pl.col("kind").is_in(ORDER_KINDS)))

    @cached_property
    def book(self) -> pl.DataFrame:
        """All orders of the last months (`orders.order_book`), those that later ones overtook taken as packed."""
        return orders.overtaken(self._noted, self.now)

    def orders_since(self, weeks: int) -> pl.DataFrame:
        """All orders of so many weeks (`orders.order_book`)."""
        window = Window(self.at - timedelta(weeks=weeks), self.at)
        return orders.order_book(self.log.entries_of(list(ORDER_KINDS), window, self.at))

    @cached_property
    def open(self) -> pl.DataFrame:
        """Those that nobody noted as packed, earliest due first."""
        return orders.still_open(self._noted)

    @cached_property
    def good(self) -> dict[str, float]:
        """The good share of the parts of every file (`room.good_shares`)."""
        return room.good_shares(removals(self.read.reckoned.gaps))

    @cached_property
    def cover(self) -> list[Cover]:
        """Finished, running and ordered parts of every product over the past, in the order of `names.products`."""
        habits, good = self.read.learned.habits, self.good
        files = {row.file: (row.product, good.get(row.file, good[""])) for row in self.names.files}
        flows = orders.flows(self.read.reckoned.gaps, files, habits.forgets_start if habits else 0.0)
        return orders.covers(flows, self._entries, self.book, self.names.products, micros(self.read.window.start))

    @cached_property
    def stock(self) -> Numbers:
        """Finished parts of every product."""
        return np.array([one.last_stock for one in self.cover])

    @cached_property
    def clock(self) -> HandsClock:
        """When hands work from now on."""
        return self.staffed(self.at, self.hours)

    def staffed(self, start: datetime, hours: float, setup: Setup | None = None) -> HandsClock:
        """When hands work in so many hours, under another set-up if one is given."""
        window, rows = Window(start, start + timedelta(hours=1.5 * hours)), setup or self.setup
        clock = self.read.learned.hands(Staffed.of(rows, window), rows.zone)
        return room.clock(clock, staffed_spells(rows, window), micros(start), hours)

    @cached_property
    def work(self) -> Work:
        """What can be printed."""
        return room.work(self.names, self.read.learned, self.good)

    @cached_property
    def hours_a_part(self) -> Numbers:
        """Usual hours of printing a good part of each product, its files weighed as they are started."""
        usual, of = np.nanmean(self.work.hours, axis=0) / self.work.parts, self.work.product
        weight = np.exp(self.habit.files) * self.work.parts
        return np.array([np.average(usual[of == p], weights=weight[of == p]) for p in range(self.work.products)])

    @cached_property
    def choice(self) -> Preferences:
        """What hands start from now on."""
        return self.choosing(self.at, self.hours, PLAYS)

    def choosing(
        self, start: datetime, hours: float, draws: int, setup: Setup | None = None, how: Habit | None = None
    ) -> Preferences:  # fmt: skip
        """What hands start in so many hours, under another set-up or with another habit if these are given."""
        around = Staffed.of(setup or self.setup, Window(start, start + timedelta(hours=2 * hours)))
        return room.choice(self.names, how or self.habit, self.work, around, room.moments(micros(start), hours), draws)

    @property
    def laws(self) -> Laws:
        """How the shop works."""
        return self._piloted[0]

    @property
    def habit(self) -> Habit:
        """How hands choose what to start."""
        return self._piloted[1]

    @cached_property
    def _piloted(self) -> tuple[Laws, Habit]:
        """Laws and habit as learned, and so that the last weeks, played again, go as they went."""
        laws, habit = self._learned()
        window = Window(self.at - timedelta(hours=PILOT_HOURS), self.at)
        if (was := self._was(window)) is None:
            return laws, habit
        start, filling = window.start - timedelta(weeks=FILLING), FILLING * WEEK_HOURS
        hours = filling + PILOT_HOURS
        clock, nothing = self.staffed(start, hours), Wanted.nothing(self.work.products)
        now = room.empty(self.names, self.machines, clock, PILOTS)
        for _ in range(PILOT_ROUNDS):
            choice = self.choosing(start, hours, PILOTS, how=habit)
            pilot = play(now, clock, self.work, choice, laws, nothing, hours, self.seed, filling)
            laws = room.paced(laws, was, pilot.per_print)
            habit = room.tilted(habit, self.work, was, pilot.per_print)
        return laws, habit

    def _learned(self) -> tuple[Laws, Habit]:
        done = self.read.entries.filter((pl.col("kind") == "UpkeepDone") & (pl.col("minutes") > 0))
        upkeep = done.height, math.fsum(done["minutes"]) / 60
        gaps = self.read.reckoned.gaps
        laws = room.laws(self.names, self.read.learned, gaps, upkeep, self.shop.change_minutes / 60)
        return laws, room.habit(self.names, gaps, self.work, self.cover, self.read.staffed)

    def _was(self, window: Window) -> Numbers | None:
        """Machine-hours of every state a print went with in the window (`Played.per_print`), proving prints' own hours
        left out; None of none.
        """
        noted = self.read.entries.filter((pl.col("kind") == "PartsOff") & (pl.col("at") >= window.start)).height
        habits = self.read.learned.habits
        if habits is None or not noted:
            return None
        spent, prints, found = self.read.state_hours([window]), noted / (1 - habits.forgets_off), np.zeros(STATES)
        for state, named in ((WAITED, WAITS), (EMPTY, ("empty",)), (DOWN, OUT), (PRINTED, ("printing",))):
            found[state] = spent.of(pl.col("state").is_in(named)).hours / prints
        proving = starts(self.read.reckoned.gaps)["proving"].mean()
        found[PRINTED] /= 1 - (float(proving) if isinstance(proving, float) else 0.0)
        return found

    @cached_property
    def loaded(self) -> dict[str, str | None]:
        """The material that every machine printed last, as far as it is known."""
        rows = self.read.reckoned.gaps.group_by("machine", maintain_order=True).agg(pl.col("loaded").last())
        return dict(rows.iter_rows())

    @cached_property
    def room(self) -> Now:
        """Draws of the room as it is."""
        habits = self.read.learned.habits
        ways = Ways(
            self.names, self.work, self.laws, self.clock, self.now, habits.forgets_start if habits else 0.0
        )  # fmt: skip
        return as_it_is(self.machines, self._standing(), ways, PLAYS, self.seed)

    def _standing(self) -> pl.DataFrame:
        """Where every machine stands, as `present.as_it_is` asks for it."""
        rows, hands = self.read.standing, self.read.learned.hands(self.read.staffed, self.setup.zone)
        since = rows["since"].to_numpy()
        return rows.with_columns(
            loaded=pl.col("machine").replace_strict(self.loaded, default=None, return_dtype=pl.String),
            waited=pl.Series(hands.hours(since, np.full(len(since), self.now)), dtype=pl.Float64),
            rushed=pl.Series(in_rush(since, self.read.staffed), dtype=pl.Boolean),
        )

    @cached_property
    def unpacked(self) -> pl.DataFrame:
        """The open orders, without those that must have been packed though nobody noted it: overdue, and parts for them
        went into orders due later (`orders.overtaken`) or have been there for longer than packing ever took.
        """
        rows, spare = [], dict(zip(self.names.products, self.stock, strict=True))
        for row in orders.still_open(self.book).iter_rows(named=True):
            there = spare.get(row["product"], 0.0)
            over = row["due"] < self.now and row["left"] <= there
            if row["product"] in spare and not (over and self._waits[row["order"]] > self.lags[-1]):
                rows.append(row)
                spare[row["product"]] = max(there - row["left"], 0.0)
        return pl.DataFrame(rows, schema=self.open.schema)

    @cached_property
    def as_packed(self) -> list[str]:
        """The orders noted as open that must have been packed (`unpacked`)."""
        rest = self.open.filter(~pl.col("order").is_in(self.unpacked["order"].to_list()))
        return rest.filter(pl.col("product").is_in(list(self.names.products)))["order"].to_list()

    @cached_property
    def overdue(self) -> pl.DataFrame:
        """The orders that are late and have not left, earliest due first: order, product, quantity, due."""
        rows = self.open.filter((pl.col("due") < self.now) & ~pl.col("order").is_in(self.as_packed))
        return rows.select("order", "product", "quantity", "due")

    @cached_property
    def asked(self) -> list[Asked]:
        """The orders in `unpacked`, as `promises` asks of them."""
        return [
            Asked(self.names.products.index(product), float(left), (due - self.now) / HOUR, self._waits[order])
            for order, product, left, due in self.unpacked.select("order", "product", "left", "due").iter_rows()
        ]

    @cached_property
    def _waits(self) -> dict[str, float]:
        """Hours of hands for which the parts of every open order have been there (`orders.ready`)."""
        packed = orders.packings(self._entries, self.book)
        cover = dict(zip(self.names.products, self.cover, strict=True))
        return {
            row["order"]: orders.ready(row, cover[row["product"]], self.book, packed, self.read.staffed, self.now)
            for row in orders.still_open(self.book).iter_rows(named=True) if row["product"] in cover
        }  # fmt: skip

    @cached_property
    def coming(self) -> Coming:
        """Orders that customers are still to give."""
        since = self.now - ORDER_WEEKS * WEEK
        rows = self.book.filter((pl.col("taken") >= since) & pl.col("product").is_in(list(self.names.products)))
        past = [
            ((due - taken) / HOUR, self.names.products.index(product), float(quantity))
            for product, taken, due, quantity in rows.select("product", "taken", "due", "quantity").iter_rows()
        ]
        first = self.book["taken"].min()
        known = (self.now - max(since, int(first))) / HOUR if isinstance(first, int) else 1.0
        return coming(past, max(known, 24.0), self.hours, PLAYS, self.seed)

    def wanted(self, asked: Sequence[Asked]) -> Wanted:
        """Parts that nobody has started yet, and those customers will ask for."""
        there = np.zeros(len(self.names.products))
        for order in asked:
            there[order.product] += order.parts
        for product, code in enumerate(self.names.products):
            keep = self.products[code].keep if code in self.products else 0
            there[product] += keep - self.stock[product] - self.cover[product].last_running
        return Wanted(there, self._later)

    @cached_property
    def _later(self) -> Numbers:
        return wanted_later(self.coming, self.hours, len(self.names.products))

    @cached_property
    def coming_an_hour(self) -> Numbers:
        """Parts of every product that customers will ask for on average."""
        return np.asarray(self._later[:, -1].mean(axis=0) / self.hours)

    def play(self, asked: Sequence[Asked], tell: Callable[[float], object] | None = None) -> Played:
        """The room played on for these orders; `tell` is called with the share done."""
        wanted = self.wanted(asked)
        return play(
            self.room, self.clock, self.work, self.choice, self.laws, wanted, self.hours, self.seed, tell=tell
        )  # fmt: skip

    @cached_property
    def played(self) -> Played:
        """The room played on for the open orders."""
        return self.play(self.asked)

    @cached_property
    def leaving(self) -> Numbers:
        """When the open orders leave (`leaves`); with none there is nothing to play for."""
        if not self.asked:
            return np.zeros((0, PLAYS))
        return self.leaves(self.asked, self.played)

    @cached_property
    def chances(self) -> list[float]:
        """How likely each of them leaves in time."""
        return [float((hours <= order.due).mean()) for order, hours in zip(self.asked, self.leaving, strict=True)]

    def leaves(self, asked: Sequence[Asked], played: Played) -> Numbers:
        """When these orders leave [orders, replications], hours from now; infinite: beyond what is played."""
        return leaves(asked, self.stock, played, self.coming, self.lags, self.clock, self.seed)

    @cached_property
    def lags(self) -> Numbers:
        """Staffed hours that packing and shipping took of late."""
        lately = self.book.filter(pl.col("taken") >= micros(self.read.window.start))
        cover = dict(zip(self.names.products, self.cover, strict=True))
        return orders.lags(lately, orders.packings(self._entries, self.book), cover, self.read.staffed)
