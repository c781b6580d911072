"""Orders: what is still to come of each, which finished parts there are, and how long packing and shipping takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtr

from core.arrays import Micros, Numbers
from core.epoch import FAR
from core.staffed import Staffed
from core.timeline.counts import removals, starts, uncounted

#: The kinds of entry that tell of orders.
ORDER_KINDS = ("OrderTaken", "OrderPacked", "OrderShipped")
#: How far off finished and running parts are, as a share of them (one standard deviation; found on invented shops).
COUNTED = 0.1
#: Orders taken more than so many weeks ago are not on the book any more.
ORDERS_KEPT = 26
#: Lags of so many orders, learned or else an hour, tell how long packing and shipping takes.
LAGS, USUAL_LAG = 40, 1.0


def order_book(entries: pl.DataFrame) -> pl.DataFrame:
    """A row an order: order, product, quantity, taken, due, packed (parts), over (packed whole or shipped), shipped.

    Moments are microseconds, null where they have not come. An order was taken by when parts of it were packed or it
    was shipped, whatever was noted.
    """
    kind = pl.col("kind")
    rows = entries.filter(pl.col("order").is_not_null()).with_columns(pl.col("at", "due").dt.epoch("us"))
    took = kind == "OrderTaken"
    orders = rows.group_by("order", maintain_order=True).agg(
        product=pl.col("product").filter(took).first(),
        quantity=pl.col("quantity").filter(took).sum(),
        taken=pl.col("at").filter(kind.is_in(ORDER_KINDS)).min(),
        due=pl.col("due").filter(took).first(),
        packed=pl.col("quantity").filter(kind == "OrderPacked").sum(),
        last=pl.col("at").filter(kind == "OrderPacked").max(),
        shipped=pl.col("at").filter(kind == "OrderShipped").min(),
    )
    whole = pl.when(pl.col("packed") >= pl.col("quantity")).then("last")
    known = orders.filter(pl.col("product").is_not_null()).with_columns(over=pl.min_horizontal(whole, "shipped"))
    return known.drop("last")


def still_open(orders: pl.DataFrame) -> pl.DataFrame:
    """The orders neither packed whole nor shipped, earliest due first, with the parts `left` to pack."""
    mine = orders.filter(pl.col("over").is_null()).with_columns(left=pl.col("quantity") - pl.col("packed"))
    return mine.sort("due", "taken", "order")


def overtaken(orders: pl.DataFrame, now: int) -> pl.DataFrame:
    """The book with orders that must have been packed unnoted `over`: overdue, while as many parts of their product
    went into orders due later that were packed since they were taken. They are over from when that was so.
    """
    gone = {}
    for row in still_open(orders).filter(pl.col("due") < now).iter_rows(named=True):
        later = orders.filter(
            pl.col("product") == row["product"], pl.col("due") > row["due"], pl.col("over") > row["taken"]
        ).sort("over", "order")
        enough = later.filter(pl.col("quantity").cum_sum() >= row["left"])
        if enough.height:
            gone[row["order"]] = enough["over"][0]
    unnoted = pl.col("order").replace_strict(gone, default=None, return_dtype=pl.Int64)
    return orders.with_columns(over=pl.coalesce("over", unnoted))


def flows(gaps: pl.DataFrame, files: Mapping[str, tuple[str, float]], unnoted: float) -> pl.DataFrame:
    """How parts came onto machines and off them: product, t (microseconds), stock, running (changes, in parts).

    `files` has the product and the good share of every file. Prints whose parts were never counted gave what is
    usual; the share `unnoted` of starts is not in the log, nor is what those gave.
    """
    begun = starts(gaps).select("file", t="began", stock=pl.lit(0.0), running=pl.col("parts"))
    on = starts(gaps).select("print", "file", running=-pl.col("parts"))
    off = removals(gaps).filter(pl.col("good").is_not_null()).drop("file")
    off = off.join(on, on="print", how="inner", maintain_order="left")
    off = off.select("file", "t", "running", stock="good")
    usual = pl.col("file").replace_strict(
        {file: good for file, (_, good) in files.items()}, default=1.0, return_dtype=pl.Float64
    )
    gone = uncounted(gaps).select("file", t="gone", stock=pl.col("parts") * usual, running=-pl.col("parts"))
    floats = pl.col("stock", "running").cast(pl.Float64)
    rows = pl.concat([frame.with_columns(floats) for frame in (begun, off, gone)], how="diagonal")
    product = pl.col("file").replace_strict(
        {file: of for file, (of, _) in files.items()}, default=None, return_dtype=pl.String
    )
    # A count of what came off tells of the prints that a start announced; the others gave as much each.
    more = pl.when(pl.col("stock") > 0).then(pl.col("stock") / (1 - unnoted)).otherwise("stock")
    return rows.select("t", product.alias("product"), stock=more, running="running").drop_nulls()


@dataclass(frozen=True)
class Cover:
    """A product's parts over time: at moments `t` (microseconds, ascending) there were `stock` finished ones, `running`
    on machines, and orders for `ordered` of them were open. `counted`: somebody counted the finished ones.
    """

    t: Micros
    stock: Numbers
    running: Numbers
    ordered: Numbers
    counted: bool

    @property
    def spare(self) -> Numbers:
        """Parts finished or on machines beyond those ordered."""
        return self.stock + self.running - self.ordered

    @property
    def last_stock(self) -> float:
        """Finished parts now."""
        return float(self.stock[-1]) if len(self.t) else 0.0

    @property
    def last_running(self) -> float:
        """Parts on machines now."""
        return float(self.running[-1]) if len(self.t) else 0.0


def packings(entries: pl.DataFrame, book: pl.DataFrame) -> pl.DataFrame:
    """Parts packed: order, product, t (microseconds), parts. The rest of what was shipped went unnoted by then."""
    noted = entries.filter(pl.col("kind") == "OrderPacked")
    noted = noted.select("order", t=pl.col("at").dt.epoch("us"), parts="quantity")
    rest = book.filter(pl.col("over").is_not_null()).select(
        "order", t="over", parts=(pl.col("quantity") - pl.col("packed")).clip(0)
    )
    both = pl.concat([noted, rest.filter(pl.col("parts") > 0)])
    of = book.select("order", "product")
    return both.join(of, on="order", maintain_order="left").select("order", "product", "t", "parts")


def covers(
    flows: pl.DataFrame, entries: pl.DataFrame, book: pl.DataFrame, products: Sequence[str], since: int
) -> list[Cover]:
    """The cover of every product from `flows` and counts `since` then, and from all orders and their packings."""
    counts = entries.filter(pl.col("kind") == "StockCounted")
    counts = counts.select(t=pl.col("at").dt.epoch("us"), product="item", count="quantity").filter(pl.col("t") >= since)
    taken = book.select("product", t="taken", ordered="quantity")
    packed = packings(entries, book).select(
        "product", "t", ordered=-pl.col("parts"), stock=pl.when(pl.col("t") >= since).then(-pl.col("parts")),
    )  # fmt: skip
    events = pl.concat([flows, counts, taken, packed], how="diagonal").sort("t", maintain_order=True)
    return [_cover(events.filter(pl.col("product") == product)) for product in products]


def _cover(events: pl.DataFrame) -> Cover:
    """The running sums, the finished parts set right by every count; before the first, by that one."""
    change = {name: events[name].fill_null(0.0).to_numpy() if name in events.columns else np.zeros(events.height)
              for name in ("stock", "running", "ordered")}  # fmt: skip
    counts = events["count"].to_numpy() if "count" in events.columns else np.full(events.height, np.nan)
    stock = np.cumsum(change["stock"])
    at = np.flatnonzero(~np.isnan(counts))
    which = np.clip(np.searchsorted(at, np.arange(len(stock)), side="right") - 1, 0, None)
    right = (
        (counts[at] - stock[at])[which] if len(at) else np.full(len(stock), -min(float(stock.min(initial=0.0)), 0.0))
    )
    running, ordered = (np.maximum(np.cumsum(change[name]), 0.0) for name in ("running", "ordered"))
    return Cover(events["t"].to_numpy(), np.maximum(stock + right, 0.0), running, ordered, bool(len(at)))


def wanted_at(cover: Sequence[Cover], moments: Micros) -> Numbers:
    """How likely parts of each product were wanted at each moment [moments, products].

    Nobody knows the parts to the last one: counts are a week old, and taps are missing. Taken as known, they would
    blur how hands answer to what is wanted.
    """
    found = np.zeros((len(moments), len(cover)))
    for place, one in enumerate(cover):
        last = np.searchsorted(one.t, moments, side="left") - 1
        there = np.append(one.stock + one.running, 0.0)[last]
        short = -np.append(one.spare, 0.0)[last] / np.maximum(COUNTED * there, 1.0)
        found[:, place] = np.where(last >= 0, ndtr(short), 0.0)
    return found


def lags(book: pl.DataFrame, packed: pl.DataFrame, covers: Mapping[str, Cover], staffed: Staffed) -> Numbers:
    """Staffed hours from the moment at which an order's parts were there to its shipping, of the newest orders.

    `packed` as `packings`.
    """
    known = pl.col("shipped").is_not_null() & pl.col("product").is_in(list(covers)) & pl.col("over").is_not_null()
    rows = book.filter(known).sort("shipped", "order").tail(LAGS)
    told = [(_ready(covers[row["product"]], row, book, packed), row["shipped"]) for row in rows.iter_rows(named=True)]
    ready, shipped = np.array([one for one in told if one[0] is not None], dtype=np.int64).reshape(-1, 2).T
    return np.sort(staffed.hours(ready, shipped)) if len(ready) else np.full(1, USUAL_LAG)


def ready(
    order: dict[str, Any], cover: Cover, book: pl.DataFrame, packed: pl.DataFrame, staffed: Staffed, now: int
) -> float:
    """Staffed hours for which an open order's parts have been there; 0 where they are not."""
    since = _ready(cover, {**order, "over": now}, book, packed) if len(cover.t) else None
    return float(staffed.hours(np.array([since]), np.array([now]))[0]) if since is not None else 0.0


