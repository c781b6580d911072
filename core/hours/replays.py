"""Replays: what may have happened between facts, many times over, as this shop works.

Every span is replayed from the state it begins in: prints end or stop, finished ones wait for hands, hands
take parts off and start the next print or leave the machine empty, each as often as in this shop, and
noting nothing. A replay that contradicts a look is dropped; the others count by how likely they are to have
left just the entries there are (importance sampling). All figures and their ranges are taken from them.

A span's chance is its own (the id of its first entry), so the same entries give the same replays whatever
else is reckoned with them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import FAR, HOUR
from core.habits.habits import in_rush, occasion
from core.hours.law import Law
from core.timeline.spans import ANY, CLEAR, DONE, EMPTY, OPEN, PRINTING, STOPPED, Spans, crowded

#: More turns than any span takes.
TURNS = 80
#: Replays less likely than this (logarithm) are given up.
HOPELESS = -60.0
#: How often a replay is made to stay as it is up to the next look, and to the end of the span; weights make up for it.
STAYS, STAYS_TO_END = 0.7, 0.5
#: A print that must have been cut short is made to stop so often; one of a span that ends stopped, so often.
MUST_STOP, MAY_STOP = 0.9, 0.5
#: A print begun before a look that sees one is made to last until then so often.
LASTS = 0.6
#: The chance that a machine turns out to be down at a stopped print, and at another visit (common practice, no source).
DOWN_AFTER_STOP, DOWN_OTHERWISE = 0.5, 0.014
#: Steps of additive sequences that fill the unit interval evenly: fractional parts of square roots of primes.
_STEPS = np.sqrt(np.array([
    2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83, 89, 97, 101, 103, 107, 109,
], dtype=np.float64)) % 1.0  # fmt: skip


@dataclass(frozen=True, slots=True)
class Turn:
    """One step of some replays (`rows`): they were in `state` from `start` to `end`, printing `material` (its place);
    `first`: in their first print.
    """

    rows: Rows
    state: Rows
    start: Micros
    end: Micros
    first: Flags
    material: Rows


_TURN = ("state", "start", "end", "first", "material")


@dataclass(frozen=True, slots=True)
class Waits:
    """Waits of some replays: the law (0 inside, 1 outside, 2 idle), from and to which age and moment, ended or not."""

    rows: Rows
    law: Rows
    begin: Numbers
    end: Numbers
    ended: Flags
    since: Micros
    until: Micros


@dataclass(frozen=True, slots=True)
class Replays:
    """`count` replays of every span, as rows span after span.

    `weights` [spans, count] sum to one, or to nought where no replay fits; `ratio` [spans, count] is how
    far each took the time of its announced print from the best, in standard deviations. `law`, `age` and
    `ended` tell of the wait each replay was in at its end, and whether the fact there ended it. `fit` [spans] is the
    logarithm of the likelihood of what is known of each span.
    """

    spans: Spans
    count: int
    weights: Numbers
    ratio: Numbers
    turns: list[Turn]
    waits: list[Waits]
    restarts: list[tuple[Rows, Flags]]
    law: Rows
    age: Numbers
    ended: Flags
    fit: Numbers

    def of(self, spans: Flags) -> Replays:
        """The replays of some of the spans, for their hours: the turns alone are taken along."""
        place = np.cumsum(spans) - 1
        kept = np.repeat(spans, self.count)

        def moved(rows: Rows) -> Rows:
            return place[rows // self.count] * self.count + rows % self.count

        turns = []
        for turn in self.turns:
            stay = kept[turn.rows]
            rows = moved(turn.rows[stay])
            turns.append(Turn(rows, *(getattr(turn, name)[stay] for name in _TURN)))
        return Replays(
            self.spans.of(spans), self.count, self.weights[spans], self.ratio[spans], turns, [], [],
            self.law[kept], self.age[kept], self.ended[kept], self.fit[spans],
        )  # fmt: skip


def replay(spans: Spans, law: Law, count: int) -> Replays:
    """Replay every span `count` times."""
    return _Run(spans, law, count).run()


class _Run:
    """All replays of some spans at once: a row a replay, columns its condition."""

    def __init__(self, spans: Spans, law: Law, count: int) -> None:
        self.spans, self.count = spans, count
        self.staffed, self.hands, self.habits, self.spread = law.staffed, law.hands, law.habits, law.spread
        self.known_at, self.quiet, self.unseen = law.known_at, law.quiet, law.unseen
        size = len(spans) * count
        self.row = np.repeat(np.arange(len(spans)), count)
        self.turn_of_chance = np.tile(np.arange(1, count + 1), len(spans))
        self.draws = 0
        self.now: Micros = np.repeat(spans.start, count)
        self.state = np.repeat(spans.left, count)
        self.weight = np.zeros(size)  # logarithm
        self.ends: Micros = np.zeros(size, dtype=np.int64)
        self.stops = np.zeros(size, dtype=bool)
        self.first = np.ones(size, dtype=bool)
        self.material = np.repeat(spans.loaded, count)
        self.fresh = np.repeat(spans.hand & (spans.left == EMPTY), count)
        self.outside = np.zeros(size, dtype=bool)
        self.since: Micros = np.zeros(size, dtype=np.int64)  # by the clock of hands
        self.look = np.repeat(spans.first, count)
        self.look_at, self.look_saw = np.append(spans.look_at, FAR), np.append(spans.look_saw, -1)
        open_ended = np.isin(spans.found, (OPEN, ANY))
        self.may_end = np.stack([
            open_ended,
            open_ended | np.isin(spans.found, (DONE, CLEAR)),
            open_ended | np.isin(spans.found, (STOPPED, CLEAR)),
            open_ended | np.isin(spans.found, (EMPTY, CLEAR)),
        ])  # fmt: skip
        self.materials = np.cumsum(self.habits.menu.materials(spans.loaded, spans.loads), axis=1)[:, :-1]
        self.turns: list[Turn] = []
        self.waits: list[Waits] = []
        self.restarts: list[tuple[Rows, Flags]] = []

    def run(self) -> Replays:
        everyone = np.arange(len(self.row))
        ratio = ndtri(self._chance(everyone))
        self._begin(ratio)
        going = everyone
        for _ in range(TURNS):
            going = going[(self.now[going] < self.spans.end[self.row[going]]) & (self.weight[going] > HOPELESS)]
            if not len(going):
                break
            start, state, first = self.now[going].copy(), self.state[going].copy(), self.first[going].copy()
            self._print(going[state == PRINTING])
            self._stand(going[(state == DONE) | (state == STOPPED)])
            self._idle(going[state == EMPTY])
            self.turns.append(Turn(going, state, start, self.now[going].copy(), first, self.material[going].copy()))
        shape = (len(self.spans), self.count)
        weights, fit = self._weights()
        law, age = self._law_and_age()
        return Replays(
            self.spans, self.count, weights, ratio.reshape(shape), self.turns, self.waits, self.restarts,
            law, age, self._ended(), fit,
        )  # fmt: skip

    def _ended(self) -> Flags:
        """Whether the fact that ends the span ended the wait a replay was in."""
        started = self.spans.found[self.row] == CLEAR
        parts = (self.state == DONE) | (self.state == STOPPED)
        return np.asarray((parts & (started | self.spans.removed[self.row])) | ((self.state == EMPTY) & started))

    def _chance(self, rows: Rows) -> Numbers:
        """A number between 0 and 1 for each row: evenly spread over the replays of a span, its own for every span."""
        self.draws += 1
        mixed = self.spans.key + np.uint64(0x9E3779B97F4A7C15 * self.draws & (2**64 - 1))
        mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        begin = ((mixed ^ (mixed >> np.uint64(31))) >> np.uint64(11)).astype(np.float64) / 2.0**53
        step = _STEPS[self.draws % len(_STEPS)]
        spread = (begin[self.row[rows]] + step * self.turn_of_chance[rows]) % 1.0
        return np.asarray(np.clip(spread, 1e-9, 1 - 1e-9))

    def _begin(self, ratio: Numbers) -> None:
        spans = self.spans
        rows = np.flatnonzero(self.state == PRINTING)
        row, start = self.row[rows], self.now[rows]
        hours = spans.hours[row] * np.exp(spans.doubt[row] * ratio[rows])
        cut_short = (spans.end[row] < start + 0.9 * hours * HOUR) & ~np.isin(spans.found[row], (DONE, OPEN))
        self._begin_print(rows, hours, np.where(cut_short, MUST_STOP, 0.0), spans.blur[row])
        left = self._chance(rows)
        rest = 1 - spans.most[row] * (1 - left)
        into = start + (rest * (self.ends[rows] - start)).astype(np.int64)
        self.ends[rows] = np.where(spans.running[row], into, self.ends[rows])
        self.first &= self.state == PRINTING
        waits = np.flatnonzero(self.state != PRINTING)
        self.since[waits] = self.hands.worked(self.now[waits])
        self.outside[waits] = in_rush(self.now[waits], self.staffed)

    def _begin_print(self, rows: Rows, hours: Numbers, stops: Numbers, blur: Numbers) -> None:
        """A print of so many hours begins; it is made to stop so often, or as often as prints do.

        Moments that are off (by `blur` hours) make it seem that much longer or shorter.
        """
        took = np.maximum(hours + np.hypot(hours * self.spread, blur) * ndtri(self._chance(rows)), hours / 4)
        chance = -np.expm1(-self.habits.stops * took)
        made = np.where(stops > 0, stops, np.where(self.spans.found[self.row[rows]] == STOPPED, MAY_STOP, chance))
        stopped = self._chance(rows) < made
        at = self._chance(rows)
        self.weight[rows] += np.where(stopped, np.log(chance / made), np.log((1 - chance) / (1 - made)))
        self.stops[rows] = stopped
        self.ends[rows] = self.now[rows] + (np.where(stopped, at, 1.0) * took * HOUR).astype(np.int64)
        self.state[rows] = PRINTING

    def _next_word(self, rows: Rows) -> tuple[Micros, Flags, Flags]:
        """When something is known next of each replay, whether its state would fit it, and whether it is a look."""
        row, here = self.row[rows], self.look[rows]
        looked = here < self.spans.last[row]
        here = np.where(looked, here, len(self.look_at) - 1)
        fits = np.where(looked, self.look_saw[here] == self.state[rows], self.may_end[self.state[rows], row])
        return np.minimum(self.look_at[here], self.spans.end[row]), fits, looked

    def _meet(self, rows: Rows, fits: Flags, looked: Flags) -> None:
        """Somebody looks at these machines."""
        self.weight[rows[looked & ~fits]] = -np.inf
        self.look[rows[looked]] += 1

    def _print(self, rows: Rows) -> None:
        word, fits, looked = self._next_word(rows)
        over = self.ends[rows] < word
        self.now[rows] = np.where(over, self.ends[rows], word)
        self._meet(rows[~over], fits[~over], looked[~over])
        ended = rows[over]
        self.first[ended] = False
        self.state[ended] = np.where(self.stops[ended], STOPPED, DONE)
        self.outside[ended] = in_rush(self.now[ended], self.staffed)
        self.since[ended] = self.hands.worked(self.now[ended])

    def _stand(self, rows: Rows) -> None:
        gone = self._wait(rows, self.outside[rows].astype(np.int64))
        self.weight[gone] += self._unnoted(gone, self.habits.forgets_off * self.habits.neither)
        self.state[gone], self.fresh[gone] = EMPTY, True
        self.since[gone] = self.hands.worked(self.now[gone])

    def _idle(self, rows: Rows) -> None:
        fresh = rows[self.fresh[rows]]
        _, fits, _ = self._next_word(fresh)
        chance = self.habits.at_once
        made = np.where(self.now[fresh] >= self.known_at, chance, np.where(fits, 0.5, 0.8))
        at_once = self._chance(fresh) < made
        self.weight[fresh] += np.where(at_once, np.log(chance / made), np.log((1 - chance) / (1 - made)))
        self.fresh[fresh] = False
        self.restarts.append((fresh, at_once))
        self._start(fresh[at_once])
        stands = rows[self.state[rows] == EMPTY]
        self._start(self._wait(stands, np.full(len(stands), 2)))

    def _start(self, rows: Rows) -> None:
        """Hands start a print nobody announced, of a length that the next look leaves possible.

        Where it sees the machine printing, that is this print, or it is over by then and another one is.
        """
        self.state[rows] = PRINTING
        word, _, looked = self._next_word(rows)
        row, hours = self.row[rows], (word - self.now[rows]) / HOUR
        saw = self.look_saw[np.where(looked, self.look[rows], len(self.look_saw) - 1)]
        found = np.where(looked, saw, self.spans.found[row])
        most = np.where(np.isin(found, (DONE, EMPTY, CLEAR)), hours * 1.04, np.inf)
        menu, material = self.habits.menu, (self._chance(rows)[:, None] > self.materials[row]).sum(axis=1)
        self.material[rows] = material
        pool = menu.pool(self.spans.model[row], material, occasion(self.now[rows], self.staffed))
        until = np.where(looked & (saw == PRINTING), hours * 0.96, 0.0)
        _, lasts = menu.pick(pool, np.zeros(len(rows)), until, most)
        made = np.where((until > 0) & (lasts < 1), LASTS, 1.0)
        this = self._chance(rows) < made
        took, share = menu.pick(pool, self._chance(rows), np.where(this, until, 0.0), np.where(this, most, until))
        self.weight[rows] += np.log(share / np.where(this, made, 1 - made))
        self.weight[rows] += self._unnoted(rows, self.habits.forgets_start)
        self._begin_print(rows, took, np.zeros(len(rows)), np.zeros(len(rows)))

    def _unnoted(self, rows: Rows, chance: float) -> Numbers:
        """The logarithm of the chance that nobody noted what hands did."""
        if not len(self.quiet):
            return np.where(self.now[rows] > self.known_at, 0.0, math.log(chance))
        told_nothing = self.quiet.unnoted(self.now[rows], self.unseen)
        return np.where(self.now[rows] > self.known_at, 0.0, np.log(told_nothing + (1 - told_nothing) * chance))

    def _wait(self, rows: Rows, law: Rows) -> Rows:
        """Replays wait on until the next word or go on before it; those that did."""
        word, fits, looked = self._next_word(rows)
        since = self.since[rows]
        begin = (self.hands.worked(self.now[rows]) - since) / HOUR
        latest = (self.hands.worked(word) - since) / HOUR
        so_far = self._by_law(law, "gathered", begin)
        coming = np.maximum(self._by_law(law, "gathered", latest) - so_far, 0.0)
        to_end = np.where(self.now[rows] >= self.known_at, np.exp(-coming), STAYS_TO_END)
        made = np.where(fits, np.where(coming > 0, np.where(looked, STAYS, to_end), 1.0), 0.0)
        chance = self._chance(rows)
        stays = chance < made
        with np.errstate(divide="ignore"):
            staying = -coming - np.log(np.where(stays, made, 1.0))
            going = np.log(-np.expm1(-coming)) - np.log(np.where(stays, 1.0, 1 - made))
        self.weight[rows] += np.where(stays, staying, going)
        rest = np.clip((chance - made) / np.where(stays, 1.0, 1 - made), 1e-9, 1 - 1e-9)
        age = np.clip(self._by_law(law, "age", so_far - np.log1p(rest * np.expm1(-coming))), begin, latest)
        before = self.now[rows].copy()
        moved = np.clip(self.hands.reaching(since + (age * HOUR).astype(np.int64)), before, word)
        self.now[rows] = np.where(stays, word, moved)
        self.waits.append(Waits(rows, law, begin, np.where(stays, latest, age), ~stays, before, self.now[rows].copy()))
        self._meet(rows[stays], fits[stays], looked[stays])
        return rows[~stays]

    def _by_law(self, law: Rows, what: str, values: Numbers) -> Numbers:
        laws = (self.habits.inside, self.habits.outside, self.habits.idle)
        answers = np.zeros(len(values))
        for number, hazard in enumerate(laws):
            mine = law == number
            if mine.any():
                answers[mine] = getattr(hazard, what)(values[mine])
        return answers

    def _weights(self) -> tuple[Numbers, Numbers]:
        """How likely each replay is, and to have ended as the span did, within a span they sum to one; and the
        logarithm of the likelihood of each span.
        """
        with np.errstate(divide="ignore"):
            logs = self.weight + np.log(self._ending())
        logs[self.now < self.spans.end[self.row]] = -np.inf
        logs = logs.reshape(len(self.spans), self.count)
        top = logs.max(axis=1, keepdims=True, initial=-np.inf)
        top = np.where(np.isfinite(top), top, 0.0)
        weights = np.exp(logs - top)
        whole = np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
        return np.asarray(weights / whole), (top + np.log(whole / self.count))[:, 0]

    def _ending(self) -> Numbers:
        """The likelihood of the fact that ends the span, given the state each replay came to."""
        spans, row, state, habits = self.spans, self.row, self.state, self.habits
        law, age = self._law_and_age()
        rate = self._by_law(law, "rate", age)
        found, removed = spans.found[row], np.where(spans.removed[row], rate, 1.0)
        parts = (state == DONE) | (state == STOPPED)
        begun = np.where(
            parts, rate * habits.forgets_off * habits.at_once, np.where(state == EMPTY, rate * ~self.fresh, 0.0)
        )
        down = np.where(state == STOPPED, DOWN_AFTER_STOP, DOWN_OTHERWISE)
        broke = np.where(state == PRINTING, 1e-6, down * rate * np.where(parts, habits.forgets_off, 1.0))
        same = np.select(
            [found == DONE, found == STOPPED], [(state == DONE) * removed, (state == STOPPED) * removed], state == EMPTY
        )
        return np.select([found == OPEN, found == CLEAR, found == ANY], [1.0, begun, broke], same)

    def _law_and_age(self) -> tuple[Rows, Numbers]:
        parts = (self.state == DONE) | (self.state == STOPPED)
        law = np.where(parts, self.outside.astype(np.int64), 2)
        return law, (self.hands.worked(self.spans.end)[self.row] - self.since) / HOUR


def replay_all(spans: Spans, law: Law, few: int, many: int) -> list[Replays]:
    """Replay the spans, those in which hands may have changed a print unseen more often."""
    hard = crowded(spans, law.staffed, law.habits.menu.shortest)
    parts = ((spans.of(~hard), few), (spans.of(hard), many))
    return [replay(part, law, count) for part, count in parts if len(part)]
