"""The reckoning once more, slowly: plain lists, loops and whole numbers, one machine and one gap at a time.

Written from the text of the reckoning, not from `core.timeline`, so that the two can check each other.
Times are whole microseconds since 1970; a fact is an entry that tells what a machine was doing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from core.entries import (
    OUT_OF_ORDER_MINUTES,
    AnyEntry,
    AtMachine,
    Looked,
    PartsOff,
    PrintStarted,
    SpoolFitted,
    StockReceived,
    UpkeepDone,
    WentDown,
    moment,
)
from core.habits.learned import Learned
from core.setup import Machine, PrintFile, Row
from core.window import Window

HOUR = 3_600_000_000
EVER = 2**62

Span = tuple[int, int]
#: machine, start, end, state, basis, print, cause, spare
Stretch = tuple[str, int, int, str, str, str | None, str | None, str | None]

CHANGES = ("PrintStarted", "PartsOff", "WentDown", "CameBack", "SetAside", "PutBack")
ALWAYS_TELLING = (*CHANGES, "Looked")
FOUND = {
    "PrintStarted": "clear", "WentDown": "any", "SetAside": "any", "SpoolFitted": "any", "CameBack": "down",
    "PutBack": "aside", "UpkeepDone": "upkeep",
}  # fmt: skip
LEAVES = {
    "PrintStarted": "printing", "SpoolFitted": "printing", "PartsOff": "empty", "CameBack": "empty",
    "PutBack": "empty", "SetAside": "aside", "UpkeepDone": "empty",
}  # fmt: skip
HANDS = ("PartsOff", "CameBack", "PutBack", "UpkeepDone")
#: What these entries tell of a machine they tell only right after a look that saw this.
TELLING_AFTER = {"SpoolFitted": "stopped", "UpkeepDone": "upkeep"}
DECLARED = ("down", "waiting", "aside", "upkeep")
STOOD_STILL = ("empty", "done", "stopped", "no word")


@dataclass(frozen=True)
class Print:
    """What is known of the print on a machine after a fact; `told` is false where nothing told of any yet."""

    id: str | None
    began: int
    takes: int
    proving: bool
    told: bool = True


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


@dataclass
class Piece:
    """A part of a gap; `state` as the screens name it."""

    start: int
    end: int
    state: str
    basis: str
    print: str | None = None
    cause: str | None = None
    spare: str | None = None

    def part(self, start: int, end: int) -> Piece:
        return Piece(start, end, self.state, self.basis, self.print, self.cause, self.spare)

    def what(self) -> tuple[str, str, str | None, str | None, str | None]:
        return (self.state, self.basis, self.print, self.cause, self.spare)


class Clock:
    """Staffed time, span by span."""

    def __init__(self, spans: Sequence[Span]) -> None:
        self.spans = joined(spans)

    def worked(self, t: int) -> int:
        return sum(min(b, t) - a for a, b in self.spans if a < t)

    def reaching(self, staffed: int) -> int:
        """The earliest moment before which there is so much staffed time."""
        if staffed <= 0:
            return -EVER
        for a, b in self.spans:
            if staffed <= b - a:
                return a + staffed
            staffed -= b - a
        return EVER

    def after(self, t: int, staffed: int) -> int:
        """The moment by which so much staffed time has passed since `t`."""
        return self.reaching(self.worked(t) + staffed)

    def middle(self, a: int, b: int) -> int:
        gone = self.worked(a)
        staffed = self.worked(b) - gone
        if staffed == 0:
            return a + (b - a) // 2
        return max(a, self.reaching(gone + staffed // 2))

    def hours_left(self, t: int) -> int:
        """Whole hours until people leave; none while nobody is in."""
        return next(((b - t) // HOUR for a, b in self.spans if a <= t <= b), 0)


class Usual:
    """What a print takes that nobody announced, by the whole hours of the shift left when it began."""

    def __init__(self, clock: Clock, learned: Learned) -> None:
        self.clock = clock
        self.learned = learned

    def at(self, t: int) -> int:
        left = min(self.clock.hours_left(t), len(self.learned.usual) - 1)
        return int(self.learned.usual[left] * self.learned.best * HOUR)


def plain_reckon(
    entries: Sequence[AnyEntry],
    rows: Sequence[Row],
    window: Window,
    spans: Sequence[Span],
    learned: Learned,
    word_holds: float,
) -> list[Stretch]:
    """What every machine did over `window`, sorted by machine and time."""
    clock = Clock(spans)
    usual = Usual(clock, learned)
    found: list[Stretch] = []
    for machine in sorted({row.machine for row in rows if isinstance(row, Machine)}):
        own = [e for e in entries if isinstance(e, AtMachine) and e.machine == machine]
        facts = facts_of(own, rows, clock, learned)
        came = [(e.item, micros(e.at)) for e in entries if isinstance(e, StockReceived)]
        pieces = [p for a, b in pairs(facts) for p in gap(a, b, clock, usual, came)]
        pieces = whole_time(pieces, facts, clock, int(word_holds * HOUR))
        pieces = with_upkeep(pieces, own)
        pieces = [p for span in in_service(machine, rows, window) for p in cut(pieces, span)]
        found += [(machine, p.start, p.end, *p.what()) for p in merged(pieces)]
    return found


# Facts


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
    """The entries that tell what the machine was doing: spools and upkeep only right after what they put an end to."""
    before: AtMachine | None = None
    for at, entry in in_place([e for e in own if kind(e) in ALWAYS_TELLING or kind(e) in TELLING_AFTER]):
        needed = TELLING_AFTER.get(kind(entry))
        if needed is None or (isinstance(before, Looked) and before.saw == needed):
            yield at, entry
        before = entry


def in_place(own: list[AtMachine]) -> list[tuple[int, AtMachine]]:
    """Entries with their times, in order; a removal noted a little after the next start is put at that start."""
    ordered = [entry for entry, *about in around(sorted(own, key=moment)) if not misplaced(entry, *about)]
    placed = [micros(entry.at) for entry in ordered]
    for i, removal in enumerate(ordered):
        before = [n for n in range(i) if not (isinstance(ordered[n], Looked) and ordered[n].saw == "printing")]
        if isinstance(removal, PartsOff) and before and isinstance(ordered[before[-1]], PrintStarted):
            start = before[-1]
            parts_there = start > 0 and plainly_left(ordered[start - 1]) in ("printing", "done", "stopped")
            if soon(ordered[start], removal) and parts_there:
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
        print_ = Print(str(entry.id), at, takes or usual, entry.proving)
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
        return replace(carried, began=at - carried.takes // 2)
    if leaves in ("empty", "aside") or isinstance(entry, PartsOff):
        return Print(None, at, usual, proving=False)
    return carried


def due_of(at: int, print_: Print) -> Span:
    """When the print is due, and the moment after which a print seen must be another one."""
    late = print_.began + print_.takes * 5 // 4
    return min(max(print_.began + print_.takes, at + print_.takes // 20), late), late


# Gaps


def whole_time(pieces: list[Piece], facts: list[Fact], clock: Clock, holds: int) -> list[Piece]:
    """All of one machine's time, from ever to ever, with what was said too long ago faded."""
    first = facts[0].at if facts else EVER
    faded_ = [part for piece in pieces for part in faded(piece, clock, holds)]
    return [Piece(-EVER, first, "no word", "no word"), *faded_]


