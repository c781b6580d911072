"""The room played forward from this moment, many times over: who visits which machine when, and what that gives.

Discrete events: in every replication the machine that hands come to next is the next event. They take its parts off,
find it broken or start a print on it, and leave; the print ends by itself and waits for hands again. All replications
are played side by side, one event of each at a step. How long anything takes is drawn from tables of quantiles, so
that the laws of a shop, of a queueing formula or of a "what if" all play alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from core.calc.hazard import Numbers

Rows = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

#: Hours of which the room is accounted for, besides those after the end: what became of every machine-hour.
PRINTED, FAILED, WAITED, DOWN, EMPTY = range(5)
STATES = 5
#: Steps whose chances are drawn at once, and chances a step.
BLOCK, CHANCES = 64, 10
#: Points of time (an hour's parts) at which it is known how many hands are in, and what people then load.
FINE = 10


@dataclass(frozen=True)
class Clock:
    """When hands work, in hours from now: `worked` hours of theirs by each moment of `at` (edges, ascending).

    `hands` and `rush` have a value for every `1 / FINE` hours from now on: how many are in, and whether a print that
    ended then meets a room full of them.
    """

    at: Numbers
    worked: Numbers
    hands: Rows
    rush: Flags

    def when(self, moment: Numbers) -> Rows:
        """Where `hands` and `rush`, and `Choice.suits`, tell of each moment."""
        return np.minimum((moment * FINE).astype(np.int64), len(self.hands) - 1)

    def worked_by(self, moment: Numbers) -> Numbers:
        """Hours of hands by each moment."""
        return np.interp(moment, self.at, self.worked)

    def reached(self, worked: Numbers) -> Numbers:
        """The moment by which hands worked so many hours."""
        return np.interp(worked, self.worked, self.at)

    def after(self, moment: Numbers, hours: Numbers) -> Numbers:
        """So many hours of hands after each moment."""
        return np.maximum(moment, self.reached(self.worked_by(moment) + hours))


@dataclass(frozen=True)
class Work:
    """What can be printed: `product`, `material` and expected good `parts` of every file [files].

    `hours` [models, files] is what a print takes, NaN where the model cannot print it.
    """

    product: Rows
    material: Rows
    parts: Numbers
    hours: Numbers

    @property
    def products(self) -> int:
        """How many products there are."""
        return int(self.product.max(initial=-1)) + 1


@dataclass(frozen=True)
class Choice:
    """What hands start: each file by its weight, 0 where it does not fit the machine.

    `weights` [draws, models, loaded materials (the last: not known), files] are those of products of which no parts are
    wanted, `wanted` [draws] how many times likelier a wanted one is: replications take the draws in turn. `suits`
    [models, moments, files] is how much likelier or less likely a file is at a moment (every `1 / FINE` hours, as
    `Clock.hands`).
    """

    weights: Numbers
    wanted: Numbers
    suits: Numbers


@dataclass(frozen=True)
class Laws:
    """Tables of quantiles, equally likely each.

    Hours of hands: the waits of ended prints that meet a full room or not (`rush`, `calm`) and of empty machines
    (`idle`), and the work at a visit (`change`). Hours on the wall: `down`. `ratio` is true over usual time of a print.
    `at_once`: how often hands that cleared a machine start it again; `stops`: prints that stop, an hour of printing;
    `breaks`: the chances that hands find a machine out of order at an ended and at a stopped print; `tried`: how often
    one that was mended is tried out with each material [materials], which then is loaded. `doubt`: how well
    all this is known, as the spread of the logarithm of a factor on all prints of a replication.
    """

    rush: Numbers = field(default_factory=lambda: np.zeros(1))
    calm: Numbers = field(default_factory=lambda: np.zeros(1))
    idle: Numbers = field(default_factory=lambda: np.zeros(1))
    change: Numbers = field(default_factory=lambda: np.zeros(1))
    down: Numbers = field(default_factory=lambda: np.zeros(1))
    ratio: Numbers = field(default_factory=lambda: np.ones(1))
    at_once: float = 1.0
    stops: float = 0.0
    breaks: tuple[float, float] = (0.0, 0.0)
    tried: Numbers = field(default_factory=lambda: np.zeros(0))
    doubt: float = 0.0


@dataclass(frozen=True)
class Now:
    """The room as it is, in hours from now: [replications, machines] each but for `model` [machines].

    `ends` is when what is on a machine ends (past: negative), `visit` when hands come to it (infinite: never),
    `file` what is on it (-1: nothing), `good` whether that comes to parts, `loaded` its material (-1: not known).
    """

    model: Rows
    ends: Numbers
    visit: Numbers
    file: Rows
    good: Flags
    loaded: Rows


@dataclass(frozen=True)
class Wanted:
    """Parts wanted of every product: `now`, not yet on a machine [products], and `later`, how many more there will have
    been by every full hour from now on [draws, hours, products]: replications take the draws in turn.
    """

    now: Numbers
    later: Numbers

    @classmethod
    def nothing(cls, products: int) -> Wanted:
        """Where no order waits and none will come."""
        return cls(np.zeros(products), np.zeros((1, 1, products)))

    def by(self, row: Rows, moment: Numbers) -> Numbers:
        """Parts that were ever wanted by each moment of these replications [rows, products]."""
        draws, hours, _ = self.later.shape
        return np.asarray(self.now + self.later[row % draws, np.minimum(moment.astype(np.int64), hours - 1)])


@dataclass(frozen=True)
class Played:
    """What came off, event by event [events, replications]: `off` (hours from now; infinite: after the end),
    `product` (-1: none) and good `parts`. `hours` [states, replications] are machine-hours from `since` to the end.
    """

    off: Numbers
    product: Rows
    parts: Numbers
    hours: Numbers
    since: float = 0.0

    @property
    def per_print(self) -> Numbers:
        """Machine-hours in each state for every print that came off, on average [states]."""
        prints = ((self.product >= 0) & np.isfinite(self.off) & (self.off >= self.since)).sum()
        return np.asarray(self.hours.sum(axis=1) / max(int(prints), 1))

    def made(self, product: int, until: float) -> Numbers:
        """Good parts of a product that came off by then [replications]."""
        mine = (self.product == product) & (self.off <= until)
        return np.asarray((self.parts * mine).sum(axis=0))


def play(  # noqa: PLR0913, PLR0917 - all that a room is
    now: Now, clock: Clock, work: Work, choice: Choice, laws: Laws, wanted: Wanted, end: float, seed: int,
    since: float = 0.0, tell: Callable[[float], object] | None = None,
) -> Played:  # fmt: skip
    """Play on from now until `end` (hours); machine-hours are accounted for from `since` on.

    `tell` is called with the share done.
    """
    return _Play(now, clock, work, choice, laws, wanted, (since, end), np.random.default_rng(seed)).run(tell)


class _Play:
    """All replications side by side; a step is the next event of each that is not over (`row` numbers them)."""

    def __init__(  # noqa: PLR0913, PLR0917 - all that a room is
        self, now: Now, clock: Clock, work: Work, choice: Choice, laws: Laws, wanted: Wanted,
        window: tuple[float, float], rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self.clock, self.work, self.choice, self.laws, self.wanted = clock, work, choice, laws, wanted
        (self.since, self.end), self.rng, self.model = window, rng, now.model
        self.ends, self.visit, self.file = now.ends.copy(), now.visit.copy(), now.file.copy()
        self.good, self.loaded = now.good.copy(), now.loaded.copy()
        self.count = len(self.ends)
        self.everyone = np.arange(self.count)
        self.hand = np.arange(max(int(clock.hands.max(initial=1)), 1))
        self.free = np.zeros((self.count, len(self.hand)))
        self.started = np.zeros((self.count, work.products))
        # What is on no machine is the last file: of no product, and no parts.
        self.product, self.parts = np.append(work.product, -1), np.append(work.parts, 0.0)
        self.hours = np.zeros((STATES, self.count))
        self.pace = np.exp(laws.doubt * rng.standard_normal(self.count))
        self.off: list[tuple[Numbers, Rows, Numbers]] = []

    def run(self, tell: Callable[[float], object] | None) -> Played:
        self._spend_all(np.where(self.file < 0, DOWN, _printing(self.good)), 0.0, self.ends)
        while self.visit.min(initial=np.inf) < self.end:
            for chances in self.rng.random((BLOCK, CHANCES, self.count)):
                self._step(chances)
            if tell:
                tell(float(np.clip(self.visit.min() / self.end, 0.0, 1.0)))
        self._spend_all(np.where(self.file < 0, EMPTY, WAITED), self.ends, self.end)
        shape = len(self.off), self.count
        off, product, parts = zip(*self.off, strict=True) if self.off else ((), (), ())
        return Played(
            np.array(off, np.float64).reshape(shape), np.array(product, np.int64).reshape(shape),
            np.array(parts, np.float64).reshape(shape), self.hours, self.since,
        )  # fmt: skip

    def _step(self, chances: Numbers) -> None:
        at = self.visit.argmin(axis=1)
        row = np.flatnonzero(self.visit[self.everyone, at] < self.end)
        if not len(row):
            return
        at, chances = at[row], chances[:, row]
        here, model, file = (row, at), self.model[at], self.file[row, at]
        came, left = self._hands(row, self.visit[here], chances[0])
        self._take_off(row, file, self.good[here], came)
        # What came to nothing is wanted again.
        self.started[row, self.product[file]] -= np.where(self.good[here], 0.0, self.parts[file])
        self._spend(row, np.where(file < 0, EMPTY, WAITED), self.ends[here], left)
        broken = chances[1] < np.where(file < 0, 0.0, np.where(self.good[here], *self.laws.breaks))
        later = self.clock.after(left, drawn(self.laws.idle, chances[2]))
        begun = np.where(broken | (file < 0) | (chances[3] < self.laws.at_once), left, later)
        self._spend(row, EMPTY, left, begun)
        new = self._pick(row, model, self.loaded[here], begun, chances[4])
        took, good = self._took(self.work.hours[model, new] * self.pace[row], chances[5:7])
        # A machine that is mended while nobody is in is down until somebody says it is back.
        mended = self.clock.after(begun + drawn(self.laws.down, chances[7]), np.zeros(len(row)))
        took = np.where(broken, mended - begun, took)
        self._spend(row, np.where(broken, DOWN, _printing(good)), begun, begun + took)
        self.loaded[here] = np.where(broken, self._tried(self.loaded[here], chances[4]), self.work.material[new])
        self._leave(here, broken, new, good, begun + took)
        self.visit[here] = self._next_visit(broken, begun + took, chances[8:])

    def _hands(self, row: Rows, visit: Numbers, chance: Numbers) -> tuple[Numbers, Numbers]:
        """When the first free hands begin, and when they are done."""
        there = np.maximum(self.clock.hands[self.clock.when(visit)], 1)
        free = np.where(self.hand < there[:, None], self.free[row], np.inf)
        who = free.argmin(axis=1)
        begin = np.maximum(self.clock.worked_by(visit), free[np.arange(len(row)), who])
        done = begin + drawn(self.laws.change, chance)
        self.free[row, who] = done
        # Work done just at closing is done then, not when hands are back.
        left = self.clock.reached(np.nextafter(done, 0.0))
        return np.maximum(visit, self.clock.reached(begin)), np.maximum(visit, left)

    def _take_off(self, row: Rows, file: Rows, good: Flags, came: Numbers) -> None:
        in_time = came < self.end
        row, file, good, came = row[in_time], file[in_time], good[in_time], came[in_time]
        off, product, parts = np.full(self.count, np.inf), np.full(self.count, -1), np.zeros(self.count)
        off[row], product[row] = came, self.product[file]
        parts[row] = np.where(good, self.parts[file], 0.0)
        self.off.append((off, product, parts))

    def _pick(self, row: Rows, model: Rows, loaded: Rows, begun: Numbers, chance: Numbers) -> Rows:
        """The file that is started on each machine."""
        wanted = self.started[row] < self.wanted.by(row, begun)
        draw = row % len(self.choice.wanted)
        factor = np.where(wanted, self.choice.wanted[draw][:, None], 1.0).take(self.work.product, axis=1)
        _, models, materials, files = self.choice.weights.shape
        place = (draw * models + model) * materials + loaded % materials
        weights = self.choice.weights.reshape(-1, files).take(place, axis=0)
        moments = self.choice.suits.shape[1]
        suits = self.choice.suits.reshape(-1, files).take(model * moments + self.clock.when(begun), axis=0)
        run = np.cumsum(weights * suits * factor, axis=1)
        return np.asarray((run < (chance * run[:, -1])[:, None]).sum(axis=1))

    def _tried(self, loaded: Rows, chance: Numbers) -> Rows:
        """The material on machines that were mended: that of the print they are tried out with, if they are."""
        by = np.searchsorted(np.cumsum(self.laws.tried), chance, side="right")
        return np.where(by < len(self.laws.tried), by, loaded)

    def _took(self, usual: Numbers, chances: Numbers) -> tuple[Numbers, Flags]:
        """Hours of printing, and whether it came to its end: one that stops may do so at any moment of it."""
        took = usual * drawn(self.laws.ratio, chances[0])
        until = -np.log1p(-chances[1]) / max(self.laws.stops, 1e-12)
        return np.minimum(took, until), until >= took

    def _leave(self, here: tuple[Rows, Rows], broken: Flags, new: Rows, good: Flags, ends: Numbers) -> None:
        """What is on the machines when hands go."""
        self.ends[here], self.good[here] = ends, good
        self.file[here] = np.where(broken, -1, new)
        self.started[here[0], self.work.product[new]] += np.where(broken, 0.0, self.work.parts[new])

    def _next_visit(self, broken: Flags, ends: Numbers, chances: Numbers) -> Numbers:
        """When hands come next; those who mended a machine start it as they would one they cleared."""
        rush = self.clock.rush[self.clock.when(ends)]
        waits = np.where(rush, drawn(self.laws.rush, chances[0]), drawn(self.laws.calm, chances[0]))
        stands = np.where(chances[1] < self.laws.at_once, 0.0, drawn(self.laws.idle, chances[0]))
        return self.clock.after(ends, np.where(broken, stands, waits))

    def _spend(self, row: Rows, state: Rows | int, start: Numbers, end: Numbers) -> None:
        """Machine-hours up to the end of the play go to a state."""
        self.hours[state, row] += np.clip(end, self.since, self.end) - np.clip(start, self.since, self.end)

    def _spend_all(self, state: Rows, start: Numbers | float, end: Numbers | float) -> None:
        """The same for the whole room, where the end is after the start."""
        hours = np.maximum(np.clip(end, self.since, self.end) - np.clip(start, self.since, self.end), 0.0)
        for one in range(STATES):
            self.hours[one] += np.where(state == one, hours, 0.0).sum(axis=1)


def _printing(good: Flags) -> Rows:
    return np.where(good, PRINTED, FAILED)


def drawn(table: Numbers, chance: Numbers) -> Numbers:
    """One of a table's quantiles each."""
    return np.asarray(table[(chance * len(table)).astype(np.int64)])


def longer(table: Numbers, age: Numbers, chance: Numbers) -> Numbers:
    """What is left of something that has lasted so long; as long as any where none lasts that long."""
    first = np.searchsorted(table, age, side="right")
    gone = first >= len(table)
    place = np.where(gone, 0, first) + (chance * (len(table) - np.where(gone, 0, first))).astype(np.int64)
    return np.asarray(np.where(gone, table[place], table[place] - age))
