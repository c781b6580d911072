"""How often prints stop before their end."""

from datetime import datetime

import pytest

from core.entries import AnyEntry
from core.timeline.stops import ended, rates
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, when

WINDOW = Window(when(0), when(9))


def rows(*entries: AnyEntry) -> list[tuple[object, ...]]:
    return ended(reckoned(entries, WINDOW).gaps).select("file", "stopped", "hours").rows()


def off(at: datetime, how: str = "itself") -> AnyEntry:
    return at_a1("PartsOff", at, ended=how)


def test_a_print_that_ended_ran_its_whole_time() -> None:
    assert rows(start(when(0, 8)), off(when(1, 12))) == [("grille", False, 24.0)]


def test_a_stopped_print_ran_to_the_middle_of_the_time_in_which_it_can_have_stopped() -> None:
    seen = [start(when(0, 8)), look(when(0, 12), "printing"), look(when(0, 18), "stopped"), off(when(1, 9), "stopped")]
    assert rows(*seen) == [("grille", True, 7.0)]
    # Never seen: it may have run its whole time, but not longer.
    assert rows(start(when(0, 8)), off(when(3, 8), "stopped")) == [("grille", True, 12.0)]


def test_test_prints_and_prints_still_running_do_not_count() -> None:
    assert rows(start(when(0, 8), proving=True), off(when(1, 9))) == []
    assert rows(start(when(0, 8)), look(when(0, 12), "printing")) == []


def test_rates_are_of_the_shop_and_of_every_group() -> None:
    story = [start(when(0, 8)), off(when(1, 12)), start(when(1, 13)), off(when(3), "stopped")]
    found = {
        (of, name): (stops, hours) for of, name, stops, hours, *_ in rates(ended(reckoned(story, WINDOW).gaps)).rows()
    }
    names = {
        ("shop", "shop"),
        ("file", "grille"),
        ("model", "bench-220"),
        ("machine", "A1"),
        ("material", "petg-black"),
    }
    assert found == dict.fromkeys(names, (1, 36.0))


def test_a_rate_has_garwoods_range_by_its_hours() -> None:
    story = [start(when(0, 8)), off(when(1, 12)), start(when(1, 13)), off(when(3), "stopped")]
    found = rates(ended(reckoned(story, WINDOW).gaps)).row(0, named=True)
    # Pearson and Hartley, Biometrika Tables for Statisticians I (1954), table 40, 90 % of one: from memory.
    assert (found["low"] * 36, found["best"] * 36, found["high"] * 36) == pytest.approx((0.0513, 1, 4.74), abs=5e-3)
    assert found["low"] * 36 == pytest.approx(0.0513, abs=5e-5)


def test_a_rate_has_a_range_also_where_nothing_stopped() -> None:
    found = rates(ended(reckoned([start(when(0, 8)), off(when(1, 12))], WINDOW).gaps)).row(0, named=True)
    # -ln 0.05: the mean at which none is seen once in twenty.
    assert (found["low"], found["best"], found["high"]) == pytest.approx((0.0, 0.0, 2.9957323 / 24))
    assert rates(ended(reckoned([], WINDOW).gaps)).is_empty()
