"""Which prints tell of their time: when each was last seen printing, seen or known to be over, and taken off."""

from collections.abc import Sequence
from datetime import time, timedelta

import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import HOUR, micros
from core.habits.learned import Learned
from core.habits.print_times import ended_prints
from core.setup import WEEKDAYS, PrintFile, Setup, Shift
from core.window import Window
from tests.core.larkfield import ROWS, a1_alone, at_a1, look, reckoned, start, tell, when

DAY_SHIFT = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS[:5]]
COLUMNS = ("file", "revision", "model", "stated", "began", "printing", "over", "off", "off_by")


def ended(*entries: AnyEntry) -> pl.DataFrame:
    """Of a shop with A1 alone, in which people are in from 8 to 17; clips take two hours."""
    rows = [*a1_alone(), *DAY_SHIFT]
    return ended_prints(reckoned(entries, Window(when(0), when(7)), rows, Learned()).gaps, Setup(rows))


def hours_told(*entries: AnyEntry) -> Sequence[tuple[float | None, ...]]:
    """When each print was last seen printing, seen or known to be over, and taken off: hours since its start."""
    return [
        tuple(None if at is None else round((at - row[0]) / HOUR, 6) for at in row[1:])
        for row in ended(*entries).select("began", "printing", "over", "off").iter_rows()
    ]


CLIP = start(when(0, 9), file="clip")


def off(hour: float, **fields: object) -> AnyEntry:
    return at_a1("PartsOff", when(0, hour), **fields)


def at(hour: float, saw: str, **fields: object) -> AnyEntry:
    return look(when(0, hour), saw, **fields)


def late(hour: float, minutes: float = 40) -> dict[str, object]:
    """What happened at that hour was put back from memory so much later."""
    return {"noted_at": when(0, hour, minutes)}


ENDED: dict[str, tuple[list[AnyEntry], tuple[float | None, ...]]] = {
    "taken off": ([off(11.5)], (0.0, 2.5, 2.5)),
    "taken off after a look": ([at(10, "printing"), off(11.5)], (1.0, 2.5, 2.5)),
    "the last of two looks": ([at(9.5, "printing"), at(10.75, "printing"), off(11.5)], (1.75, 2.5, 2.5)),
    "seen done and taken off later": ([at(11.25, "done"), off(14)], (0.0, 2.25, 5.0)),
    "seen both before and after": ([at(10, "printing"), at(11.25, "done"), off(14)], (1.0, 2.25, 5.0)),
    "seen done twice": ([at(11.25, "done"), at(12, "done"), off(14)], (0.0, 2.25, 5.0)),
    "seen done and still there": ([at(11.25, "done")], (0.0, 2.25, None)),
    "seen done, its removal forgotten": ([at(11.25, "done"), start(when(0, 12))], (0.0, 2.25, None)),
    "seen done, its removal put back": ([at(11.25, "done"), off(14, **late(14))], (0.0, 2.25, None)),
}
CUT_SHORT: dict[str, tuple[list[AnyEntry], tuple[float | None, ...]]] = {
    "taken off stopped": ([off(10.5, ended="stopped")], (0.0, None, 1.5)),
    "seen stopped": ([at(10, "printing"), at(10.5, "stopped")], (1.0, None, None)),
    "seen stopped and taken off": ([at(10, "printing"), at(10.5, "stopped"), off(11, ended="stopped")],
                                   (1.0, None, 2.0)),
    "broken down": ([at(10, "printing"), at_a1("WentDown", when(0, 10.5), cause="nozzle")], (1.0, None, None)),
    "seen down": ([at(10, "printing"), at(10.5, "down")], (1.0, None, None)),
    "set aside": ([at(10, "printing"), at_a1("SetAside", when(0, 10.5))], (1.0, None, None)),
}  # fmt: skip


@pytest.mark.parametrize(("story", "expected"), ENDED.values(), ids=ENDED.keys())
def test_a_print_ended_after_it_was_last_seen_printing_and_before_it_was_seen_done_or_gone(
    story: list[AnyEntry], expected: tuple[float | None, ...]
) -> None:
    assert hours_told(CLIP, *story)[:1] == [expected]


