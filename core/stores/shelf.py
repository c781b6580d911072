"""The shelf: what is there of everything bought, what is on order, and what was used week by week.

A count is the truth at its moment; between two counts what came in less what is left was used. After the last
count what people noted taking is taken off, or else what is usually used. The book never goes below nothing: where
it would, or where two counts contradict what came in, it says that a count or a delivery is missing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import compress

import numpy as np
import polars as pl

from core.arrays import Numbers
from core.epoch import WEEK
from core.estimate import NINETY, Estimate
from core.setup import Item, Material
from core.stores.deliveries import LEAD_PRIOR, LeadLaw, StockOrder, Story, delivered
from core.timeline.facts import SPARES_USED

#: A spool with so much of a full one on it came from the shelf of new ones.
NEARLY_FULL = 0.95
#: A count that shows so much of what is on order, more than was there, shows a delivery that nobody noted.
SHOWN = 0.5


@dataclass(frozen=True, slots=True)
class Move:
    """Something that happened to an item: at (microseconds), what ("counted", "ordered", "received", "taken"),
    how much, for an order when it is expected (or None), and the id of the entry that told of it.
    """

    at: int
    what: str
    quantity: float
    expected: int | None = None
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Stock:
    """An item at a moment.

    `on_hand` in units, None before the first count; `orders` still to come; `doubt`: why the book cannot be right
    ("below nothing", "more than came in"), or None. `uses` are spans (from, to, quantity used; microseconds) of which
    the use is known. `leads` are days from orders to deliveries. `unnoted` are orders that must have come, for a
    count was made long after they were due: nobody noted when.
    """

    on_hand: Estimate | None
    counted_at: int | None
    orders: tuple[StockOrder, ...]
    doubt: str | None
    uses: tuple[tuple[int, int, float], ...]
    leads: tuple[float, ...]
    unnoted: tuple[StockOrder, ...] = ()

    @property
    def on_order(self) -> float:
        """Units still to come."""
        return math.fsum(order.quantity for order in self.orders)


@dataclass
class _Book:
    """What is known of one item, told in order; the likeliest of its `stories` of orders and deliveries first."""

    stories: list[Story]
    level: float | None = None
    counted_at: int | None = None
    came: float = 0.0
    took: float = 0.0
    takes: list[tuple[int, float]] = field(default_factory=list)
    uses: list[tuple[int, int, float]] = field(default_factory=list)
    doubt: str | None = None

    def tell(self, move: Move) -> None:
        """Take one move into the book."""
        getattr(self, f"_{move.what}")(move)

    def _ordered(self, move: Move) -> None:
        order = StockOrder(move.at, move.quantity, move.expected)
        self.stories = [story.ordered(order) for story in self.stories]

    def _received(self, move: Move) -> None:
        self.came += move.quantity
        self.stories = delivered(self.stories, move.quantity, move.at)

    def _taken(self, move: Move) -> None:
        self.took += move.quantity
        self.takes.append((move.at, move.quantity))

    def _counted(self, move: Move) -> None:
        """What was used since the last count; a delivery that must have come unnoted is one of those on order."""
        self.doubt = None
        if self.level is not None and self.counted_at is not None:
            used = self.level + self.came - move.quantity
            waiting = self.stories[0].open[0].quantity if self.stories[0].open else 0.0
            if waiting and used < self.took - SHOWN * waiting:
                self.stories = [self.stories[0].came_unnoted(1)]
                used += waiting
            if used < 0:
                self.doubt = "more than came in"
            else:
                self.uses += _spread(self.counted_at, move.at, used, self.takes)
        self.level, self.counted_at = move.quantity, move.at
        self.came, self.took, self.takes = 0.0, 0.0, []

    def stock(self, at: int, weekly: float) -> Stock:
        """The item at `at`, of which so much is usually used in a week where nobody notes what is taken."""
        on_hand, doubt = None, self.doubt
        if self.level is not None and self.counted_at is not None:
            weeks = (at - self.counted_at) / WEEK
            usual = 0.0 if self.took else weekly * weeks
            rest = self.level + self.came - max(self.took, usual)
            spread = 0.0 if self.took or not usual else NINETY * math.sqrt(usual)
            doubt = "below nothing" if self.took > self.level + self.came else doubt
            best = max(rest, 0.0)
            on_hand = Estimate(low=max(best - spread, 0.0), best=best, high=best + spread)
        uses = (*self.uses, *_after(self.counted_at, at, self.takes))
        story = self.stories[0]
        there = [self.counted_at is not None and story.overdue(o, self.counted_at) for o in story.open]
        coming, unnoted = (tuple(compress(story.open, flags)) for flags in ([not f for f in there], there))
        return Stock(on_hand, self.counted_at, coming, doubt, uses, story.leads, unnoted)


def _spread(start: int, end: int, used: float, takes: Sequence[tuple[int, float]]) -> list[tuple[int, int, float]]:
    """What was used between two counts, when people noted taking it or else evenly."""
    noted = math.fsum(quantity for _, quantity in takes) if takes else 0.0
    if not noted or end <= start:
        return [(start, max(end, start + 1), used)]
    # Days between the takes are known to have used nothing: one span a take, from the one before it.
    edges = [start, *(at for at, _ in takes[:-1]), end]
    shares = [quantity / noted for _, quantity in takes]
    return [(a, max(b, a + 1), used * share) for a, b, share in zip(edges, edges[1:], shares, strict=False)]


def _after(start: int | None, at: int, takes: Sequence[tuple[int, float]]) -> list[tuple[int, int, float]]:
    """What people noted taking since the last count, or since they first did."""
    begin = start if start is not None else takes[0][0] if takes else at
    used = math.fsum(quantity for moment, quantity in takes if start is not None or moment > begin)
    return [(begin, max(at, begin + 1), used)] if used else []


def moves(entries: pl.DataFrame, items: dict[str, Item]) -> dict[str, list[Move]]:
    """What happened to each item, in order, from entries of stock, spools, upkeep and repairs."""
    rows = entries.with_columns(pl.col("at", "expected").dt.epoch("us"))
    told = pl.concat([_noted(rows), _full_spools(rows, items), _used(rows)]).sort("at", "id")
    found: dict[str, list[Move]] = {code: [] for code in items}
    for entry, code, at, what, quantity, expected in told.select(_MOVES).iter_rows():
        if code in found:
            found[code].append(Move(at, what, quantity, expected, entry))
    return found


def _noted(rows: pl.DataFrame) -> pl.DataFrame:
    """Counts, orders and deliveries."""
    mine = rows.filter(pl.col("kind").is_in(list(_STOCK)))
    what = pl.col("kind").replace_strict(_STOCK, return_dtype=pl.String)
    return mine.select("id", "item", "at", what.alias("what"), "quantity", "expected").select(_MOVES)


def _full_spools(rows: pl.DataFrame, items: dict[str, Item]) -> pl.DataFrame:
    """Full spools fitted were taken from the shelf; part-spools were not."""
    packs = {code: item.pack for code, item in items.items() if isinstance(item, Material)}
    pack = pl.col("material").replace_strict(packs, default=None, return_dtype=pl.Float64)
    mine = rows.filter((pl.col("kind") == "SpoolFitted") & (pl.col("grams") >= NEARLY_FULL * pack))
    told = {"item": pl.col("material"), "what": pl.lit("taken"), "quantity": pack, "expected": _NEVER}
    return mine.select("id", "at", **told).select(_MOVES)


def _used(rows: pl.DataFrame) -> pl.DataFrame:
    """Spares used in upkeep and repairs, one by one: where a repair names none, the one the machine waited for."""
    kind, before, waited = pl.col("kind"), *(pl.col(name).shift(1).over("machine") for name in ("kind", "spare"))
    repairs = rows.filter(kind.is_in(["WentDown", "CameBack"])).sort("machine", "at", "id")
    awaited = (
        pl.when(before == "WentDown", waited.is_not_null()).then(pl.concat_list(waited)).otherwise(pl.lit([], _CODES))
    )
    named = pl.when(SPARES_USED.list.len() > 0).then(SPARES_USED)
    mended = repairs.with_columns(item=named.otherwise(awaited)).filter(kind == "CameBack")
    upkeep = rows.filter(kind == "UpkeepDone").with_columns(item=SPARES_USED)
    each = pl.concat([upkeep, mended]).explode("item", empty_as_null=False)
    one = {"quantity": pl.lit(1.0), "what": pl.lit("taken"), "expected": _NEVER}
    return each.select("id", "at", "item", **one).select(_MOVES)


_MOVES = ["id", "item", "at", "what", "quantity", "expected"]
_NEVER = pl.lit(None, pl.Int64)
_CODES = pl.List(pl.String)
_STOCK = {"StockCounted": "counted", "StockOrdered": "ordered", "StockReceived": "received"}
#: The kinds of entry that tell of the shelf.
KINDS = (*_STOCK, "SpoolFitted", "UpkeepDone", "WentDown", "CameBack")


def stock(told: Sequence[Move], at: int, lead: LeadLaw) -> Stock:
    """One item at `at` (microseconds), from all that happened to it by then; `lead` is what the owner says of it."""
    book = _Book([Story(lead)])
    for move in told:
        book.tell(move)
    weeks = math.fsum(b - a for a, b, _ in book.uses) / WEEK
    weekly = math.fsum(used for *_, used in book.uses) / weeks if weeks else 0.0
    return book.stock(at, weekly)


def weekly_use(stocks: Sequence[Stock], at: int, weeks: int) -> Numbers:
    """Units used [items, weeks] in the seven-day weeks that end at `at`; NaN where less than half a week is known."""
    edges = at - WEEK * np.arange(weeks, -1, -1)
    found = np.full((len(stocks), weeks), np.nan)
    for place, one in enumerate(stocks):
        if not one.uses:
            continue
        starts, ends, used = (np.array(column, dtype=float) for column in zip(*one.uses, strict=True))
        overlap = np.minimum(ends[:, None], edges[1:]) - np.maximum(starts[:, None], edges[:-1])
        share = np.maximum(overlap, 0.0)
        known = share.sum(axis=0) / WEEK
        amount = (used[:, None] * share / (ends - starts)[:, None]).sum(axis=0)
        enough = known >= 0.5
        found[place, enough] = amount[enough] / np.minimum(known[enough], 1.0)
    return found


def lead_time(days: Sequence[float], usual: float, spread: float) -> tuple[float, float]:
    """Mean and standard deviation (days) of what deliveries took, drawn toward what the owner says."""
    n = len(days)
    mean = (math.fsum(days) + LEAD_PRIOR * usual) / (n + LEAD_PRIOR)
    apart = math.fsum((d - mean) ** 2 for d in days) + LEAD_PRIOR * (spread**2 + (usual - mean) ** 2)
    return mean, math.sqrt(apart / (n + LEAD_PRIOR))
