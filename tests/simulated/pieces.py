"""A room's time cut at every word of its entries, as a taught reader sees it: where each piece lies, in numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from itertools import pairwise
from statistics import fmean
from typing import NamedTuple, get_args

import numpy as np

from core.entries import AtMachine, Looked, PrintStarted, Sight
from core.setup import Machine, Setup
from core.staffed import staffed_spells
from core.window import Window
from dashboard.commands.plain_reader import stated, true_factor, words
from demo.rooms.told import OUT_OF_SERVICE, Told

#: Every kind of entry that says something of one machine, and what leaves the print as it is that was started.
KINDS = (
    "PrintStarted", "PartsOff", "Looked", "WentDown", "CameBack", "SpoolFitted", "UpkeepDone", "SetAside", "PutBack",
)  # fmt: skip
OF_A_START = " of a start"
LEAVES = ("saw printing", "saw done", "saw stopped", "SpoolFitted")
#: All that stands at either end of a piece; nothing at the ends of the entries.
SAID = ("", "proving", *KINDS, *(f"saw {sight}" for sight in get_args(Sight)))
NAMES = (*SAID, *(word + OF_A_START for word in ("PrintStarted", *LEAVES)))
#: Hours are counted apart by how far the print had come, if it was the one that was started (in its true hours), and by
#: how near either word is (hours).
COME = (0.25, 0.5, 0.75, 0.9, 1.0, 1.1, 1.3, 1.6, 2.0, 3.0)
NEAR = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
WEEK = 168.0


class Piece(NamedTuple):
    """A machine's time between two words, cut at the ends of weeks; hours since the entries begin.

    From `start` to `end`, of the time from `after` to `before`. `begun` and `whole` are when the print was started that
    was there, as far as words say, and what it truly takes; where none is known, `after` and what prints take in the
    mean.
    """

    machine: str
    words: tuple[str, str]
    start: float
    end: float
    after: float
    before: float
    begun: float
    whole: float


def pieces(told: Told) -> list[Piece]:
    """All time of a room's machines, in pieces."""
    said, whole = words(told, KINDS), _true_times(told)
    mean = fmean([run.whole for run in told.runs] or [1.0])
    machines = [row.machine for row in told.rows if isinstance(row, Machine)]
    return [piece for machine in machines for piece in _of_machine(told, machine, said.get(machine, []), whole, mean)]


def _of_machine(
    told: Told, machine: str, said: Sequence[AtMachine], whole: Callable[[PrintStarted], float], mean: float
) -> Iterator[Piece]:
    ends = (0.0, "", None), (_hours(told, told.end), "", None)
    marks = [ends[0], *((_hours(told, word.at), _name(word), word) for word in said), ends[1]]
    known: tuple[float, float] | None = None
    for (after, left, word), (before, right, _) in pairwise(marks):
        if left == "PrintStarted":
            known = after, whole(word)
        elif left not in LEAVES:
            known = None
        begun, lasts = known or (after, mean)
        between = (left + (OF_A_START if known else ""), right)
        for start, end in _weeks(after, before):
            yield Piece(machine, between, start, end, after, before, begun, lasts)


def _name(word: AtMachine) -> str:
    if isinstance(word, Looked):
        return f"saw {word.saw}"
    return "proving" if isinstance(word, PrintStarted) and word.proving else word.kind


def _weeks(start: float, end: float) -> Iterator[tuple[float, float]]:
    """The time cut at the ends of weeks, without what has no length."""
    cuts = [start, *np.arange(np.floor(start / WEEK) * WEEK + WEEK, end, WEEK), end]
    return ((one, other) for one, other in pairwise(cuts) if other > one)


def _hours(told: Told, moment: datetime) -> float:
    """Hours since the entries begin; what is said to lie beyond either end lies there."""
    return (min(max(moment, told.start), told.end) - told.start).total_seconds() / 3600


def _true_times(told: Told) -> Callable[[PrintStarted], float]:
    """What a print that is said to have been started truly takes: as the nearest in time of its file on that model."""
    models = {row.machine: row.model for row in told.rows if isinstance(row, Machine)}
    hours, factor = stated(told), true_factor(told)
    runs: dict[tuple[str, int, str], list[tuple[datetime, float]]] = {}
    for run in told.runs:
        runs.setdefault((run.file, run.revision, models[run.machine]), []).append((run.started, run.whole))

    def whole(word: PrintStarted) -> float:
        mine = runs.get((word.file, word.revision, models[word.machine]), [])
        plain = hours[word.file, word.revision] * factor
        return min(mine, key=lambda run: abs(run[0] - word.at), default=(word.at, plain))[1]

    return whole


def seen(told: Told, cut: Sequence[Piece]) -> np.ndarray:
    """Hours of each piece that lie here and there [piece, column]: all, with people in, by what the print had come to,
    by how near the words were.
    """
    start, end, after, before, begun, whole = np.array([piece[2:] for piece in cut]).T[..., None]
    columns = [
        end - start,
        np.diff(_with_people_in(told, np.hstack([start, end]))),
        _overlap(start, end, after, begun + np.array(COME) * whole),
        _overlap(start, end, after, after + np.array(NEAR)),
        _overlap(start, end, before - np.array(NEAR), before),
        _overlap(start, end, before - np.array(COME) * whole, before),
    ]
    return np.hstack(columns)


def _overlap(start: np.ndarray, end: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    return np.maximum(np.minimum(end, last) - np.maximum(start, first), 0)


def _with_people_in(told: Told, moments: np.ndarray) -> np.ndarray:
    """Hours with people in from the beginning until these moments."""
    spells = sorted(
        (_hours(told, spell.window.start), _hours(told, spell.window.end))
        for spell in staffed_spells(Setup(told.rows), Window(told.start, told.end))
    )
    return _passed(spells, moments)


def _passed(spells: Sequence[tuple[float, float]], moments: np.ndarray) -> np.ndarray:
    """Hours of these spells, which may overlap, that are over at these moments."""
    cuts = np.unique(np.array([0.0, *(cut for spell in spells for cut in spell)]))
    on = np.zeros(len(cuts))
    for start, end in spells:
        on[(cuts >= start) & (cuts < end)] = 1
    return np.interp(moments, cuts, np.concatenate([[0.0], np.cumsum(on[:-1] * np.diff(cuts))]))


def truth(told: Told, cut: Sequence[Piece]) -> np.ndarray:
    """True hours of each piece that were printed, and in which the machine was out of service [piece, 2]."""
    true = np.zeros((len(cut), 2))
    machines = np.array([piece.machine for piece in cut])
    ends = np.array([(piece.start, piece.end) for piece in cut])
    for machine, steps in told.turns.items():
        mine = machines == machine
        for column, states in enumerate((("printing",), OUT_OF_SERVICE)):
            spells = [
                (_hours(told, start), _hours(told, end))
                for (start, state), (end, _) in pairwise([*steps, (told.end, "")])
                if state in states
            ]
            true[mine, column] = np.diff(_passed(spells, ends[mine]))[:, 0]
    return true
