"""What a room is judged by, added up by hand: true hours, a plain reader's, kinds of weeks."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID

import pytest

from core.entries import AnyEntry, EntryVoided, Looked, PartsOff, PrintStarted, WentDown
from core.setup import Machine, PrintFile, Row, Shift, Shop, SpecialDay
from core.window import Window
from dashboard.commands.plain_reader import plain_hours, true_factor
from dashboard.commands.trials import DAY_OFF, SILENT, USUAL, judged_windows, kind_of_week, true_hours
from demo.rooms.told import Run, Told

MONDAY = datetime(2026, 5, 4, tzinfo=UTC)
WEEK = Window(MONDAY, MONDAY + timedelta(weeks=1))
DAYS = ("mon", "tue", "wed", "thu", "fri")


def at(hours: float) -> datetime:
    return MONDAY + timedelta(hours=hours)


def started(hours: float, machine: str = "P1", *, proving: bool = False) -> PrintStarted:
    return PrintStarted(
        at=at(hours), noted_at=at(hours), by="AM", machine=machine, file="hook", revision=1, proving=proving
    )


def off(hours: float, machine: str = "P1") -> PartsOff:
    return PartsOff(at=at(hours), noted_at=at(hours), by="AM", machine=machine)


def run(whole: float) -> Run:
    return Run("P1", "hook", 1, at(0), at(whole), None, whole, whole, True, parts=1, scrap=0)


def room(entries: Sequence[AnyEntry], runs: Sequence[Run] = (), more: Sequence[Row] = ()) -> Told:
    """Two machines, a file that states ten hours, one shift from eight to five on weekdays."""
    rows: list[Row] = [
        Shop(name="Larkfield", zone="UTC"),
        *(Machine(machine=name, model="Alder", rack="R1", place=n) for n, name in enumerate(("P1", "P2"), start=1)),
        PrintFile(
            file="hook", revision=1, product="hook", parts=1, hours=10, grams=100, material="pla", models=("Alder",)
        ),
        *(Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in DAYS),
        *more,
    ]
    turns = {"P1": [(at(-5), "empty"), (at(-2), "printing"), (at(7), "done")], "P2": [(at(-5), "down")]}
    return Told("queues", 1, "one shift", at(-5), at(24 * 14), rows, list(entries), turns, list(runs), [])


def test_true_hours_are_those_within_the_window() -> None:
    assert true_hours(room([]), Window(at(0), at(10))) == {("P1", "printing"): 7, ("P1", "done"): 3, ("P2", "down"): 10}


def test_a_print_lasts_for_the_plain_reader_until_it_is_due_by_the_factor_of_the_shop() -> None:
    told = room([started(1)], runs=[run(11), run(13)])
    assert true_factor(told) == pytest.approx(1.2)
    assert plain_hours(told, WEEK) == pytest.approx(12)


@pytest.mark.parametrize(
    "word", [off(5), started(5, proving=True), WentDown(at=at(5), noted_at=at(5), by="AM", machine="P1", cause="jam")]
)
def test_or_until_the_next_word_of_its_machine(word: AnyEntry) -> None:
    assert plain_hours(room([started(1), word, off(2, "P2")]), WEEK) == pytest.approx(4)


def test_parts_that_came_off_in_the_minute_of_the_next_start_are_those_before_it() -> None:
    assert plain_hours(room([started(1), started(5), off(5)]), WEEK) == pytest.approx(4 + 10)


def test_the_plain_reader_reads_no_looks_and_nothing_that_was_taken_back() -> None:
    wrong = off(3).model_copy(update={"id": UUID(int=7)})
    look = Looked(at=at(4), noted_at=at(4), by="AM", machine="P1", saw="empty")
    back = EntryVoided(at=at(5), noted_at=at(5), by="AM", which=UUID(int=7), why="wrong tap")
    assert plain_hours(room([started(1), wrong, look, back]), WEEK) == pytest.approx(10)


def test_the_plain_reader_counts_what_lies_within_the_window_alone() -> None:
    told = room([started(-4), started(24 * 7 - 3, "P2")])
    assert plain_hours(told, WEEK) == pytest.approx(6 + 3)


def test_the_newest_weeks_but_the_last_are_judged() -> None:
    told = room([])
    assert judged_windows(told, 2) == [
        Window(told.end - timedelta(weeks=n), told.end - timedelta(weeks=n - 1)) for n in (3, 2)
    ]


EVERY_HALF_DAY = [off(24 * day + hour) for day in range(5) for hour in (9, 14)]


def test_a_week_in_which_every_half_day_with_people_in_has_a_tap_is_usual() -> None:
    assert kind_of_week(room(EVERY_HALF_DAY), WEEK) == USUAL


@pytest.mark.parametrize("silent", range(10))
def test_a_half_day_without_a_tap_makes_a_week_another_kind(silent: int) -> None:
    assert kind_of_week(room([*EVERY_HALF_DAY[:silent], *EVERY_HALF_DAY[silent + 1 :]]), WEEK) == SILENT


def test_a_day_off_makes_a_week_a_kind_of_its_own_and_a_short_day_does_not() -> None:
    holiday, short = (
        SpecialDay(day=date(2026, 5, 6)),
        SpecialDay(day=date(2026, 5, 6), start=time(8), end=time(12), hands=1),
    )
    assert kind_of_week(room(EVERY_HALF_DAY[:4], more=[holiday]), WEEK) == DAY_OFF
    assert kind_of_week(room(EVERY_HALF_DAY, more=[short]), WEEK) == USUAL
