"""The shelf as HTML."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from markupsafe import Markup

from core.stores.types import Stored
from dashboard.kit.links import Links
from dashboard.templates.templating import macros
from dashboard.words import store_words as said
from dashboard.words.written import Clock

_PAGE = macros("stores.html")


class _Band(NamedTuple):
    """From min to max, and where on hand and with orders it stands, in percent of a little over max."""

    left: float
    width: float
    coming: float
    there: float


class _Row(NamedTuple):
    """An item: its name and address, its band if it has one, whether it is to be ordered, and what is told of it."""

    name: str
    address: str
    band: _Band | None
    marked: bool
    line: str


def shelf(items: Sequence[Stored], clock: Clock, links: Links) -> Iterator[Markup]:
    """The items of every kind that there are any of, those to be ordered marked."""
    for kind, title in said.KINDS.items():
        if rows := [_row(item, said.line(item, clock), links) for item in items if item.kind == kind]:
            yield _PAGE.items(title, rows)


def _row(item: Stored, line: str, links: Links) -> _Row:
    return _Row(item.name, links.item(item.item), _band(item), bool(item.packs_to_order), line)


def _band(item: Stored) -> _Band | None:
    if item.min is None or item.max is None or item.on_hand is None:
        return None
    there, whole = item.on_hand.best, item.on_hand.best + sum(order.quantity for order in item.orders)
    most = max(item.max, whole, 1e-9) * 1.05
    return _Band(*(100 * amount / most for amount in (item.min, item.max - item.min, whole, there)))