def test_a_print_that_ended_at_night_is_kept_as_well() -> None:
    evening = [start(when(0, 16.5), file="clip"), at_a1("PartsOff", when(1, 8.25))]
    assert hours_told(*evening) == [(0.0, 15.75, 15.75)]


@pytest.mark.parametrize(("story", "expected"), CUT_SHORT.values(), ids=CUT_SHORT.keys())
def test_a_failed_or_interrupted_print_tells_how_long_it_lasted_at_least(
    story: list[AnyEntry], expected: tuple[float | None, ...]
) -> None:
    assert hours_told(CLIP, *story) == [expected]


SILENT: dict[str, list[AnyEntry]] = {
    "nothing was noted": [],
    "never announced": [at(9, "printing"), off(11)],
    "went on with a new spool": [CLIP, at(10, "stopped"),
                                 at_a1("SpoolFitted", when(0, 10.5), material="petg-black", grams=1000), off(12)],
    "its start was put back": [start(when(0, 9), file="clip", **late(9)), off(11.5)],
    "its removal was put back": [CLIP, off(11.5, **late(11.5))],
    "its failure was put back": [CLIP, off(10.5, ended="stopped", **late(10.5))],
    "it was put back that it was done": [CLIP, at(11.25, "done", **late(11.25)), off(14)],
}  # fmt: skip


@pytest.mark.parametrize("story", SILENT.values(), ids=SILENT.keys())
def test_a_print_that_tells_nothing_of_its_length_is_left_out(story: list[AnyEntry]) -> None:
    assert ended(*story).is_empty()


@pytest.mark.parametrize(("minutes", "prints"), [(5, 1), (6, 0)])
def test_what_is_noted_within_five_minutes_is_not_from_memory(minutes: float, prints: int) -> None:
    assert len(ended(CLIP, off(11.5, noted_at=when(0, 11.5) + timedelta(minutes=minutes)))) == prints


def test_every_print_has_its_file_its_model_and_what_was_stated() -> None:
    rows = [*ROWS, PrintFile(file="clip", revision=2, product="clip", parts=12, hours=1.5, grams=60,
                             material="petg-black", models=()), *DAY_SHIFT]  # fmt: skip
    story = [
        entry
        for day, machine, file, revision in ((0, "A1", "clip", 1), (1, "A2", "clip", 2), (2, "B1", "feeder", 1))
        for entry in (
            tell("PrintStarted", when(day, 9), machine=machine, file=file, revision=revision),
            tell("PartsOff", when(day + 1, 8), machine=machine),
        )
    ]
    found = ended_prints(reckoned(story, Window(when(0), when(7)), rows, Learned()).gaps, Setup(rows))
    assert found.select("file", "revision", "model", "stated", "began").sort("began").rows() == [
        ("clip", 1, "bench-220", 2.0, micros(when(0, 9))),
        ("clip", 2, "bench-220", 1.5, micros(when(1, 9))),
        ("feeder", 1, "bench-300", 12.0, micros(when(2, 9))),
    ]
    assert sorted(found.columns) == sorted(COLUMNS)


@pytest.mark.parametrize(("start_late", "off_late"), [(0.0, 40.0), (40.0, 0.0), (40.0, 40.0)])
def test_two_moments_told_from_memory_are_further_off_together_than_one(start_late: float, off_late: float) -> None:
    rows = [*a1_alone(), *DAY_SHIFT]
    story = [start(when(0, 9), file="clip", noted_at=when(0, 9, start_late)),
             off(11.5, noted_at=when(0, 11.5) + timedelta(minutes=off_late))]  # fmt: skip
    gaps = reckoned(story, Window(when(0), when(7)), rows, Learned()).gaps
    (off_by,) = ended_prints(gaps, Setup(rows), from_memory=True)["off_by"]
    assert off_by == pytest.approx(0.25 * (2**0.5 if start_late and off_late else 1))
