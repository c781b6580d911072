"""What the floor pages say: states, buttons, receipts and entries in plain words. No Streamlit here.

The words of the states and of the questions are the house's own, in `words`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from core.estimate import Estimate
from core.floor.types import Expected, FileChoice
from core.reading.types import MachineNow, PartSpoolNow, SpoolNow
from core.setup import DONT_KNOW
from dashboard.words import written
from dashboard.words.names import Names, named
from dashboard.words.owner_words import STATE_WORDS
from dashboard.words.written import Clock

WHO = "Who is tapping?"
EARLIER = "It happened earlier"
NOBODY_COUNTED = "Nobody counted them"
NOBODY_YET = "Nobody is in the set-up yet: fill in the table of people and import it."
NOTHING_YET = "Nothing recorded here yet."
ROUND_BEGINS = "Walk along the rack. Tap only a machine that is not doing what its tile says."
WHICH_MACHINE = "Which machine?"
WHICH_RACK = "Which rack?"
LATELY, ONE_IS_WRONG, TAKE_BACK = "Noted lately", "One of these is wrong", "Take it back"
NOTE_ANEW = "What is taken back stays so. Then note what is true, with It happened earlier."
BACK = "Back"
MEANWHILE = "Somebody noted this machine meanwhile: look again before you tap."
UNDO = "Undo"
WHY_UNDONE = "taken back where it was tapped"

#: Minutes from here on are told as hours.
LONG = 120

#: Shown where hands go into a machine. Not one of the words kept for signs of injury.
HANDS_IN = (
    "Before hands go in: power off and unplugged, hot end and platform cool. "
    "Mains parts: a competent person only. The maker's instructions first."
)

#: What a round may find, in its fixed order, and the words on the choice.
SIGHTS = {
    "printing": "Printing",
    "done": "Done",
    "stopped": "Stopped",
    "empty": "Empty",
    "down": "Down",
    "upkeep": "Upkeep",
}

#: Acts that need no more words than these; the others are put together below.
ACTS = {
    "off_scrap": "Parts off, some scrap",
    "failed": "Print failed",
    "spool": "Spool changed",
    "goes_on": "Spool changed",
    "upkeep": "Upkeep done",
    "upkeep_begun": "Upkeep begun",
    "down": "Down",
    "set_aside": "Set aside",
    "put_back": "Put back",
    "back": "Running again",
    "back_fitted": "Running again, a spare went in",
    "waits_for_spare": "Waiting for a spare",
    "cause_known": "Still down, cause now known",
    "started_other": "Another file started",
}

#: The second line where parts come off and a print starts, and what is added where the loading list has the same.
CLEARED = {"off_next": "next one started: {}", "off_planned": "on the list, started: {}"}
AS_LISTED = ", as on the list"

#: The second line on a button, where one helps.
MORE = {
    "goes_on": "the print goes on",
    "set_aside": "not meant to run",
    "put_back": "may run again",
    "upkeep_begun": "takes a while",
}

#: The question at the top of what an act asks next.
ASKS = {
    "off": "How many came off, all good?",
    "off_next": "How many came off, all good?",
    "off_planned": "How many came off, all good?",
    "off_scrap": "How many were scrap, and why?",
    "failed": "Print failed: all scrap. Why?",
    "spool": "What is the new spool?",
    "goes_on": "What is the new spool?",
    "upkeep": "What was done?",
    "upkeep_took": "How long did it take?",
    "down": "Down: what is the cause?",
    "cause_known": "Down: what is the cause?",
    "waits_for_spare": "Which spare does it wait for?",
    "back_fitted": "Mended, and running again",
    "started_other": "Which file was started?",
    "started_same": "Will the spool last?",
    "started_planned": "Will the spool last?",
    "wrong": "Which one is wrong?",
}

FULLER = "Or it is fuller than that"
QUARTERS = {"full": "Full", "three-quarters": "Three quarters", "half": "Half", "a-quarter": "A quarter"}
WEIGHED = "The old spool was weighed"
LEFT_GRAMS = "Grams left on the old spool, without its reel"
START_ANYWAY = "Start anyway"
SPARES_USED, NONE_USED = "Which spares went in? None, unless you tap.", "No spare after all"

MINUTES_AGO = {10: "10 min ago", 30: "30 min ago", 60: "60 min ago"}


def state_line(now: MachineNow, clock: Clock, names: Names) -> str:
    """The state of a machine in one line, saying where it is reckoned."""
    if now.state == "no word":
        return f"No word since {clock.soon(now.last_word)}" if now.last_word else "No word yet"
    return " - ".join(filter(None, [_state_since(now, clock), *_details(now, clock, names)]))


def _state_since(now: MachineNow, clock: Clock) -> str:
    since = clock.soon(now.since)
    if now.state == "done":
        return f"Done since about {since} (reckoned)" if _reckoned(now) else f"Done, seen {since}"
    word = STATE_WORDS[now.state].full
    return f"{word} since about {since} (reckoned)" if _reckoned(now) else f"{word} since {since}"


def _reckoned(now: MachineNow) -> bool:
    """Whether nobody said when the state began: it began in silence."""
    return now.basis == "reckoned" and (now.last_word is None or now.since > now.last_word)


def _details(now: MachineNow, clock: Clock, names: Names) -> list[str | None]:
    if now.state == "waiting":
        told = now.cause if now.cause != DONT_KNOW else None
        return [named(now.spare, names.spares) if now.spare else None, named(told, names.down) if told else None]
    if now.state == "down":
        here = f"{named(now.spare, names.spares)} is here" if now.spare else None
        return [here, named(now.cause, names.down) if now.cause else "cause not told"]
    held = f"{now.parts}\N{NO-BREAK SPACE}x {named(now.product, names.products)}" if now.parts and now.product else None
    due = f"due off about {clock.soon(now.due.best)}" if now.due else None
    return [held if now.state in ("printing", "proving", "done", "stopped") else None, due]


def file_name(file: FileChoice) -> str:
    """A print file as people call it: "F-014", with its revision from the second on."""
    return file.file if file.revision == 1 else f"{file.file} rev {file.revision}"


def file_label(file: FileChoice) -> tuple[str, str]:
    """A print file on a button: its name, and what it makes of what."""
    return f"{file_name(file)} started", f"{file.parts} x {file.name}, {file.hours:g} h"


def good(parts: int | None) -> str:
    """All good, with the number where it is known: "all 12 good"."""
    if parts is None:
        return "all good"
    return f"all {parts} good" if parts > 1 else "1 good"


def act_label(act: str, parts: int | None, file: FileChoice | None, as_listed: bool = False) -> tuple[str, str]:
    """The words on an act's button: what happened, and a second line or an empty one.

    `as_listed`: the loading list has the same again.
    """
    also = AS_LISTED if as_listed else ""
    if act == "off":
        return f"Parts off, {good(parts)}", "left empty"
    if act in CLEARED:
        return f"Parts off, {good(parts)}", CLEARED[act].format(file_name(file)) + also if file else ""
    if act == "started_same" and file:
        return "Print started", f"{file_name(file)} again, {file.parts} x {file.name}{also}"
    if act == "started_planned" and file:
        return f"{file_name(file)} started", f"on the list: {file.parts} x {file.name}"
    if act == "started_other" and file is None:
        return "Print started", ""
    return ACTS[act], MORE.get(act, "")


def scrap_of(scrap: int, held: int) -> str:
    """The count between the steppers; more than the start put on is told as such, and is taken."""
    return f"{scrap} of {held} scrap" if scrap <= held else f"{scrap} scrap, {held} were started"


def upkeep_label(task: str, spent: int, used: Mapping[str, int], names: Mapping[str, str]) -> tuple[str, str]:
    """The button that records upkeep: the task, and with what."""
    return f"{task}: done", f"{minutes(spent)}, {fitted(used, names)}"


def back_label(used: Mapping[str, int], names: Mapping[str, str]) -> tuple[str, str]:
    """The button that records that a machine is mended, and with what."""
    return ACTS["back"], fitted(used, names)


def minutes(spent: int) -> str:
    """The count between the steppers: "45 min", "3 h 30"."""
    return f"{spent} min" if spent < LONG else written.clocked(spent / 60)


def fitted(used: Mapping[str, int], names: Mapping[str, str]) -> str:
    """The spares that went in."""
    each = [f"{many} x {named(spare, names)}" for spare, many in used.items()]
    return ", ".join(each) or "no spare"


def spare_used(name: str, used: int) -> tuple[str, str]:
    """A spare on a button, and how many of it went in."""
    return name, f"{used} went in" if used else ""


def spool_label(material: str, grams: float, again: bool) -> tuple[str, str]:
    """A spool on a button."""
    return f"Same again: {material}" if again else material, f"{grams:g} g"


def spool_line(spool: SpoolNow, names: Names) -> str:
    """What is on the machine: "Spool: PETG grey, about 440 g left (420-460)"."""
    return f"Spool: {named(spool.material, names.materials)}, {_left(spool.left)} left"


def _left(left: Estimate) -> str:
    return f"about {written.grams(left)}"


def too_short(file: FileChoice, spool: SpoolNow | None, names: Names) -> str:
    """Why the spool on the machine is asked about before a start."""
    if spool is None or spool.material != file.material:
        on = f"; {named(spool.material, names.materials)} is on the machine" if spool else ""
        return f"{file_name(file)} is made of {named(file.material, names.materials)}{on}."
    return f"{file_name(file)} needs about {file.grams:.0f} g; {_left(spool.left)} are on the spool."


def spool_short(act: str, file: FileChoice, spool: SpoolNow | None) -> str:
    """Said on the button of a start that the spool on the machine cannot feed."""
    place = "on the list" if act in ("off_planned", "started_planned") else "next"
    other = spool is not None and spool.material != file.material
    return f"{place}: {file_name(file)}, {'another spool' if other else 'the spool may be too short'}"


def new_spool(file: FileChoice, grams: float, names: Names) -> tuple[str, str]:
    """A full spool is on now, and the print starts."""
    return "New spool on, print started", f"{named(file.material, names.materials)}, {grams:g} g"


def part_spool(part: PartSpoolNow) -> tuple[str, str]:
    """A part-spool from the shelf is on now, and the print starts."""
    return "Part-spool on, print started", f"{_left(part.left)}, last on {part.machine}"


def instead(file: FileChoice) -> tuple[str, str]:
    """Another file was started, for which the spool lasts."""
    return f"Started {file_name(file)} instead", f"needs about {file.grams:.0f} g"


def earlier_label(at: datetime | None, clock: Clock) -> str:
    """The quiet button for what happened earlier."""
    return f"Counts as {clock.soon(at)} - change" if at else EARLIER


def tapping_as(person: str, names: Names) -> str:
    """Who taps here, and the way to change it."""
    return f"{named(person, names.people)} is tapping - change"


def earlier_line(at: datetime, clock: Clock) -> str:
    """Said while the next tap is for an earlier time."""
    return f"The next tap counts as {clock.soon(at)}, from memory."


def sight_label(machine: Expected, seen: str | None) -> tuple[str, str]:
    """A machine on a round: what was seen of it, else what should be; "ask" where nobody can say."""
    if seen:
        return f"{machine.machine} \N{CHECK MARK}", seen
    return machine.machine, machine.expected or "ask"


def bulk_label(codes: Sequence[str], left: int, seen: int) -> str:
    """The button that confirms what is left of a round, or its first dozen."""
    if len(codes) < left:
        return f"{codes[0]} to {codes[-1]} are as expected"
    other = "The other " if seen else "All "
    if left == 1:
        return f"{codes[0]} is as expected"
    return f"{other}{left} are as expected"


def what_is_on(machine: str) -> str:
    """The open question to a machine on a round."""
    return f"{machine}: what is it doing?"


def open_machine(machine: str) -> str:
    """The way from a round to a machine's own page."""
    return f"Check in at {machine}"


def tap_and_say(machines: Sequence[str]) -> str:
    """What a round must ask openly."""
    return f"Nothing is told of {', '.join(machines)}: say what you see."


def rack_done(name: str) -> str:
    """Said when every machine of a rack was seen."""
    return f"{name} is done."


def next_rack(name: str) -> str:
    """The way on."""
    return f"Next: {name}"


def machines(number: int) -> str:
    """How many machines a rack has."""
    return "1 machine" if number == 1 else f"{number} machines"


def held(number: int) -> str:
    """The count between the steppers for the platform."""
    return f"{number} on the platform"


def spool_of(grams: float) -> str:
    """A spool of another weight."""
    return f"{grams:g} g spool"


def shift_start(began: datetime, clock: Clock) -> str:
    """The choice of the start of the shift."""
    return f"Start of shift, {clock.soon(began)}"


def day_back(day: date, today: date) -> str:
    """The choice of a day of the last week."""
    return {0: "Earlier today", 1: "Yesterday"}.get((today - day).days, written.day(day))
