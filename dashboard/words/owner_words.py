"""What the owner's page says: the words of the house, and the sentences made of an answer."""

from collections.abc import Callable, Mapping, Sequence
from datetime import time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from core.floor.types import RackNow
from core.morning.types import Report
from core.reading.types import (
    Change,
    Loss,
    MachineNow,
    Mending,
    NeedsHand,
    Period,
    PrintTime,
    RunsOut,
    Series,
    SpoolEnds,
    StopRate,
    Tally,
    Unnoted,
)
from core.setup import DONT_KNOW, NOBODY_TOLD
from dashboard.words import written
from dashboard.words.written import Clock

#: What the set-up calls a code. A code it does not name is read out as it is.
Names = Mapping[str, str]


class StateWord(NamedTuple):
    """A state on a screen: in full, and where there is room for one word."""

    full: str
    short: str


STATE_WORDS = {
    "printing": StateWord("Printing", "Printing"),
    "proving": StateWord("Proving", "Proving"),
    "done": StateWord("Done - parts to take off", "Done"),
    "stopped": StateWord("Stopped", "Stopped"),
    "empty": StateWord("Empty", "Empty"),
    "upkeep": StateWord("Upkeep", "Upkeep"),
    "down": StateWord("Down", "Down"),
    "waiting": StateWord("Waiting for a spare", "Spare"),
    "aside": StateWord("Set aside", "Aside"),
    "no word": StateWord("No word", "No word"),
}

LEVEL_WORDS = {"now": "Now", "today": "Today", "waiting": "Waiting"}

TRUST = "Can I trust this page?"
PROOF = "How right has it been?"
NEEDS = "What needs a hand now?"
WHERE = "Where is everything?"
GAVE = "What did yesterday and the last seven days give?"
CHANGING = "Is anything changing?"
RUN_OUTS_KEY = "Bar: when it may run out, tick: most likely, the next prints counted in. Grey: nobody is in."
ASKED = "Do you know what the entries do not say?"

SIGN_MEANS = "~ reckoned since it was last spoken of"
#: On paper.
PAPER_KEY = f"Thick edge: needs a hand. Time: when its print is due off. {SIGN_MEANS}."
NOT_IN_PLACES = "All machines, not in their places"

NOTHING_NEEDED = "Nothing needs a hand."
NO_MACHINES = "No machine is in the set-up yet."
NO_CHANGE = "No change beyond usual."
NO_USUAL = "Too few days with people in yet to say what is usual."

NO_SHOP = "This page has nothing to tell yet"
LOST = "Machine-hours that printed nothing, last seven days"
ALL_REASONS = "All reasons, with their ranges"
SCRAP = "Scrap: {}."
PRINT_TIMES = "What prints truly take"
UNNOTED = "What went unnoted, last four weeks"
STOPS = "How often prints stop, per 100 hours of printing"
#: So many machines are told whose prints stop most often.
MACHINES_TOLD = 6
NOTHING_ASKED = "The entries leave nothing open."
COUNTED = (
    "Reckoned from what people tapped. A range is meant to hold the truth nine times in ten: it covers when prints "
    "and waits ended, how long each file truly takes, and what nobody noted. "
    "Shares are of the hours somebody has word of. Good parts go from what was counted to what it would be if "
    "every uncounted part were good."
)
FORMULAS_TITLE = "How each figure is counted"

FIGURE_WORDS = {
    "total": "hours somebody has word of",
    "operations": "hours meant to run",
    "utilisation": "printing, share of the hours meant to run",
    "uptime": "fit to print, share of the hours meant to run",
    "downtime": "downtime, share of the hours meant to run",
    "out_of_service": "out of service on average",
    "mttr": "mean time to restore",
    "mtbf": "mean printing time between faults",
    "productive_time": "printing hours",
    "engineering_time": "proving hours",
    "standby_time": "hours waiting to run",
    "equipment_downtime": "hours of upkeep and down",
}

