"""The reckoning once more, slowly: plain lists, loops and whole numbers, one machine and one gap at a time.

Written from the text of the reckoning, not from `core.timeline`, so that the two can check each other.
Here is what lies between facts, up to the stretches; the facts are in `plain_facts`, times in `plain_clock`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from core.entries import AnyEntry, AtMachine, StockReceived, UpkeepDone
from core.habits.learned import Learned
from core.setup import Machine, Row
from core.window import Window
from tests.core.timeline.plain_clock import EVER, HOUR, Clock, Span, Usual, joined, micros
from tests.core.timeline.plain_facts import Fact, facts_of, pairs

#: machine, start, end, state, basis, print, cause, spare
Stretch = tuple[str, int, int, str, str, str | None, str | None, str | None]
DECLARED = ("down", "waiting", "aside", "upkeep")
STOOD_STILL = ("empty", "done", "stopped", "no word")


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
