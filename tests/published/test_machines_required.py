"""The number of machines for a demand, against a worked example."""

import numpy as np
import pytest

from core.statistics.required import machines_required


def test_two_products_in_lots() -> None:
    # Krajewski and Ritzman, Operations Management, as a worked example at expertsmind.com (item 30131298): 250 days of
    # 8 h, a cushion of 15 %; 2,000 of 0.5 h in lots of 20, 0.25 h to set up; 6,000 of 0.7 h in lots of 30, 0.40 h.
    # It prints 3.12, so 4 machines; to the last digit 5305 / 1700.
    found = machines_required(
        np.array([2000.0, 6000.0]),
        np.array([0.5, 0.7]),
        np.array([20.0, 30.0]),
        np.array([0.25, 0.40]),
        250 * 8.0,
        0.15,
    )
    assert found == pytest.approx(3.120588, abs=5e-7)
    assert np.ceil(found) == 4


def test_without_lots_or_cushion_it_is_hours_over_hours() -> None:
    one = np.ones(1)
    assert machines_required(3000 * one, 0.5 * one, one, 0 * one, 1000.0, 0.0) == pytest.approx(1.5)
