"""Shares of counted things, against printed intervals and a general-purpose library."""

import pytest
from scipy import stats

from core.statistics.ranges import wilson

# CC-7: Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I (score method, 95 %), and 23 of 60.


@pytest.mark.parametrize(
    ("hits", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (23, 60, 0.2709, 0.5098),
    ],
)
def test_cc_7_the_printed_score_intervals(hits: int, of: int, low: float, high: float) -> None:
    found = wilson(hits, of, confidence=0.95)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((low, high), rel=0, abs=0.5e-4)
    assert found.best == hits / of


@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.99])
@pytest.mark.parametrize(("hits", "of"), [(0, 1), (1, 1), (0, 20), (20, 20), (1, 29), (81, 263), (3, 100_000)])
def test_as_the_general_purpose_library(hits: int, of: int, confidence: float) -> None:
    expected = stats.binomtest(hits, of).proportion_ci(confidence, method="wilson")
    found = wilson(hits, of, confidence)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-9, abs=1e-12)
