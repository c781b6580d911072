"""Can we promise it: the answers of the shop played forward."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np

from core.arrays import Numbers
from core.epoch import WEEK_HOURS
from core.errors import Refused
from core.estimate import BEST, HIGH, LOW, Estimate
from core.plan.outlook import Outlook
from core.plan.promises import Asked, covered
from core.plan.types import Hurt, Leaves, OrderDue, Plan, ProductParts, Promise

#: Orders lose by another one if their chance falls by so much.
HURT = 0.05


def plan(outlook: Outlook) -> Plan:
    """The open orders and when they leave."""
    told = _orders(outlook) if outlook.asked else []
    mine = {*outlook.unpacked["order"], *outlook.as_packed}
    return Plan(
        at=outlook.at, zone=outlook.shop.zone, weeks=round(outlook.hours / WEEK_HOURS), promise=outlook.shop.promise,
        learned=outlook.read.learned.habits is not None,
        orders=sorted(told, key=lambda order: (order.chance, order.due)),
        unpacked=outlook.as_packed, unprintable=[code for code in outlook.open["order"] if code not in mine],
        products=_products(outlook),
    )  # fmt: skip


def _orders(outlook: Outlook) -> list[OrderDue]:
    asked, stock = outlook.asked, outlook.stock
    soon, now = covered(asked, stock, outlook.played), covered(asked, stock, None)
    rows = outlook.unpacked.iter_rows(named=True)
    return [
        _order(outlook, row, place, soon[place], float(now[place][0])) for place, row in enumerate(rows)
    ]  # fmt: skip


def _order(outlook: Outlook, row: dict[str, object], place: int, by_due: Numbers, there: float) -> OrderDue:
    packed = float(str(row["packed"]))
    low, best, high = (packed + float(q) for q in np.quantile(by_due, (LOW, BEST, HIGH), method="inverted_cdf"))
    return OrderDue(
        order=str(row["order"]), product=str(row["product"]), name=_name(outlook, str(row["product"])),
        quantity=float(str(row["quantity"])), due=outlook.at + timedelta(hours=outlook.asked[place].due),
        there=packed + there, by_due=Estimate(low=low, best=best, high=high),
        chance=outlook.chances[place], leaves=_leaves(outlook, outlook.leaving[place]),
    )  # fmt: skip


def _leaves(outlook: Outlook, hours: Numbers) -> Leaves:
    low, best, high = (_moment(outlook, float(h)) for h in np.quantile(hours, (0.1, 0.5, 0.9), method="inverted_cdf"))
    return Leaves(low=low, best=best, high=high)


def _moment(outlook: Outlook, hours: float) -> datetime | None:
    return outlook.at + timedelta(hours=hours) if np.isfinite(hours) else None


def _name(outlook: Outlook, product: str) -> str:
    row = outlook.products.get(product)
    return row.name if row else product


def _products(outlook: Outlook) -> list[ProductParts]:
    return [
        ProductParts(
            product=code, name=_name(outlook, code), finished=float(stock), counted=cover.counted,
            running=cover.last_running, ordered=_wanted(outlook, place),
            keep=outlook.products[code].keep if code in outlook.products else 0,
        )
        for place, (code, stock, cover) in enumerate(
            zip(outlook.names.products, outlook.stock, outlook.cover, strict=True)
        )
    ]  # fmt: skip


def _wanted(outlook: Outlook, product: int) -> float:
    """Parts that the open orders want."""
    return sum(order.parts for order in outlook.asked if order.product == product)


def promise(
    outlook: Outlook, product: str, quantity: float, due: datetime | None = None,
    tell: Callable[[float], object] | None = None,
) -> Promise:  # fmt: skip
    """What can be promised of so many parts of a product, and which open orders they would make later.

    Without a due time it stands behind the open orders of its product and before those that customers are still to
    give, which can be promised for later. `tell` is called with the share done.
    Refused for a product that no machine here can print, no parts at all, and a due time that is past.
    """
    if product not in outlook.names.products:
        raise Refused("nothing_prints_it", f"No print file here makes {product}: add one that fits a machine.")
    if not quantity >= 1:
        raise Refused("no_parts", f"{quantity:g} parts are no order: give how many are wanted.")
    if due is not None and due <= outlook.at:
        raise Refused("due_in_the_past", f"{due:%d %b %Y} is past: give a date to come.")
    place = outlook.names.products.index(product)
    last = max((order.due for order in outlook.asked if order.product == place), default=0.0)
    new = Asked(place, quantity, (due - outlook.at) / timedelta(hours=1) if due else last)
    played = outlook.play([*outlook.asked, new], tell)
    after = outlook.leaves([*outlook.asked, new], played)
    return Promise(
        product=product, name=_name(outlook, product), quantity=quantity, due=due,
        chance=float((after[-1] <= new.due).mean()) if due else None,
        date=_moment(outlook, _surely(outlook, after[-1])), leaves=_leaves(outlook, after[-1]),
        hurts=_hurts(outlook, after), weeks=round(outlook.hours / WEEK_HOURS),
        on_the_shelf=outlook.stock[place] - _wanted(outlook, place) >= quantity,
    )  # fmt: skip


def _surely(outlook: Outlook, hours: Numbers) -> float:
    """The time by which an order leaves as likely as the owner wants."""
    return float(np.quantile(hours, outlook.shop.promise, method="inverted_cdf"))


def _hurts(outlook: Outlook, after: Numbers) -> list[Hurt]:
    found = []
    for row, asked, before, hours in zip(
        outlook.unpacked.iter_rows(named=True), outlook.asked, outlook.chances, after[:-1], strict=True
    ):  # fmt: skip
        chance = float((hours <= asked.due).mean())
        if before - chance >= HURT:
            due = outlook.at + timedelta(hours=asked.due)
            found.append(Hurt(order=row["order"], name=_name(outlook, row["product"]), due=due,
                              before=before, after=chance))  # fmt: skip
    return sorted(found, key=lambda hurt: hurt.after - hurt.before)