STANDARDS = "S. is SEMI E10, I. is ISO 22400-2, P. is prEN 15341:2005."

_SERIES = {
    "utilisation": ("Printing", "share of machine time"),
    "downtime": ("Downtime", "share of machine time"),
    "good": ("Good parts", "a day"),
    "scrap_share": ("Scrap", "share of the parts"),
}

_REASONS = {
    "hands inside": "Done, people in",
    "hands outside": "Done, nobody in",
    "stopped": "Stopped, not dealt with",
}


def named(code: str, names: Names) -> str:
    """What the shop calls it, to stand within a sentence."""
    name = names.get(code, code.replace("-", " "))
    return name[:1].lower() + name[1:] if name[1:2].islower() else name


def as_at(clock: Clock) -> str:
    """When a sheet of paper was made: "as at 06:00, Thu 26 Nov 2026"."""
    local = clock.local(clock.at)
    return f"as at {local:%H:%M}, {written.day(local)} {local.year}"


def clock_of(report: Report) -> Clock:
    """The shop's clock at the moment of the report."""
    return Clock(ZoneInfo(report.zone), report.at)


def print_time(time: PrintTime) -> tuple[str, str, str]:
    """A file and what it truly takes: name, sentence, how often it was seen.

    A time that may well be the stated one is told as such.
    """
    takes, stated = time.takes, written.clocked(time.stated)
    span = f"{written.clocked(takes.low)} to {written.clocked(takes.high)}"
    apart = not takes.low <= time.stated <= takes.high
    told = f"takes {written.clocked(takes.best)}, not {stated}" if apart else f"takes {stated}, as it states"
    times = "once" if time.seen == 1 else f"{written.count(time.seen)} times"
    return f"{time.file} on {time.model}", f"{told} ({span})", f"seen {times}"


def runs_out(runs: RunsOut, clock: Clock) -> str:
    """The question that the run-outs answer: by when."""
    now, until = clock.local(clock.at), clock.local(runs.until)
    tomorrow = until.date() - now.date() <= timedelta(days=1)
    hour = "noon" if until.time() == time(12) else f"{until:%H:%M}"
    return f"What runs out by {'tomorrow' if tomorrow else clock.day(runs.until)} {hour}?"


def run_out(end: SpoolEnds, clock: Clock, materials: Mapping[str, str]) -> tuple[str, str]:
    """A spool that runs out: what is on it, and what to do by when."""
    spool = f"{end.machine}  {materials.get(end.spool.material, end.spool.material)}, {written.grams(end.spool.left)}"
    at_work = end.swap_by >= end.when.best
    by = clock.soon(end.swap_by)
    if end.when.best <= clock.at:
        return spool, "may have run out: look"
    if end.swap_by <= clock.at:
        return spool, f"change it now: empty about {clock.soon(end.when.best)}"
    return spool, f"change it by {by}" if at_work else f"change it before leaving at {by}"


def no_run_out(runs: RunsOut) -> str:
    """What is said where nothing runs out, or nothing is known."""
    if not runs.noted:
        return "No spool was ever noted: tap Spool changed when you change one."
    return "No spool is seen to run out."


def more_run_outs(more: int) -> str:
    """The title of the run-outs that the clock does not show."""
    return f"and {more} more spools" if more > 1 else "and 1 more spool"


def no_spool_noted(runs: RunsOut) -> str:
    """Of how many machines nothing can be said."""
    unknown = runs.machines - runs.noted
    if not unknown or not runs.noted:
        return ""
    return f"Of {unknown} machines no spool was noted." if unknown > 1 else "Of 1 machine no spool was noted."


def _unnoted(where: Unnoted, names: Names, shifts: bool) -> tuple[str, str, str]:
    """A rack (and shift, where there is more than one): the starts and the removals nobody noted."""
    name = names.get(where.rack, where.rack)
    told = [f"{what} {_tally(tally)}" for what, tally in (("starts:", where.starts), ("removals:", where.removals))]
    return f"{name}, shift {where.shift}" if shifts else name, told[0], told[1]


