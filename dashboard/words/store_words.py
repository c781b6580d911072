"""What the stores page says: items, levels, orders in plain words. No Streamlit here."""

from __future__ import annotations

from core.stores.types import OrderNow, SpoolChanges, StockMove, Stored
from dashboard.words import written
from dashboard.words.written import Clock

KINDS = {"material": "Material", "spare": "Spare parts", "supply": "Supplies"}
NOTHING_BOUGHT = "Nothing that is bought is in the set-up yet: fill in materials, spares and supplies, and import them."
ORDER_NOW = "What must be ordered today?"
NOTHING_TO_ORDER = "Nothing must be ordered today."
COUNT_IT = "No count yet: count it once."
BACK = "All items"
#: More than this of anything is a slip of the finger.
MOST_TYPED = 1_000_000
MEANWHILE = "Somebody noted this item meanwhile: look again before you tap."
FIND, NONE_FOUND = "Find an item", "No item of that name."
COUNTED, ORDERED, RECEIVED = "Counted", "Ordered", "Received"
#: What can be noted of an item, with any number.
NOTED = {"StockCounted": (COUNTED, ""), "StockReceived": (RECEIVED, "another number"),
         "StockOrdered": (ORDERED, "another number")}  # fmt: skip
KIND_OF = {"counted": "StockCounted", "ordered": "StockOrdered", "received": "StockReceived"}
HOW_MANY = {"StockCounted": "How much is on the shelf?", "StockOrdered": "How much was ordered?",
            "StockReceived": "How much came in?"}  # fmt: skip

LEGEND = "Blue: from min to max. Dark: what is there. Grey: what is on order besides."

DOUBTS = {
    "below nothing": "More was taken than the book has: count it.",
    "more than came in": "The last two counts do not agree with what came in: a delivery was not noted, or a count is "
    "wrong.",
}
METHODS = {
    "none": "nothing is known of its use yet",
    "mean": "the mean of the last weeks",
    "intermittent": "how much at a time and how seldom (Croston's method, corrected)",
    "level": "a level that follows the weeks",
    "trend": "a level and its trend",
    "season": "a level and the season of the shop",
    "season and trend": "a level, its trend and the season of the shop",
}
RULES = {
    "pinned": "your own level",
    "none": "not known yet",
    "no use": "nothing is used",
    "poisson": "counted piece by piece: Poisson law",
    "negative binomial": "counted piece by piece, often several at once: negative binomial law",
    "gamma": "gamma law",
}


def found(items: list[Stored], wanted: str) -> list[Stored]:
    """The items whose name or code holds every word that is looked for."""
    asked = wanted.lower().split()
    return [item for item in items if all(word in f"{item.name} {item.item}".lower() for word in asked)]


def amount(units: float, item: Stored | OrderNow) -> str:
    """Units as people count them: spools as kilograms, single pieces as such."""
    if item.unit == "g":
        return f"{units / 1000:,.1f} kg" if units < 99_500 else f"{units / 1000:,.0f} kg"
    number = f"{units:,.0f}" if units >= 10 or abs(units - round(units)) < 0.05 else f"{units:.1f}"
    return number if item.unit == "piece" else f"{number} {item.unit}"


def packs(number: float, item: Stored | OrderNow) -> str:
    """So many packs: "65 spools", "3 packs of 25", "4"."""
    if item.unit == "g":
        return f"{number:g} spools" if number != 1 else "1 spool"
    if item.pack == 1:
        return f"{number:g}"
    return f"{number:g} packs of {item.pack:g}" if number != 1 else f"1 pack of {item.pack:g}"


def line(item: Stored, clock: Clock) -> str:
    """Where an item stands, in one line."""
    if item.on_hand is None:
        return COUNT_IT
    about = "" if item.on_hand.low == item.on_hand.high else "about "
    told = [f"{about}{amount(item.on_hand.best, item)} there" if item.on_hand.best else "none there"]
    if item.orders:
        due = written.day(clock.local(min(o.expected for o in item.orders)).date())
        told.append(f"{amount(sum(o.quantity for o in item.orders), item)} on order (due {due})")
    if item.days_of_cover:
        told.append(f"lasts {written.lasting(24 * item.days_of_cover)}")
    return ", ".join([*told, next_order(item, clock)])


def next_order(item: Stored, clock: Clock) -> str:
    """What to order and when."""
    if item.packs_to_order:
        return f"order {packs(item.packs_to_order, item)} today"
    if item.order_by is None:
        return "no order in sight"
    return f"order by {written.day(clock.local(item.order_by).date())}"


