"""Whether people worked through a quiet stretch and told nothing: what the machines were found doing tells.

The spans that reach into such stretches are replayed twice: with nobody there, and with hands at work as usual that
note nothing. How much better the one fits than the other, over all machines, is how likely it was.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from core.arrays import Micros, Numbers
from core.habits.quiet import STEADY, WORKED, Quiet
from core.hours.law import Law
from core.hours.replays import replay
from core.timeline.spans import Spans

#: Replays of a span, either way.
COUNT = 24
#: What machines tell is not all their own: the differences of their likelihoods (logarithms) count so much ...
TRUSTED = 0.5
#: ... and one machine no more than this.
MOST = 3.0
#: Steps of learning the share.
STEPS = 5


def worked_through(edges: Micros, mine: Spans, absent: Law, at_work: Law) -> tuple[Quiet, float]:
    """The quiet stretches (from, to) with how likely people worked in each, and the share in which they did.

    `absent` and `at_work`: the law with nobody there in any of them, and with people in all.
    """
    told = TRUSTED * _told(edges, mine, absent, at_work)
    share = WORKED
    for _ in range(STEPS):
        worked = expit(np.log(share / (1 - share)) + told)
        share = float((worked.sum() + STEADY * WORKED) / (len(worked) + STEADY))
    return Quiet(edges[:, 0], edges[:, 1], worked), share


def _told(edges: Micros, mine: Spans, absent: Law, at_work: Law) -> Numbers:
    """By how much the logarithm of the likelihood of what machines did is greater with people at work in each."""
    first, last = np.searchsorted(edges[:, 1], mine.start, side="right"), np.searchsorted(edges[:, 0], mine.end)
    touches = last > first
    mine, first, last = mine.of(touches), first[touches], last[touches]
    fits = [replay(mine, law, COUNT).fit for law in (absent, at_work)]
    each = np.clip(fits[1] - fits[0], -MOST, MOST) / (last - first)
    told = np.zeros(len(edges) + 1)
    np.add.at(told, first, each)
    np.add.at(told, last, -each)
    return np.cumsum(told)[:-1]
