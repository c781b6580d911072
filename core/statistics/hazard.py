"""Waits without a law: the chance an hour that a wait ends, by how long it has lasted (an actuarial life table)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np
from scipy.optimize import isotonic_regression

from core.arrays import Numbers, Rows

#: The ages in hours between which the chance is taken to be steady.
AGES = np.array([0, 0.1, 0.25, 0.5, 1, 2, 3, 5, 8, 16, 1e6])
#: So many ends of waits at the chance of all ages are added to every age: few sightings must not tell much.
PRIOR = 2.0


@dataclass(frozen=True)
class Hazard:
    """The chance an hour that a wait ends, for every step of `AGES`."""

    rates: tuple[float, ...]

    @classmethod
    def steady(cls, mean: float) -> Self:
        """That of waits which last `mean` hours on average, however long they have lasted already."""
        return cls((1 / mean,) * (len(AGES) - 1))

    @classmethod
    def fitted(cls, ended: Numbers, waited: Numbers) -> Self:
        """From the waits that ended at each age and the hours waited at it."""
        rates, _ = _rates(ended, waited)
        return cls(tuple(rates))

    @classmethod
    def rising(cls, ended: Numbers, waited: Numbers) -> Self:
        """The same where the chance never falls with age: the longer parts wait, the likelier hands come next.

        Without this a few long waits cannot be told from changes nobody noted (isotonic regression).
        """
        rates, weight = _rates(ended, waited)
        return cls(tuple(isotonic_regression(rates, weights=weight).x))

    @classmethod
    def falling(cls, ended: Numbers, waited: Numbers) -> Self:
        """The same where the chance never rises with age, so that waits are likeliest to be short."""
        rates, weight = _rates(ended, waited)
        return cls(tuple(isotonic_regression(rates, weights=weight, increasing=False).x))

    @cached_property
    def at_edges(self) -> Numbers:
        """The cumulative hazard at each of `AGES`."""
        return np.concatenate([[0.0], np.cumsum(np.array(self.rates) * np.diff(AGES))])

    def gathered(self, age: Numbers) -> Numbers:
        """The cumulative hazard: a wait outlasts `age` with the chance exp(-gathered)."""
        return np.asarray(np.interp(age, AGES, self.at_edges))

    def age(self, gathered: Numbers) -> Numbers:
        """The age at which so much hazard has gathered."""
        return np.asarray(np.interp(gathered, self.at_edges, AGES))

    def rate(self, age: Numbers) -> Numbers:
        """The chance an hour at an age."""
        return np.asarray(np.array(self.rates)[step_of(age)])


def _rates(ended: Numbers, waited: Numbers) -> tuple[Numbers, Numbers]:
    whole = (ended.sum() + 1.0) / (waited.sum() + 1.0)
    weight = waited + PRIOR / whole
    return (ended + PRIOR) / weight, weight


def step_of(age: Numbers) -> Rows:
    """Which step of `AGES` an age lies in."""
    return np.clip(np.searchsorted(AGES, age, side="right") - 1, 0, len(AGES) - 2)


def lasted(begins: Numbers, ends: Numbers) -> Numbers:
    """The hours that waits from one age to another spent at each step of `AGES`: a row a wait."""
    spent = np.minimum(ends[:, None], AGES[1:]) - np.maximum(begins[:, None], AGES[:-1])
    return np.asarray(np.maximum(spent, 0.0))
