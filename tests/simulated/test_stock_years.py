"""Levels found from the past alone must serve as set, and with little more than the best levels in hindsight."""

import numpy as np
import pytest

from tests.simulated.stock_years import Judged, judged, together


@pytest.fixture(scope="module")
def year() -> Judged:
    return together([judged(30, seed) for seed in range(200, 204)])


def test_deliveries_come_in_time_as_often_as_set(year: Judged) -> None:
    share, should, count = year.share(np.ones(len(year.kind), bool))
    assert np.sqrt(should * (1 - should) / count) < 0.01
    assert abs(share - should) < 0.02


def test_the_stock_is_little_more_than_the_least_in_hindsight(year: Judged) -> None:
    assert np.isfinite(year.least).all()
    assert year.kept.sum() < 1.1 * year.least.sum()
