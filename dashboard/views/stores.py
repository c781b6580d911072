"""The shelf: every item as a band from min to max with where it stands; one item with its use, levels and history."""

from collections.abc import Sequence
from functools import partial

import streamlit as st

from core.entries import AnyEntry, entry_adapter
from core.stores.types import Stored
from dashboard.charts import drawn
from dashboard.kit import data, parts
from dashboard.kit.blocks import put
from dashboard.kit.links import Links
from dashboard.kit.parts import AskedAct
from dashboard.views.stores_html import shelf
from dashboard.words import floor_words as words
from dashboard.words import store_words as said

#: So many of an item's newest moves are shown; with more items than this one can look for one.
MOVES_SHOWN, MANY = 8, 30


def page() -> None:
    """The item named in the address, or all of them."""
    parts.about("item", lambda: draw_list(parts.who()), show)


def draw_list(by: str | None) -> None:
    """All items by kind, those to be ordered marked."""
    stores = data.stores()
    items = stores.items
    if not items:
        parts.text("refused", said.NOTHING_BOUGHT)
    if len(items) > MANY:
        items = said.found(items, st.text_input(said.FIND, key="find"))
        parts.text("refused", *([] if items else [said.NONE_FOUND]))
    for kind in shelf(items, data.clock(), Links(by)):
        put(kind)
    if items:
        parts.text("entry", said.LEGEND, *filter(None, [said.spool_changes(stores.changes)]))


def show(code: str, by: str) -> None:
    """One item: where it stands, what is recorded of it, its use and its history."""
    place = f"item {code}"
    item = parts.shown(place, partial(_item, code))
    if item is None:
        parts.text("refused", f"There is no item {code} in the set-up: pick one from the list.")
        draw_list(by)
        return
    clock = data.clock()
    parts.text("code", item.name, tag="h1")
    parts.text("state", said.line(item, clock))
    with st.container(key="slot"):
        parts.receipt(place, by, lambda: last_move(place, item, by))
    with st.container(key=f"acts-{parts.turn()}"):
        if step := parts.session().step:
            ask(step, item, by)
        else:
            offer(item, by)
    if item.doubt:
        parts.text("refused", said.DOUBTS[item.doubt])
    parts.text("entry", *said.levels(item), *said.unnoted(item, clock))
    if chart := drawn.use(item):
        parts.chart(chart, f"{item.name}: use a week")
    parts.text("entry", *(said.move(move, item, clock) for move in item.moves[: -MOVES_SHOWN - 1 : -1]))
    st.page_link("views/stores.py", label=said.BACK, query_params={"by": by})
    parts.change_who(by)
    parts.heal()


def last_move(place: str, item: Stored, by: str) -> parts.Said:
    """The newest count, order or delivery, whoever noted it, as its receipt."""
    if not item.moves:
        return parts.Said(place, words.NOTHING_YET)
    move = item.moves[-1]
    told = {"kind": said.KIND_OF[move.what], "item": item.item, "quantity": move.quantity}
    entry = entry_adapter.validate_python({**told, "id": move.entry, "at": move.at, "noted_at": move.at, "by": by})
    return parts.Said(place, said.last_move(move, item, data.clock()), (), (entry,))


def _item(code: str) -> Stored | None:
    return next((item for item in data.stores().items if item.item == code), None)


def offer(item: Stored, by: str) -> None:
    """What comes in, what is ordered, what was counted: the likeliest as one tap, any other number as two."""
    for number, order in enumerate(item.orders[:2]):
        label = said.RECEIVED, said.amount(order.quantity, item)
        if parts.button(f"main-received-{number}", *label, primary=number == 0):
            note(f"main-received-{number}", "StockReceived", item, order.quantity, by)
    if item.packs_to_order:
        quantity = item.packs_to_order * item.pack
        label = said.ORDERED, said.packs(item.packs_to_order, item)
        if parts.button("main-ordered", *label, primary=not item.orders):
            note("main-ordered", "StockOrdered", item, quantity, by)
    with st.container(key="tiles-moves"):
        for kind, label in said.NOTED.items():
            if parts.button(f"tile-{kind}", *label):
                parts.go(kind)


def ask(step: AskedAct, item: Stored, by: str) -> None:
    """How much, in packs or units."""
    parts.text("ask", said.HOW_MANY[step.act], tag="h2")
    per = item.pack if step.act != "StockCounted" or item.unit == "g" else 1.0
    likely = _likely(step.act, item) / per
    name = "spools" if item.unit == "g" else "packs" if per > 1 else item.unit
    likely = round(likely, 0 if item.unit == "piece" and per == 1 else 1)
    number = st.number_input(name, value=float(likely), step=1.0, format="%g", key=f"amount-{step.act}")
    if wrong := said.not_an_amount(number, item):
        parts.text("refused", wrong)
    elif number is not None and parts.button("main-record", "Record", said.amount(number * per, item), primary=True):
        note("main-record", step.act, item, number * per, by)
    if parts.button("quiet-back", words.BACK):
        parts.go(None)


def _likely(act: str, item: Stored) -> float:
    if act == "StockCounted":
        return item.on_hand.best if item.on_hand else 0.0
    if act == "StockReceived" and item.orders:
        return item.orders[0].quantity
    return max(item.packs_to_order, 1) * item.pack


def note(name: str, kind: str, item: Stored, quantity: float, by: str) -> None:
    """One entry about the item; none where another one came in between, for it may tell of the same thing."""
    place, now = f"item {item.item}", _item(item.item)
    if now is None or now.moves != item.moves:
        parts.refuse(place, said.MEANWHILE)

    def say(_: Sequence[AnyEntry]) -> str:
        return said.receipt(kind, item, quantity, data.clock())

    made = parts.entries([{"kind": kind, "item": item.item, "quantity": quantity}], by)
    parts.tap(name, place, made, say)


if __name__ == "__main__":
    page()
