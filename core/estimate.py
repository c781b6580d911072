"""A number that says how sure it is."""

from __future__ import annotations

import math
from typing import Self

from pydantic import BaseModel, ConfigDict, model_validator

#: Nine in ten lie within so many standard deviations of the mean, if errors are normal.
NINETY = 1.6448536269514722
#: The shares of a distribution below `low`, `best` and `high`, where all of it is known.
LOW, BEST, HIGH = 0.05, 0.5, 0.95


class Estimate(BaseModel):
    """`low`, `best`, `high`: a best value and its 90 % interval, in the unit of its name."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    low: float
    best: float
    high: float

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.low <= self.best <= self.high:
            raise ValueError(f"must be low <= best <= high, got {self.low}, {self.best}, {self.high}")
        return self

    @classmethod
    def exact(cls, value: float) -> Estimate:
        """A value there is no doubt about."""
        return cls(low=value, best=value, high=value)

    def scaled(self, factor: float) -> Estimate:
        """The estimate in another unit; `factor` must not be negative."""
        return Estimate(low=self.low * factor, best=self.best * factor, high=self.high * factor)


def difference(one: Estimate, other: Estimate) -> Estimate:
    """`one` less `other`, independent of each other: the distances to their limits add in quadrature.

    Of two shares with Wilson's limits this is Newcombe's hybrid score interval (Stat. Med. 17 (1998) 873-890, method
    10); Zou and Donner (Stat. Med. 27 (2008) 1693-1702) show that it holds of any two estimates.
    """
    best = one.best - other.best
    below = math.hypot(one.best - one.low, other.high - other.best)
    above = math.hypot(one.high - one.best, other.best - other.low)
    return Estimate(low=best - below, best=best, high=best + above)
