"""The room played forward as a list scheduler, against a worked example of machines in parallel."""

from dataclasses import replace
from itertools import product

import numpy as np

from core.plan.forward import play
from core.plan.laws import HandsClock, Laws, Now, Preferences, Wanted, Work

#: Pinedo, Scheduling: Theory, Algorithms, and Systems, example 5.1.2: nine jobs on four machines. The longest first
#: (LPT) takes 15, the best list 12: the ratio 5/4 is Graham's bound 4/3 - 1/(3 x 4), attained.
JOBS, MACHINES, LONGEST_FIRST, BEST = (7, 7, 6, 6, 5, 5, 4, 4, 4), 4, 15, 12


def test_the_longest_first_takes_as_long_as_printed() -> None:
    # A file for each length: a wanted one before any other, of those the longest.
    hours = np.array(sorted(set(JOBS), reverse=True), dtype=float)
    files = np.arange(len(hours))
    work = Work(files, np.zeros_like(files), np.ones(len(hours)), hours[None])
    weights = 1e-6 ** files.astype(float)
    choice = Preferences(np.tile(weights, (1, 1, 2, 1)), np.array([1e60]), np.ones((1, 1, len(hours))))
    nothing = np.zeros((1, MACHINES), np.int64)
    now = Now(nothing[0], nothing * 0.0, nothing * 0.0, nothing - 1, nothing == 0, nothing)
    at, one = np.array([0.0, 100.0]), np.zeros(1, np.int64)
    clock = HandsClock(at, at, one + MACHINES, one > 0)
    wanted = replace(Wanted.nothing(len(hours)), now=np.array([float(JOBS.count(int(h))) for h in hours]))
    found = play(now, clock, work, choice, Laws(), wanted, 40.0, seed=1)
    ends = [np.sort(found.off[found.product == n])[: JOBS.count(int(h))].max() for n, h in enumerate(hours)]
    assert max(ends) == LONGEST_FIRST


def test_the_best_list_of_all_takes_as_long_as_printed() -> None:
    loads = (
        max(sum(job for job, here in zip(JOBS, place, strict=True) if here == machine) for machine in range(MACHINES))
        for place in product(range(MACHINES), repeat=len(JOBS) - 1) for place in [(*place, 0)]
    )  # fmt: skip
    assert min(loads) == BEST
    assert LONGEST_FIRST / BEST == 4 / 3 - 1 / (3 * MACHINES)
