"""Times found at the next look, against published estimates and a survival library."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
import surpyval

from core.statistics.turnbull import Masses, turnbull


def intervals(text: str) -> np.ndarray:
    """Left and right ends from "6-10 45-"; no right end: later than the left one."""
    ends = [part.partition("-") for part in text.split()]
    return np.array([(float(left), float(right or "inf")) for left, _, right in ends]).T


def log_likelihood(masses: Masses, ends: np.ndarray) -> float:
    """That of intervals none of which is an exact time."""
    return sum(math.log(masses.mass[(left <= masses.left) & (masses.right <= right)].sum()) for left, right in ends.T)


# IC-2, exact: the small case of the package vignette "interval" (Fay and Shaw, J. Stat. Software 36 (2010), 2)


def test_ic_2_a_small_case_is_exact() -> None:
    found = turnbull([2, 5, 1, 1, 9, 8, 10], [3, 6, 7, 7, 12, 10, 13])
    assert list(zip(found.left, found.right, strict=True)) == [(2, 3), (5, 6), (9, 10), (10, 12)]
    assert found.mass == pytest.approx([2 / 7, 2 / 7, 3 / 14, 3 / 14], rel=0, abs=1e-8)


# IC-1: months until breast retraction, by treatment. Data: Finkelstein and Wolfe, Biometrics 41 (1985) 933-945
# (the order of rows is that of their table; the same as "cosmesis" of the package MLEcens). Estimates: table in
# the vignette of "interval"; log likelihoods recomputed.

RADIOTHERAPY = intervals("""
    45- 6-10 0-7 46- 46- 7-16 17- 7-14 37-44 0-8 4-11 15- 11-15 22- 46- 46- 25-37 46- 26-40 46- 27-34 36-44 46-
    36-48 37- 40- 17-25 46- 11-18 38- 5-12 37- 0-5 18- 24- 36- 5-11 19-35 17-25 24- 32- 33- 19-26 37- 34- 36-
""")
WITH_CHEMOTHERAPY = intervals("""
    8-12 0-22 24-31 17-27 17-23 24-30 16-24 13- 11-13 16-20 18-25 17-26 32- 23- 44-48 14-17 0-5 5-8 12-20 11- 33-40
    31- 13-39 19-32 34- 13- 16-24 35- 15-22 11-17 22-32 10-35 30-34 13- 10-17 8-21 4-9 11- 14-19 4-8 34- 30-36 18-24
    16-60 35-39 21- 11-20 48-
""")
RADIOTHERAPY_MASSES = {
    (4, 5): 0.0463,
    (6, 7): 0.0334,
    (7, 8): 0.0887,
    (11, 12): 0.0708,
    (24, 25): 0.0926,
    (33, 34): 0.0818,
    (38, 40): 0.1209,
    (46, 48): 0.4656,
}
WITH_CHEMOTHERAPY_MASSES = {
    (4, 5): 0.0433,
    (5, 8): 0.0433,
    (11, 12): 0.0692,
    (16, 17): 0.1454,
    (18, 19): 0.1411,
    (19, 20): 0.1157,
    (24, 25): 0.0999,
    (30, 31): 0.0709,
    (35, 36): 0.1608,
    (44, 48): 0.0552,
    (48, 60): 0.0552,
}
ARMS = pytest.mark.parametrize(
    ("ends", "patients", "printed", "likelihood"),
    [
        (RADIOTHERAPY, 46, RADIOTHERAPY_MASSES, -58.06002),
        (WITH_CHEMOTHERAPY, 48, WITH_CHEMOTHERAPY_MASSES, -65.63696),
    ],
    ids=["radiotherapy", "with-chemotherapy"],
)


@ARMS
def test_ic_1_the_printed_masses(
    ends: np.ndarray, patients: int, printed: dict[tuple[int, int], float], likelihood: float
) -> None:
    found = turnbull(*ends)
    assert ends.shape == (2, patients)
    assert list(zip(found.left, found.right, strict=True)) == list(printed)
    assert found.mass == pytest.approx(list(printed.values()), rel=0, abs=0.5e-4)
    assert log_likelihood(found, ends) == pytest.approx(likelihood, rel=0, abs=0.5e-5)


# The survival library. Its default estimator is another one (Fleming-Harrington: 0.9541 after month 5); "Kaplan-Meier"
# is Turnbull's. It creeps towards the maximum by the EM step alone, hence the many steps.


def survival(ends: np.ndarray, after: Sequence[float]) -> np.ndarray:
    fitted = surpyval.Turnbull.fit(
        xl=ends[0], xr=ends[1], turnbull_estimator="Kaplan-Meier", tol=1e-12, max_iter=100_000
    )
    return np.asarray(fitted.sf(after))


@ARMS
def test_ic_1_as_the_survival_library(
    ends: np.ndarray, patients: int, printed: dict[tuple[int, int], float], likelihood: float
) -> None:
    found = turnbull(*ends)
    left_over = 1 - np.cumsum(found.mass)
    assert left_over[:-1] == pytest.approx(survival(ends, found.right[:-1]), abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_looks_at_chance_times_as_the_survival_library(seed: int) -> None:
    # 60 things that happen after 8 hours on average, looked at about every 4 hours for about two days.
    chance = np.random.default_rng(seed)
    looks = np.hstack([np.zeros((60, 1)), chance.exponential(4, (60, 12)).cumsum(axis=1), np.full((60, 1), np.inf)])
    missed = (looks[:, :-1] < chance.exponential(8, (60, 1))).sum(axis=1)
    rows = np.arange(60)
    ends = np.array([looks[rows, missed - 1], looks[rows, missed]])
    found = turnbull(*ends)
    inner = found.right[np.isfinite(found.right)]
    left_over = 1 - np.cumsum(found.mass)[: len(inner)]
    assert left_over == pytest.approx(survival(ends, inner), abs=1e-4)
