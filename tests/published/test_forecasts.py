"""Forecasts, against printed fits and general-purpose libraries."""

import numpy as np
import numpy.typing as npt
import pytest

from core.statistics.forecasts import intermittent, smoothed
from core.statistics.seasons import seasons

Numbers = npt.NDArray[np.float64]

# NIST/SEMATECH e-Handbook 6.4.3, quarterly sales, MONITOR-6_4_3_6.DAT.
SALES = [
    362, 385, 432, 341, 382, 409, 498, 387, 473, 513, 582, 474, 544, 582, 681, 557, 628, 707, 773, 592, 627, 725, 854,
    661,
]  # fmt: skip

# Box and Jenkins, Time Series Analysis (1970), series G: airline passengers a month, 1949 to 1960.
PASSENGERS = [
    112, 118, 132, 129, 121, 135, 148, 148, 136, 119, 104, 118, 115, 126, 141, 135, 125, 149, 170, 170, 158, 133, 114,
    140, 145, 150, 178, 163, 172, 178, 199, 199, 184, 162, 146, 166, 171, 180, 193, 181, 183, 218, 230, 242, 209, 191,
    172, 194, 196, 196, 236, 235, 229, 243, 264, 272, 237, 211, 180, 201, 204, 188, 235, 227, 234, 264, 302, 293, 259,
    229, 203, 229, 242, 233, 267, 269, 270, 315, 364, 347, 312, 274, 237, 278, 284, 277, 317, 313, 318, 374, 413, 405,
    355, 306, 271, 306, 315, 301, 356, 348, 355, 422, 465, 467, 404, 347, 305, 336, 340, 318, 362, 348, 363, 435, 491,
    505, 404, 359, 310, 337, 360, 342, 406, 396, 420, 472, 548, 559, 463, 407, 362, 405, 417, 391, 419, 461, 472, 535,
    622, 606, 508, 461, 390, 432,
]  # fmt: skip


def single(use: list[float], alpha: float) -> Numbers:
    """Simple exponential smoothing that begins with the first value."""
    rows = np.array([use], float)
    weights = np.array([alpha]), np.array([0.0]), np.array([0.0])
    return smoothed(rows, np.ones_like(rows), weights, rows[:, 0], np.zeros(1))[0][0]


def test_single_smoothing_of_ten_values() -> None:
    # wongsteve.com/Exponential_Smoothing.htm, seen: the forecasts of periods 2 to 10, their bias and errors. Its
    # forecast of period 11, 65.42, goes on from the printed 65.6; the unrounded chain gives 65.4307.
    sales = [99, 88, 50, 58, 62, 60, 55, 62, 71, 65]
    found = single(sales, 0.3)[1:]
    assert [f"{f:.1f}" for f in found[:-1]] == ["99.0", "95.7", "82.0", "74.8", "71.0", "67.7", "63.9", "63.3", "65.6"]
    error = np.array(sales[1:]) - found[:-1]
    sizes = abs(error).mean(), 100 * (abs(error) / sales[1:]).mean(), (error**2).mean()
    assert (error.mean(), *sizes) == pytest.approx((-12.43, 14.14, 24.66, 365.80), abs=0.005)
    assert found[-1] - 0.7 * (found[-2] - 65.6) == pytest.approx(65.42, abs=0.005)


@pytest.mark.parametrize(("alpha", "printed"), [(0.45, 6909.8), (0.05, 29367.2)])
def test_single_smoothing_of_quarterly_sales(alpha: float, printed: float) -> None:
    # Mean squared error of the handbook's data, scribd.com/document/478748477.
    error = np.array(SALES[1:]) - single(SALES, alpha)[1:-1]
    assert (error**2).mean() == pytest.approx(printed, abs=0.05)


def test_the_season_of_quarterly_sales_is_near_that_of_the_classical_method() -> None:
    # statsmodels 0.15.0 seasonal_decompose, ratio to the centred moving average. Another method, hence 2 %.
    found = seasons(np.array([SALES], float), np.zeros(1, np.int64), len(SALES), len(SALES), year=4)
    assert found[0, -4:] == pytest.approx([0.960520, 1.022149, 1.140021, 0.877310], rel=0.02)


def test_smoothing_with_trend_and_season_of_airline_passengers() -> None:
    # R's HoltWinters(AirPassengers), multiplicative: its printed fit from memory (8 digits), digits beyond recomputed.
    alpha, beta, gamma = 0.2755925, 0.03269295, 0.8707292
    level, trend, index = r_start(np.array(PASSENGERS[:24], float))
    weights, error = (np.array(alpha), np.array(beta), np.array(1.0)), 0.0
    for month, came in enumerate(PASSENGERS[12:]):
        error += (came - (level + trend) * index[month]) ** 2
        levels, trends = smoothed(np.array([float(came)]), index[month : month + 1], weights, level, trend)
        level, trend = levels[1], trends[1]
        index = np.append(index, gamma * came / level + (1 - gamma) * index[month])
    assert error == pytest.approx(16570.78, abs=0.005)
    assert (level, trend) == pytest.approx((469.3232227, 3.0215391), abs=1e-5)
    last = "0.94646 0.88292 0.97174 1.03048 1.04769 1.18053 1.35908 1.33317 1.10834 0.98688 0.83613 0.92099"
    assert [f"{s:.5f}" for s in index[-12:]] == last.split()


def r_start(first: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Level, trend and indices from two years as R's HoltWinters takes them (classical decomposition)."""
    kernel = np.array([0.5, *[1.0] * 11, 0.5]) / 12
    middle = np.convolve(first, kernel, mode="valid")
    ratio = np.roll(first[6:18] / middle[:12], 6)
    slope, begin = np.polyfit(np.arange(1, len(middle) + 1), middle, 1)
    return np.array(begin), np.array(slope), ratio / ratio.mean()


def test_intermittent_use_of_twelve_weeks() -> None:
    # statsforecast 2.1.1, Croston and the corrected one, alpha .1; checked independently.
    found = intermittent(np.array([[0, 0, 5, 0, 0, 0, 3, 0, 4, 0, 0, 6]], float), alpha=0.1)[0, -1]
    assert found == pytest.approx(1.539819, abs=5e-7)
    assert found / 0.95 == pytest.approx(1.620863, abs=5e-7)


def test_intermittent_use_of_eighty_four_months() -> None:
    # The data set ts.data1 of the R package tsintermittent; values recomputed and equal to statsforecast 2.1.1.
    use = np.zeros((1, 84))
    use[0, np.array([1, 2, 5, 23, 39, 54, 55, 61, 77]) - 1] = [6, 1, 1, 2, 1, 2, 1, 1, 2]
    assert intermittent(use, alpha=0.1)[0, -1] == pytest.approx(0.530114, abs=5e-7)
