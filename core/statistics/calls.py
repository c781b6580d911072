"""When a figure is called changed, and how often a steady one would be by chance.

Two rules on scores that are standard normal as long as nothing changes (`scores`):
- "beyond": one value so far out that a steady figure gives it once in a long time;
- "adds up": small deviations to one side add up (a cumulative sum: Page, Biometrika 41 (1954) 100-115), best at finding
  a lasting change of one standard deviation. Where the sum last stood at nothing is when it began.
Both limits follow from how many false calls a quarter one chart may have, so that the false calls of all charts are a
sum that can be told beforehand. What is called as lasting begins a new past, by which later values are judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri

from core.arrays import Numbers

#: The change that the sum is best at is twice this, in standard deviations.
SLACK = 0.5
#: One value adds so much at most: a single wild one is "beyond", not a lasting change.
MOST = 3.0
#: Siegmund's correction for a sum that steps over its limit.
OVERSHOOT = 1.166
#: So many scores as chance has them are thought of when their spread is learned, and what goes on from one to the next.
PRIOR, GOES_ON_PRIOR = 20.0, 4.0
#: The share of the false calls allowed that lasting changes have; what is far out for a day has the rest.
LASTING = 0.75
#: After what is called, so many values are no news.
QUIET = 3

#: Scores of all values, given which of them are past to those after (1.0 or 0.0).
Score = Callable[[Numbers], Numbers]


@dataclass(frozen=True)
class Call:
    """A change: told at value `at`, begun at value `since` (places), up or down."""

    rule: Literal["beyond", "adds up"]
    at: int
    since: int
    upward: bool


@dataclass(frozen=True)
class CallRules:
    """How far a steady figure goes: `reach` of one value, `limit` of the cumulative sum; downwards too if `both`."""

    reach: float
    limit: float
    both: bool

    @classmethod
    def of(cls, false_calls: float, points: float, both: bool = True) -> CallRules:
        """The rules by which `points` steady values give so many false calls on average."""
        sides = 2 if both else 1
        each = false_calls / sides / points
        beyond = min((1 - LASTING) * each, 0.5)
        return cls(float(-ndtri(beyond)), limit_of(1 / (LASTING * each)), both)


def run_length(limit: float, slack: float = SLACK) -> float:
    """Mean number of steady values until a cumulative sum to one side passes `limit` (Siegmund's approximation).

    Siegmund, Sequential Analysis (1985), 2.52, as in Montgomery, Introduction to Statistical Quality Control, 9.1.
    """
    b = limit + OVERSHOOT
    return (math.exp(2 * slack * b) - 2 * slack * b - 1) / (2 * slack**2)


@lru_cache(maxsize=256)
def limit_of(values: float) -> float:
    """The limit that the cumulative sum of a steady figure passes once in so many values."""
    wanted = max(values, run_length(0.5))
    return float(brentq(lambda limit: run_length(limit) - wanted, 0.5, 60.0))


def calls(score: Score, count: int, rules: CallRules) -> list[Call]:
    """The changes among `count` values, oldest first.

    Scores spread more widely than chance has it, or that go on from one value to the next, are brought to what they
    should be by what came before each (`_levelled`).
    """
    found: list[Call] = []
    past, begin = np.ones(count), 0
    while True:
        past[:begin] = 0.0
        call = _first(_levelled(score(past), begin), rules, begin, found)
        if call is None:
            return found
        found.append(call)
        if call.rule == "beyond":
            past[call.at] = 0.0
        else:
            begin = max(call.since, begin + 1)


def _first(z: Numbers, rules: CallRules, begin: int, told: list[Call]) -> Call | None:
    """The first change that is not told yet."""
    sums, since = np.zeros(2), np.full(2, begin)
    last = max((call.at for call in told), default=-1)
    for at in range(begin, len(z)):
        if np.isnan(z[at]):
            continue
        mine = np.array([z[at], -z[at] if rules.both else -MOST])
        since = np.where(sums == 0.0, at, since)
        sums = np.maximum(sums + np.minimum(mine, MOST) - SLACK, 0.0)
        if at <= last:
            continue
        side = int(sums.argmax())
        if sums[side] > rules.limit:
            return Call("adds up", at, int(since[side]), side == 0)
        if mine.max() > rules.reach and not _lately(told, at, z[at] > 0):
            return Call("beyond", at, at, bool(z[at] > 0))
    return None


def _lately(told: list[Call], at: int, upward: bool) -> bool:
    return any(call.upward == upward and at - call.at <= QUIET for call in told)


def _levelled(z: Numbers, begin: int) -> Numbers:
    """Scores as they would be with a spread of 1 and nothing going on from one to the next, learned before each."""
    told = np.flatnonzero(~np.isnan(z))
    told = told[told >= begin]
    mine, found = z[told], np.full(len(z), np.nan)
    if not len(mine):
        return found
    capped = np.clip(mine, -MOST, MOST)
    square = np.concatenate([[0.0], np.cumsum(capped**2)[:-1]])
    product = np.concatenate([[0.0, 0.0], np.cumsum(capped[1:] * capped[:-1])[:-1]])[: len(mine)]
    n = np.arange(len(mine))
    spread = np.maximum((square + PRIOR) / (n + PRIOR), 1.0)
    goes_on = np.clip(product / (square + GOES_ON_PRIOR), 0.0, 0.9)
    before = np.concatenate([[0.0], capped[:-1]])
    found[told] = (mine - goes_on * before) / np.sqrt(spread * (1 - goes_on**2))
    return found