def unnoted_rows(report: Report) -> list[tuple[str, str, str]]:
    """A line for each rack, and shift where there is more than one."""
    names = {rack.rack: rack.name for rack in report.racks}
    shifts = len({where.shift for where in report.unnoted}) > 1
    return [_unnoted(where, names, shifts) for where in report.unnoted]


def _tally(tally: Tally) -> str:
    share = f", {written.share(tally.share)}" if tally.share else ""
    return f"{written.count(tally.hits)} of {written.count(tally.of)}{share}"


def stop_rate(rate: StopRate) -> tuple[str, str, str]:
    """How often prints stop: of what, stops per 100 hours, of how many."""
    name = "All machines" if rate.of == "shop" else rate.name
    stops = "1 stop" if rate.stops == 1 else f"{written.count(rate.stops)} stops"
    return name, written.factor(rate.per_100_hours), f"{stops} in {written.count(rate.hours)} h"


def stops_told(rates: Sequence[StopRate]) -> list[StopRate]:
    """The rates worth reading: all but the machines, and of those the ones that surely stop most often."""
    machines = sorted((r for r in rates if r.of == "machine" and r.stops), key=lambda r: -r.per_100_hours.low)
    return [rate for rate in rates if rate.of != "machine"] + machines[:MACHINES_TOLD]


def mending(told: Mending) -> str:
    """How long faults last."""
    if told.half is None:
        return ""
    rest = f", nine in ten within {written.lasting(told.nine_in_ten)}" if told.nine_in_ten is not None else ""
    return f"Half of {_faults(told.faults)} in four weeks were mended within {written.lasting(told.half)}{rest}."


def _faults(number: int) -> str:
    """How many faults."""
    return "the one fault" if number == 1 else f"{written.count(number)} faults"


def next_step(need: NeedsHand, causes: Names, spares: Names) -> str:
    """What a hand does about it."""
    if need.state == "down":
        known = need.cause and need.cause != DONT_KNOW
        if need.spare:
            return f"mend, its spare is here: {named(need.spare, spares)}"
        return f"mend: {named(need.cause, causes)}" if need.cause and known else "find out what is wrong"
    if need.state == "waiting":
        return f"waiting for spare: {named(need.spare, spares)}" if need.spare else "waiting for a spare"
    return {
        "done": "take parts off",
        "stopped": "clear the print",
        "empty": "start a print or set aside",
    }.get(need.state, "look at it")


def plight(need: NeedsHand, clock: Clock) -> str:
    """The state it is in and since when; that parts are to be taken off is said by the next step."""
    return f"{STATE_WORDS[need.state].full.partition(' - ')[0]}, {since(need, clock)}"


def since(need: NeedsHand, clock: Clock) -> str:
    """Since when, and how long; for several machines since when the first, and machine-hours in all."""
    if len(need.machines) == 1:
        return f"since {clock.when(need.since)}, {written.lasting(need.waited_hours)}"
    return f"first since {clock.when(need.since)}, {written.count(need.waited_hours)} h in all"


def more_needs(needs: Sequence[NeedsHand]) -> str:
    """The line that leads to those not shown."""
    number = sum(len(need.machines) for need in needs)
    return f"and {number} more machine{'s' if number > 1 else ''}"


def more_questions(number: int) -> str:
    """How many wait behind those shown."""
    return f"{number} more follow{'' if number > 1 else 's'} as you answer."


def more_asked(number: int, of: int) -> str:
    """How many questions a sheet of paper has no room for."""
    questions = f"question{'s' if number > 1 else ''}"
    return f"and {number} more {questions}" if number < of else f"{number} {questions}"


def on_the_page(more: str) -> str:
    """What a sheet of paper has no room for is on the page."""
    return f"{more}, on the page"


def not_in_places(more: int) -> str:
    """The title of machines one after the other; some may find no room at all."""
    return on_the_page(f"All machines, not in their places, and {more} more") if more > 0 else NOT_IN_PLACES


