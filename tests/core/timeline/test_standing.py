"""Where every machine stands, and what needs a hand."""

from datetime import datetime, time

import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import micros
from core.setup import WEEKDAYS, Shift
from core.timeline.standing import LEVELS, WAITS_HOURS, Need, needs, standing
from core.window import Window
from tests.core.larkfield import ROWS, a1_alone, at_a1, look, reckoned, start, tell, when

NOW = when(7)
RACKS = {"A1": "A", "A2": "A", "A3": "A", "B1": "B"}


def stands(*entries: AnyEntry, window: Window | None = None) -> dict[str, object]:
    """Where A1 stands at the end of the week."""
    (row,) = standing(reckoned(entries, window or Window(when(0), NOW))).rows(named=True)
    return row


def test_a_print_tells_what_it_is_and_when_it_is_due() -> None:
    started = start(when(6.5))
    row = stands(started)
    assert (row["state"], row["print"], row["file"], row["revision"], row["parts"]) == (
        "printing", str(started.id), "grille", 1, 4,
    )  # fmt: skip
    assert row["since"] == micros(when(6.5))
    assert row["due"] == row["due_low"] == row["due_high"] == micros(when(7.5))


def test_a_finished_print_still_says_what_is_on_the_platform() -> None:
    row = stands(start(when(5)))
    assert (row["state"], row["since"], row["parts"], row["due"]) == ("done", micros(when(6)), 4, None)


def test_an_empty_machine_knows_its_last_file() -> None:
    row = stands(start(when(5), file="clip"), at_a1("PartsOff", when(6)))
    assert (row["state"], row["file"], row["print"]) == ("empty", None, None)
    assert (row["last_file"], row["last_revision"]) == ("clip", 1)


def test_what_was_declared_keeps_its_true_beginning() -> None:
    week = Window(when(0), NOW)
    down = stands(at_a1("WentDown", when(-3), cause="belt"), look(when(2), "down"), window=week)
    assert (down["state"], down["cause"], down["since"]) == ("down", "belt", micros(when(-3)))
    aside = stands(at_a1("SetAside", when(-9)), window=week)
    assert (aside["state"], aside["since"], aside["cause"]) == ("aside", micros(when(-9)), None)


def test_a_machine_that_waits_says_for_what() -> None:
    row = stands(at_a1("WentDown", when(2), cause="belt", spare="belt-220"))
    assert (row["state"], row["cause"], row["spare"]) == ("waiting", "belt", "belt-220")


def test_a_mended_machine_says_no_cause() -> None:
    row = stands(at_a1("WentDown", when(2), cause="belt", spare="belt-220"), at_a1("CameBack", when(3)))
    assert (row["state"], row["cause"], row["spare"]) == ("empty", None, None)


def test_a_machine_nobody_ever_spoke_of_has_no_word() -> None:
    row = stands()
    assert (row["state"], row["basis"]) == ("no word", "no word")


def test_word_fades_in_staffed_hours() -> None:
    rows = [*a1_alone(), *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS)]
    for hours, state in ((16.5, "empty"), (40, "no word")):
        window = Window(when(0), when(0, 8 + hours))
        (row,) = standing(reckoned([look(when(0, 8), "empty")], window, rows)).rows(named=True)
        assert row["state"] == state


def test_every_machine_in_service_has_a_row() -> None:
    found = standing(reckoned([tell("SetAside", when(1), machine="B1")], Window(when(0), NOW), ROWS))
    assert found.select("machine", "state").rows() == [("A1", "no word"), ("A2", "no word"), ("B1", "aside")]


# What needs a hand


def row(
    machine: str, state: str, since: datetime, cause: str | None = None, spare: str | None = None
) -> dict[str, object]:
    return {"machine": machine, "state": state, "since": micros(since), "cause": cause, "spare": spare}


def needed(*rows: dict[str, object]) -> list[Need]:
    schema = {"machine": pl.String, "state": pl.String, "since": pl.Int64, "cause": pl.String, "spare": pl.String}
    return needs(pl.DataFrame(list(rows), schema=schema), RACKS, micros(NOW))


@pytest.mark.parametrize(
    ("state", "hours", "level"),
    [
        ("stopped", 0.1, "now"),
        ("done", WAITS_HOURS, "now"),
        ("done", WAITS_HOURS - 0.1, None),
        ("down", 0.1, "today"),
        ("no word", 0.1, "today"),
        ("empty", 0.1, "today"),
        ("waiting", 50, "waiting"),
        ("printing", 50, None),
        ("proving", 50, None),
        ("upkeep", 50, None),
        ("aside", 50, None),
    ],
)
def test_how_urgent_a_plight_is(state: str, hours: float, level: str | None) -> None:
    found = needed(row("A1", state, when(7, -hours)))
    assert [need.level for need in found] == ([level] if level else [])


def test_machines_of_a_rack_in_one_plight_are_one_line() -> None:
    found = needed(row("A1", "done", when(6.5)), row("A2", "done", when(6)), row("B1", "done", when(6)))
    assert [(need.rack, need.machines) for need in found] == [("A", ("A1", "A2")), ("B", ("B1",))]
    assert (found[0].since, found[0].waited_hours) == (micros(when(6)), 36)


@pytest.mark.parametrize("state", ["down", "waiting", "stopped"])
def test_what_needs_its_own_mending_is_told_alone(state: str) -> None:
    found = needed(row("A1", state, when(5), "belt", "belt-220"), row("A2", state, when(6), "nozzle"))
    assert [(need.machines, need.cause, need.spare) for need in found] == [
        (("A1",), "belt", "belt-220"),
        (("A2",), "nozzle", None),
    ]


def test_the_most_urgent_comes_first_and_within_a_level_what_waited_longest() -> None:
    found = needed(
        row("A1", "waiting", when(0)),
        row("A2", "empty", when(1)),
        row("A3", "down", when(2)),
        row("B1", "stopped", when(6.9)),
    )
    assert [(need.level, need.state) for need in found] == [
        ("now", "stopped"),
        ("today", "empty"),
        ("today", "down"),
        ("waiting", "waiting"),
    ]
    assert list(dict.fromkeys(need.level for need in found)) == list(LEVELS)


def test_hours_waited_are_those_of_all_the_machines_of_a_line() -> None:
    found = needed(row("B1", "done", when(6)), row("A1", "done", when(6.4)), row("A2", "done", when(6.4)))
    assert [need.rack for need in found] == ["A", "B"]


def test_equal_waits_go_by_machine() -> None:
    found = needed(row("A2", "down", when(6)), row("A1", "down", when(6)))
    assert [need.machines for need in found] == [("A1",), ("A2",)]


def test_nothing_to_do_is_an_empty_list() -> None:
    assert needed() == []
