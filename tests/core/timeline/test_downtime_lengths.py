"""How long machines stay down."""

import math

import pytest

from core.entries import AnyEntry
from core.timeline.downtime_lengths import durations, mended_within
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, when

WINDOW = Window(when(0), when(9))


def broke(hour: float) -> AnyEntry:
    return at_a1("WentDown", when(0, hour), cause="nozzle")


def back(hour: float) -> AnyEntry:
    return at_a1("CameBack", when(0, hour))


STORIES: dict[str, tuple[list[AnyEntry], tuple[float, float]]] = {
    "both ends noted": ([broke(8), back(11)], (3.0, 3.0)),
    "seen down in between": ([broke(8), look(when(0, 9), "down"), back(11)], (3.0, 3.0)),
    "its beginning not noted": ([look(when(0, 7), "empty"), look(when(0, 9), "down"), back(11)], (2.0, 4.0)),
    "its end not noted": ([broke(8), look(when(0, 9), "down"), start(when(0, 12))], (1.0, 4.0)),
    "down still": ([broke(8), look(when(0, 20), "down")], (12.0, math.inf)),
}


@pytest.mark.parametrize(("story", "ends"), STORIES.values(), ids=STORIES.keys())
def test_a_duration_is_known_as_far_as_its_ends_are(story: list[AnyEntry], ends: tuple[float, float]) -> None:
    assert durations(reckoned(story, WINDOW).gaps).rows() == [("A1", *ends)]


def test_shares_of_the_faults_are_mended_within_so_many_hours() -> None:
    story = [entry for day in range(4) for entry in (broke(24 * day + 8), back(24 * day + 9 + 2 * day))]
    gaps = reckoned(story, WINDOW).gaps
    assert mended_within(durations(gaps), (0.25, 0.5, 1.0)) == pytest.approx((1.0, 3.0, 7.0))


def test_what_is_not_over_yet_has_no_hours() -> None:
    assert mended_within(durations(reckoned([broke(8)], WINDOW).gaps), (0.5,)) == (None,)
    assert mended_within(durations(reckoned([], WINDOW).gaps), (0.5, 0.9)) == (None, None)
