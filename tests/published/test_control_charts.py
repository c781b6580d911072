"""Control charts against published limits, cumulative sums against published run lengths."""

import numpy as np
import pytest
from scipy.stats import norm

from core.estimate import Estimate, difference
from core.statistics import control_limits
from core.statistics.calls import run_length

#: CC-1: NIST/SEMATECH e-Handbook 6.3.3.2, MONITOR-6_3_3_2.DAT: faulty chips in samples of 50; the same counts are the
#: orange-juice cans of Montgomery, Introduction to Statistical Quality Control.
CHIPS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


def fifty(count: int) -> list[int]:
    return [50] * count


def test_the_p_chart_of_the_handbook() -> None:
    found = control_limits.shares(CHIPS, fifty(30))
    assert found.centre == pytest.approx(0.231333, abs=5e-7)
    assert found.lower == pytest.approx(np.full(30, 0.052428), abs=5e-7)
    assert found.upper == pytest.approx(np.full(30, 0.410239), abs=5e-7)
    share = np.array(CHIPS) / 50
    assert (np.flatnonzero((share < found.lower) | (share > found.upper)) + 1).tolist() == [15, 23]


def test_the_p_chart_without_the_samples_that_were_out() -> None:
    """CC-2: the two samples out are left out; recomputed from the same data."""
    found = control_limits.shares([count for place, count in enumerate(CHIPS, 1) if place not in {15, 23}], fifty(28))
    assert found.centre == pytest.approx(0.2150, abs=5e-5)
    assert (found.lower[0], found.upper[0]) == pytest.approx((0.040703, 0.389297), abs=5e-7)


def test_a_p_chart_goes_no_lower_than_nothing() -> None:
    """CC-2: the next 24 samples alone: mean 0.110833, the lower limit would be -0.022354."""
    found = control_limits.shares([133], [1200])
    assert found.centre == pytest.approx(0.110833, abs=5e-7)
    alone = control_limits.shares([133 / 24] * 24, fifty(24))
    assert (alone.lower[0], alone.upper[0]) == pytest.approx((0.0, 0.244021), abs=5e-7)


#: CC-4: printed circuit boards (Montgomery), 516 nonconformities in 26 samples: centre and limits as printed.
@pytest.mark.parametrize(
    ("total", "samples", "centre", "lower", "upper"),
    [(516, 26, 19.84615, 6.481447, 33.210861), (516 - 5 - 39, 24, 19.66667, 6.362532, 32.970801)],
)
def test_the_c_chart_is_a_u_chart_with_one_unit_a_sample(
    total: int, samples: int, centre: float, lower: float, upper: float
) -> None:
    found = control_limits.rates([total / samples] * samples, [1.0] * samples)
    assert found.centre == pytest.approx(centre, abs=5e-6)
    assert (found.lower[0], found.upper[0]) == pytest.approx((lower, upper), abs=5e-7)


def test_the_g_chart() -> None:
    """CC-6: the chances for p = 1 / 21, a mean of 20 (Benneyan, Health Care Manag. Sci. 4 (2001) 305-318)."""
    chances = control_limits.quantiles(np.array([20.0]), reach=3.0, whole=True)
    assert (chances.lower[0], chances.upper[0]) == (0, 135)


def test_the_constant_of_single_values_follows_from_the_mean_range_of_two_normal_values() -> None:
    """1.128, as printed in tables of control chart constants (d2 for two values)."""
    assert pytest.approx(1.128, abs=5e-4) == control_limits.D2
    pairs = norm.rvs(size=(400_000, 2), random_state=np.random.default_rng(7))
    assert np.abs(pairs[:, 0] - pairs[:, 1]).mean() == pytest.approx(
        control_limits.D2, abs=4 * 0.853 / np.sqrt(400_000)
    )


def test_the_chart_of_single_values_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: ten flow rates, limits 55.8041 and 45.8159 with d2 = 1.128; from memory."""
    found = control_limits.individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert found.centre == pytest.approx(50.81)
    assert (found.lower[0], found.upper[0]) == pytest.approx((45.82, 55.80), abs=5e-3)


#: Montgomery, Introduction to Statistical Quality Control, run lengths of two-sided CUSUMs, k = 1/2: 168 at h = 4,
#: 465 at h = 5; from memory. Siegmund's approximation is within 1 % of them.
@pytest.mark.parametrize(("limit", "printed"), [(4.0, 168), (5.0, 465)])
def test_how_long_a_steady_cumulative_sum_runs(limit: float, printed: float) -> None:
    assert run_length(limit) / 2 == pytest.approx(printed, rel=0.01)


def test_siegmunds_worked_value() -> None:
    """Montgomery, 9.1: h = 5, k = 1/2, no shift: one-sided 938.2, both sides 469.1; from memory."""
    assert run_length(5.0) == pytest.approx(938.2, abs=0.05)
    assert run_length(5.0) / 2 == pytest.approx(469.1, abs=0.05)


#: Newcombe, Stat. Med. 17 (1998) 873-890, table II, method 10, 95 %; from memory: the difference of two shares.
@pytest.mark.parametrize(
    ("one", "other", "low", "high"), [((56, 70), (48, 80), 0.0524, 0.3339), ((9, 10), (3, 10), 0.1705, 0.8090)]
)
def test_the_difference_of_two_shares(one: tuple[int, int], other: tuple[int, int], low: float, high: float) -> None:
    found = difference(_wilson95(*one), _wilson95(*other))
    assert found.best == pytest.approx(one[0] / one[1] - other[0] / other[1])
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


def _wilson95(hits: int, of: int) -> Estimate:
    """Wilson's 95 % limits, written out."""
    z, share = norm.isf(0.025), hits / of
    middle = (share + z**2 / (2 * of)) / (1 + z**2 / of)
    reach = z / (1 + z**2 / of) * np.sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    return Estimate(low=middle - reach, best=share, high=middle + reach)