def levels(item: Stored) -> list[str]:
    """Min, max, what they rest on, and why they moved."""
    if item.min is None or item.max is None:
        return ["Min and max are not known yet: nothing is known of its use."]
    delivery = f"{item.lead_days:.1f} days, give or take {item.lead_spread:.1f}"
    told = [f"Min {amount(item.min, item)}, max {amount(item.max, item)} ({RULES[item.rule]})."]
    if item.rule != "pinned":
        told.append(
            "At min it is ordered, with what is on order counted in: min must last until the shelf is gone through "
            f"(every {item.review_days:g} days) and the delivery is there ({delivery}), "
            f"{written.percent(item.service)} of the times, as unevenly as it is used."
        )
    told.append("It is ordered up to max: what costs least to order and to keep, for a quarter of a year at most.")
    if item.weekly is not None:
        short = ", of few weeks" if item.short_history else ""
        told.append(f"Use: about {amount(item.weekly, item)} a week, by {METHODS[item.method]}{short}.")
    if item.moved:
        told.append(_moved(item))
    if item.runs_out_first is not None and item.on_hand:
        told.append(
            f"It runs out before a delivery ordered today with a chance of {written.percent(item.runs_out_first)}."
        )
    return told


def _moved(item: Stored) -> str:
    if item.moved is None or item.min is None:
        return ""
    change = item.moved.change
    why = {
        "use": f"{written.percent(abs(change))} {'more' if change > 0 else 'less'} is used than then",
        "season": f"the season turns: {written.percent(abs(change))} {'more' if change > 0 else 'less'} is expected",
        "doubt": f"its use has become {'harder' if item.min > item.moved.before else 'easier'} to foresee",
    }[item.moved.reason]
    return f"Min was {amount(item.moved.before, item)} eight weeks ago: {why}."


def unnoted(item: Stored, clock: Clock) -> list[str]:
    """Orders that must have come."""
    return [
        f"The order of {written.day(clock.local(order.at).date())} ({amount(order.quantity, item)}) was never noted as "
        "received. It was due long before the last count, so it is taken to have come."
        for order in item.unnoted
    ]


def order_now(line: OrderNow) -> tuple[str, str, str]:
    """An item to order today: what, how much, for how long it lasts."""
    cover = f"lasts {written.lasting(24 * line.days_of_cover)}" if line.days_of_cover else "none there"
    chance = f"{written.percent(line.runs_out_first)} to run out first" if line.runs_out_first is not None else ""
    waits = f"{line.waiting} machine{'s' * (line.waiting > 1)} waiting for it" if line.waiting else ""
    return line.name, f"order {packs(line.packs, line)}", ", ".join(filter(None, [waits, cover, chance]))


def more_orders(number: int) -> str:
    """How many items to order are not shown."""
    return f"and {number} more items" if number > 1 else "and 1 more item"


def spool_changes(changes: SpoolChanges) -> str:
    """The hands' time that changing spools takes, and would take with spools three times as heavy."""
    if not changes.a_week:
        return ""
    return (
        f"Full spools were fitted {changes.a_week:.0f} times a week lately: about {changes.hours:.1f} h of hands at "
        f"{changes.minutes_each:g} min each. Spools of 3 kg would take about {changes.hours_heavy:.1f} h."
    )


def not_an_amount(number: float | None, item: Stored) -> str:
    """Why a number typed cannot be recorded; nothing where it can."""
    if number is None:
        return "Type how much."
    if number < 0:
        return f"{number:g} is no amount: type 0 or more."
    if number > MOST_TYPED:
        return f"{number:,.0f} is more than any shelf holds: type what is there."
    if item.unit == "piece" and number != round(number):
        return f"{number:g} is no whole number of pieces: type a whole one."
    return ""


def last_move(moved: StockMove, item: Stored, clock: Clock) -> str:
    """The newest move, as the receipt of a tap."""
    return f"Last: {move(moved, item, clock)}."


def receipt(what: str, item: Stored, quantity: float, clock: Clock) -> str:
    """What a tap recorded."""
    said = {"StockCounted": "counted", "StockOrdered": "ordered", "StockReceived": "came in"}[what]
    return f"{item.name} recorded {clock.local(clock.at):%H:%M}: {amount(quantity, item)} {said}."


def move(moved: StockMove, item: Stored, clock: Clock) -> str:
    """A line of an item's history."""
    return f"{clock.when(moved.at)}: {amount(moved.quantity, item)} {moved.what}"
