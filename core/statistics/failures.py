"""Failures of machines that are mended and run on: how long between two, better or worse with the hours, how many.

A machine is a repairable system: its failures are points on the scale of its own printing hours, and the rate at which
they come may change along it (Ascher and Feingold, Repairable Systems Reliability (1984)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from scipy.stats import chi2

from core.arrays import Numbers
from core.estimate import NINETY, Estimate
from core.statistics.ranges import poisson_range

#: A slope surely between 1 / this and this is steady: twice the hours change the rate by less than half.
STEADY = 1.5
#: Fewer failures than this have no slope.
FEWEST = 2

Verdict = Literal["improving", "steady", "worsening", "cannot tell"]


@dataclass(frozen=True)
class FailureTimes:
    """A machine that `failed` at so many printing hours since its watch began (any order), watched for `hours` of them.

    `by_failure`: the watch ended because the last failure came (failure-terminated) and not at a time of its own
    (time-terminated, as with every machine watched until today). ValueError for failures outside the watch.
    """

    failed: Sequence[float]
    hours: float
    by_failure: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.hours < math.inf:
            raise ValueError(f"the hours watched must be a number above 0, got {self.hours}")
        outside = [at for at in self.failed if not 0 < at <= self.hours]
        if outside:
            raise ValueError(f"a failure must come after 0 and within the {self.hours} h watched, got {outside[0]}")
        if self.by_failure and self.hours not in self.failed:
            raise ValueError(f"a watch that ended by a failure must have one at its end, {self.hours} h")

    @property
    def free(self) -> Numbers:
        """Those failures that could have come anywhere in the watch: not the one that ended it."""
        at = np.sort(np.asarray(self.failed, dtype=np.float64))
        return at[:-1] if self.by_failure else at


def mtbf(failures: int, hours: float, sure: float = 0.9) -> Estimate:
    """Mean hours between failures of machines watched for `hours` together at a steady rate (time-terminated).

    Exact bounds: hours / mean count, by `poisson_range`, which are those of the NIST/SEMATECH e-Handbook, 8.4.5.1,
    2 T / chi2(1 - a/2; 2 r + 2) and 2 T / chi2(a/2; 2 r). No failures: best and high are infinite, low is T / -ln(a/2),
    so half of what `sure` leaves stays on its side as with any other count. ValueError for no hours.
    """
    if not 0 < hours < math.inf:
        raise ValueError(f"the hours watched must be a number above 0, got {hours}")
    if failures < 0:
        raise ValueError(f"failures must be counted from 0 up, got {failures}")
    if not 0 < sure < 1:
        raise ValueError(f"how sure must be a share between 0 and 1, got {sure}")
    count = poisson_range(failures, sure)
    return Estimate(
        low=hours / count.high,
        best=hours / failures if failures else math.inf,
        high=hours / count.low if failures else math.inf,
    )


def in_doubt(between: Estimate, told: float, doubt: float) -> Estimate:
    """Mean hours between failures where only a share `told` of the failures is known, as of `mtbf` from these.

    `doubt` is the standard deviation of the logarithm of that share, and of the hours watched, together. It adds to
    what the count leaves open as independent errors do, on the scale of logarithms (Gauss; first order). With every
    failure told and no doubt nothing changes. ValueError for a share that is none.
    """
    if not 0 < told <= 1:
        raise ValueError(f"the share told must be above 0 and at most 1, got {told}")
    off = NINETY * doubt
    if between.best == math.inf:
        return Estimate(low=between.low * told * math.exp(-off), best=math.inf, high=math.inf)
    down, up = (math.hypot(math.log(end / between.best), off) for end in (between.low, between.high))
    best = between.best * told
    return Estimate(low=best * math.exp(-down), best=best, high=best * math.exp(up))


def availability(between: float, restore: float) -> float:
    """Inherent availability: the share of time up of a machine with such mean hours between failures and to restore."""
    return 1.0 if between == math.inf else between / (between + restore)


@dataclass(frozen=True)
class Tested:
    """What a test of no trend found: its `statistic`, and the chance `p` of one as far out (two-sided) if steady."""

    statistic: float
    p: float


def mil_hdbk_189(machines: Sequence[FailureTimes]) -> Tested | None:
    """The test of no trend against a power law: chi-square with twice as many degrees as there are `free` failures.

    MIL-HDBK-189 (1981), 5: 2 sum ln(T / t), exact; small if failures come closer together. Over several machines the
    sums and the degrees are added, so machines may have rates of their own (Kvaloy and Lindqvist, Reliability
    Engineering and System Safety 60 (1998) 13-28). None of no failures.
    """
    count, logs = _logs(machines)
    if not count:
        return None
    return Tested(2 * logs, 2 * float(min(chi2.cdf(2 * logs, 2 * count), chi2.sf(2 * logs, 2 * count))))


def _logs(machines: Sequence[FailureTimes]) -> tuple[int, float]:
    """How many failures are free, and the sum of ln(T / t) over them."""
    logs = sum(float(np.log(one.hours / one.free).sum()) for one in machines)
    return sum(one.free.size for one in machines), logs


@dataclass(frozen=True)
class Trend:
    """Whether failures come closer together: a `verdict`, the chance `p` of such data at a steady rate, the `slope` b
    (failures grow with hours to the power of b: 1 is steady, more is worse) and the name of the `estimator`.
    """

    verdict: Verdict
    p: float | None
    slope: Estimate | None
    estimator: str


def trend(machines: Sequence[FailureTimes], sure: float = 0.9) -> Trend:
    """The trend of one machine, or the common one of several with rates of their own, by `mil_hdbk_189`.

    Improving or worsening: the range of the slope excludes 1 (p < 1 - sure). Steady is claimed only if the whole range
    lies within `STEADY`; data that neither shows a trend nor excludes one cannot tell. Repairs that come in clusters
    look like a trend more often than 1 - sure.
    """
    test, found = mil_hdbk_189(machines), slope(machines, sure)
    ends = {"failure" if one.by_failure else "time" for one in machines}
    name = f"MIL-HDBK-189, {' and '.join(sorted(ends)) or 'time'}-terminated, slope unbiased"
    return Trend(_verdict(found), test.p if test else None, found, name)


def _verdict(slope: Estimate | None) -> Verdict:
    if slope is None:
        return "cannot tell"
    if slope.high < 1:
        return "improving"
    if slope.low > 1:
        return "worsening"
    return "steady" if slope.low >= 1 / STEADY and slope.high <= STEADY else "cannot tell"


def slope(machines: Sequence[FailureTimes], sure: float = 0.9) -> Estimate | None:
    """The slope b of the power law that machines have in common; None of fewer than `FEWEST` free failures.

    Unbiased: (n - 1) / sum ln(T / t) over n free failures. Its range is exact: 2 b sum ln(T / t) is chi-square with
    2 n degrees, given n (Crow, Reliability Analysis for Complex, Repairable Systems (1974)).
    """
    count, logs = _logs(machines)
    if count < FEWEST:
        return None
    # All of them at the very end: as steep as can be told.
    logs = max(logs, 1e-9)
    low, high = (float(chi2.ppf(tail, 2 * count)) / 2 / logs for tail in ((1 - sure) / 2, (1 + sure) / 2))
    return Estimate(low=low, best=(count - 1) / logs, high=high)


@dataclass(frozen=True)
class MeanCumulative:
    """The mean number of failures of a machine by so many hours of printing: up to `best` from each `at` on [times]."""

    at: Numbers
    low: Numbers
    best: Numbers
    high: Numbers


def mean_cumulative(machines: Sequence[FailureTimes], sure: float = 0.9) -> MeanCumulative:
    """Nelson's mean cumulative function of machines whose watches end at different hours, with its range.

    Nelson, Recurrent Events Data Analysis (2003), 3. The range is exp(+-z s / M) times M, where the variance is the
    larger of two: that between machines (Lawless and Nadeau, Technometrics 37 (1995) 158-168), which takes in that they
    are not alike but is nothing of a single machine, and that of chance alone (a Poisson process: sum of d / n**2).
    """
    at, counts = _counted(machines)
    watched = np.array([one.hours for one in machines])[:, None] >= at
    there = watched.sum(axis=0)
    step = counts.sum(axis=0) / there
    best = np.cumsum(step)
    between = (np.cumsum(watched / there * (counts - step), axis=1) ** 2).sum(axis=0)
    spread = np.sqrt(np.maximum(between, np.cumsum(step / there)))
    reach = np.exp(NormalDist().inv_cdf((1 + sure) / 2) * spread / best)
    return MeanCumulative(at, best / reach, best, best * reach)


def _counted(machines: Sequence[FailureTimes]) -> tuple[Numbers, Numbers]:
    """The hours at which any machine failed, and how often each did then [machines, times]."""
    if not machines:
        raise ValueError("there must be at least one machine that was watched, got none")
    times = [np.asarray(one.failed, dtype=np.float64) for one in machines]
    at = np.unique(np.concatenate(times))
    return at, np.array([np.bincount(np.searchsorted(at, mine), minlength=at.size) for mine in times], dtype=np.float64)
