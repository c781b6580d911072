"""What was recorded, read back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import timedelta

from core.entries import AnyEntry, CameBack, PartsOff, PrintStarted, SpoolFitted, UpkeepDone, WentDown
from core.setup import DONT_KNOW
from dashboard.words.floor_words import fitted, minutes
from dashboard.words.names import Names, named
from dashboard.words.written import Clock

LAST = "Last: "
#: An entry told so much later than it happened says for when it is.
NOTICEABLY = timedelta(minutes=2)


def receipt(entries: Sequence[AnyEntry], held: int | None, clock: Clock, names: Names) -> str:
    """What a tap recorded: "P07 recorded 11:42: 12 good, next started: F-014."."""
    first = entries[0]
    machine = getattr(first, "machine", "")
    told = _all_told(entries, held, names)
    return f"{machine} recorded {clock.soon(first.noted_at)}{_earlier(first, clock)}: {told}."


def last_told(entries: Sequence[AnyEntry], clock: Clock, names: Names) -> str:
    """The newest tap at a machine, for whoever opens its page."""
    first = entries[0]
    who = named(first.by, names.people)
    return f"{LAST}{clock.soon(first.noted_at)}{_earlier(first, clock)}, {who}: {_all_told(entries, None, names)}."


def _earlier(entry: AnyEntry, clock: Clock) -> str:
    """For when it was noted, where that is not when it was tapped."""
    return f" for {clock.soon(entry.at)}" if entry.noted_at - entry.at > NOTICEABLY else ""


def _all_told(entries: Sequence[AnyEntry], held: int | None, names: Names) -> str:
    said = [told(entry, held, names) for entry in entries]
    if len(entries) > 1 and isinstance(entries[1], PrintStarted):
        said[1] = f"next started: {entries[1].file}"
    return ", ".join(said)


def told(entry: AnyEntry, held: int | None, names: Names) -> str:
    """One entry in a few words; `held` is what was on the platform, where the page knew it."""
    if isinstance(entry, PartsOff):
        return _parts_off(entry, held, names)
    if isinstance(entry, WentDown):
        spare = f", waits for {named(entry.spare, names.spares)}" if entry.spare else ""
        return f"down, {named(entry.cause, names.down)}{spare}"
    if isinstance(entry, SpoolFitted):
        left = f", {entry.left_grams:g} g left on the old one" if entry.left_grams is not None else ""
        return f"spool {named(entry.material, names.materials)}, {entry.grams:g} g{left}"
    if isinstance(entry, UpkeepDone):
        used = f", {fitted(Counter(entry.spares), names.spares)}" if entry.spares else ""
        return f"upkeep, {named(entry.task, names.tasks)}, {minutes(round(entry.minutes))}{used}"
    if isinstance(entry, CameBack) and entry.spares:
        return f"running again, {fitted(Counter(entry.spares), names.spares)}"
    return _TOLD.get(entry.kind, entry.kind).format(**entry.model_dump())


_TOLD = {
    "PrintStarted": "{file} started",
    "Looked": "seen {saw}",
    "CameBack": "running again",
    "SetAside": "set aside",
    "PutBack": "put back",
    "CardLoaded": "card {card_set} rev {revision} loaded",
    "QuestionClosed": "question closed, {answer}",
}


def _parts_off(entry: PartsOff, held: int | None, names: Names) -> str:
    on = entry.on_platform if entry.on_platform is not None else held
    what = "print failed" if entry.ended == "stopped" else "parts off"
    if not entry.scrap:
        return f"{on} good" if on else f"{what}, all good"
    left = f"{on - entry.scrap} good" if on and on > entry.scrap else what
    return f"{left}, {entry.scrap} scrap ({named(entry.scrap_cause or DONT_KNOW, names.scrap)})"


def round_receipt(entries: Sequence[AnyEntry], clock: Clock) -> str:
    """What a tap on a round recorded."""
    at = clock.soon(entries[0].noted_at)
    seen = [f"{e.machine} {e.saw}" for e in entries]  # type: ignore[union-attr]
    if len(seen) == 1:
        return f"Recorded {at}: {seen[0]}."
    return f"Recorded {at}: {len(seen)} as expected."


def entry_line(entry: AnyEntry, clock: Clock, names: Names) -> str:
    """A line of the machine's history: when, by whom, what."""
    return f"{clock.soon(entry.at)} {named(entry.by, names.people)}: {told(entry, None, names)}"


def taken_back(sentence: str) -> str:
    """Said after Undo: "Taken back: P07 recorded 11:42: 12 good, next started."."""
    return f"Taken back: {sentence.removeprefix(LAST)}"