def gap(a: Fact, b: Fact | None, clock: Clock, usual: Usual, came: Sequence[tuple[str, int]]) -> list[Piece]:
    """What happened from one fact to the next; `came` are the deliveries."""
    states = story(a, b, clock, usual)
    basis = basis_of(a, b, [state for state, _ in states])
    pieces, start = [], a.at
    for place, (state, end) in enumerate(states):
        piece = Piece(start, end, state, basis)
        if place == 0:
            piece.print, piece.cause, piece.spare = a.print.id, a.cause, a.spare
        if place == 1 and a.leaves == "printing" and state in ("done", "stopped"):
            piece.print = a.print.id
        pieces += waited(piece, a, came) if state == "waiting" else [piece]
        start = end
    return [piece for piece in pieces if piece.start < piece.end]


def waited(piece: Piece, a: Fact, came: Sequence[tuple[str, int]]) -> list[Piece]:
    """A wait for a spare up to its delivery; from then on the machine is only down."""
    there = min((t for item, t in came if item == a.spare and t >= a.spare_since), default=EVER)
    there = min(max(there, piece.start), piece.end)
    mended = piece.part(there, piece.end)
    mended.state = "down"
    return [piece.part(piece.start, there), mended]


def story(a: Fact, b: Fact | None, clock: Clock, usual: Usual) -> list[tuple[str, int]]:
    """The states of a gap, each with the moment it ends."""
    if a.leaves == "printing":
        return after_printing(a, b, clock, usual)
    if b is None:
        return [(a.leaves, EVER)]
    found, until = b.found, b.at
    if a.leaves in ("done", "stopped"):
        return after_an_end(a, b, clock, usual)
    if found in ("clear", "any"):
        return [(a.leaves, until)]
    if found in ("printing", "done", "stopped"):
        return unseen_print(a, b, usual)
    changed = DECLARED if a.leaves == "empty" else ("empty",)
    if found in changed:
        return [(a.leaves, clock.middle(a.at, until)), (found, until)]
    return [(a.leaves, until)]