def _ready(cover: Cover, order: dict[str, Any], book: pl.DataFrame, packed: pl.DataFrame) -> int | None:
    """Since when an order's parts were there without a break until it was packed whole; its own packed parts count, and
    those that orders due earlier wait for do not. None where they were not there for all that is known.
    """
    there = cover.stock + _by(cover.t, packed.filter(pl.col("order") == order["order"]))
    first = book.filter((pl.col("product") == order["product"]) & (pl.col("due") < order["due"]))
    for one in first.iter_rows(named=True):
        open_ = (cover.t >= one["taken"]) & (cover.t < (one["over"] if one["over"] is not None else FAR))
        left = one["quantity"] - _by(cover.t, packed.filter(pl.col("order") == one["order"]))
        there = there - np.where(open_, np.maximum(left, 0.0), 0.0)
    before = np.flatnonzero(cover.t < order["over"])
    # What was there when the order was taken counts from then.
    waits = before[np.append(cover.t[before[1:]] > order["taken"], True)] if len(before) else before
    short = waits[there[waits] < order["quantity"]]
    if not len(short):
        return int(order["taken"])
    return int(cover.t[short[-1] + 1]) if short[-1] < waits[-1] else None


def _by(moments: Micros, packed: pl.DataFrame) -> Numbers:
    """Parts packed by each moment."""
    mine = packed.sort("t")
    own = np.concatenate([[0.0], np.cumsum(mine["parts"].to_numpy())])
    return np.asarray(own[np.searchsorted(mine["t"].to_numpy(), moments, side="right")])
