"""What customers want of the shop: a season, orders, and when they are packed and shipped."""

import math
import random
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from heapq import heappop, heappush

from demo.hands import Hands
from demo.happening import Happening, Span
from demo.shop import OWNER, PRODUCTS

#: How often of 100 orders a product is asked for, and the usual pieces per order and machine.
POPULAR = {"entrance-block": 28, "frame-spacer": 30, "feeder-cap": 22, "vent-grille": 10, "cage-clip": 10}
PIECES = {"entrance-block": 11, "frame-spacer": 14, "feeder-cap": 6.5, "vent-grille": 2.4, "cage-clip": 6}
ORDERS_A_WEEK = 10
#: Finished parts in the store room when the span begins, in usual orders of a product.
OPENING_ORDERS = 2


@dataclass(frozen=True, slots=True)
class CustomerOrder:
    """A customer's order."""

    code: str
    product: str
    quantity: int
    taken: float
    due: datetime


class OrderBook:
    """Which orders the crew prints for: of each product the oldest that finished and started parts do not cover."""

    def __init__(self, orders: Sequence[CustomerOrder], machines: int) -> None:
        self._lines = {product: deque(o for o in orders if o.product == product) for product in PRODUCTS}
        #: Parts finished or started beyond the orders that are covered.
        self._spare = {product: opening_stock(product, machines) for product in PRODUCTS}

    def wants(self, product: str, t: float) -> bool:
        """Whether an order taken an hour ago or more still wants prints of `product`."""
        line = self._lines[product]
        while line and line[0].taken + 60 < t and line[0].quantity <= self._spare[product]:
            self._spare[product] -= line.popleft().quantity
        return bool(line) and line[0].taken + 60 < t

    def print_for(self, product: str, parts: int, t: float) -> str | None:
        """The order that a print of so many parts is started for, if there is one."""
        order = self._lines[product][0].code if self.wants(product, t) else None
        self._spare[product] += parts
        return order

    def spoilt(self, product: str, parts: int) -> None:
        """Parts that were counted as started and came to nothing are wanted again."""
        self._spare[product] -= parts

    def uncovered(self, product: str, t: float) -> list[tuple[datetime, int]]:
        """When orders taken an hour ago or more are due, and how many of their parts nobody has started yet."""
        spare, found = self._spare[product], []
        for order in self._lines[product]:
            if order.taken + 60 < t and order.quantity > spare:
                found.append((order.due, order.quantity - max(spare, 0)))
            spare = max(spare - order.quantity, 0)
        return found


def demand(moment: datetime) -> float:
    """How likely there is work for an empty machine: most in late April, least in late October."""
    day = moment.timetuple().tm_yday
    return 0.93 + 0.06 * math.cos(2 * math.pi * (day - 112) / 365)


def take_orders(span: Span, hands: Hands, machines: int, busy: float, rng: random.Random) -> list[CustomerOrder]:
    """The orders of the span, oldest first; `busy` times as many as usual."""
    orders: list[CustomerOrder] = []
    t = 0.0
    while True:
        t += rng.expovariate(busy * ORDERS_A_WEEK * demand(span.moment(t)) / (7 * 24 * 60))
        taken = max(t, hands.staffed_from(t).start + rng.uniform(5, 240))
        if taken >= span.minutes:
            return sorted(orders, key=lambda order: order.taken)
        product = rng.choices(list(POPULAR), list(POPULAR.values()))[0]
        quantity = max(5, 5 * round(PIECES[product] * machines * rng.lognormvariate(0, 0.4) / 5))
        due = span.moment(taken) + timedelta(days=rng.randint(6, 20))
        code = f"{1000 + len(orders)}"
        orders.append(CustomerOrder(code, product, quantity, taken, due.replace(minute=0, second=0, microsecond=0)))


def office_work(
    orders: Sequence[CustomerOrder],
    made: Sequence[tuple[float, str, int]],
    hands: Hands,
    machines: int,
    rng: random.Random,
) -> Iterator[Happening]:
    """Orders taken, packed and shipped; `made` is (time, product, good parts) of every removal, in order."""
    for order in orders:
        facts = {"product": order.product, "quantity": order.quantity, "due": order.due}
        yield Happening(order.taken, OWNER, "OrderTaken", None, {"order": order.code} | facts)
    for product in PRODUCTS:
        line = [order for order in orders if order.product == product]
        parts = [(0.0, opening_stock(product, machines)), *((t, good) for t, of, good in made if of == product)]
        for order, ready in _served(line, parts):
            yield from _sent(order, ready, hands, rng)


def opening_stock(product: str, machines: int) -> int:
    """Finished parts in the store room when the span begins."""
    return round(OPENING_ORDERS * PIECES[product] * machines)


def _served(line: Sequence[CustomerOrder], parts: Sequence[tuple[float, int]]) -> Iterator[tuple[CustomerOrder, float]]:
    """Each order of one product with the time at which its `parts` were there; the earliest due of those taken first.

    An order whose parts are not all there holds up those due later.
    """
    stock, waiting = 0, list[tuple[datetime, int, CustomerOrder]]()
    came = [(t, 0, good, None) for t, good in parts]
    taken = [(order.taken, place, 0, order) for place, order in enumerate(line, start=1)]
    for t, place, good, order in sorted([*came, *taken], key=lambda event: event[:2]):
        stock += good
        if order:
            heappush(waiting, (order.due, place, order))
        while waiting and waiting[0][2].quantity <= stock:
            first = heappop(waiting)[2]
            stock -= first.quantity
            yield first, t


def _sent(order: CustomerOrder, ready: float, hands: Hands, rng: random.Random) -> Iterator[Happening]:
    """Packed in one or two goes, then shipped."""
    first = order.quantity // 2 if rng.random() < 0.25 else 0
    t = ready + rng.uniform(60, 600)
    for quantity in filter(None, (first, order.quantity - first)):
        t = max(t, hands.staffed_from(t).start + rng.uniform(10, 180))
        minutes = 10 + quantity * rng.uniform(0.08, 0.14)
        timed = {"minutes": round(minutes)} if rng.random() < 0.4 else {}
        by = rng.choice(hands.crew)
        yield Happening(t, by, "OrderPacked", None, {"order": order.code, "quantity": quantity} | timed)
        t += rng.uniform(30, 300)
    t = max(t, hands.staffed_from(t).start + rng.uniform(30, 180))
    yield Happening(t, OWNER, "OrderShipped", None, {"order": order.code})