def after_printing(a: Fact, b: Fact | None, clock: Clock, usual: Usual) -> list[tuple[str, int]]:
    now = "proving" if a.print.proving else "printing"
    if b is None:
        return [(now, a.due), ("done", EVER)]
    until, early = b.at, early_of(a)
    end = min(a.due, until)
    stop = a.at + (end - a.at) // 2
    ended = [(now, end), ("done", until)]
    stopped = [(now, stop), ("stopped", until)]
    if until >= early and changed_unseen(end, b, clock, usual):
        return [(now, end), *change_unseen(end, b, clock, usual)]
    if b.found == "done":
        return ended
    if b.found == "stopped":
        return stopped
    if b.found == "clear":
        return ended if until >= early else stopped
    if b.found == "any":
        return ended if until >= a.due else stopped
    if b.found == "printing":
        swap = clock.middle(max(end, until - usual.at(end)), until)
        return [(now, until)] if until <= a.late else [(now, end), ("done", swap), ("printing", until)]
    if b.found == "empty":
        if until >= early:
            return [(now, end), ("done", clock.middle(end, until)), ("empty", until)]
        return [(now, stop), ("stopped", clock.middle(stop, until)), ("empty", until)]
    mid = clock.middle(a.at, until)
    return [(now, min(end, mid)), ("done", mid), (b.found, until)]


def changed_unseen(end: int, b: Fact, clock: Clock, usual: Usual) -> bool:
    """Whether a print done at `end` would have waited so long that somebody must have changed it without a word."""
    waited_long = clock.after(end, int(usual.learned.patience * HOUR)) < b.at
    change = changed_at(end, clock, usual)
    there_was_time = change + usual.at(change) * 3 // 4 <= b.at
    return b.found in ("done", "clear") and waited_long and there_was_time


def change_unseen(end: int, b: Fact, clock: Clock, usual: Usual) -> list[tuple[str, int]]:
    change = changed_at(end, clock, usual)
    return [("done", change), ("printing", min(change + usual.at(change), b.at)), ("done", b.at)]


def changed_at(end: int, clock: Clock, usual: Usual) -> int:
    """When a print that nobody announced took the place of one that had ended."""
    return clock.after(end, int(usual.learned.wait * HOUR))


def early_of(a: Fact) -> int:
    """Before this moment, a print that is gone was cut short."""
    return a.print.began + a.print.takes * 3 // 4


def after_an_end(a: Fact, b: Fact, clock: Clock, usual: Usual) -> list[tuple[str, int]]:
    if a.leaves == "done" and changed_unseen(a.at, b, clock, usual):
        return change_unseen(a.at, b, clock, usual)
    if b.found == "printing":
        return [(a.leaves, b.begin), ("printing", b.at)]
    if b.found in ("done", "stopped", "clear", "any"):
        return [(a.leaves, b.at)]
    return [(a.leaves, clock.middle(a.at, b.at)), (b.found, b.at)]


