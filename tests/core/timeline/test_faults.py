"""Faults as they were told, and what their time went to."""

from typing import Any

from core.epoch import FAR, HOUR
from core.timeline.faults import Fault, faults


def row(kind: str, hour: float, machine: str | None = "A1", **fields: Any) -> dict[str, Any]:
    blank = {"cause": None, "spare": None, "spares": [], "item": None}
    return {"kind": kind, "machine": machine, "t": int(hour * HOUR), **blank, **fields}


def told(*rows: dict[str, Any], now: float = 100) -> list[Fault]:
    return faults(sorted(rows, key=lambda one: one["t"]), int(now * HOUR))


def parts(fault: Fault) -> tuple[float, float, float]:
    return fault.diagnosed, fault.waited, fault.mended


def test_a_fault_lasts_from_going_down_to_coming_back() -> None:
    (one,) = told(row("WentDown", 2, cause="belt"), row("CameBack", 7))
    assert (one.machine, one.cause, one.spare, one.began, one.ended) == ("A1", "belt", None, 2 * HOUR, 7 * HOUR)
    assert parts(one) == (0, 0, 5)
    assert one.hours == 5


def test_what_went_in_is_what_was_told_or_else_what_was_waited_for() -> None:
    waits = row("WentDown", 2, cause="fan", spare="fan")
    assert told(waits, row("CameBack", 7))[0].fitted == ("fan",)
    assert told(waits, row("CameBack", 7, spares=["belt", "nozzle"]))[0].fitted == ("belt", "nozzle")
    assert told(row("WentDown", 2, cause="fan"), row("CameBack", 7, spares=["fan"]))[0].fitted == ("fan",)
    assert told(row("WentDown", 2, cause="fan"), row("CameBack", 7))[0].fitted == ()
    assert told(waits)[0].fitted == ()


def test_until_the_cause_is_known_it_is_looked_for() -> None:
    (one,) = told(row("WentDown", 2, cause="dont-know"), row("WentDown", 5, cause="fan"), row("CameBack", 9))
    assert parts(one) == (3, 0, 4)
    assert one.cause == "fan"


def test_a_cause_nobody_ever_told_is_looked_for_to_the_end() -> None:
    (one,) = told(row("WentDown", 2, cause="dont-know"), row("CameBack", 9))
    assert parts(one) == (7, 0, 0)


def test_the_wait_for_a_spare_ends_with_its_delivery() -> None:
    (one,) = told(
        row("WentDown", 2, cause="dont-know"), row("WentDown", 4, cause="fan", spare="fan"),
        row("StockReceived", 3, None, item="fan"), row("StockReceived", 20, None, item="belt"),
        row("StockReceived", 24, None, item="fan"), row("CameBack", 30),
    )  # fmt: skip
    assert parts(one) == (2, 20, 6)
    assert one.spare == "fan"


def test_where_no_delivery_was_noted_it_waited_until_it_came_back() -> None:
    (one,) = told(row("WentDown", 4, cause="fan", spare="fan"), row("CameBack", 30))
    assert parts(one) == (0, 26, 0)


def test_what_is_down_still_lasts_until_now() -> None:
    (one,) = told(row("WentDown", 4, cause="belt"), now=10)
    assert one.ended == FAR
    assert one.hours == 6


def test_a_start_ends_a_fault_and_the_next_one_is_another() -> None:
    found = told(
        row("WentDown", 4, cause="belt"), row("PrintStarted", 6), row("PrintStarted", 9),
        row("WentDown", 20, cause="fan"),
        row("WentDown", 5, "A2", cause="fan"), row("SetAside", 8, "A2"),
    )  # fmt: skip
    assert [(one.machine, one.cause, one.hours) for one in found] == [
        ("A1", "belt", 2),
        ("A2", "fan", 3),
        ("A1", "fan", 80),
    ]


def test_coming_back_without_having_been_down_is_no_fault() -> None:
    assert told(row("CameBack", 4), row("StockReceived", 5, None, item="fan")) == []
