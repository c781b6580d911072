"""What came off the platforms, and what was never counted."""

from core.entries import AnyEntry
from core.epoch import micros
from core.timeline.counts import contradicted, perhaps_good, removals, starts, uncounted, within
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, when

WEEK = Window(when(0), when(7))


def gaps(*entries: AnyEntry) -> object:
    return reckoned(entries, WEEK).gaps


def test_a_start_says_what_is_on_the_platform() -> None:
    started = start(when(1), proving=True)
    (row,) = starts(gaps(started)).rows(named=True)
    assert row == {
        "machine": "A1", "file": "grille", "revision": 1, "parts": 4, "proving": True, "print": str(started.id),
        "began": micros(when(1)),
    }  # fmt: skip


def test_good_parts_are_those_on_the_platform_less_scrap() -> None:
    started, off = start(when(1)), at_a1("PartsOff", when(3), scrap=1, scrap_cause="warped")
    (row,) = removals(gaps(started, off)).rows(named=True)
    assert (row["print"], row["file"], row["parts"], row["good"], row["scrap"]) == (str(started.id), "grille", 4, 3, 1)
    assert (row["id"], row["t"], row["cause"], row["ended"]) == (str(off.id), micros(when(3)), "warped", "itself")


def test_what_was_counted_on_the_platform_counts_before_the_file() -> None:
    story = [start(when(1)), at_a1("PartsOff", when(3), on_platform=3, scrap=1, scrap_cause="warped", ended="stopped")]
    (row,) = removals(gaps(*story)).rows(named=True)
    assert (row["parts"], row["good"], row["ended"]) == (3, 2, "stopped")


def test_without_a_start_nobody_knows_how_many_were_good() -> None:
    (row,) = removals(gaps(look(when(1), "done"), at_a1("PartsOff", when(2), scrap=1, scrap_cause="warped"))).rows(
        named=True
    )
    assert (row["print"], row["file"], row["parts"], row["good"], row["scrap"]) == (None, None, None, None, 1)


def test_more_scrap_than_the_start_has_parts_is_all_that_is_taken_to_have_come_off() -> None:
    started, off = start(when(1)), at_a1("PartsOff", when(3), scrap=8, scrap_cause="warped")
    found = gaps(started, off)
    (row,) = removals(found).rows(named=True)
    assert (row["print"], row["parts"], row["good"], row["scrap"]) == (str(started.id), 8, 0, 8)
    assert (row["file"], row["revision"]) == (None, None)
    (doubt,) = contradicted(found).rows(named=True)
    assert (doubt["id"], doubt["print"], doubt["file"], doubt["parts"]) == (str(off.id), str(started.id), "grille", 4)
    assert (doubt["model"], doubt["began"], doubt["t"]) == ("bench-220", micros(when(1)), micros(when(3)))


def test_the_parts_of_the_print_that_was_started_may_have_been_good_and_uncounted() -> None:
    off = at_a1("PartsOff", when(3), scrap=8, scrap_cause="warped")
    found = gaps(start(when(1)), off, start(when(3)), start(when(5)))
    assert perhaps_good(found).sort("t")["parts", "t"].rows() == [(4, micros(when(3))), (4, micros(when(5)))]


def test_as_much_scrap_as_parts_contradicts_nothing() -> None:
    found = gaps(start(when(1)), at_a1("PartsOff", when(3), scrap=4, scrap_cause="warped"))
    assert contradicted(found).height == 0
    assert removals(found).select("file", "parts", "good").rows() == [("grille", 4, 0)]


def test_scrap_of_parts_that_were_counted_out_contradicts_nothing() -> None:
    found = gaps(start(when(1)), at_a1("PartsOff", when(3), on_platform=9, scrap=8, scrap_cause="warped"))
    assert contradicted(found).height == 0
    assert removals(found)["good"].to_list() == [1]


def test_looks_between_a_start_and_its_removal_change_no_count() -> None:
    started = start(when(1))
    story = [started, look(when(1.5), "printing"), look(when(2), "done"), at_a1("PartsOff", when(3))]
    (row,) = removals(gaps(*story)).rows(named=True)
    assert (row["print"], row["good"]) == (str(started.id), 4)


def test_a_second_removal_takes_off_nothing_that_is_known() -> None:
    story = [start(when(1)), at_a1("PartsOff", when(2)), at_a1("PartsOff", when(3))]
    assert removals(gaps(*story))["good"].to_list() == [4, None]


def test_a_removal_told_just_after_the_next_start_counts_for_the_print_before() -> None:
    first, second = start(when(1)), start(when(2), file="clip")
    off = at_a1("PartsOff", when(2, minutes=10))
    assert removals(gaps(first, second, off))["print"].to_list() == [str(first.id)]
    assert uncounted(gaps(first, second, off)).height == 0


def lost(*entries: AnyEntry) -> list[tuple[str, int, int]]:
    """Print, parts and when they were gone, of what was never counted."""
    return uncounted(gaps(*entries)).select("print", "parts", "gone").rows()


def test_a_next_start_shows_that_the_parts_before_it_were_not_counted() -> None:
    first, second = start(when(1)), start(when(3))
    assert lost(first, second) == [(str(first.id), 4, micros(when(3)))]


def test_an_empty_platform_shows_it_as_well() -> None:
    first = start(when(1))
    # Ended after a day; taken off half-way between then and the look.
    assert lost(first, look(when(4), "empty")) == [(str(first.id), 4, micros(when(3)))]


def test_so_does_another_print_after_a_finished_one() -> None:
    first = start(when(1))
    (row,) = lost(first, look(when(2), "done"), look(when(4), "printing"))
    assert row[:2] == (str(first.id), 4)
    assert micros(when(2)) <= row[2] <= micros(when(4))


def test_so_does_a_machine_found_down() -> None:
    first = start(when(1))
    (row,) = lost(first, look(when(2), "done"), look(when(4), "down"))
    assert row == (str(first.id), 4, micros(when(3)))


def test_parts_taken_off_a_machine_that_is_down_were_counted() -> None:
    story = [start(when(1)), look(when(2), "done"), look(when(4), "down"), at_a1("PartsOff", when(5)), start(when(6))]
    assert lost(*story) == []
    assert removals(gaps(*story))["print"].to_list() == [str(story[0].id)]


def test_parts_counted_or_still_there_are_not_lost() -> None:
    assert lost(start(when(1)), at_a1("PartsOff", when(2)), start(when(2))) == []
    assert lost(start(when(1))) == []
    assert lost(start(when(1)), look(when(2), "done"), look(when(5), "done")) == []
    assert lost(look(when(1), "done"), start(when(2))) == []


def test_a_print_is_lost_once_however_often_it_shows() -> None:
    first = start(when(1))
    assert len(lost(first, look(when(4), "empty"), look(when(5), "empty"), start(when(6)))) == 1
    assert len(lost(first, look(when(2), "done"), look(when(3), "down"), look(when(4), "done"), start(when(6)))) == 1


def test_a_window_holds_its_beginning_and_not_its_end() -> None:
    off = removals(gaps(start(when(1)), at_a1("PartsOff", when(2)), start(when(2)), at_a1("PartsOff", when(3))))
    assert within(off, Window(when(2), when(3)), "t")["t"].to_list() == [micros(when(2))]
