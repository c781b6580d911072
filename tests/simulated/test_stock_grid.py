"""Min must serve as set whatever lot, lead time, review, rate and law an item has, and no more than units need."""

import numpy as np
import pytest

from tests.simulated.stock_grid import KNOWN, Case, Judged, drawn, judged


@pytest.fixture(scope="module")
def grid() -> list[Judged]:
    return [judged(case, seed) for seed, case in enumerate(drawn(80, 3))]


@pytest.mark.parametrize("case", KNOWN, ids=lambda case: f"a lot of {case.lot:.2f} reviews")
def test_lots_of_about_a_whole_number_of_reviews_are_served_as_set(case: Case) -> None:
    assert judged(case).served.share == pytest.approx(case.service, abs=0.02)


def test_where_the_rate_is_known_every_case_is_served_as_set(grid: list[Judged]) -> None:
    assert [one.case for one in grid if one.case.weeks == np.inf and abs(one.off) > 0.02] == []


def test_where_it_is_learned_hardly_a_case_is_not(grid: list[Judged]) -> None:
    learned = [one.off for one in grid if one.case.weeks < np.inf]
    assert len(learned) > 20
    assert np.mean(np.abs(learned) > 0.02) < 0.05
