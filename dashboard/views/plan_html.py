"""The parts of the plan that are words and bars, as HTML."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from typing import NamedTuple

from markupsafe import Markup

from core.plan.types import Capacity, Gain, Loading, OrderDue, Plan
from dashboard.kit.blocks import Bar
from dashboard.templates.templating import macros
from dashboard.words import plan_words as said
from dashboard.words import written
from dashboard.words.written import Clock

_PAGE = macros("plan.html", said=said)


class _Order(NamedTuple):
    """An open order: what it is, how it stands, when it leaves; its parts there and coming in percent of all."""

    what: str
    stands: str
    leaves: str
    there: float
    coming: float


class _Load(NamedTuple):
    """A line of the loading list: its box, ticked or not, and its cells, each of two lines."""

    tick: str
    cells: Sequence[tuple[str, str]]


def due(plan: Plan, clock: Clock, most: int | None = None) -> Markup:
    """The open orders as bars, those most at risk first."""
    seen, rest = plan.orders[:most], plan.orders[most:] if most is not None else []
    return _PAGE.due([_order(order, clock) for order in seen], _below(plan, len(rest)))


def _below(plan: Plan, hidden: int) -> list[str]:
    lines = [] if plan.orders else [said.NOTHING_DUE]
    lines += [said.more(hidden)] if hidden else []
    lines += [] if plan.learned else [said.USUAL_SHOP]
    return [*lines, *([said.LEGEND] if plan.orders else []), *said.beside(plan)]


def _order(order: OrderDue, clock: Clock) -> _Order:
    there, soon = (100 * min(n / order.quantity, 1.0) for n in (order.there, order.by_due.best))
    return _Order(*said.order(order, clock), there, max(there, soon))


def loading(found: Loading, loaded: Set[str], clock: Clock, materials: Mapping[str, str]) -> Markup:
    """The loading list as a table to walk along with; what was begun since is ticked."""
    loads = [_load(said.load(line, found, clock, materials), line.machine in loaded) for line in found.loads]
    return _PAGE.loading(said.loading(found, clock), loads)


def _load(cells: Sequence[tuple[str, str]], loaded: bool) -> _Load:
    return _Load("\N{BALLOT BOX WITH CHECK}" if loaded else "\N{BALLOT BOX}", cells)


def falling(found: Capacity) -> Markup:
    """What became of the hours on the wall: every loss as a bar, from where the one before it ended."""
    share = 100 * found.good.best / found.wall if found.wall else 0
    good = Bar("Good parts", f"{written.hours(found.good)} a week", 0, share)
    return _PAGE.falling(said.good(found), list(_losses(found)), good)


def _losses(found: Capacity) -> Iterator[Bar]:
    rest = found.wall
    for step in found.steps:
        if step.hours.best <= 0 or not found.wall:
            continue
        rest -= step.hours.best
        name, told = said.step(step)
        left, width = (100 * hours / found.wall for hours in (rest, step.hours.best))
        yield Bar(name, f"{told} a week", left, width)


def gains(found: Sequence[Gain], models: Mapping[str, str]) -> Markup:
    """What would give more."""
    return _PAGE.gains([said.gain(line, models) for line in found])


def finished(plan: Plan) -> Markup:
    """The finished parts there are."""
    return _PAGE.finished([said.product(line) for line in plan.products])
