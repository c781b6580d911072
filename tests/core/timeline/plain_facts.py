"""Facts of the plain reckoner: the entries that tell what a machine was doing, one machine at a time.

Like `plain_reckoner`, written from the text of the reckoning, not from `core.timeline`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from core.entries import OUT_OF_ORDER_MINUTES, AtMachine, Looked, PartsOff, PrintStarted, SpoolFitted, WentDown, moment
from core.habits.learned import Learned
from core.setup import Machine, PrintFile, Row
from tests.core.timeline.plain_clock import HOUR, Clock, Span, Usual, micros

CHANGES = ("PrintStarted", "PartsOff", "WentDown", "CameBack", "SetAside", "PutBack")
ALWAYS_TELLING = (*CHANGES, "Looked")
FOUND = {
    "PrintStarted": "clear", "WentDown": "any", "SetAside": "any", "SpoolFitted": "any", "CameBack": "down",
    "PutBack": "aside", "UpkeepDone": "upkeep",
}  # fmt: skip
LEAVES = {
    "PrintStarted": "printing", "SpoolFitted": "printing", "PartsOff": "empty", "CameBack": "empty",
    "PutBack": "empty", "SetAside": "aside", "UpkeepDone": "empty", "WentDown": "down",
}  # fmt: skip
HANDS = ("PartsOff", "CameBack", "PutBack", "UpkeepDone")
#: What these entries tell of a machine they tell only right after a look that saw this.
TELLING_AFTER = {"SpoolFitted": "stopped", "UpkeepDone": "upkeep"}


@dataclass(frozen=True)
class Print:
    """What is known of the print on a machine after a fact; `told` is false where nothing told of any yet, `started` is
    when its start was noted.
    """

    id: str | None
    began: int
    takes: int
    proving: bool
    told: bool = True
    started: int | None = None


@dataclass(frozen=True)
class Fact:
    """One fact of one machine, with all that later facts and gaps ask of it."""

    at: int
    kind: str
    found: str
    leaves: str
    cause: str | None
    spare: str | None
    spare_since: int
    begin: int
    print: Print
    due: int
    late: int
    overdue: bool


def facts_of(own: Sequence[AtMachine], rows: Sequence[Row], clock: Clock, learned: Learned) -> list[Fact]:
    """One machine's facts in order."""
    facts: list[Fact] = []
    usual = Usual(clock, learned)
    for at, entry in telling(own):
        facts.append(fact(at, entry, facts[-1] if facts else None, takes_of(entry, rows, learned), usual, clock))
    return facts


def pairs(facts: list[Fact]) -> list[tuple[Fact, Fact | None]]:
    """Each fact with the next one; none after the last."""
    return list(zip(facts, [*facts[1:], None], strict=True)) if facts else []


def telling(own: Sequence[AtMachine]) -> Iterator[tuple[int, AtMachine]]:
    """The entries that tell what the machine was doing: spools and upkeep only right after what they put an end to, and
    spools in the midst of a print.
    """
    placed = in_place([e for e in own if kind(e) in ALWAYS_TELLING or kind(e) in TELLING_AFTER])
    for n, (at, entry) in enumerate(placed):
        needed = TELLING_AFTER.get(kind(entry))
        before = placed[n - 1][1] if n else None
        if needed is None or (isinstance(before, Looked) and before.saw == needed) or in_the_midst(placed, n):
            yield at, entry


def in_the_midst(placed: Sequence[tuple[int, AtMachine]], n: int) -> bool:
    """Whether a spool was fitted while a print was left alone, for half an hour before and after at least."""
    at, entry = placed[n]
    touched = [m for m, (_, other) in enumerate(placed) if touches(other)]
    before, after = [m for m in touched if m < n], [m for m in touched if m > n]
    if not isinstance(entry, SpoolFitted) or not before or not isinstance(placed[before[-1]][1], PrintStarted):
        return False
    slip = OUT_OF_ORDER_MINUTES * 60_000_000
    return at - placed[before[-1]][0] >= slip and (not after or placed[after[0]][0] - at >= slip)


def touches(entry: AtMachine) -> bool:
    """Whether an entry tells of more than that the print goes on."""
    return entry.saw != "printing" if isinstance(entry, Looked) else kind(entry) in CHANGES


def in_place(own: list[AtMachine]) -> list[tuple[int, AtMachine]]:
    """Entries with their times, in order; a removal noted a little after the next start is put at that start."""
    ordered = [entry for entry, *about in around(sorted(own, key=moment)) if not misplaced(entry, *about)]
    placed = [micros(entry.at) for entry in ordered]
    for i, removal in enumerate(ordered):
        before = [n for n in range(i) if not (isinstance(ordered[n], Looked) and ordered[n].saw == "printing")]
        slips = {"PartsOff": ("printing", "done", "stopped"), "CameBack": ("down",)}.get(kind(removal))
        if slips and before and isinstance(ordered[before[-1]], PrintStarted):
            start = before[-1]
            was_so = start > 0 and plainly_left(ordered[start - 1]) in slips
            if soon(ordered[start], removal) and was_so:
                placed[i] = micros(ordered[start].at)
    return sorted(zip(placed, ordered, strict=True), key=lambda pair: (pair[0], *moment(pair[1])[1:]))


def around(ordered: list[AtMachine]) -> Iterator[tuple[AtMachine, AtMachine | None, AtMachine | None]]:
    """Each entry with the nearest changes before and after it."""
    for i, entry in enumerate(ordered):
        before = [e for e in ordered[:i] if kind(e) in CHANGES]
        after = [e for e in ordered[i + 1 :] if kind(e) in CHANGES]
        yield entry, before[-1] if before else None, after[0] if after else None


