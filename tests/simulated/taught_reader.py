"""How far off the best that can be said of a room's hours is, and how far off ours are.

`python -m tests.simulated.taught_reader [ROOMS] [TEACHERS] [FAMILY ...]` prints it, families of rooms by how many times
worse ours are. What an observer could say who knows every law of a room but sees only its entries is out of reach: the
laws of the families are programs. Instead a reader is taught by so many other rooms of the family with the same share
of entries missing, whose truth he is told: how the hours of a piece of time, between one word of a machine and the
next, divide by where it lies (`pieces`), then what that is off by in weeks of rooms like this one. Of the room itself
he is told what every file truly takes; else he sees its entries alone. Both are ridge regressions (Hoerl and Kennard,
Technometrics 12 (1970) 55-67; from memory), which know nothing of machines.

He is no ideal: that one would be off by at most as much. Where ours are off by less, the bound is ours.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial, reduce
from operator import add
from typing import NamedTuple

import numpy as np

from dashboard.commands.how_sure import grouped
from dashboard.commands.trials import Trial, trials
from demo.rooms.families import FAMILIES
from tests.simulated.pieces import NAMES, WEEK, pieces, seen, truth

MISSING, WEEKS = (0.0, 0.2, 0.4), 4
#: Teachers are other rooms than those judged.
FIRST_TEACHER = 1001
#: A coefficient is drawn toward none by so many pieces or weeks, toward the one of all pieces after the same word by so
#: many. Found on the family of rounds, one entry in five missing.
AFTER_WORD, BETWEEN_WORDS, OF_WEEKS = 30.0, 100.0, 300.0
#: The column of `seen` that holds all hours of a piece, and that of hours with people in.
ALL, WITH_PEOPLE = 0, 1
#: The numbers of two words in `NAMES`, or of one and any after it.
Words = tuple[int, int]
ANY = -1


class Lesson(NamedTuple):
    """A room in pieces: the words around each (numbers of `NAMES`), its week, where its hours lie [piece, column], and
    how many were printed or out of service [piece, 2].
    """

    left: np.ndarray
    right: np.ndarray
    week: np.ndarray
    seen: np.ndarray
    true: np.ndarray
    machines: int


def lesson(family: str, missing: float, seed: int) -> Lesson:
    """One room of a family."""
    told = FAMILIES[family](seed, missing)
    cut = pieces(told)
    left, right = np.array([[NAMES.index(word) for word in piece.words] for piece in cut]).T
    week = np.array([int(piece.start // WEEK) for piece in cut])
    machines = len({piece.machine for piece in cut})
    return Lesson(left, right, week, seen(told, cut), truth(told, cut), machines)


@dataclass
class Sums:
    """What a ridge regression keeps of its data: products of columns, products with what is asked, and how many."""

    squares: np.ndarray
    products: np.ndarray
    number: int

    @classmethod
    def of(cls, columns: np.ndarray, asked: np.ndarray) -> Sums:
        """Those of data [number, column] and [number, asked]."""
        return cls(columns.T @ columns, columns.T @ asked, len(columns))

    def __add__(self, other: Sums) -> Sums:
        return Sums(self.squares + other.squares, self.products + other.products, self.number + other.number)

    def coefficients(self, steady: float, toward: np.ndarray | None = None) -> np.ndarray:
        """The coefficients, drawn toward others or none by so many data, whatever the units of the columns."""
        others = np.zeros_like(self.products) if toward is None else toward
        drawn = np.diag(steady / self.number * np.diag(self.squares) + 1e-9)
        return others + np.linalg.solve(self.squares + drawn, self.products - self.squares @ others)


@dataclass(frozen=True)
class Reader:
    """What was taught: coefficients of the hours of pieces by the words around them, and of what weeks are off by."""

    hours: dict[Words, np.ndarray]
    weeks: np.ndarray

    def reads(self, room: Lesson) -> np.ndarray:
        """Printing and downtime of each week of a room, points of machine time [week, 2]."""
        columns = week_columns(self.hours, room)
        return np.clip(columns[:, :2] + columns @ self.weeks, 0, 100)


def week_columns(hours: dict[Words, np.ndarray], room: Lesson) -> np.ndarray:
    """What each week of a room looks like [week, column]: what its pieces come to, how long which word was the last
    one, how often which was said, how long people were in; then the same of all its weeks, and how many machines.
    """
    after = [in_points(room, room.seen[:, ALL] * (room.left == word)) for word in range(len(NAMES))]
    said = [in_points(room, 24.0 * (room.right == word)) for word in range(len(NAMES))]
    come_to = [in_points(room, each) for each in _piece_hours(hours, room).T]
    mine = np.column_stack([*come_to, *after, *said, in_points(room, room.seen[:, WITH_PEOPLE])])
    usual = np.concatenate([mine.mean(axis=0), [np.log(room.machines), 1.0]])
    return np.hstack([mine, np.tile(usual, (len(mine), 1))])


def _piece_hours(hours: dict[Words, np.ndarray], room: Lesson) -> np.ndarray:
    """What each piece comes to; what nobody was taught, to nothing."""
    found = np.zeros_like(room.true)
    for words, mine in _by_words(room).items():
        found[mine] = room.seen[mine] @ hours.get(words, hours.get((words[0], ANY), np.zeros((room.seen.shape[1], 2))))
    return np.clip(found, 0, room.seen[:, [ALL]])


def _by_words(room: Lesson) -> dict[Words, list[int]]:
    """The numbers of the pieces between each two words."""
    return grouped(range(len(room.week)), lambda piece: (int(room.left[piece]), int(room.right[piece])))


def in_points(room: Lesson, hours: np.ndarray) -> np.ndarray:
    """Hours of pieces added up by week, as points of the week's machine time."""
    return 100 * np.bincount(room.week, hours) / np.bincount(room.week, room.seen[:, ALL])


