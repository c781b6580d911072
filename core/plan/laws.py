"""What a room that is played forward is: its clock, its work, how hands choose, how long things take.

How long anything takes is drawn from tables of quantiles, so that the laws of a shop, of a queueing formula or of a
"what if" all play alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from core.arrays import Flags, Numbers, Rows

#: Hours of which the room is accounted for, besides those after the end: what became of every machine-hour.
PRINTED, FAILED, WAITED, DOWN, EMPTY = range(5)
STATES = 5
#: Points of time (an hour's parts) at which it is known how many hands are in, and what people then load.
FINE = 10


@dataclass(frozen=True)
class HandsClock:
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
class Preferences:
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


def drawn(table: Numbers, chance: Numbers) -> Numbers:
    """One of a table's quantiles each."""
    return np.asarray(table[(chance * len(table)).astype(np.int64)])


def longer(table: Numbers, age: Numbers, chance: Numbers) -> Numbers:
    """What is left of something that has lasted so long; as long as any where none lasts that long."""
    first = np.searchsorted(table, age, side="right")
    gone = first >= len(table)
    place = np.where(gone, 0, first) + (chance * (len(table) - np.where(gone, 0, first))).astype(np.int64)
    return np.asarray(np.where(gone, table[place], table[place] - age))