def soon(first: AtMachine | None, second: AtMachine | None) -> bool:
    if first is None or second is None:
        return False
    return micros(second.at) - micros(first.at) < OUT_OF_ORDER_MINUTES * 60_000_000


def misplaced(look: AtMachine, before: AtMachine | None, after: AtMachine | None) -> bool:
    """Whether a look tells what can only have been so on the other side of the change next to it."""
    if not isinstance(look, Looked) or before is None:
        return False
    left = plainly_left(before)
    if soon(before, look) and isinstance(before, PrintStarted) and look.saw in {"done", "empty"}:
        return True
    if soon(before, look) and left == "empty" and look.saw in {"done", "stopped"}:
        return True
    if not soon(look, after):
        return False
    if isinstance(after, PrintStarted) and left == "empty" and look.saw == "printing":
        return True
    return isinstance(after, PartsOff) and left == "printing" and look.saw == "empty"


def kind(entry: AtMachine) -> str:
    return type(entry).__name__


def plainly_left(entry: AtMachine) -> str | None:
    return entry.saw if isinstance(entry, Looked) else LEAVES.get(kind(entry))


def takes_of(entry: AtMachine, rows: Sequence[Row], learned: Learned) -> int | None:
    if not isinstance(entry, PrintStarted):
        return None
    takes = None
    for row in rows:
        if isinstance(row, PrintFile) and (row.file, row.revision) == (entry.file, entry.revision):
            takes = int(row.hours * learned.ratio(row.file, row.revision, model_of(entry, rows)) * HOUR)
    return takes


def model_of(entry: AtMachine, rows: Sequence[Row]) -> str:
    return [row.model for row in rows if isinstance(row, Machine) and row.machine == entry.machine][-1]


def fact(at: int, entry: AtMachine, previous: Fact | None, takes: int | None, usual_at: Usual, clock: Clock) -> Fact:
    found = found_by(entry, previous)
    leaves, cause, spare = left_by(entry, previous)
    same_spare = previous is not None and spare is not None and previous.spare == spare
    spare_since = previous.spare_since if previous and same_spare else at
    usual = usual_at.at(previous.at if previous else at)
    begin = begin_of(at, found, previous, usual, clock)
    print_ = print_after(entry, at, leaves, previous, usual, begin)
    if isinstance(entry, PrintStarted):
        print_ = Print(str(entry.id), at, takes or usual, entry.proving, started=at)
    due, late = due_of(at, print_)
    overdue = isinstance(entry, Looked) and found == "printing" and at > late
    if overdue:
        # Nobody knows which print this is: only that it is another one.
        print_ = replace(print_, id=None, proving=False)
        due, late = at + usual_at.at(at) // 2, at + usual_at.at(at) * 3 // 4
    return Fact(at, kind(entry), found, leaves, cause, spare, spare_since, begin, print_, due, late, overdue)


def is_down(fact: Fact | None) -> bool:
    """Whether the machine is down after a fact."""
    return fact is not None and fact.leaves in ("down", "waiting")


def found_by(entry: AtMachine, previous: Fact | None) -> str:
    """What an entry tells of the time just before it: parts come off a machine that is down as well."""
    if isinstance(entry, Looked):
        return entry.saw
    if isinstance(entry, PartsOff):
        if is_down(previous):
            return "any"
        return "done" if entry.ended == "itself" else "stopped"
    if isinstance(entry, SpoolFitted) and previous is not None and previous.leaves == "printing":
        return "stopped"
    return FOUND[kind(entry)]


def left_by(entry: AtMachine, previous: Fact | None) -> tuple[str, str | None, str | None]:
    """What the machine is in after an entry, with the cause and the spare if it is down."""
    if isinstance(entry, WentDown):
        return ("waiting" if entry.spare else "down"), entry.cause, entry.spare
    goes_on = isinstance(entry, PartsOff) or (isinstance(entry, Looked) and entry.saw == "down")
    if goes_on and previous is not None and is_down(previous):
        return previous.leaves, previous.cause, previous.spare
    return entry.saw if isinstance(entry, Looked) else LEAVES[kind(entry)], None, None


def begin_of(at: int, found: str, previous: Fact | None, usual: int, clock: Clock) -> int:
    """When the print that a fact found, and nobody announced, began."""
    if previous is None:
        return at - usual // 2
    near = found != "printing" or at - previous.at <= usual * 5 // 4
    if previous.leaves == "empty" and previous.kind in HANDS and near:
        return previous.at
    floor = max(previous.at, at - usual) if found == "printing" else previous.at
    return clock.middle(floor, at)


def print_after(entry: AtMachine, at: int, leaves: str, previous: Fact | None, usual: int, begin: int) -> Print:
    """The print on the machine after an entry that is not itself a start."""
    carried = previous.print if previous else Print(None, at, usual, proving=False, told=False)
    if not carried.told:
        carried = replace(carried, takes=usual)
    if isinstance(entry, Looked) and entry.saw == "printing" and (previous is None or previous.leaves != "printing"):
        return Print(None, begin, usual, proving=False)
    if isinstance(entry, SpoolFitted):
        most = carried.takes if carried.started is None else min(carried.takes, at - carried.started)
        return replace(carried, began=at - most // 2)
    if leaves in ("empty", "aside") or isinstance(entry, PartsOff):
        return Print(None, at, usual, proving=False)
    return carried


def due_of(at: int, print_: Print) -> Span:
    """When the print is due, and the moment after which a print seen must be another one."""
    late = print_.began + print_.takes * 5 // 4
    return min(max(print_.began + print_.takes, at + print_.takes // 20), late), late
