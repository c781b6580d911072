"""What the plan says: orders, dates and chances in plain words. No Streamlit here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime

from core.plan.types import (
    PLAYS,
    Capacity,
    Gain,
    HoursStep,
    Hurt,
    Loading,
    NextLoad,
    OrderDue,
    Plan,
    ProductParts,
    Promise,
)
from dashboard.words import names, written
from dashboard.words.owner_words import STATE_WORDS
from dashboard.words.written import Clock

DUE = "What is due?"
NOTHING_DUE = "No order is open."
ASK, WHEN = "If I take an order, when?", "When?"
PRODUCT, HOW_MANY, BY = "Product", "Parts", "Wanted by (empty: as soon as no open order suffers)"
FINISHED, COUNT, COUNTED = "Finished parts", "Count finished parts", "Record"
PLAYING = f"The room is played forward {PLAYS} times."
LEGEND = "Dark: there. Grey: expected by the due time. Line: what was ordered."
ON_THE_SHELF = "Finished parts that no open order wants are enough, if their last count still holds."
USUAL_SHOP = "Too little is known of this shop yet: dates go by a usual one, and may be far off."
ROOM, MORE, PLAY = "What does the room give?", "What would give more?", "Play the changes"
STEPS = {
    "no word": "No word of it", "aside": "Set aside", "down": "Down or waiting for a spare", "upkeep": "Upkeep",
    "proving": "Proving", "waited": "Done or stopped, waiting for hands", "empty": "Empty",
    "failed": "Prints that failed", "scrap": "Scrap",
}  # fmt: skip
GAINS = {
    "machine": "One more {model}", "evening": "One hour longer every weekday evening",
    "saturday": "Four hours more on Saturday", "downtime": "Downtime five points lower",
    "night": "Loading that minds the night more", "batch": "Always the largest batch of a product",
}  # fmt: skip
CHANGES_KEY = (
    "Each change is played against the room as it is, work being there for every machine. Machines are paid over two "
    "years, hands by the hour (set-up). A change of shifts or of circuits is yours to judge: loads, heat and air too."
)
LOAD, NOTHING_TO_LOAD = "What to load next", "No machine can be loaded before people leave."
LOAD_HEAD = ("Machine", "Print", "Until", "For")
NEXT_ROUND = "What ends before people leave is listed again for the night once it prints."
ONLY_LIST = "On paper this page prints as the list alone."
GAIN_HEAD = ("If", "It gives", "Each of these parts costs")
BANDS = "Bands: nine times in ten."
#: What parts are for.
USES = {
    "at risk": "order {}, at risk", "ordered": "order {}", "keep": "finished parts to keep", "ahead": "orders to come",
    "beyond": "more than is asked for",
}  # fmt: skip
#: A line says what other files would lose from so many hours on.
MATTERS = 2.0
#: A list so little short of the best one is as good.
SHORT = 0.005
#: A chance below this is told as what will be short.
SURE = 0.9


def order(line: OrderDue, clock: Clock) -> tuple[str, str, str]:
    """An order: what, how it stands, when it leaves."""
    due = f"due {when(line.due, clock)}"
    short = line.quantity - line.by_due.best
    if line.due < clock.at:
        told = f"overdue, {written.count(line.quantity - line.there)} of {written.count(line.quantity)} to come"
    elif short >= 1:
        told = f"short {written.count(short)} of {written.count(line.quantity)}"
    else:
        told = "in time" if line.chance >= SURE else "at risk"
    chance = "" if line.due < clock.at else f", {written.percent(line.chance)} to leave in time"
    return (
        f"Order {line.order}: {written.count(line.quantity)} {line.name}, {due}",
        f"{told}{chance}",
        leaves(line, clock),
    )


def leaves(line: OrderDue | Promise, clock: Clock) -> str:
    """When it leaves, as a range of dates."""
    low, best, high = line.leaves.low, line.leaves.best, line.leaves.high
    if low is None:
        return "leaves later than the weeks looked at"
    if best is None or high is None:
        return f"leaves {clock.day(low)} at the earliest"
    first, last = clock.day(low), clock.day(high)
    return f"leaves {first}" if first == last else f"leaves {first} to {last}, likely {clock.day(best)}"


def more(number: int) -> str:
    """How many orders are not shown."""
    return f"and {number} more orders" if number > 1 else "and 1 more order"


def as_packed(orders: Sequence[str]) -> str:
    """Orders that must have been packed."""
    return f"Overdue though parts for them were there, so taken as packed and not noted: {', '.join(orders)}."


def beside(plan: Plan) -> list[str]:
    """Orders that must have been packed, and those nothing can be said of."""
    told = []
    if plan.unpacked:
        told.append(as_packed(plan.unpacked))
    if plan.unprintable:
        told.append(f"No print file makes what these orders want: {', '.join(plan.unprintable)}.")
    return told


def promise(found: Promise, confidence: float, clock: Clock) -> list[str]:
    """The answer to "if I take it, when?"."""
    what, sure = f"{written.count(found.quantity)} {found.name}", written.percent(confidence)
    if found.leaves.low is None:
        return [f"{what}: more than the room makes in the next {found.weeks} weeks beside the open orders."]
    told = []
    if found.due and found.chance is not None:
        told.append(f"{what} by {when(found.due, clock)}: {written.percent(found.chance)} to leave in time.")
    if found.date:
        told.append(f"{what} can be promised for {clock.day(found.date)} ({sure} sure).")
    else:
        told.append(f"{what}: no date within the next {found.weeks} weeks is {sure} sure.")
    told.append(ON_THE_SHELF if found.on_the_shelf else f"It {leaves(found, clock)}.")
    if not found.hurts:
        told.append("No open order becomes later by it.")
    return [*told, *(hurt(one, clock) for one in found.hurts)]


def hurt(one: Hurt, clock: Clock) -> str:
    """An order that becomes later."""
    chances = f"{written.percent(one.before)} to {written.percent(one.after)}"
    return f"Order {one.order} ({one.name}, due {clock.day(one.due)}) falls from {chances} to leave in time."


def product(line: ProductParts) -> tuple[str, str]:
    """The parts of a product there are."""
    about = "" if line.counted else ", never counted"
    told = f"{written.count(line.finished)} finished{about}"
    rest = [f"{written.count(n)} {word}" for n, word in ((line.running, "on machines"), (line.ordered, "ordered")) if n]
    return line.name, ", ".join([told, *rest])


def counted(name: str, number: float, clock: Clock) -> str:
    """The receipt of a count."""
    return f"{name} recorded {clock.local(clock.at):%H:%M}: {written.count(number)} counted."


def step(line: HoursStep) -> tuple[str, str]:
    """A loss on the way to good parts."""
    return STEPS[line.name], written.hours(line.hours)


def good(found: Capacity) -> str:
    """What is left of the hours on the wall."""
    share = written.percent(found.good.best / found.wall) if found.wall else "-"
    return (
        f"Of {written.count(found.wall)} machine-hours a week, {written.hours(found.good)} came to good parts "
        f"({share}): {written.count(found.parts)} counted a week. Last {found.measured_weeks:g} weeks."
    )


def headroom(found: Capacity, clock: Clock) -> str:
    """Whether the room gives what is wanted."""
    if not found.weeks or found.weeks[0].wanted is None:
        return "No order was ever noted, so nothing can be said of what will be wanted."
    if found.passed:
        return f"From the week of {clock.day(found.passed)} on, more is wanted than the room gives."
    gives = sum(week.gives.best for week in found.weeks)
    wanted = sum(week.wanted.best for week in found.weeks if week.wanted)
    spare = written.percent(max(1 - wanted / gives, 0.0)) if gives else "-"
    short = " What is wanted rests on few weeks of orders." if found.short_history else ""
    return f"In the next {len(found.weeks)} weeks {spare} of what the room gives is not asked for.{short}"


def required(found: Capacity, downtime: float) -> str:
    """How many machines what is wanted takes by the planning rule."""
    if found.required is None:
        return ""
    machines = f"{math.ceil(found.required)} of {found.machines} machines"
    return f"By the planning rule, with {written.percent(downtime)} downtime, the busiest week takes {machines}."


def loading(found: Loading, clock: Clock) -> list[str]:
    """What the list is for, and how good it is."""
    if not found.loads or found.closes is None or found.back is None:
        return [NOTHING_TO_LOAD, *_not_loaded(found)]
    made = when(found.at, clock)
    closes, back = clock.soon(found.closes), clock.soon(found.back)
    told = [f"As of {made}; people leave at {closes} and are back {back}."]
    if any(line.ends < found.closes for line in found.loads):
        told.append(NEXT_ROUND)
    if found.short_of_best >= SHORT:
        told.append(f"A better list is worth {written.percent(found.short_of_best)} more at most.")
    return [*told, *_not_loaded(found)]


def _not_loaded(found: Loading) -> list[str]:
    """The machines that are not on it, and why."""
    states = {state: [m for m, s in found.out.items() if s == state] for state in found.out.values()}
    told = [f"{written.codes(found.left)} (no time, or nothing to gain)"] if found.left else []
    told += [f"{written.codes(machines)} ({STATE_WORDS[state].full.lower()})" for state, machines in states.items()]
    return [f"Not on it: {', '.join(told)}."] if told else []


def load(line: NextLoad, found: Loading, clock: Clock, materials: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """A line of the list, cell by cell, each with a second line: machine, print, end, what it is for."""
    revision = f" rev {line.revision}" if line.revision > 1 else ""
    when = "now" if line.at <= found.at else f"about {clock.soon(line.at)}"
    spool = f"new spool: {names.named(line.material, materials)}" if line.new_spool else ""
    loses = f"another file: {line.loses:.0f} h of printing less" if line.loses >= MATTERS else ""
    return (
        (line.machine, when),
        (f"{line.file}{revision}, {line.parts} x {line.name}", spool),
        (f"ends about {clock.soon(line.ends)}", ""),
        (USES[line.why].format(line.order), loses),
    )


def gain(line: Gain, models: Mapping[str, str]) -> tuple[str, str, str]:
    """A change and what it would give."""
    name = GAINS[line.what].format(model=models.get(line.model or "", line.model))
    sign = "+" if line.parts.best >= 0 else "\N{MINUS SIGN}"
    doubt = (line.parts.high - line.parts.low) / 2
    parts = f"{sign}{written.count(abs(line.parts.best))} good parts a week, give or take {written.count(doubt)}"
    return name, parts, f"{line.cost:.2f}, material not counted" if line.cost is not None else ""


def when(moment: datetime, clock: Clock) -> str:
    """A due time: its day, and the time where it is not the end of it."""
    local = clock.local(moment)
    return f"{clock.day(moment)} {local:%H:%M}"