def unseen_print(a: Fact, b: Fact, usual: Usual) -> list[tuple[str, int]]:
    """A print that somebody started without a word, on a machine that had none."""
    finish = min(b.begin + usual.at(b.begin), b.at)
    before = (a.leaves, b.begin)
    if b.found == "printing":
        return [before, ("printing", b.at)]
    if b.found == "done":
        return [before, ("printing", finish), ("done", b.at)]
    return [before, ("printing", b.begin + (finish - b.begin) // 2), ("stopped", b.at)]


def basis_of(a: Fact, b: Fact | None, states: list[str]) -> str:
    if len(states) > 1:
        return "reckoned"
    if states[0] in DECLARED:
        return "seen"
    found = b.found if b else "open"
    both = {"done": ("done", "stopped"), "stopped": ("done", "stopped"), "empty": ("clear", "empty")}
    return "seen" if found in both.get(a.leaves, (a.leaves,)) else "reckoned"


def faded(piece: Piece, clock: Clock, holds: int) -> list[Piece]:
    """The piece, and no word where it was long not looked at."""
    if piece.state == "empty" or (piece.state in ("done", "stopped") and piece.basis != "seen"):
        fades = clock.after(piece.start, holds)
        if fades < piece.end:
            return [piece.part(piece.start, fades), Piece(fades, piece.end, "no word", "no word")]
    return [piece]


def shape(a: Fact, b: Fact | None, clock: Clock, usual: Usual) -> str:
    """A name for what kind of gap this is: a row of the text's tables, and which side of its condition."""
    if b is None:
        return f"{a.leaves}, open"
    name = f"{a.leaves}, found {b.found}"
    turns = {"printing": a.late + 1, "clear": early_of(a), "empty": early_of(a), "any": a.due}
    if a.leaves == "done" and changed_unseen(a.at, b, clock, usual):
        return f"{name}, changed unseen"
    if a.leaves == "printing" and b.at >= early_of(a) and changed_unseen(min(a.due, b.at), b, clock, usual):
        return f"{name}, changed unseen"
    if a.leaves == "printing" and b.found in turns:
        return f"{name} {'after' if b.at >= turns[b.found] else 'before'} the turn"
    if a.leaves == "empty" and b.found in ("printing", "done", "stopped"):
        return f"{name}, begun {'at once' if b.begin == a.at else 'some time'}"
    return name


# Upkeep, service, normal form


def with_upkeep(pieces: list[Piece], own: Sequence[AtMachine]) -> list[Piece]:
    for entry in own:
        if isinstance(entry, UpkeepDone) and entry.minutes > 0:
            end = micros(entry.at)
            start = end - int(entry.minutes * 60_000_000)
            pieces = [part for piece in pieces for part in kept_up(piece, start, end)]
    return pieces


def kept_up(piece: Piece, start: int, end: int) -> list[Piece]:
    inside = piece.part(max(start, piece.start), min(end, piece.end))
    if inside.start >= inside.end or piece.state not in STOOD_STILL:
        return [piece]
    inside.state, inside.basis = "upkeep", "seen"
    around = [piece.part(piece.start, inside.start), inside, piece.part(inside.end, piece.end)]
    return [part for part in around if part.start < part.end]


def in_service(machine: str, rows: Sequence[Row], window: Window) -> list[Span]:
    """When the machine was in service within the window."""
    own = sorted((r for r in rows if isinstance(r, Machine) and r.machine == machine), key=lambda r: r.since)
    ends = [micros(row.since) for row in own[1:]] + [EVER]
    first, last = micros(window.start), micros(window.end)
    spans = [(max(micros(r.since), first), min(end, last)) for r, end in zip(own, ends, strict=True) if r.in_service]
    return joined([(a, b) for a, b in spans if a < b])


def cut(pieces: list[Piece], span: Span) -> list[Piece]:
    parts = [piece.part(max(piece.start, span[0]), min(piece.end, span[1])) for piece in pieces]
    return [part for part in parts if part.start < part.end]


def merged(pieces: list[Piece]) -> list[Piece]:
    found: list[Piece] = []
    for piece in pieces:
        if found and found[-1].end == piece.start and found[-1].what() == piece.what():
            found[-1] = piece.part(found[-1].start, piece.end)
        else:
            found.append(piece)
    return found


def joined(spans: Sequence[Span]) -> list[Span]:
    """The spans in order, those that touch or overlap made one."""
    found: list[Span] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        elif start < end:
            found.append((start, end))
    return found


def micros(t: datetime) -> int:
    return (t - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