def reason(loss: Loss, causes: Names, spares: Names) -> str:
    """Why machine-hours printed nothing."""
    if loss.reason == "waiting":
        return f"Waiting for {named(loss.detail, spares)}" if loss.detail else STATE_WORDS["waiting"].full
    if loss.reason == "down":
        if loss.detail is None:
            return "Down, cause not noted"
        if loss.detail == NOBODY_TOLD:
            return "Down, it seems: nobody told"
        return "Down, don't know yet" if loss.detail == DONT_KNOW else f"Down: {named(loss.detail, causes)}"
    return _REASONS.get(loss.reason) or STATE_WORDS[loss.reason].full


def lost(loss: Loss) -> str:
    """Hours lost and how often, for the end of a bar."""
    return f"{written.count(loss.hours.best)} h" + (f", {times(loss.times)}" if loss.times else "")


def times(number: int) -> str:
    """How often."""
    return "once" if number == 1 else f"{written.count(number)} times"


def slots(rack: RackNow) -> list[MachineNow | None]:
    """The machines of a rack place by place, row by row; None where no machine stands."""
    places = {machine.place: machine for machine in rack.machines}
    standing = [places.get(place) for place in range(1, max(places) + 1)]
    return standing + [machine for machine in rack.machines if places[machine.place] is not machine]


def sign(basis: str) -> str:
    """The mark before a state that nobody saw but follows from earlier entries."""
    return "~" if basis == "reckoned" else ""


def yesterday(report: Report) -> str:
    """The day that ended last."""
    return written.day(clock_of(report).local(report.yesterday.start))


def week(report: Report) -> str:
    """The seven days that ended last."""
    clock = clock_of(report)
    return f"{written.day(clock.local(report.week.start))} to {written.day(clock.local(report.yesterday.start))}"


def figures(report: Report) -> list[tuple[str, str, str]]:
    """What was given and lost: the name of the figure, yesterday, the last seven days."""
    planned = written.percent(report.planning_downtime)
    out = f"Out of service (now {report.out_now} of {report.in_service})"
    tell: dict[str, Callable[[Period], str]] = {
        "Time printing (utilisation)": lambda p: written.share(p.account.utilisation),
        f"Downtime in all (plan {planned})": lambda p: written.share(p.account.downtime),
        out: lambda p: written.share(p.account.out_of_service),
        "Good parts": lambda p: written.counted(p.good),
        "Scrap parts": lambda p: written.count(p.scrap),
    }
    return [(name, of(report.yesterday), of(report.week)) for name, of in tell.items()]


def scrap_causes(period: Period, names: Names) -> str:
    """The scrap by cause, most first; empty where there was none."""
    told = [
        f"{named(cause, names) if cause and cause != DONT_KNOW else 'cause not known'} {written.count(n)}"
        for cause, n in period.scrap_by_cause.items()
    ]
    return ", ".join(told)


def series_title(series: Series) -> tuple[str, str]:
    """What a small line shows, and its unit."""
    return _SERIES[series.name]


def amount(series: Series, value: float | None) -> str:
    """A value of a daily figure in its unit."""
    if value is None:
        return "-"
    return written.count(value) if series.name == "good" else written.percent(value)


def changes(series: Sequence[Series]) -> list[str]:
    """A sentence for every signal; where there is none, one sentence that says so."""
    if not any(one.mean is not None for one in series):
        return [NO_USUAL]
    return [_change(one, one.change) for one in series if one.change] or [NO_CHANGE]


def _change(series: Series, change: Change) -> str:
    name = ", ".join(series_title(series))
    side = "above" if change.upward else "below"
    day = written.day(change.since)
    if change.rule == "run":
        return f"{name}: {side} the usual {amount(series, series.mean)} every day since {day}."
    value = amount(series, series.values[series.days.index(change.since)])
    usual = f"{amount(series, series.lower)} to {amount(series, series.upper)}"
    return f"{name}: {value} on {day} is {side} what is usual ({usual})."
