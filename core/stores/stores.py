"""The shelf as the owner asks about it: what is there, what to order today, and why the levels are where they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from core.arrays import Numbers
from core.epoch import DAY, WEEK, instant, micros
from core.habits.learned import Learned
from core.habits.usage import SPOOL_MINUTES
from core.log.store import Log
from core.orders import ORDERS_KEPT
from core.reading.reading import faults_told
from core.setup import Item, Machine, Material, Setup, Shop, Spare
from core.statistics.forecasts import PAST, Forecast, forecast
from core.stores import booked, shelf
from core.stores.amounts import chance_short
from core.stores.deliveries import LeadLaw, StockOrder
from core.stores.shelf import Stock
from core.stores.stocking import Levels, StockTimes, Terms, levels, to_order, weeks_left
from core.stores.types import Ordered, OrderNow, SpoolChanges, StockMove, Stored, Stores, WhyMoved
from core.window import Window

#: Weeks ahead that are told.
AHEAD = 26
#: The use of so many weeks to come is the rate that items are ordered by.
SOON = 4
#: Weeks that spool changes are counted over, and the net grams of a heavy spool.
LATELY, HEAVY_SPOOL = 4, 3000.0
#: So many of an item's newest moves are told.
MOVES = 30
#: Levels are compared with those of so many weeks ago, and a change of less than this share is none.
BEFORE, MOVED = 8, 0.1


@dataclass(frozen=True)
class StockPlan:
    """Forecast and levels of all items, as known at one moment: `use` [items, weeks], `leads` [items, mean and spread]
    in days, `rate` a week.
    """

    use: Numbers
    leads: Numbers
    told: Forecast
    rate: Numbers
    found: Levels


def stores(log: Log, at: datetime) -> Stores:
    """Every item on the shelf as it stands at `at`."""
    setup = log.setup()
    shop, items, now = setup.shop(at), setup.items(at), micros(at)
    entries = log.entries_of(list(shelf.KINDS), Window(at - timedelta(weeks=PAST), at + timedelta(microseconds=1)), at)
    moves = shelf.moves(entries, items)
    rows = list(items.values())
    said = [LeadLaw.said(row.lead_days, row.lead_spread) for row in rows]
    stocks = [shelf.stock(told, now, lead) for told, lead in zip(moves.values(), said, strict=True)]
    terms = _terms(rows, shop)
    use = shelf.weekly_use(stocks, now, PAST)
    plan = _plan(use, stocks, rows, shop, terms, _booked(log, setup, at, list(items)))
    before = _plan(use[:, :-BEFORE], stocks, rows, shop, terms, np.zeros((len(rows), AHEAD)))
    have = np.array([s.on_hand.best if s.on_hand else np.nan for s in stocks])
    waits, kept = waited_for(log, at)
    # What is for machines that are down is on the shelf for nobody else.
    position = have + np.array([s.on_order for s in stocks]) - np.array([kept[code] for code in items])
    packs = to_order(position, plan.found, terms)
    chance = _runs_out_first(plan, stocks, have, now)
    last = weeks_left(position, plan.found.min, plan.told.weekly)
    found = []
    for place, (code, row) in enumerate(items.items()):
        line = _Line(row, stocks[place], plan, place, at, shop.review_days)
        told = line.told(int(packs[place]), float(chance[place]), float(last[place]))
        why, lately = _why(plan, before, place, row), _moves(moves[code])
        found.append(Stored(item=code, moved=why, moves=lately, waiting=waits[code], **told))
    return Stores(at=at, items=found, changes=_changes(moves, items, now))


def spares_out(log: Log, at: datetime) -> set[str]:
    """The spares of which none is on the shelf by the last count, but for those that are for machines that are down."""
    spares = {code: item for code, item in log.setup().items(at).items() if isinstance(item, Spare)}
    window = Window(at - timedelta(weeks=PAST), at + timedelta(microseconds=1))
    kinds = [kind for kind in shelf.KINDS if kind != "SpoolFitted"]
    moves, (_, kept) = shelf.moves(log.entries_of(kinds, window, at), dict(spares)), waited_for(log, at)
    found = set()
    for code, row in spares.items():
        have = shelf.stock(moves[code], micros(at), LeadLaw.said(row.lead_days, row.lead_spread)).on_hand
        if have and have.best - kept[code] < 1:
            found.add(code)
    return found


def waited_for(log: Log, at: datetime) -> tuple[Counter[str], Counter[str]]:
    """How many machines wait for each spare, and for how many it is kept: those that wait, and those whose spare came
    and is not in yet.
    """
    setup, now = log.setup(), Window(at, at)
    gone = {row.machine for row in setup.all(Machine, at) if not row.in_service}
    told = faults_told(log.machine_entries(now, at), setup, now, at, Learned())
    down = [(one.spare, one.waits) for one in told if one.spare and not one.over and one.machine not in gone]
    return Counter(spare for spare, waits in down if waits), Counter(spare for spare, _ in down)


def _changes(moves: dict[str, list[shelf.Move]], items: dict[str, Item], now: int) -> SpoolChanges:
    """What changing full spools took lately; a spool three times as heavy is changed a third as often."""
    since = now - LATELY * WEEK
    full = [
        row.pack for code, row in items.items() if isinstance(row, Material)
        for move in moves[code] if move.what == "taken" and move.at > since
    ]  # fmt: skip
    hours = SPOOL_MINUTES / 60 / LATELY
    heavy = hours * sum(min(pack / HEAVY_SPOOL, 1.0) for pack in full)
    return SpoolChanges(
        a_week=len(full) / LATELY, minutes_each=SPOOL_MINUTES, hours=hours * len(full), hours_heavy=heavy
    )


def order_now(found: Stores) -> list[OrderNow]:
    """What must be ordered today, the likeliest to run out first."""
    lines = [
        OrderNow(
            item=s.item, name=s.name, packs=s.packs_to_order, pack=s.pack, unit=s.unit,
            on_hand=s.on_hand.best, on_order=sum(order.quantity for order in s.orders),
            days_of_cover=s.days_of_cover, runs_out_first=s.runs_out_first, waiting=s.waiting,
        )
        for s in found.items if s.packs_to_order and s.on_hand
    ]  # fmt: skip
    return sorted(
        lines, key=lambda x: (-x.waiting, -(x.runs_out_first or 0.0), x.days_of_cover or 0.0, x.item)
    )  # fmt: skip


def _terms(rows: Sequence[Item], shop: Shop) -> Terms:
    def column(values: Sequence[float | None]) -> Numbers:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    return Terms(
        price=column([row.price / row.pack if row.price is not None else None for row in rows]),
        pack=column([row.pack for row in rows]),
        least_packs=column([row.least_packs for row in rows]),
        service=column([row.service for row in rows]),
        order_cost=np.full(len(rows), shop.order_cost),
        holding=np.full(len(rows), shop.holding),
        pinned_min=column([row.pinned_min for row in rows]),
        pinned_max=column([row.pinned_max for row in rows]),
    )


def _booked(log: Log, setup: Setup, at: datetime, codes: Sequence[str]) -> Numbers:
    """What the orders on the book need of every item [items, AHEAD]: they use material alone."""
    window = Window(at - timedelta(weeks=ORDERS_KEPT), at + timedelta(microseconds=1))
    orders = booked.open_orders(log.entries_of(list(booked.KINDS), window, at), setup)
    grams = booked.grams_booked(orders, setup, at, AHEAD)
    return np.array([grams.get(code, np.zeros(AHEAD)) for code in codes]).reshape(len(codes), AHEAD)


def _plan(
    use: Numbers, stocks: Sequence[Stock], rows: Sequence[Item], shop: Shop, terms: Terms, orders: Numbers
) -> StockPlan:
    """`orders` [items, AHEAD] are on the book: no less than these will be used."""
    leads = np.array([
        shelf.lead_time(s.leads, row.lead_days, row.lead_spread) for s, row in zip(stocks, rows, strict=True)
    ]).reshape(-1, 2)  # fmt: skip
    times = StockTimes(leads[:, 0] / 7, leads[:, 1] / 7, np.full(len(rows), shop.review_days / 7))
    groups = np.array([isinstance(row, Spare) for row in rows], dtype=np.int64)
    told = forecast(use, times.bridge, groups, AHEAD)
    more = np.maximum(orders - np.nan_to_num(told.weekly), 0.0)
    told = replace(told, weekly=told.weekly + more, total=told.total + _within(times.bridge, more))
    rate = told.weekly[:, :SOON].mean(axis=1)
    return StockPlan(use, leads, told, rate, levels(told.total, told.sd, rate, times, terms))


def _runs_out_first(plan: StockPlan, stocks: Sequence[Stock], have: Numbers, now: int) -> Numbers:
    """The chance that each item runs out before a delivery ordered now would come [items]."""
    if not stocks:
        return np.zeros(0)
    stretches = [
        (place, have[place] + came, days / 7)
        for place, stock in enumerate(stocks) for came, days in _stretches(stock, float(plan.leads[place, 0]), now)
    ]  # fmt: skip
    item, there, weeks = (np.array(column) for column in zip(*stretches, strict=True))
    total, (lead, spread) = plan.told.total[item], plan.leads[item].T / 7
    need = _within(weeks, plan.told.weekly[item])
    # Doubts are those of the whole time, shared out as those of independent weeks are.
    share = np.divide(need, total, out=np.ones_like(need), where=total > 0)
    apart = np.sqrt(plan.told.sd[item] ** 2 * share + (plan.rate[item] * spread) ** 2 * weeks / lead)
    found = np.full(len(stocks), np.nan)
    np.fmax.at(found, item, chance_short(there, need, apart))
    return found


def _stretches(stock: Stock, days: float, now: int) -> Iterator[tuple[float, float]]:
    """What has come by then, and how many days it and what is there must last: to each arrival, and to a delivery
    ordered now. What is on order helps only from when it is due.
    """
    came = 0.0
    for due, quantity in sorted((max(_due(order, days) - now, 0) / DAY, order.quantity) for order in stock.orders):
        if due < days:
            yield came, due
            came += quantity
    yield came, days


def _within(weeks: Numbers, weekly: Numbers) -> Numbers:
    """How much of `weekly` [items, AHEAD] falls within so many weeks [items]."""
    return np.asarray((weekly * np.clip(weeks[:, None] - np.arange(AHEAD), 0.0, 1.0)).sum(axis=1))


def _due(order: StockOrder, days: float) -> int:
    """When an order should be there, in a shop whose deliveries take so many days."""
    return order.expected or order.at + round(days * DAY)


def _why(plan: StockPlan, before: StockPlan, place: int, row: Item) -> WhyMoved | None:
    """Why min moved since `BEFORE` weeks ago; None where it did not, or is the owner's own."""
    now, then = plan.found.min[place], before.found.min[place]
    if row.pinned_min is not None or not then > 0 or not abs(now / then - 1) > MOVED:
        return None
    rates = [p.told.total[place] for p in (before, plan)]
    season = "season" in plan.told.method[place]
    used = rates[1] / rates[0] if rates[0] else np.inf
    doubts = [p.told.sd[place] / p.told.total[place] if p.told.total[place] else 0.0 for p in (before, plan)]
    by_use = abs(np.log(max(used, 1e-6))) >= abs(np.log(max(doubts[1], 1e-6) / max(doubts[0], 1e-6))) / 2
    reason = ("season" if season else "use") if by_use else "doubt"
    return WhyMoved(before=float(then), reason=reason, change=float(used - 1) if by_use else 0.0)  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Line:
    """One item of the plan."""

    row: Item
    stock: Stock
    plan: StockPlan
    place: int
    at: datetime
    review_days: float

    def told(self, packs: int, chance: float, weeks: float) -> dict[str, Any]:
        """The fields of `Stored` that come from the plan and the book."""
        row, stock, place, told = self.row, self.stock, self.place, self.plan.told
        weekly, have = _known(float(self.plan.rate[place])), stock.on_hand
        return {
            "name": row.name, "kind": type(row).__name__.lower(), "unit": row.unit, "pack": row.pack,
            "price": row.price, "service": row.service,
            "on_hand": have, "counted_at": instant(stock.counted_at) if stock.counted_at is not None else None,
            "orders": self._ordered(stock.orders), "unnoted": self._ordered(stock.unnoted), "doubt": stock.doubt,
            "min": _known(self.plan.found.min[place]), "max": _known(self.plan.found.max[place]),
            "rule": self.plan.found.rule[place], "review_days": self.review_days, "method": told.method[place],
            "short_history": bool(told.short[place]), "weekly": weekly,
            "days_of_cover": 7 * have.best / weekly if have and weekly else None,
            "lead_days": float(self.plan.leads[place, 0]), "lead_spread": float(self.plan.leads[place, 1]),
            "deliveries": len(stock.leads), "packs_to_order": packs,
            "order_by": self.at + timedelta(weeks=weeks) if np.isfinite(weeks) else None,
            "runs_out_first": _known(chance), "used": self._used(),
            "expected": [] if weekly is None else [float(v) for v in told.weekly[place]],
        }  # fmt: skip

    def _ordered(self, orders: Sequence[StockOrder]) -> list[Ordered]:
        usual = round(self.plan.leads[self.place, 0] * DAY)
        return [
            Ordered(at=instant(o.at), quantity=o.quantity, expected=instant(o.expected or o.at + usual)) for o in orders
        ]

    def _used(self) -> list[float | None]:
        """The weeks from the first of which anything is known."""
        use = self.plan.use[self.place]
        known = ~np.isnan(use)
        return [_known(float(v)) for v in use[known.argmax() :]] if known.any() else []


def _moves(told: Sequence[shelf.Move]) -> list[StockMove]:
    newest = [move for move in told if move.what != "taken"][-MOVES:]
    # Pydantic reads an id three times as fast as `UUID` does.
    return [StockMove(entry=m.entry, at=instant(m.at), what=m.what, quantity=m.quantity) for m in newest]  # type: ignore[arg-type]


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
