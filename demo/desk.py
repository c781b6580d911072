"""Everything people note that is not about what one machine is doing: orders, stock, air, cards."""

import math
import random
from collections.abc import Iterator, Sequence

from core.setup import PrintFile, Setup
from demo.hands import Hands
from demo.happening import Happening, Span
from demo.life import Life
from demo.shop import MATERIALS, PRODUCTS, SUPPLIES
from demo.stock import SPOOL_GRAMS, reordered, weekly_counts
from demo.trade import CustomerOrder, office_work, opening_stock

CARD_SET = "shop"
#: Printing machines warm the room a little, summer more.
ROOM_CELSIUS, SUMMER_CELSIUS = 21.0, 3.0


def desk_work(life: Life, setup: Setup, orders: Sequence[CustomerOrder], rng: random.Random) -> list[Happening]:
    """The happenings of the desk and the shelf that go with the room's life, in no order."""
    span, hands, machines = life.span, life.hands, len(life.printers)
    removals = sorted(life.prints, key=lambda run: run.off)
    made = [(run.off, run.file.product, run.file.parts - run.scrap) for run in removals if run.off < span.minutes]
    office = list(office_work(orders, made, hands, machines, rng))
    return [
        *office,
        *life.shelf.happenings,
        *weekly_counts(span, life.shelf.moves, hands, rng),
        *weekly_counts(span, _finished(made, office, orders, machines), hands, rng),
        *reordered(span, _spools_used(life), SPOOL_GRAMS, hands, rng),
        *reordered(span, _supplies_used(office), 1, hands, rng),
        *_air(span, hands, rng),
        *_cards(life, setup),
    ]


def _spools_used(life: Life) -> dict[str, list[float]]:
    """When a new spool of every material went from the shelf."""
    used: dict[str, list[float]] = {material: [] for material in MATERIALS}
    for happening in life.happenings:
        if happening.kind == "SpoolFitted" and happening.facts["grams"] == SPOOL_GRAMS:
            used[str(happening.facts["material"])].append(happening.at)
    return used


def _finished(
    made: Sequence[tuple[float, str, int]], office: Sequence[Happening], orders: Sequence[CustomerOrder], machines: int
) -> dict[str, list[tuple[float, int]]]:
    """How the finished parts of every product came and went."""
    of = {order.code: order.product for order in orders}
    moves = {product: [(0.0, opening_stock(product, machines))] for product in PRODUCTS}
    for t, product, good in made:
        moves[product].append((t, good))
    for happening in office:
        if happening.kind == "OrderPacked":
            moves[of[happening.facts["order"]]].append((happening.at, -happening.facts["quantity"]))
    return moves


def _supplies_used(office: Sequence[Happening]) -> dict[str, list[float]]:
    """When a piece of every supply went: a box for every 60 parts packed, the larger for large orders."""
    used: dict[str, list[float]] = {supply: [] for supply in SUPPLIES}
    for happening in office:
        if happening.kind == "OrderPacked":
            quantity = happening.facts["quantity"]
            box = "box-large" if quantity > 150 else "box-small"
            used[box] += [happening.at] * math.ceil(quantity / 60)
            used["tape"].append(happening.at)
    return used


def _air(span: Span, hands: Hands, rng: random.Random) -> Iterator[Happening]:
    """The instrument on the wall, read once a staffed day."""
    t = 0.0
    while (stretch := hands.staffed_from(t)).start < span.minutes:
        season = math.cos(2 * math.pi * (span.moment(stretch.start).timetuple().tm_yday - 200) / 365)
        facts = {
            "place": "print-room",
            "celsius": round(ROOM_CELSIUS + SUMMER_CELSIUS * season + rng.gauss(0, 0.8), 1),
            "humidity_pct": round(min(90.0, max(20.0, 46 - 4 * season + rng.gauss(0, 5)))),
            "pm25_ug_m3": round(rng.lognormvariate(1.8, 0.4), 1),
        }
        yield Happening(max(stretch.start, 0.0) + rng.uniform(60, 120), rng.choice(hands.crew), "AirRead", None, facts)
        t = stretch.end


def _cards(life: Life, setup: Setup) -> Iterator[Happening]:
    """New cards for every machine on the first day and whenever a print file has a new revision."""
    since = {max(row.since, life.span.start) for row in setup.history(PrintFile)}
    for revision, moment in enumerate(sorted(since), start=1):
        t = max(0.0, life.hands.staffed_from(life.span.minute(moment)).start) + 3
        for place, printer in enumerate(life.printers):
            facts = {"card_set": CARD_SET, "revision": revision}
            yield Happening(t + place, life.hands.crew[0], "CardLoaded", printer.code, facts)
