"""How this shop works: how long finished prints wait, how soon empty machines start again, what is forgotten."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from core.calc.hazard import Hazard, Numbers
from core.calc.staffed import HOUR, Micros, Staffed

#: Shifts are told apart by the whole hours left in them, up to this many.
HOURS_LEFT = 12
#: What people load depends on the hours left and on whether a night follows or longer: so many occasions.
OCCASIONS = 2 * (HOURS_LEFT + 1)
#: A closed time longer than this (hours) is no night.
NIGHT = 24
#: With fewer starts than this by so many hours left, those of neighbouring hours are taken in.
ENOUGH = 20
#: A start within so many staffed hours of a removal was made by the same hands.
AT_ONCE = 0.25


@dataclass(frozen=True)
class Menu:
    """What prints nobody announced may have been: the announced ones by model and occasion (see `occasion`).

    `pools` are their true hours in ascending order, a pool a model and occasion: pool i is what lies between
    `edges[i]` and `edges[i + 1]`.
    """

    pools: Numbers = field(default_factory=lambda: np.full(OCCASIONS, 6.0))
    edges: npt.NDArray[np.int64] = field(default_factory=lambda: np.arange(OCCASIONS + 1))

    @property
    def shortest(self) -> float:
        """Hours of the shortest print."""
        return float(self.pools.min())

    def pick(
        self, pool: npt.NDArray[np.int64], chance: Numbers, least: Numbers, most: Numbers
    ) -> tuple[Numbers, Numbers]:
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

    `inside` and `outside`: how long a print waits that ended while people were in, and while they were not;
    `at_once`: how often hands that cleared a machine start it again; `idle`: how long it stands otherwise.
    `forgets_start`, `forgets_off`: the shares of starts and removals nobody noted. `stops`: prints that stop
    before their end, an hour of printing, at any share of it.
    """

    inside: Hazard = field(default_factory=lambda: Hazard.steady(0.35))
    outside: Hazard = field(default_factory=lambda: Hazard.steady(0.8))
    idle: Hazard = field(default_factory=lambda: Hazard.steady(2.0))
    at_once: float = 0.9
    forgets_start: float = 0.05
    forgets_off: float = 0.05
    stops: float = 0.005
    menu: Menu = field(default_factory=Menu)


def menu_of(told: pl.DataFrame, models: list[str], staffed: Staffed) -> Menu:
    """The menu from the announced starts among `told` facts, with their true times."""
    begun = told.filter(pl.col("takes").is_not_null() & (pl.col("kind") == "PrintStarted"))
    if begun.is_empty():
        size = OCCASIONS * max(len(models), 1)
        return Menu(np.full(size, 6.0), np.arange(size + 1))
    when = occasion(begun["t"].to_numpy(), staffed)
    hours, model = begun["takes"].to_numpy() / HOUR, begun["model"].to_numpy()
    pools = []
    for name in models:
        mine = model == name if (model == name).any() else np.ones(len(hours), dtype=bool)
        pools += [np.sort(hours[mine][_about(when[mine], now)]) for now in range(OCCASIONS)]
    return Menu(np.concatenate(pools), np.concatenate([[0], np.cumsum([len(pool) for pool in pools])]))


def occasion(moments: Micros, staffed: Staffed) -> Micros:
    """The occasion of a start: the whole hours left in the shift, and as many more before a long closed time."""
    left = np.minimum(staffed.hours_left(moments), HOURS_LEFT)
    _, closes = staffed.spell_at(moments)
    closed = staffed.next_staffed(closes + 1) - closes
    return left + np.where(closed > NIGHT * HOUR, HOURS_LEFT + 1, 0)


def _about(when: Micros, now: int) -> npt.NDArray[np.bool_]:
    """The starts with about so many hours left before a closed time of that kind: enough of them, or all."""
    length = HOURS_LEFT + 1
    alike = when // length == now // length
    off = np.abs(when % length - now % length)
    for reach in range(length):
        if (alike & (off <= reach)).sum() >= ENOUGH:
            return np.asarray(alike & (off <= reach))
    return np.ones(len(when), dtype=bool)


def forgotten(gaps: pl.DataFrame, shortest: float) -> tuple[float, float]:
    """The shares of starts and of removals nobody noted, from those the other one of the same visit gives away.

    Between a removal and a start that are closer than the `shortest` print (hours) nothing was left out.
    """
    off, started = pl.col("kind") == "PartsOff", pl.col("next_kind") == "PrintStarted"
    parts_there = ["printing", "done", "stopped"]
    brief = pl.col("until") - pl.col("t") < 0.9 * shortest * HOUR
    both = gaps.filter(off & started & brief).height
    only_start = gaps.filter(pl.col("leaves").is_in(parts_there) & started).height
    only_off = gaps.filter(off & pl.col("next_found").is_in(parts_there)).height
    return (only_off + 0.5) / (both + only_off + 10), (only_start + 0.5) / (both + only_start + 10)


def stop_rate(gaps: pl.DataFrame) -> float:
    """How often prints stop before their end, an hour of printing."""
    removals = gaps.filter(pl.col("kind") == "PartsOff")
    stopped = removals.filter(pl.col("ended") == "stopped").height
    hours = gaps.filter(pl.col("kind") == "PrintStarted")["takes"].mean()
    mean = float(hours) / HOUR if isinstance(hours, float | int) else 6.0
    return (stopped + 0.5) / (removals.height + 10) / mean


def first_guess(told: pl.DataFrame, gaps: pl.DataFrame, models: list[str], staffed: Staffed) -> Habits:
    """What can be counted without replays; the waits are those of a usual shop."""
    menu = menu_of(told, models, staffed)
    start, off = forgotten(gaps, menu.shortest)
    return Habits(forgets_start=start, forgets_off=off, stops=stop_rate(gaps), menu=menu)
