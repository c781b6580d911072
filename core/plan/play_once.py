"""One course of a room, compiled to machine code: which machine hands come to next, what they do there, what comes off.

`laws` holds what a room is, and `forward` plays many courses of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numba
import numpy as np
import numpy.typing as npt

from core.arrays import Flags, Numbers, Rows
from core.plan.laws import (
    DOWN,
    EMPTY,
    FAILED,
    FINE,
    PRINTED,
    STATES,
    WAITED,
    HandsClock,
    Laws,
    Now,
    Preferences,
    Wanted,
    Work,
)

#: What the kept code holds of `laws`, so that it is not kept when one of these changes: a test tells.
HELD = {"PRINTED": 0, "FAILED": 1, "WAITED": 2, "DOWN": 3, "EMPTY": 4, "STATES": 5, "FINE": 10}
#: Chances that are drawn at every visit, needed or not, so that like rooms meet the same luck.
CHANCES = 10
#: Visits that there is room for at first.
ROOM = 512


class PlayRules(NamedTuple):
    """What does not change in a course: the fields of `HandsClock`, `Work`, `Preferences`, `Wanted` and `Laws`.

    `product` and `parts` have one file more, which is none; `most_hands` are ever in at once. The room is accounted
    for from `since` to `end`.
    """

    at: Numbers
    worked: Numbers
    hands: Rows
    most_hands: int
    rush: Flags
    product: Rows
    material: Rows
    parts: Numbers
    hours: Numbers
    weights: Numbers
    likelier: Numbers
    suits: Numbers
    now: Numbers
    later: Numbers
    in_rush: Numbers
    calm: Numbers
    idle: Numbers
    change: Numbers
    down: Numbers
    ratio: Numbers
    tried: Numbers
    breaks: Numbers
    at_once: float
    stops: float
    since: float
    end: float


class PlayRoom(NamedTuple):
    """What changes in a course: of every machine its `model`, and the rest as of `Now`."""

    model: Rows
    ends: Numbers
    visit: Numbers
    file: Rows
    good: Flags
    loaded: Rows


def rules_of(
    clock: HandsClock, work: Work, choice: Preferences, laws: Laws, wanted: Wanted, window: tuple[float, float]
) -> PlayRules:  # fmt: skip
    """All that does not change, in the kinds of numbers that `play_once` is compiled for."""
    return PlayRules(
        at=_numbers(clock.at), worked=_numbers(clock.worked), hands=_rows(clock.hands),
        most_hands=max(int(clock.hands.max(initial=1)), 1), rush=np.ascontiguousarray(clock.rush, np.bool_),
        product=_rows(np.append(work.product, -1)), parts=_numbers(np.append(work.parts, 0.0)),
        material=_rows(work.material), hours=_numbers(work.hours), weights=_numbers(choice.weights),
        likelier=_numbers(choice.wanted), suits=_numbers(choice.suits), now=_numbers(wanted.now),
        later=_numbers(wanted.later), in_rush=_numbers(laws.rush), calm=_numbers(laws.calm), idle=_numbers(laws.idle),
        change=_numbers(laws.change), down=_numbers(laws.down), ratio=_numbers(laws.ratio), tried=_numbers(laws.tried),
        breaks=_numbers(laws.breaks), at_once=float(laws.at_once), stops=float(laws.stops), since=float(window[0]),
        end=float(window[1]),
    )  # fmt: skip


def room_of(now: Now, replication: int) -> PlayRoom:
    """The room as it is in one replication, to be used up."""
    return PlayRoom(
        _rows(now.model), now.ends[replication].astype(np.float64), now.visit[replication].astype(np.float64),
        now.file[replication].astype(np.int64), now.good[replication].astype(np.bool_),
        now.loaded[replication].astype(np.int64),
    )  # fmt: skip


def _numbers(array: npt.ArrayLike) -> Numbers:
    return np.ascontiguousarray(array, np.float64)


def _rows(array: npt.ArrayLike) -> Rows:
    return np.ascontiguousarray(array, np.int64)


compiled = numba.njit(nogil=True, error_model="numpy")


def kept(function: Callable[..., Any]) -> Any:
    """Compiled, and kept beside this file or in the user's cache, by the text of this file. Where neither can be
    written to, numba refuses to keep anything, and every process compiles it anew.
    """
    try:
        return numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:
        return compiled(function)


@kept
def play_once(
    fixed: tuple[Any, ...], changing: tuple[Any, ...], replication: int, factor: float, chance: np.random.Generator
) -> tuple[Numbers, Rows, Numbers, Numbers]:
    """Play a room to the end, by the fields of `Rules` and of `Room`, which are used up: when what came off (hours from
    now), of which product (-1: none), its good parts, and the machine-hours in every state. All prints take `factor`
    times as long.
    """
    # Bare tuples come in: what is kept of the compiled code must not name classes that another version has not.
    rules, room = PlayRules(*fixed), PlayRoom(*changing)
    hours, luck = np.zeros(STATES), np.empty(CHANCES)
    free, started = np.zeros(rules.most_hands), np.zeros(len(rules.now))
    off, product, parts, count = np.empty(ROOM), np.empty(ROOM, np.int64), np.empty(ROOM), 0
    for at in range(len(room.visit)):
        _spend(hours, _under_way(room.file[at], room.good[at]), 0.0, max(room.ends[at], 0.0), rules.since, rules.end)
    while len(room.visit):
        at = int(np.argmin(room.visit))
        if not room.visit[at] < rules.end:
            break
        for one in range(CHANCES):
            luck[one] = chance.random()
        if count == len(off):
            off, product, parts = _doubled(off), _doubled(product), _doubled(parts)
        there = max(rules.hands[_when(rules.hands, room.visit[at])], 1)
        took = _drawn(rules.change, luck[0])
        came, left = _hands(free[:there], room.visit[at], took, rules.at, rules.worked)
        if came < rules.end:
            off[count], product[count] = came, rules.product[room.file[at]]
            parts[count] = rules.parts[room.file[at]] if room.good[at] else 0.0
            count += 1
        _visit(rules, room, started, hours, at, left, luck, replication, factor)
    for at in range(len(room.visit)):
        state, ends = EMPTY if room.file[at] < 0 else WAITED, room.ends[at]
        _spend(hours, state, ends, max(ends, rules.end), rules.since, rules.end)
    return off[:count], product[:count], parts[:count], hours


@compiled
def _visit(  # noqa: PLR0913, PLR0917 - all that a room is
    rules: PlayRules, room: PlayRoom, started: Numbers, hours: Numbers, at: int, left: float, luck: Numbers,
    replication: int, factor: float,
) -> None:  # fmt: skip
    """Hands take off what is on a machine, mend it or start a print, and are gone at `left`."""
    file, model = room.file[at], room.model[at]
    if file >= 0 and not room.good[at]:
        # What came to nothing is wanted again.
        started[rules.product[file]] -= rules.parts[file]
    _spend(hours, EMPTY if file < 0 else WAITED, room.ends[at], left, rules.since, rules.end)
    broken = file >= 0 and luck[1] < rules.breaks[0 if room.good[at] else 1]
    at_once = broken or file < 0 or luck[3] < rules.at_once
    begun = left if at_once else _after(left, _drawn(rules.idle, luck[2]), rules.at, rules.worked)
    _spend(hours, EMPTY, left, begun, rules.since, rules.end)
    weights = rules.weights[replication % len(rules.weights), model, room.loaded[at] % rules.weights.shape[2]]
    later = rules.later[replication % len(rules.later), min(int(begun), rules.later.shape[1] - 1)]
    suits, likelier = rules.suits[model, _when(rules.hands, begun)], rules.likelier[replication % len(rules.likelier)]
    new = _pick(weights, suits, rules.product, rules.now, later, started, likelier, luck[4])
    took, until = rules.hours[model, new] * factor * _drawn(rules.ratio, luck[5]), np.inf
    if rules.stops > 0:
        until = -math.log1p(-luck[6]) / rules.stops
    room.good[at] = until >= took
    if broken:
        # A machine that is mended while nobody is in is down until somebody says it is back.
        ends = _after(begun + _drawn(rules.down, luck[7]), 0.0, rules.at, rules.worked)
        room.file[at], room.loaded[at] = -1, _tried(rules.tried, room.loaded[at], luck[4])
        # Those who mended it start it as they would one they cleared.
        stands = 0.0 if luck[9] < rules.at_once else _drawn(rules.idle, luck[8])
    else:
        # One that stops may do so at any moment of it.
        ends = begun + min(took, until)
        room.file[at], room.loaded[at] = new, rules.material[new]
        started[rules.product[new]] += rules.parts[new]
        stands = _drawn(rules.in_rush if rules.rush[_when(rules.hands, ends)] else rules.calm, luck[8])
    _spend(hours, _under_way(room.file[at], room.good[at]), begun, ends, rules.since, rules.end)
    room.ends[at], room.visit[at] = ends, _after(ends, stands, rules.at, rules.worked)


@compiled
def _hands(free: Numbers, visit: float, took: float, at: Numbers, worked: Numbers) -> tuple[float, float]:
    """When the first free hands of those that are in begin, and when they are done."""
    who = np.argmin(free)
    begin = max(_between(visit, at, worked), free[who])
    free[who] = begin + took
    # Work done just at closing is done then, not when hands are back.
    left = _between(np.nextafter(free[who], 0.0), worked, at)
    return max(visit, _between(begin, worked, at)), max(visit, left)


@compiled
def _pick(  # noqa: PLR0913, PLR0917 - all that a choice is
    weights: Numbers, suits: Numbers, product: Rows, now: Numbers, later: Numbers, started: Numbers, likelier: float,
    luck: float,
) -> int:  # fmt: skip
    """The file that is started on a machine: one that fits it, also where none suits the time."""
    run, total = np.empty(len(weights)), 0.0
    for file in range(len(weights)):
        of = product[file]
        total += weights[file] * suits[file] * (likelier if started[of] < now[of] + later[of] else 1.0)
        run[file] = total
    new = 0
    while new < len(run) - 1 and (run[new] < luck * total or weights[new] <= 0):
        new += 1
    return new


@compiled
def _tried(tried: Numbers, loaded: int, luck: float) -> int:
    """The material on a machine that was mended: that of the print it is tried out with, if it is."""
    for material in range(len(tried)):
        luck -= tried[material]
        if luck < 0:
            return material
    return loaded


@compiled
def _under_way(file: int, good: bool) -> int:
    """The state of a machine until what is on it ends."""
    return DOWN if file < 0 else PRINTED if good else FAILED


@compiled
def _spend(
    hours: Numbers, state: int, start: float, end: float, since: float, until: float
) -> None:  # fmt: skip
    """Machine-hours of the time that is accounted for go to a state."""
    hours[state] += min(max(end, since), until) - min(max(start, since), until)


@compiled
def _drawn(table: Numbers, luck: float) -> float:
    """One of a table's quantiles."""
    return table[int(luck * len(table))]


@compiled
def _when(fine: Rows, moment: float) -> int:
    """The place of a moment in what is known for every `1 / FINE` hours."""
    return min(int(moment * FINE), len(fine) - 1)


@compiled
def _after(moment: float, hours: float, at: Numbers, worked: Numbers) -> float:
    """So many hours of hands after a moment."""
    return max(moment, _between(_between(moment, at, worked) + hours, worked, at))


@compiled
def _between(x: float, known: Numbers, told: Numbers) -> float:
    """Linear interpolation, as numpy's: of several like points the last one counts.

    `np.interp` gives the same to the last digit, but makes arrays of one number here: a play takes 70 % longer.
    """
    place = np.searchsorted(known, x, side="right") - 1
    if place < 0:
        return told[0]
    if place == len(known) - 1:
        return told[-1]
    return told[place] + (told[place + 1] - told[place]) / (known[place + 1] - known[place]) * (x - known[place])


@compiled
def _doubled(array: npt.NDArray[Any]) -> npt.NDArray[Any]:
    longer = np.empty(2 * len(array), array.dtype)
    for place in range(len(array)):
        longer[place] = array[place]
    return longer
