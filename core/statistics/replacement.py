"""When to replace a part that wears: by its age, by what a change in time and one after a failure cost.

Barlow and Proschan, Mathematical Theory of Reliability (1965), chapters 3 and 4.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import gamma, gammainc
from scipy.stats import chi2

from core.arrays import Flags, Numbers
from core.estimate import Estimate

#: The shapes among which one is sought: flatter or steeper ones say no more than these.
FLATTEST, STEEPEST = 0.05, 50.0
#: An interval of more than so many scales is never.
NEVER = 1e6


@dataclass(frozen=True)
class Weibull:
    """Ages at failure: a part outlasts t hours with the chance exp(-(t / `scale`) ** `shape`)."""

    scale: float
    shape: float

    def __post_init__(self) -> None:
        if not (0 < self.scale < math.inf and 0 < self.shape < math.inf):
            raise ValueError(f"scale and shape must be numbers above 0, got {self.scale} and {self.shape}")

    @property
    def mean(self) -> float:
        """Mean age at failure, hours."""
        return self.scale * float(gamma(1 + 1 / self.shape))

    def failed(self, age: float) -> float:
        """The chance to have failed by an age."""
        return -math.expm1(-((age / self.scale) ** self.shape))

    def hazard(self, age: float) -> float:
        """The chance an hour to fail at an age."""
        return float(self.shape / self.scale * (age / self.scale) ** (self.shape - 1))

    def served(self, age: float) -> float:
        """Mean hours a part serves if it is replaced at that age at the latest."""
        return self.mean * float(gammainc(1 / self.shape, (age / self.scale) ** self.shape))


@dataclass(frozen=True)
class Costs:
    """What a `planned` replacement costs and what one after a `failure` does, hours lost included, in one currency."""

    planned: float
    failure: float

    def __post_init__(self) -> None:
        if not (0 < self.planned < math.inf and 0 < self.failure < math.inf):
            raise ValueError(f"both costs must be numbers above 0, got {self.planned} and {self.failure}")


@dataclass(frozen=True)
class Fitted:
    """A Weibull law as fitted by maximum likelihood, the range of its `shape`, and how many `failures` it rests on.

    `wears`: the shape is clearly above 1. If not, an old part fails no sooner than a new one, for all that is known,
    and replacing by age gains nothing.
    """

    law: Weibull
    shape: Estimate
    failures: int

    @property
    def wears(self) -> bool:
        """Whether older parts surely fail sooner."""
        return self.shape.low > 1


def fitted(ages: Numbers, failed: Flags, sure: float = 0.9) -> Fitted:
    """The Weibull law of parts that `failed` at their `ages` in hours or had not yet (right-censored) [parts].

    Maximum likelihood; the range of the shape is that of the likelihood ratio (Meeker and Escobar, Statistical Methods
    for Reliability Data (1998), 8.3). ValueError where no part failed or an age is not above 0.
    """
    ages, failed = np.asarray(ages, dtype=np.float64), np.asarray(failed, dtype=bool)
    if ages.shape != failed.shape:
        raise ValueError(f"each age needs to be told whether the part failed: got {ages.size} ages, {failed.size} told")
    if not (np.isfinite(ages) & (ages > 0)).all():
        raise ValueError(f"ages must be hours above 0, got {ages[~(np.isfinite(ages) & (ages > 0))][0]}")
    if not failed.any():
        raise ValueError(f"a law of failures needs at least one, got none of {ages.size} parts")
    profile = _Profile(ages, failed)
    best, low, high = profile.best(), *profile.ends(float(chi2.ppf(sure, 1)) / 2)
    return Fitted(Weibull(profile.scale(best), best), Estimate(low=low, best=best, high=high), int(failed.sum()))


@dataclass(frozen=True)
class _Profile:
    """The log likelihood of a shape, with the scale that goes best with it."""

    ages: Numbers
    failed: Flags

    def scale(self, shape: float) -> float:
        most = float(self.ages.max())
        return most * math.exp(math.log(((self.ages / most) ** shape).sum() / self.failed.sum()) / shape)

    def likelihood(self, shape: float) -> float:
        count, scale = int(self.failed.sum()), self.scale(shape)
        return count * (math.log(shape / scale) - 1) + (shape - 1) * float(np.log(self.ages[self.failed] / scale).sum())

    def score(self, shape: float) -> float:
        """The derivative of `likelihood`, for one failure; it falls with the shape."""
        logs, weight = np.log(self.ages), (self.ages / self.ages.max()) ** shape
        return 1 / shape + float(logs[self.failed].mean() - (weight * logs).sum() / weight.sum())

    def best(self) -> float:
        return _crossing(self.score, FLATTEST, STEEPEST)

    def ends(self, drop: float) -> tuple[float, float]:
        """The shapes on both sides of the best at which the log likelihood is less by `drop`."""
        best = self.best()
        floor = self.likelihood(best) - drop
        low, high = (_crossing(lambda shape: self.likelihood(shape) - floor, best, end) for end in (FLATTEST, STEEPEST))
        return low, high


def _crossing(function: Callable[[float], float], begin: float, end: float) -> float:
    """Where a function that is above 0 at `begin` falls to 0 on the way to `end`; one of them if it does not."""
    if function(begin) <= 0:
        return begin
    return end if function(end) > 0 else float(brentq(function, begin, end))


@dataclass(frozen=True)
class Interval:
    """Replace every so many `hours` (infinite: only what failed) at a cost of `cost` an hour."""

    hours: float
    cost: float


def age_cost(law: Weibull, costs: Costs, age: float) -> float:
    """The cost an hour in the long run if parts are replaced at that age or when they fail, whichever comes first."""
    failed = law.failed(age)
    return (costs.planned * (1 - failed) + costs.failure * failed) / law.served(age)


def age_replacement(law: Weibull, costs: Costs) -> Interval:
    """The age at which to replace a part at the latest (policy I of Barlow and Hunter, Operations Research 8 (1960)).

    Infinite where it gains nothing: parts that do not wear (shape 1 or less), or a failure that costs no more.
    """
    never = Interval(math.inf, costs.failure / law.mean)
    if law.shape <= 1 or costs.failure <= costs.planned:
        return never
    goal = costs.failure / (costs.failure - costs.planned)

    def short(logarithm: float) -> float:
        age = law.scale * math.exp(logarithm)
        return goal - (law.hazard(age) * law.served(age) + 1 - law.failed(age))

    age = law.scale * math.exp(_crossing(short, -math.log(NEVER) / law.shape, math.log(NEVER)))
    return never if age > law.scale * NEVER / 2 else Interval(age, age_cost(law, costs, age))


def repair_cost(law: Weibull, costs: Costs, hours: float) -> float:
    """The cost an hour if a machine is overhauled every so many hours and each failure between is only mended.

    Mending leaves it as bad as old: failures come as a power law of the hours since the last overhaul.
    """
    return float(costs.planned + costs.failure * (hours / law.scale) ** law.shape) / hours


def minimal_repair(law: Weibull, costs: Costs) -> Interval:
    """The hours between two overhauls of a machine that is only mended between (policy II of Barlow and Hunter 1960).

    scale (planned / (failure (shape - 1))) ** (1 / shape). Infinite for a machine that does not get worse: the cost is
    then that of failures alone in the long run, none in the end if it gets better.
    """
    if law.shape <= 1:
        return Interval(math.inf, costs.failure / law.scale if law.shape == 1 else 0.0)
    hours = law.scale * (costs.planned / (costs.failure * (law.shape - 1))) ** (1 / law.shape)
    return Interval(hours, repair_cost(law, costs, hours))
