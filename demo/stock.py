"""The shelf of spares, materials and supplies: what is taken, counted, ordered and received."""

import random
from collections.abc import Iterator
from heapq import heappop, heappush

from demo.hands import Hands
from demo.happening import Happening, Span
from demo.shop import OWNER, SPARE_LEVELS, SPARES

DAY = 24 * 60.0
SPOOL_GRAMS = 1000


class SpareShelf:
    """Spares are ordered up to the owner's upper level when the lower is reached; a machine that finds none waits."""

    def __init__(self, machines: int, hands: Hands, rng: random.Random) -> None:
        self._hands, self._rng = hands, rng
        self._levels = {spare: _levels(machines, *at36) for spare, at36 in SPARE_LEVELS.items()}
        self._there = {spare: most for spare, (_, most) in self._levels.items()}
        self._coming: dict[str, list[float]] = {spare: [] for spare in SPARES}
        self.happenings: list[Happening] = []
        #: (time, change) of every spare.
        self.moves: dict[str, list[tuple[float, int]]] = {spare: [(0.0, n)] for spare, n in self._there.items()}

    def take(self, spare: str, t: float) -> float:
        """When the spare is in hand: `t` itself, or the time of the delivery it must wait for."""
        there, least, most = self._unpack(spare, t), *self._levels[spare]
        position = there + len(self._coming[spare]) - 1
        if position <= least:
            self._order(spare, t, most - position)
        if there:
            self._there[spare] -= 1
        ready = t if there else heappop(self._coming[spare])
        self.moves[spare].append((ready, -1))
        return ready

    def take_if_there(self, spare: str, t: float) -> bool:
        """Take the spare if one is on the shelf."""
        return self._unpack(spare, t) > 0 and self.take(spare, t) == t

    def _unpack(self, spare: str, t: float) -> int:
        """How many are on the shelf, with all that has come by `t`."""
        coming = self._coming[spare]
        while coming and coming[0] <= t:
            heappop(coming)
            self._there[spare] += 1
        return self._there[spare]

    def _order(self, spare: str, t: float, quantity: int) -> None:
        days = min(21.0, max(2.0, self._rng.lognormvariate(1.6, 0.5)))
        arrival = delivery(self._hands, t + days * DAY, self._rng)
        facts = {"item": spare, "quantity": quantity}
        self.happenings += [
            Happening(t + 5, OWNER, "StockOrdered", None, facts),
            Happening(arrival, OWNER, "StockReceived", None, facts),
        ]
        for _ in range(quantity):
            heappush(self._coming[spare], arrival)
        self.moves[spare].append((arrival, quantity))


def _levels(machines: int, least: int, most: int) -> tuple[int, int]:
    """The owner's levels in a room of so many machines."""
    return round(least * machines / 36), max(1, round(most * machines / 36))


def delivery(hands: Hands, t: float, rng: random.Random) -> float:
    """When the van comes: in the forenoon of the first staffed day from `t` on."""
    stretch = hands.staffed_from(t)
    if stretch.start < t:
        stretch = hands.staffed_from(stretch.end)
    return stretch.start + rng.uniform(60, 180)


def weekly_counts(
    span: Span, moves: dict[str, list[tuple[float, int]]], hands: Hands, rng: random.Random
) -> Iterator[Happening]:
    """What is on the shelf, by its (time, change), counted once a week."""
    for t, by in count_days(span, hands, rng):
        for place, (item, changes) in enumerate(moves.items()):
            level = sum(change for moved, change in changes if moved <= t)
            yield Happening(t + place, by, "StockCounted", None, {"item": item, "quantity": max(0, level)})


def reordered(
    span: Span, used: dict[str, list[float]], unit: int, hands: Hands, rng: random.Random
) -> Iterator[Happening]:
    """Items counted weekly and ordered for three weeks' use when no more than three weeks' use is left.

    `used` has the times at which one of an item went; `unit` is what one counts for (a spool: 1000 g).
    """
    weeks = max(1.0, span.minutes / (7 * DAY))
    for item, times in used.items():
        weekly = max(1, round(len(times) / weeks))
        coming: list[tuple[float, int]] = []
        level, before = 4 * weekly, 0.0
        for t, by in count_days(span, hands, rng):
            level += sum(amount for arrival, amount in coming if before < arrival <= t)
            level = max(0, level - sum(before < moved <= t for moved in times))
            yield Happening(t, by, "StockCounted", None, {"item": item, "quantity": level * unit})
            if level + sum(amount for arrival, amount in coming if arrival > t) <= 3 * weekly:
                arrival = delivery(hands, t + rng.uniform(3, 7) * DAY, rng)
                coming.append((arrival, 3 * weekly))
                yield from _bought(item, 3 * weekly * unit, t, arrival, span)
            before = t


def _bought(item: str, quantity: float, t: float, arrival: float, span: Span) -> Iterator[Happening]:
    facts = {"item": item, "quantity": quantity}
    yield Happening(t + 10, OWNER, "StockOrdered", None, facts | {"expected": span.moment(t + 6 * DAY)})
    yield Happening(arrival, OWNER, "StockReceived", None, facts)


def count_days(span: Span, hands: Hands, rng: random.Random) -> list[tuple[float, str]]:
    """When the shelf is counted and by whom: soon after the opening, then once a week."""
    days, t = [], 0.0
    while (at := max(t, hands.staffed_from(t).start) + 90) < span.minutes:
        days.append((at, rng.choice(hands.crew)))
        t += 7 * DAY
    return days
