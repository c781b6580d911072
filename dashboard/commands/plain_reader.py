"""A plain reader of a room's entries: what anybody could add up who knew by what factor prints of this shop take longer
than stated, and took every start and removal at its word. The reckoning must not be worse.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from operator import attrgetter
from statistics import fmean

from core.entries import AtMachine, EntryVoided, PrintStarted, moment
from core.setup import PrintFile
from core.window import Window
from demo.rooms.told import Told

#: What is said of a machine that prints no more from then on, or prints something else.
WORDS = ("PrintStarted", "PartsOff", "WentDown", "CameBack", "SetAside", "PutBack")


def plain_hours(told: Told, window: Window) -> float:
    """Hours printed in the window by all machines together, as the plain reader adds them up.

    A print lasts from its start for the hours that its file states times the mean true factor of the shop's prints, or
    until the next word of that machine, whichever is first. Looks and spools are not read.
    """
    factor = true_factor(told)
    hours = stated(told)
    cut = ((max(start, window.start), min(end, window.end)) for start, end in _prints(told, hours, factor))
    return sum(max(0.0, (end - start).total_seconds() / 3600) for start, end in cut)


def true_factor(told: Told) -> float:
    """The mean of what prints truly take to what their files state, over all prints of the room; 1 without any."""
    hours = stated(told)
    factors = [run.whole / hours[run.file, run.revision] for run in told.runs]
    return fmean(factors) if factors else 1.0


def stated(told: Told) -> dict[tuple[str, int], float]:
    """The hours that each revision of a file states."""
    return {(row.file, row.revision): row.hours for row in told.rows if isinstance(row, PrintFile)}


def words(told: Told, kinds: Sequence[str] = WORDS) -> dict[str, list[AtMachine]]:
    """What was said of each machine and not taken back, in the order in which it is said to have happened; parts come
    off before the next print starts where both have the same time.
    """
    void = {entry.which for entry in told.entries if isinstance(entry, EntryVoided)}
    kept = [
        entry for entry in told.entries if isinstance(entry, AtMachine) and entry.kind in kinds and entry.id not in void
    ]
    in_order = sorted(kept, key=lambda entry: (entry.machine, moment(entry)))
    return {machine: list(said) for machine, said in groupby(in_order, attrgetter("machine"))}


def _prints(told: Told, hours: dict[tuple[str, int], float], factor: float) -> Iterator[tuple[datetime, datetime]]:
    """From when to when the prints lasted that somebody started for stock or an order."""
    for said in words(told).values():
        for word, following in pairwise([*said, None]):
            if isinstance(word, PrintStarted) and not word.proving:
                due = word.at + timedelta(hours=hours[word.file, word.revision] * factor)
                yield word.at, min(due, following.at) if following else due