def true_weeks(room: Lesson) -> np.ndarray:
    """True printing and downtime of each week, points of machine time [week, 2]."""
    return np.column_stack([in_points(room, hours) for hours in room.true.T])


def taught(rooms: Sequence[Lesson]) -> Reader:
    """The reader taught by these rooms; of their weeks all but the first and the last."""
    hours = _taught_hours(rooms)
    sums = []
    for room in rooms:
        columns = week_columns(hours, room)[1:-1]
        sums.append(Sums.of(columns, true_weeks(room)[1:-1] - columns[:, :2]))
    return Reader(hours, reduce(add, sums).coefficients(OF_WEEKS))


def _taught_hours(rooms: Sequence[Lesson]) -> dict[Words, np.ndarray]:
    """The coefficients of the pieces between each two words, and of all after each word."""
    between: dict[Words, Sums] = {}
    for room in rooms:
        for words, mine in _by_words(room).items():
            sums = Sums.of(room.seen[mine], room.true[mine])
            between[words] = between[words] + sums if words in between else sums
    after = {
        (left, ANY): reduce(add, (between[words] for words in group)).coefficients(AFTER_WORD)
        for left, group in grouped(between, lambda words: words[0]).items()
    }
    return after | {
        words: sums.coefficients(BETWEEN_WORDS, toward=after[words[0], ANY]) for words, sums in between.items()
    }


@dataclass(frozen=True)
class Beside:
    """How far off the taught reader and we are, of the same weeks; signed, points of machine time."""

    taught: np.ndarray
    ours: np.ndarray

    @property
    def times(self) -> float:
        """How many times further off ours are, in the root mean square."""
        return float(np.sqrt(np.mean(self.ours**2) / np.mean(self.taught**2)))


@dataclass(frozen=True)
class Compared:
    """The shop-weeks of a family of which a share of the entries is missing; `plain`: how far off a plain reader is."""

    family: str
    missing: float
    printing: Beside
    down: Beside
    plain: np.ndarray

    @property
    def worst(self) -> tuple[float, str]:
        """What we are the most times further off in than the taught reader."""
        return max((self.printing.times, "printing"), (self.down.times, "downtime"))


def compared(found: Sequence[Trial], reader: Reader, rooms: Sequence[Lesson]) -> Compared:
    """The same weeks of the same rooms, by us and by the reader."""
    weeks = [week for trial in found for week in trial.weeks]
    judged = slice(-1 - len(found[0].weeks), -1)
    taught_off = np.vstack([(reader.reads(room) - true_weeks(room))[judged] for room in rooms])
    printing = Beside(taught_off[:, 0], np.array([week.shop.printing.off for week in weeks]))
    down = Beside(taught_off[:, 1], np.array([week.shop.down.off for week in weeks]))
    return Compared(found[0].family, found[0].missing, printing, down, np.array([week.plain for week in weeks]))


def measured(rooms: int, teachers: int, families: Iterable[str]) -> Iterator[Compared]:
    """Every family with every share of entries missing."""
    seeds = [*range(1, rooms + 1), *range(FIRST_TEACHER, FIRST_TEACHER + teachers)]
    found = grouped(trials(rooms, families, MISSING, WEEKS), lambda trial: (trial.family, trial.missing))
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for (family, missing), mine in found.items():
            lessons = list(pool.map(partial(lesson, family, missing), seeds))
            yield compared(mine, taught(lessons[rooms:]), lessons[:rooms])


def lines(rooms: int, teachers: int, families: Iterable[str]) -> Iterator[str]:
    """The measurement, a line at a time."""
    worst_first = sorted(measured(rooms, teachers, families), key=lambda one: one.worst, reverse=True)
    first, (times, what) = worst_first[0], worst_first[0].worst
    named = f"{what} of {first.family}, {first.missing:.0%} missing"
    yield f"furthest from what can be said: {named}: {times:.1f} times as far off"
    yield f"{rooms} rooms of each family, {WEEKS} weeks of each, taught by {teachers} others"
    yield "how far off a shop's week is: median and 95th percentile, points of machine time; times: root mean squares"
    yield ""
    yield f"{'':24}{'printing':50}downtime"
    yield f"{'':24}{'taught':14}{'ours':14}{'times':8}{'plain':14}{'taught':14}{'ours':14}times"
    for one in worst_first:
        beside = f"{_beside(one.printing)}   {_off(one.plain)}  {_beside(one.down)}"
        yield f"{f'{one.family}, {one.missing:.0%} missing':24}{beside}"


def _beside(one: Beside) -> str:
    return f"{_off(one.taught)}  {_off(one.ours)}  {one.times:5.1f}"


def _off(off: np.ndarray) -> str:
    return f"{np.median(np.abs(off)):5.2f}  {np.quantile(np.abs(off), 0.95):5.2f}"


def main(rooms: str = "20", teachers: str = "100", *families: str) -> None:
    """Print the measurement."""
    for line in lines(int(rooms), int(teachers), families or FAMILIES):
        sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
