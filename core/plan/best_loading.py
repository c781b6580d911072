"""What to load next: which print file each machine gets, so that the most useful work runs, above all unattended.

It is one decision for the room. Parts beyond what is needed are worth less wherever they are printed, and the hands'
minutes before closing are shared, those of the last hour by all that ends late: a 0/1 knapsack with one load a machine
at most (a multiple-choice knapsack: Kellerer, Pferschy and Pisinger, Knapsack Problems (2004), chapter 11), with nested
capacities and a profit concave in the parts of each product. It is solved as a mixed-integer linear program, which also
tells how much better any list could be.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from core.arrays import Numbers

#: A list is as good as the best where it is worth less by no more than this share of it.
CLOSE = 1e-7
#: The scale of worth the solver works at: its own tolerances, of a millionth, are then of no account.
SCALE = 1000.0
#: Minutes by which a list may overrun the time left: rounding, no work.
ROUNDING = 1e-6
#: Nodes of the solver's search at most: a room of 40 machines takes one, in a tenth of a second. There is no limit in
#: seconds, or the list would depend on what else the computer does.
NODES = 500
#: Who wants no hands again before they leave.
NEVER = math.inf


@dataclass(frozen=True, slots=True)
class Load:
    """One thing hands can do at one machine before they leave; ValueError where a number cannot be.

    `parts` are the good ones to expect of it, with the chance in them that the spool lasts and the print does not
    fail. `later` is what the machine's time after it is worth, in hours of printing more (or less) than if it were left
    alone. `minutes` of hands it takes `at` hours from now: a change, and a `new_spool` of that material if it needs
    one; and `again_minutes` when it wants them `again` before they leave.
    """

    machine: str
    file: str
    product: str
    parts: float
    later: float
    minutes: float
    new_spool: str | None = None
    at: float = 0.0
    again: float = NEVER
    again_minutes: float = 0.0

    def minutes_since(self, since: float) -> float:
        """The minutes that it takes from so many hours from now on."""
        first = self.minutes if self.at >= since else 0.0
        return first + (self.again_minutes if since <= self.again < NEVER else 0.0)

    def __post_init__(self) -> None:
        about = f"of {self.file!r} at {self.machine!r} must be a number"
        for name, number in (("parts", self.parts), ("minutes", self.minutes), ("minutes again", self.again_minutes)):
            if not 0 <= number < math.inf:
                raise ValueError(f"the {name} {about} from 0 up, got {number}")
        if not math.isfinite(self.later):
            raise ValueError(f"the hours after it {about}, got {self.later}")


@dataclass(frozen=True, slots=True)
class Worth:
    """What some parts of a product are worth: the next `parts` of them (inf: all others) `each`, hours of printing.

    The tiers of a product follow one another in the order given. ValueError where a number is negative or NaN.
    """

    product: str
    parts: float
    each: float

    def __post_init__(self) -> None:
        if not self.parts >= 0:
            raise ValueError(f"the parts of a tier of {self.product!r} must be a number from 0 up, got {self.parts}")
        if not 0 <= self.each < math.inf:
            raise ValueError(f"what a part of {self.product!r} is worth must be hours from 0 up, got {self.each}")


@dataclass(frozen=True, slots=True)
class Left:
    """Hands have so many `minutes` (may be inf) from `since` (hours from now) until they leave; ValueError where a
    number is negative or NaN.
    """

    since: float
    minutes: float

    def __post_init__(self) -> None:
        if not (self.minutes >= 0 and self.since >= 0):
            raise ValueError(
                f"the minutes left must be a number from 0 up, and so the hours, got {self.minutes} from {self.since}"
            )


@dataclass(frozen=True, slots=True)
class ListLimits:
    """What a list must keep to: the minutes `left` from each moment on, and the full `spools` of each material (of one
    that is not named there are enough).
    """

    left: Sequence[Left]
    spools: Mapping[str, int] = field(default_factory=dict)

    def allow(self, loads: Iterable[Load]) -> bool:
        """Whether hands can do all of them."""
        loads = list(loads)
        in_time = all(
            math.fsum(x.minutes_since(one.since) for x in loads) <= one.minutes + ROUNDING for one in self.left
        )
        return in_time and all(sum(x.new_spool == name for x in loads) <= count for name, count in self.spools.items())

    def rows(self, loads: Sequence[Load]) -> tuple[Numbers, Numbers]:
        """Limits as rows [limits, loads], and the most of each."""
        minutes = [[load.minutes_since(one.since) for load in loads] for one in self.left]
        spools = [[float(load.new_spool == name) for load in loads] for name in self.spools]
        most = [*(one.minutes for one in self.left), *(float(count) for count in self.spools.values())]
        return np.array([*minutes, *spools], dtype=np.float64).reshape(-1, len(loads)), np.array(most, dtype=np.float64)

    def needs_no_more(self, one: Load, other: Load) -> bool:
        """Whether a load takes no more of anything than another one."""
        in_time = all(one.minutes_since(x.since) <= other.minutes_since(x.since) for x in self.left)
        return in_time and one.new_spool in (None, other.new_spool)


@dataclass(frozen=True, slots=True)
class LoadingList:
    """What to do, machines in the order given, and its `value` in hours of printing (`Worth`, and `later`).

    No list is worth more than `bound`: the same as `value` but for less than a millionth, unless the search was cut
    short.
    """

    loads: tuple[Load, ...]
    value: float
    bound: float


Tiers = Mapping[str, Sequence[Worth]]


def best_loading(loads: Sequence[Load], worths: Sequence[Worth], limits: ListLimits, nodes: int = NODES) -> LoadingList:
    """The list worth most: at most one load a machine, all within the `limits`.

    The search ends after so many `nodes`; the best found by then comes with its bound. What is chosen does not depend
    on the order of `loads`, nor on how fast the computer is. ValueError for tiers that rise in worth.
    """
    tiers = _tiers(worths)
    candidates = _candidates(loads, tiers, limits)
    if not candidates:
        return LoadingList((), 0.0, 0.0)
    solved, bound = _solved(candidates, tiers, limits, nodes)
    # A search cut short may have nothing yet; hands must not be told that there is nothing to do.
    chosen = max(solved, _one_by_one(candidates, tiers, limits), key=lambda found: _value(found, tiers))
    value = _value(chosen, tiers)
    order = list(dict.fromkeys(load.machine for load in loads))
    return LoadingList(tuple(sorted(chosen, key=lambda load: order.index(load.machine))), value, max(value, bound))


def instead(found: LoadingList, loads: Sequence[Load], worths: Iterable[Worth], limits: ListLimits) -> dict[str, float]:
    """Hours of value lost, by machine of the list, if it got its best other load while the others keep theirs.

    0 for a tie; all that the load adds where no other keeps to the limits.
    """
    tiers = _tiers(worths)
    lost = {}
    for load in found.loads:
        others = [other for other in found.loads if other.machine != load.machine]
        swaps = ([*others, x] for x in loads if x.machine == load.machine and x != load)
        best = max(_value(swap, tiers) for swap in [others, *(s for s in swaps if limits.allow(s))])
        # Where the search was cut short a swap may be worth more: nothing is lost by it.
        lost[load.machine] = max(found.value - best, 0.0)
    return lost


def _tiers(worths: Iterable[Worth]) -> Tiers:
    """The tiers of each product; ValueError where one is worth more than the one before."""
    tiers: dict[str, list[Worth]] = {}
    for tier in worths:
        before = tiers.setdefault(tier.product, [])
        if before and tier.each > before[-1].each:
            raise ValueError(
                f"further parts of {tier.product!r} must not be worth more than those before them, "
                f"got {tier.each} after {before[-1].each}"
            )
        before.append(tier)
    return dict(sorted(tiers.items()))


def _value(loads: Iterable[Load], tiers: Tiers) -> float:
    """`value_of`; exact sums, so that no order of the loads makes a difference."""
    later: list[float] = []
    printed: dict[str, list[float]] = {}
    for load in loads:
        later.append(load.later)
        printed.setdefault(load.product, []).append(load.parts)
    return math.fsum([*later, *(_worth(math.fsum(parts), tiers.get(name, ())) for name, parts in printed.items())])


def _worth(parts: float, tiers: Iterable[Worth]) -> float:
    """What so many parts of a product are worth."""
    worth = 0.0
    for tier in tiers:
        worth += tier.each * min(parts, tier.parts)
        parts = max(parts - tier.parts, 0.0)
    return worth


def _candidates(loads: Iterable[Load], tiers: Tiers, limits: ListLimits) -> list[Load]:
    """The loads that a best list may need, machine by machine, in an order of their own.

    Not those for which there is no time, or that are worth nothing, or for which the same machine has one of the same
    product that gives as much and takes no more: hands should not work longer for nothing.
    """
    kept: dict[tuple[str, str], list[Load]] = {}
    for load in sorted(loads, key=lambda x: (x.machine, x.product, x.minutes, -x.parts, -x.later, x.file)):
        rivals = kept.setdefault((load.machine, load.product), [])
        beaten = any(_beats(rival, load, limits) for rival in rivals)
        if limits.allow([load]) and _value([load], tiers) > 0 and not beaten:
            rivals.append(load)
    return [load for rivals in kept.values() for load in rivals]


def _beats(one: Load, other: Load, limits: ListLimits) -> bool:
    """Whether it gives as much of the same product and takes no more."""
    return one.parts >= other.parts and one.later >= other.later and limits.needs_no_more(one, other)


def _one_by_one(loads: Iterable[Load], tiers: Tiers, limits: ListLimits) -> list[Load]:
    """A list at once, seldom the best: each machine in turn gets the load that adds most in the minutes left."""
    chosen: list[Load] = []
    for _, own in groupby(loads, key=lambda load: load.machine):
        fitting = [load for load in own if limits.allow([*chosen, load])]
        if fitting:
            chosen.append(max(fitting, key=lambda load: _value([*chosen, load], tiers)))
    return chosen


def _solved(loads: Sequence[Load], tiers: Tiers, limits: ListLimits, nodes: int) -> tuple[list[Load], float]:
    """The best list found in so many nodes (perhaps none) and what no list is worth more than."""
    steps = [tier for product in tiers.values() for tier in product]
    ceiling = _ceiling(loads, tiers)
    rows, most = _limits(loads, tiers, limits)
    found = milp(
        -np.array([*(load.later for load in loads), *(step.each for step in steps)]) * SCALE / ceiling,
        integrality=np.repeat([1, 0], [len(loads), len(steps)]),
        bounds=Bounds(0, [*np.ones(len(loads)), *(step.parts for step in steps)]),
        constraints=LinearConstraint(rows, ub=most),
        options={"node_limit": nodes, "mip_rel_gap": CLOSE},
    )
    if found.x is None:
        return [], ceiling
    chosen = [load for load, done in zip(loads, found.x[: len(loads)], strict=True) if done > 0.5]
    return chosen, min(-found.mip_dual_bound * ceiling / SCALE, ceiling)


def _limits(loads: Sequence[Load], tiers: Tiers, limits: ListLimits) -> tuple[Numbers, Numbers]:
    """The program's rows [limits, loads and tiers] and the most of each: the share of a load done, then the parts met.

    Loads a machine <= 1; what the limits say; parts met of a product <= its parts printed. As later tiers are worth no
    more than earlier ones, they fill in their order of themselves.
    """
    machine = np.array([load.machine for load in loads])
    at_machine = machine == np.unique(machine)[:, None]
    products = np.array(list(tiers), dtype=str)[:, None]
    made = products == np.array([load.product for load in loads])
    met = products == np.repeat(products, [len(product) for product in tiers.values()])
    shared, most = limits.rows(loads)
    rows = np.block([
        [at_machine, np.zeros((len(at_machine), met.shape[1]))],
        [shared, np.zeros((len(shared), met.shape[1]))],
        [-np.array([load.parts for load in loads]) * made, met],
    ])  # fmt: skip
    return rows, np.concatenate([np.ones(len(at_machine)), most, np.zeros(len(products))])


def _ceiling(loads: Iterable[Load], tiers: Tiers) -> float:
    """What the room would be worth if minutes had no end and no machine's parts made another's worth less."""
    best: dict[str, float] = {}
    for load in loads:
        best[load.machine] = max(best.get(load.machine, 0.0), _value([load], tiers))
    return math.fsum(best.values())
