"""What the weekly review says, in plain words. No Streamlit here."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta

from core.estimate import Estimate
from core.reading.types import Loss, Tally
from core.review.types import (
    Action,
    Called,
    Chart,
    ComparedBy,
    ComparedFigure,
    ComparedGroup,
    Keeping,
    LateOrder,
    LossChange,
    MaterialUse,
    Meanwhile,
    ModelsCompared,
    ModelWork,
    PromiseWeek,
    Review,
    SpareWait,
    WeekFigures,
)
from dashboard.words import owner_words, written
from dashboard.words.names import Names, named
from dashboard.words.written import Clock

CHANGED, COST, GOES, TRY = "What changed?", "What did the week cost?", "How does it go?", "What do we try next?"
NOTHING_CHANGED = "Nothing changed beyond chance this week."
EARLIER = "Changes called earlier this quarter"
MEANWHILE = "In the week before it began or since"
NOT_WHY = "What happened meanwhile stands beside it in time; it need not be why."
WEEK_KEY = (
    "Printing, and downtime with upkeep in it: shares of all hours that machines were meant to run, nights and days "
    "off included."
)
AS_KNOWN = (
    "Hours, faults and orders are as they were known at midnight. What was noted since counts on the owner's page: it "
    "tells of what was done while nobody was in, so the hours there may differ."
)
COST_KEY = "Dark: the week, with its range. Pale behind: a week of the four before."
WAITS = "When do finished parts wait?"
WAITS_KEY = (
    "Machine-hours in each hour of a week, over the four weeks before: the darker the more. Framed: people are in."
)
SPARES, NO_SPARES = "Days waited for spares", "No machine waited for a spare this quarter."
SPARES_HEAD = ("Spare", "This week", "Usual a week")
KEEPING, KEEPING_HEAD = "How well is the record kept?", ("Rack", "Forgotten this week", "Four weeks before")
PROMISES, PROMISES_HEAD = "Were the promises kept?", ("Due in the week to", "Kept", "Late", "Still here")
MATERIAL, MATERIAL_HEAD = "Material used against forecast", ("Material", "Used", "Expected", "Difference")
MODELS = "Does fast printing give more?"
MODELS_HEAD = (
    "Model", "An hour of printing gives", "Prints a week", "Gives a week", "Good parts a week", "Prints with scrap",
    "Faults", "Hands a week",
)  # fmt: skip
MODELS_KEY = (
    "Per machine and calendar week over the quarter. Work counts every good part with the hours it takes on average "
    "over all models, so that models with other products can be compared. Ranges come from machine to machine."
)
SIDE_BY_SIDE, FIRST, SECOND, BY = "Any two periods side by side", "First period", "Second period", "By"
COMPARE, COMPARED_HEAD = "Compare", ("", "First", "Second", "Change")
COMPARED_KEY = (
    "More or less is said where the 90 % range of the change lies to one side of none. Two periods are held against "
    "each other, not against the quarter: where nothing changed, chance alone says more or less in one row of ten."
)
BYS: dict[ComparedBy, str] = {
    "shop": "the shop", "model": "model", "rack": "rack", "machine": "machine", "product": "product",
    "file": "print file",
}  # fmt: skip
ACTIONS_FULL = "Three actions are open: end one before another is agreed on."
WHAT, WHO, UNTIL, MOVES, AGREE = "What", "Who", "By when", "Which figure should move", "Agree on it"
DONE, DROPPED = "Done", "Dropped"
BLANK_ACTION = "What, who, by when, and which figure should move:"
FIGURES, NOTHING_LOST, NOTHING_HERE = "The figures of the last weeks", "No hours were lost.", "None in the quarter."
TOO_YOUNG = "Too few days yet to say what is usual."
ENDED = "Ended in the last weeks"
NO_ACTION = "No action is agreed on."
LOOKING = "The quarter is looked through."
BAND_KEY = "Grey: a steady figure stays within it, by its weekday. Dot: called as a change."
MORE_CHARTS, WHICH = "Any other figure", "Figure"

_OF_HOURS = "share of the hours meant to run"
#: Of days on which nobody is in no change is called, so they are left out of what is told by the day.
_STAFFED = "days with people in"
_NAMES = {
    "utilisation": ("Printing", _OF_HOURS),
    "downtime": ("Downtime", _OF_HOURS),
    "waiting": ("Finished parts waiting", _OF_HOURS),
    "good": ("Good parts", "a day with people in"),
    "scrap": ("Scrap", "share of {unit}"),
    "stops": ("Prints that stopped", "share of prints"),
    "faults": ("Faults", "in 100 printing hours"),
    "late": ("Orders late", "share of those due, by week"),
    "unnoted": ("Forgotten taps", "share of starts and removals"),
    "fault cause": ("Faults", "in 100 printing hours"),
    "scrap cause": ("Scrap", "share of prints"),
}
#: Figures that are shares of time.
OF_TIME = ("utilisation", "downtime", "waiting")
TWO_DAYS = "Choose the first and the last day of each period."
_BETWEEN = {"g": "prints between two", "t": "printing hours between two"}
_RULES = {"beyond": "one day far out", "adds up": "small differences that add up"}


def week(found: Review, clock: Clock) -> str:
    """Which week it is."""
    first, last = clock.local(found.start), clock.local(found.end) - timedelta(days=1)
    return f"The week from {written.day(first.date())} to {written.day(last.date())} {last.year}"


def week_days(found: Review, clock: Clock) -> str:
    """The same in few words: "19 to 25 Nov 2026"."""
    first, last = clock.local(found.start), clock.local(found.end) - timedelta(days=1)
    month = "" if first.month == last.month else f" {first:%b}"
    return f"{first.day}{month} to {last.day} {last:%b} {last.year}"


def usual(chart: Chart) -> str:
    """What is usual of a figure lately."""
    return f"usual {value(chart.figure, chart.kind, chart.centre[-1])}"


def figure_name(figure: str, of: str | None, names: Names) -> str:
    """What a figure is called: "Prints with scrap, F-002"."""
    name = _NAMES[figure][0]
    if of is None:
        return name
    known = {
        "fault cause": names.down, "scrap cause": names.scrap, "faults": names.models, "unnoted": names.racks,
    }.get(figure, {})  # fmt: skip
    return f"{name}, {named(of, known)}"


def by_week(figure: str) -> tuple[str, str]:
    """A figure of whole weeks, and its unit."""
    return _NAMES[figure]


def by_day(figure: str) -> tuple[str, str]:
    """A figure that is told by the day, and its unit."""
    name, unit = _NAMES[figure]
    return name, f"share of the hours, {_STAFFED}" if figure in OF_TIME else unit


def chart_title(chart: Chart, names: Names) -> tuple[str, str]:
    """The title of a chart, and its unit."""
    unit = _BETWEEN.get(chart.kind, by_day(chart.figure)[1])
    return figure_name(chart.figure, chart.of, names), unit.format(unit=chart.unit)


def on_paper(chart: Chart, names: Names) -> str:
    """The title of a chart and its unit where there is little room; shares of hours go without saying."""
    name, unit = chart_title(chart, names)
    return f"{name}, {_STAFFED if chart.figure in OF_TIME else unit}"


def value(figure: str, kind: str, number: float) -> str:
    """A value of a figure as it is read."""
    if kind == "u":
        return f"{number:.2f}" if number < 1 else f"{number:.1f}"
    return written.count(number) if figure == "good" or kind in _BETWEEN else written.percent(number)


def level(figure: str, estimate: Estimate | None) -> str:
    """A level with its range."""
    if estimate is None:
        return "-"
    if not math.isfinite(estimate.high):  # of one day, which tells nothing of how days differ
        return value(figure, "individuals", estimate.best)
    if figure == "good":
        return f"{written.count(estimate.best)} ({written.count(max(estimate.low, 0))}-{written.count(estimate.high)})"
    if figure == "faults":
        return written.factor(estimate)
    low, high = max(estimate.low, 0.0), min(estimate.high, 1.0)
    return written.share(Estimate(low=min(low, estimate.best), best=estimate.best, high=max(high, estimate.best)))


def called(chart: Chart, call: Called, names: Names) -> tuple[str, str]:
    """A change: of which figure, and how it changed; then what else happened."""
    before, after = (value(chart.figure, chart.kind, number) for number in (call.before, call.after))
    between = _BETWEEN.get(chart.kind)
    of = f" {between}" if between else ""
    if call.rule == "adds up":
        how = f"from {before} to {after}{of} since {written.day(call.since)}"
    else:
        how = f"{after}{of} on {written.day(call.at)}, where {before} is usual"
    often = f": {'less' if call.upward else 'more'} often" if between else ""
    return figure_name(chart.figure, chart.of, names), f"{how}{often} ({_RULES[call.rule]})"


def more_rows(number: int) -> str:
    """How many more rows a table has."""
    return f"{number} more row{'s' * (number != 1)}"


def beside(call: Called, names: Names) -> str:
    """What else happened, as a sentence; nothing where nothing is known."""
    told = meanwhile(call.meanwhile, names)
    return f"{MEANWHILE}: {told}." if told else ""


def more_calls(number: int) -> str:
    """How many more changes there are."""
    return f"{number} more change{'s' * (number != 1)}"


def meanwhile(told: Sequence[Meanwhile], names: Names) -> str:
    """What else happened."""
    return "; ".join(_happened(one, names) for one in told)


def _happened(one: Meanwhile, names: Names) -> str:
    day = f"{one.at.day} {one.at:%b}"
    if one.what == "delivery":
        return f"{named(one.code, names.materials)} came in, first on {day}"
    if one.what == "revision":
        return f"revision {one.times:.0f} of {one.code} on {day}"
    if one.what == "upkeep":
        return f"{named(one.code, names.tasks)} at {one.times:.0f} machines from {day} on, more than usual"
    if one.what == "machine":
        return f"{one.code} came, went or moved on {day}"
    if one.what == "heat":
        return f"the room was up to {one.times:.0f} degrees warmer than usual from {day} on"
    return f"{one.code} on {day}"


def false_calls(found: Review) -> str:
    """How much of it is to be expected by chance."""
    return (
        f"{len(found.charts)} figures are watched. If nothing changed at all, about {found.false_calls:g} changes a "
        "quarter would be called here by chance."
    )


def figures(found: Review, weeks: int = 5) -> tuple[list[str], list[list[str]]]:
    """The figures of the newest weeks: the heads of the columns, and a row a figure."""
    newest = found.weeks[-weeks:]
    heads = ["", *(f"to {one.end - timedelta(days=1):%-d %b}" for one in newest)]
    return heads, [[name, *map(tell, newest)] for name, tell in _FIGURES.items()]


_FIGURES: dict[str, Callable[[WeekFigures], str]] = {
    "Printing": lambda one: written.share(one.utilisation),
    "Downtime": lambda one: written.share(one.downtime),
    "Good parts": lambda one: written.counted(one.good),
    "Prints with scrap": lambda one: tally(one.spoilt),
    "Faults": lambda one: f"{one.faults}",
}


def tally(counted: Tally) -> str:
    """A share with what it was counted of: "9 % (26 of 291)"."""
    return f"{written.percent(counted.share.best)} ({counted.hits} of {counted.of})" if counted.share else "-"


def waits(found: Review) -> str:
    """What the shades of the hours of a week mean, and how much of it is in staffed hours."""
    most = max((cell.hours for cell in found.waits), default=0.0)
    inside, whole = found.waited_inside, found.waited
    return (
        f"Machine-hours in each hour of a week, over the four weeks before: white none, black {written.count(most)}. "
        f"Framed: people are in. {written.count(whole)} h a week in all, {written.count(inside)} h while people are in."
    )


def loss(line: LossChange, names: Names) -> tuple[str, str]:
    """A reason and its hours."""
    plain = Loss(reason=line.reason, detail=line.detail, hours=line.hours, times=line.times)
    before = f"before {written.count(line.before.best)}"
    return owner_words.reason(plain, names.down, names.spares), f"{written.count(line.hours.best)} h, {before}"


def spare(line: SpareWait, names: Names) -> tuple[str, str, str]:
    """Machine-days waited for a spare."""
    return named(line.spare, names.spares), f"{line.week.best:.1f}", f"{line.usual.best:.1f}"


def keeping(line: Keeping) -> tuple[str, str, str]:
    """Forgotten taps of a rack."""
    return line.name, tally(line.week), tally(line.before)


def promises(line: PromiseWeek, clock: Clock) -> tuple[str, str, str, str]:
    """Orders due in a week."""
    last = clock.local(line.start).date() + timedelta(days=6)
    return written.day(last), f"{line.kept} of {line.due}", f"{line.late or '-'}", f"{line.open or '-'}"


def late(line: LateOrder, clock: Clock) -> str:
    """An order that left late or not yet."""
    left = f"left {clock.when(line.left)}, {line.days:.1f} days late" if line.left else "not left yet"
    return f"Order {line.order}: due {clock.when(line.due)}, {left}."


def material(line: MaterialUse) -> tuple[str, str, str, str]:
    """Used against what was expected."""
    used = f"{line.used / 1000:.1f} kg" if line.used is not None else "-"
    off = ""
    if line.used is not None and line.expected > 0:
        share = line.used / line.expected - 1
        off = (
            f"{written.percent(abs(share))} {'more' if share > 0 else 'less'}"
            if share < 2
            else f"{share + 1:.0f} times"
        )
    return line.name, used, f"{line.expected / 1000:.1f} kg", off


def model(line: ModelWork) -> tuple[str, ...]:
    """What the machines of a model gave."""
    return (
        f"{line.name} ({line.machines})", f"{written.factor(line.speed)} h of work", written.hours(line.printing),
        f"{written.hours(line.work)} of work", ranged(line.good), tally(line.spoilt),
        f"{written.factor(line.faults)} in 100 h", written.hours(line.hands),
    )  # fmt: skip


def ranged(estimate: Estimate) -> str:
    """A count with its range."""
    return f"{written.count(estimate.best)} ({written.count(estimate.low)}-{written.count(estimate.high)})"


def compared(line: ModelsCompared, models: dict[str, str]) -> str:
    """Whether the faster of two models gives more."""
    fast, slow = (models.get(code, code) for code in (line.fast, line.slow))
    told = f"{fast} prints the same in {written.percent(1 / line.faster)} of the time of {slow}"
    more = written.hours(Estimate(low=line.more.low, best=line.more.best, high=line.more.high))
    if line.more.low > 0:
        return f"{told}, and its machines give more: {more} of work a week."
    if line.more.high < 0:
        return f"{told}, and yet its machines give less: {more} of work a week."
    return f"{told}; whether its machines give more in a week cannot be told: {more} of work."


NOT_COMPARED = "No model prints clearly faster than another."


def action(line: Action, names: Names, clock: Clock) -> tuple[str, str]:
    """An action and what has come of it."""
    due = f"by {written.day(clock.local(line.due).date())}"
    state = f"{line.answer} {written.day(clock.local(line.ended).date())}" if line.ended else due
    who = named(line.who, names.people)
    return line.what, f"{who}, agreed {written.day(clock.local(line.agreed).date())}, {state}"


def moved(line: Action, names: Names) -> str:
    """Whether its figure has moved."""
    name = figure_name(line.figure, line.of, names) + (f", {_STAFFED}" if line.figure in OF_TIME else "")
    if line.moved is None:
        return f"{name}: cannot tell yet, too few days before or since."
    before, after = (level(line.figure, one) for one in (line.moved.before, line.moved.after))
    told = {"more": "it went up", "less": "it went down", "cannot tell": "cannot tell yet"}[line.moved.says]
    return f"{name}: {before} before, {after} since: {told}."


def compared_figure(line: ComparedFigure) -> tuple[str, str, str, str]:
    """A figure in two periods."""
    name, unit = by_day(line.figure)
    return (
        f"{name}, {unit.format(unit=line.unit)}",
        level(line.figure, line.before),
        level(line.figure, line.after),
        line.says,
    )


def group(found: ComparedGroup, by: ComparedBy, names: Names) -> str:
    """A group and what of it changed."""
    known = {"model": names.models, "rack": names.racks, "product": names.products}.get(by, {})
    changed = [f"{_NAMES[line.figure][0]} {line.says}" for line in told_apart(found)]
    return f"{named(found.code, known)}: {', '.join(changed) or 'cannot tell'}"


def told_apart(found: ComparedGroup) -> list[ComparedFigure]:
    """The figures of a group of which a change can be told."""
    return [line for line in found.figures if line.says != "cannot tell"]


def agreed(what: str, until: datetime, clock: Clock) -> str:
    """The receipt of an action."""
    return f"Agreed: {what}, by {written.day(clock.local(until).date())}."


def over(what: str, answer: str) -> str:
    """The receipt of its end."""
    return f"{what}: {answer}."


def days(first: date, last: date) -> str:
    """A period by its days."""
    began = "" if first == last else f"{written.day(first)} to "
    return f"{began}{written.day(last)} {last.year}"
