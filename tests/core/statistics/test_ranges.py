"""The share of so many counted things."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import Refused
from core.statistics.ranges import wilson

COUNTS = st.integers(1, 5000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))


def test_of_nothing_there_is_no_share() -> None:
    assert wilson(0, 0) is None


@pytest.mark.parametrize(("hits", "of"), [(-1, 5), (6, 5), (0, -1), (1, 0)])
def test_what_cannot_be_counted_is_refused(hits: int, of: int) -> None:
    with pytest.raises(Refused, match=f"{hits} of {of}") as refused:
        wilson(hits, of)
    assert refused.value.rule == "not_a_count"


def test_none_of_twenty_is_not_certain() -> None:
    found = wilson(0, 20)
    assert found is not None
    assert found.low == found.best == 0
    # At share 0 the interval ends at z2 / (n + z2), with z2 = 1.6449 squared = 2.7055.
    assert found.high == pytest.approx(2.7055 / 22.7055, abs=1e-5)


@given(COUNTS)
def test_the_interval_holds_the_share_and_stays_a_share(counts: tuple[int, int]) -> None:
    hits, of = counts
    found = wilson(hits, of)
    assert found is not None
    assert 0 <= found.low <= found.best == hits / of <= found.high <= 1
    assert found.low < found.high


@given(COUNTS)
def test_the_share_of_misses_mirrors_that_of_hits(counts: tuple[int, int]) -> None:
    hits, of = counts
    found, mirrored = wilson(hits, of), wilson(of - hits, of)
    assert found is not None
    assert mirrored is not None
    assert (1 - mirrored.high, 1 - mirrored.low) == pytest.approx((found.low, found.high), abs=1e-12)


@given(COUNTS)
def test_more_of_the_same_says_more_and_more_confidence_says_less(counts: tuple[int, int]) -> None:
    hits, of = counts
    found, tenfold, surer = wilson(hits, of), wilson(10 * hits, 10 * of), wilson(hits, of, confidence=0.99)
    assert found is not None
    assert tenfold is not None
    assert surer is not None
    assert tenfold.high - tenfold.low < found.high - found.low < surer.high - surer.low
