"""How this shop works: how long finished prints wait, how soon empty machines start again, what is forgotten."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import HOUR
from core.habits.unnoted import visits
from core.numbering import Numbering
from core.staffed import Staffed
from core.statistics.hazard import Hazard

#: Shifts are told apart by the whole hours left in them, up to this many.
HOURS_LEFT = 12
#: What people load depends on the time left, told apart by quarters of an hour since a print that ends before
#: closing differs from one that does not, and on whether a night follows or longer: so many occasions.
QUARTERS_LEFT = 4 * HOURS_LEFT
OCCASIONS = 2 * (QUARTERS_LEFT + 1)
#: A closed time longer than this (hours) is no night.
NIGHT = 24
#: With fewer starts than this with so much time left, those with a little more or less are taken in.
ENOUGH = 8
#: Hours after opening in which hands catch up with what ended before.
RUSH = 1.0
#: That prints of one material follow each other is drawn toward chance by so many pairs.
STEADY = 10.0
#: Visits of which neither tap was noted are so much likelier than two taps forgotten apart: all replays go by one
#: average law, and by it they find too few of these visits in invented shops (`report --how-sure`).
NEITHER_NOTED = 1.6
#: A start within so many staffed hours of a removal was made by the same hands.
AT_ONCE = 0.25


@dataclass(frozen=True)
class PrintPools:
    """What prints nobody announced may have been: the announced ones by model, material and occasion.

    `pools` are their true hours in ascending order, a pool a model, material and `occasion`, in this order: pool
    i is what lies between `edges[i]` and `edges[i + 1]`. `shares` has the share of each material among prints;
    with the chance `stays` the next print is of the one that is loaded, or else of any.
    """

    pools: Numbers = field(default_factory=lambda: np.full(OCCASIONS, 6.0))
    edges: Rows = field(default_factory=lambda: np.arange(OCCASIONS + 1))
    shares: Numbers = field(default_factory=lambda: np.ones(1))
    stays: float = 0.0

    @property
    def shortest(self) -> float:
        """Hours of the shortest print."""
        return float(self.pools.min())

    def materials(self, loaded: Rows, loads: Rows) -> Numbers:
        """The chance of each material, given the ones told before and after (-1: not told): a row a print.

        What is loaded follows a Markov chain, so the chances are those of coming from the one and going to the other.
        """
        size = len(self.shares)
        step = (1 - self.stays) * np.tile(self.shares, (size, 1)) + self.stays * np.eye(size)
        came = np.vstack([step, self.shares])[loaded]
        goes = np.vstack([step.T, np.ones(size)])[loads]
        both = came * goes
        return np.asarray(both / both.sum(axis=1, keepdims=True))

    def pool(self, model: Rows, material: Rows, when: Rows) -> Rows:
        """The number of the pool."""
        return np.asarray((model * len(self.shares) + material) * OCCASIONS + when)

    def pick(self, pool: Rows, chance: Numbers, least: Numbers, most: Numbers) -> tuple[Numbers, Numbers]:
        """Hours of one print of each pool, between `least` and `most`, and the share of the pool that lies there.

        Where nothing does, one of the whole pool.
        """
        ranked = self.pools + 1000.0 * np.repeat(np.arange(len(self.edges) - 1), np.diff(self.edges))
        begin, end = self.edges[pool], self.edges[pool + 1]
        low = np.searchsorted(ranked, 1000.0 * pool + np.clip(least, 0, 999), side="left")
        high = np.searchsorted(ranked, 1000.0 * pool + np.clip(most, 0, 999), side="right")
        none = high <= low
        low, high = np.where(none, begin, low), np.where(none, end, high)
        return self.pools[low + (chance * (high - low)).astype(np.int64)], (high - low) / (end - begin)


@dataclass(frozen=True)
class Habits:
    """The chances of a shop. Waits are in hours of the clock of hands.

    `inside` and `outside`: how long a print waits that ended while people were at it, and before (`in_rush`);
    `at_once`: how often hands that cleared a machine start it again; `idle`: how long it stands otherwise.
    `forgets_start`, `forgets_off`: the shares of starts and removals nobody noted, `neither` how much likelier it is
    that a visit left no tap at all. `stops`: prints that stop before their end, an hour of printing, at any share.
    """

    inside: Hazard = field(default_factory=lambda: Hazard.steady(0.35))
    outside: Hazard = field(default_factory=lambda: Hazard.steady(0.8))
    idle: Hazard = field(default_factory=lambda: Hazard.steady(2.0))
    at_once: float = 0.9
    forgets_start: float = 0.05
    forgets_off: float = 0.05
    neither: float = 1.0
    stops: float = 0.005
    menu: PrintPools = field(default_factory=PrintPools)

    @property
    def forgets(self) -> float:
        """The share of taps nobody noted."""
        return (self.forgets_start + self.forgets_off) / 2


def menu_of(told: pl.DataFrame, names: Numbering, staffed: Staffed) -> PrintPools:
    """The menu from the announced starts among `told` facts, with their true times."""
    begun = told.filter(pl.col("takes").is_not_null() & (pl.col("kind") == "PrintStarted"))
    sizes = max(len(names.models), 1), max(len(names.materials), 1)
    if begun.is_empty():
        size = OCCASIONS * sizes[0] * sizes[1]
        return PrintPools(np.full(size, 6.0), np.arange(size + 1), np.full(sizes[1], 1 / sizes[1]))
    when = occasion(begun["t"].to_numpy(), staffed)
    hours, model, material = begun["takes"].to_numpy() / HOUR, begun["model"].to_numpy(), begun["loaded"].to_numpy()
    pools = []
    for of_model in names.models:
        here = model == of_model if (model == of_model).any() else np.ones(len(hours), dtype=bool)
        for of_material in names.materials:
            mine = here & (material == of_material) if (here & (material == of_material)).any() else here
            pools += [np.sort(hours[mine][about(when[mine], now)]) for now in range(OCCASIONS)]
    edges = np.concatenate([[0], np.cumsum([len(pool) for pool in pools])])
    return PrintPools(np.concatenate(pools), edges, *_material_habits(begun, names))


def _material_habits(begun: pl.DataFrame, names: Numbering) -> tuple[Numbers, float]:
    """`Menu.shares` and `Menu.stays`: prints of one material follow each other oftener than by their shares alone."""
    counts = np.array([(begun["loaded"] == name).sum() for name in names.materials]) + 0.5
    shares = counts / counts.sum()
    same = (begun["loaded"] == begun["loaded"].shift(1)) & (begun["machine"] == begun["machine"].shift(1))
    pairs = (begun["machine"] == begun["machine"].shift(1)).sum()
    by_chance = float((shares**2).sum())
    kept = (float(same.sum()) + STEADY * by_chance) / (float(pairs) + STEADY)
    return shares, float(np.clip((kept - by_chance) / max(1 - by_chance, 1e-9), 0.0, 0.99))


def occasion(moments: Micros, staffed: Staffed) -> Micros:
    """The occasion of a start: the quarters of an hour left in the shift; before a long closed time, as many more."""
    _, closes = staffed.spell_at(moments)
    left = np.minimum(4 * (closes - moments) // HOUR, QUARTERS_LEFT)
    closed = staffed.next_staffed(closes + 1) - closes
    return np.asarray(left + np.where(closed > NIGHT * HOUR, QUARTERS_LEFT + 1, 0))


def in_rush(moments: Micros, staffed: Staffed) -> Flags:
    """Whether a print that ended then meets a room full of them: while nobody is in, and just after they came."""
    opens, closes = staffed.spell_at(moments)
    return np.asarray((opens == closes) | (moments - opens < RUSH * HOUR))


def about(when: Micros, now: int) -> Flags:
    """The starts with about so much time left before a closed time of that kind: enough of them, or all."""
    length = QUARTERS_LEFT + 1
    off = np.abs(when % length - now % length) + np.where(when // length == now // length, 0, len(when) * length)
    enough = min(ENOUGH, len(when)) - 1
    return np.asarray(off <= np.partition(off, enough)[enough])


def forgotten(gaps: pl.DataFrame, shortest: float) -> tuple[float, float]:
    """The shares of starts and of removals nobody noted, from those the other one of the same visit gives away."""
    seen = visits(gaps, shortest)
    counts = [seen.filter(pl.col("what") == what)["noted"] for what in ("start", "removal")]
    start, off = ((float((~noted).sum()) + 0.5) / (noted.len() + 10) for noted in counts)
    return start, off


def stop_rate(gaps: pl.DataFrame) -> float:
    """How often prints stop before their end, an hour of printing."""
    removals = gaps.filter(pl.col("kind") == "PartsOff")
    stopped = removals.filter(pl.col("ended") == "stopped").height
    hours = gaps.filter(pl.col("kind") == "PrintStarted")["takes"].mean()
    mean = float(hours) / HOUR if isinstance(hours, float | int) else 6.0
    return (stopped + 0.5) / (removals.height + 10) / mean


def first_guess(told: pl.DataFrame, gaps: pl.DataFrame, names: Numbering, staffed: Staffed) -> Habits:
    """What can be counted without replays; the waits are those of a usual shop."""
    menu = menu_of(told, names, staffed)
    start, off = forgotten(gaps, menu.shortest)
    return Habits(forgets_start=start, forgets_off=off, neither=NEITHER_NOTED, stops=stop_rate(gaps), menu=menu)
