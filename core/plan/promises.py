"""When orders are finished in the room played forward: chances, dates, and what is short.

Parts of a product go to its orders in the order of their due dates (Jackson's rule); orders that customers are still
to give, due earlier, come before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.arrays import Numbers, Rows
from core.plan.forward import Played
from core.plan.laws import HandsClock, longer


@dataclass(frozen=True, slots=True)
class Asked:
    """An order: its product (place), the parts of it that are still to pack, and its due time, in hours from now.

    Its parts have been there for so many hours of hands: `ready`.
    """

    product: int
    parts: float
    due: float
    ready: float = 0.0


@dataclass(frozen=True)
class Coming:
    """Orders that customers are still to give, as drawn from those they gave: [replications, orders].

    `taken` and `due` in hours from now (infinite: none), `product` and `parts`.
    """

    taken: Numbers
    due: Numbers
    product: Rows
    parts: Numbers


def coming(past: Sequence[tuple[float, int, float]], span: float, until: float, count: int, seed: int) -> Coming:
    """Orders given until `until` (hours), as often as in the `span` hours before now: `past` has the hours until each
    was due from when it was given, its product and its parts.

    How often such an order comes is only known from those that came: each replication weighs them anew (Bayesian
    bootstrap: Rubin, Annals of Statistics 9 (1981) 130-134, the weights not divided by their sum).
    """
    draw = np.random.default_rng(seed)
    weighs = np.cumsum(draw.exponential(size=(count, len(past))), axis=1) * until / span
    most = draw.poisson(weighs[:, -1] if past else np.zeros(count))
    shape = (count, int(most.max(initial=0)))
    there = np.arange(shape[1]) < most[:, None]
    taken = np.where(there, draw.random(shape) * until, np.inf)
    chances = draw.random(shape)
    which = np.array([np.searchsorted(of, of[-1:] * chance) for of, chance in zip(weighs, chances, strict=True)])
    table = np.array(past or [(0.0, -1, 0.0)])
    lead, product, parts = table[which.reshape(shape).astype(np.int64)].transpose(2, 0, 1)
    return Coming(taken, taken + lead, product.astype(np.int64), parts * there)


def wanted_later(others: Coming, hours: float, products: int) -> Numbers:
    """Parts that orders to come want by every full hour (`forward.Wanted.later`)."""
    found = np.zeros((len(others.taken), int(hours) + 2, products))
    given = np.isfinite(others.taken)
    hour = np.ceil(others.taken[given]).astype(np.int64)
    np.add.at(found, (np.nonzero(given)[0], hour, others.product[given]), others.parts[given])
    return np.cumsum(found, axis=1)


def finishes(asked: Sequence[Asked], stock: Numbers, played: Played, others: Coming) -> Numbers:
    """When the last part of each order is there [orders, replications], in hours from now; infinite: not yet then.

    `stock` are the finished parts of every product now.
    """
    found = np.full((len(asked), played.off.shape[1]), np.inf)
    for product in {order.product for order in asked}:
        line = sorted((n for n, o in enumerate(asked) if o.product == product), key=lambda n: (asked[n].due, n))
        off, made = _made(played, product)
        before = -float(stock[product])
        for n in line:
            before += asked[n].parts
            found[n] = _finish(before, asked[n].due, off, made, others, product)
    return found


def _made(played: Played, product: int) -> tuple[Numbers, Numbers]:
    """When parts of a product came off and how many by then, in order of time: [events, replications]."""
    mine = (played.product == product) & (played.parts > 0) & np.isfinite(played.off)
    row, event = np.nonzero(mine.T)
    count = played.off.shape[1]
    many = np.bincount(row, minlength=count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(many) - many, many)
    off, parts = np.full((int(many.max(initial=0)), count), np.inf), np.zeros((int(many.max(initial=0)), count))
    off[place, row], parts[place, row] = played.off[event, row], played.parts[event, row]
    order = np.argsort(off, axis=0, kind="stable")
    return np.take_along_axis(off, order, 0), np.cumsum(np.take_along_axis(parts, order, 0), axis=0)


def _finish(need: float, due: float, off: Numbers, made: Numbers, others: Coming, product: int) -> Numbers:
    """When so many parts were made, and those for orders that came in between and are due before."""
    count = made.shape[1]
    first = (others.product == product) & (others.due < due)
    wanted = np.full(count, need)
    # Each round can only add orders that overtake, so it ends.
    while True:
        when = _reached(wanted, off, made)
        more = np.where(first & (others.taken < when[:, None]), others.parts, 0.0).sum(axis=1)
        if np.array_equal(need + more, wanted):
            return when
        wanted = need + more


def _reached(wanted: Numbers, off: Numbers, made: Numbers) -> Numbers:
    """When so many parts were made [replications]."""
    place = (made < wanted - 1e-6).sum(axis=0)
    ended = np.vstack([off, np.full((1, off.shape[1]), np.inf)])
    return np.where(wanted <= 1e-6, 0.0, ended[place, np.arange(off.shape[1])])


def shipped(finish: Numbers, ready: Numbers, lags: Numbers, clock: HandsClock, seed: int) -> Numbers:
    """When orders finished at those times leave, packing and shipping taking staffed hours as in the past `lags`.

    Those whose parts are there have been `ready` for so many hours [orders].
    """
    chance, known = np.random.default_rng(seed).random(finish.shape), np.isfinite(finish)
    age = np.where(finish <= 0, ready[:, None], 0.0)
    at = np.where(known, finish, 0.0)
    return np.where(known, clock.after(at, longer(lags, age, chance)), np.inf)


def leaves(  # noqa: PLR0913, PLR0917 - what a shop has to do with its orders
    asked: Sequence[Asked], stock: Numbers, played: Played, others: Coming, lags: Numbers, clock: HandsClock, seed: int
) -> Numbers:  # fmt: skip
    """When each order leaves [orders, replications], hours from now: its parts finished, packed and shipped."""
    ready = np.array([order.ready for order in asked])
    return shipped(finishes(asked, stock, played, others), ready, lags, clock, seed)


def covered(asked: Sequence[Asked], stock: Numbers, played: Played | None) -> Numbers:
    """How many parts each order has of its own by its due time [orders, replications]; None: now."""
    count = played.off.shape[1] if played else 1
    found = np.zeros((len(asked), count))
    for product in {order.product for order in asked}:
        line = sorted((n for n, o in enumerate(asked) if o.product == product), key=lambda n: (asked[n].due, n))
        before = 0.0
        for n in line:
            made = played.made(product, asked[n].due) if played else 0.0
            found[n] = np.clip(stock[product] + made - before, 0.0, asked[n].parts)
            before += asked[n].parts
    return found
