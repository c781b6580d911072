"""The one door for entries."""

from datetime import datetime, timedelta
from random import Random
from uuid import uuid4

import pytest

from core.entries import AnyEntry
from core.errors import Refused
from core.log.frames import entries_from
from core.log.record import REPEAT_SECONDS, record, record_many
from core.log.store import Log
from tests.core.larkfield import at_a1, look, start, tell, when

NOW = when(days=10)


def later(entry: AnyEntry, seconds: float, **fields: object) -> AnyEntry:
    """The same thing told once more, so many seconds later and under an id of its own."""
    wait = timedelta(seconds=seconds)
    stamps = {"id": uuid4(), "at": entry.at + wait, "noted_at": entry.noted_at + wait}
    return entry.model_copy(update={**stamps, **fields})


def there(*entries: AnyEntry) -> tuple[AnyEntry, ...]:
    """The entries as the log has them: they arrived now."""
    return tuple(entry.model_copy(update={"arrived_at": NOW}) for entry in entries)


def visit() -> list[AnyEntry]:
    """Parts off and the next print started: one tap, two entries."""
    return [at_a1("PartsOff", when(1)), start(when(1))]


def test_a_tap_is_on_disk_with_its_receipt(log: Log) -> None:
    tap = visit()
    receipt = record(log, tap, now=NOW)
    assert (receipt.recorded, receipt.already) == (tuple(tap), ())
    assert entries_from(log.everything()) == [*there(*tap)]


def test_a_receipt_names_what_surprised(log: Log) -> None:
    receipt = record(log, visit(), now=NOW)
    assert len(receipt.remarks) == 1
    assert "No start was noted" in receipt.remarks[0]


def test_a_tap_of_nothing_is_nothing(log: Log) -> None:
    before = log.version()
    receipt = record(log, [], now=NOW)
    assert (receipt.recorded, receipt.already, receipt.remarks) == ((), (), ())
    assert log.version() == before


def test_a_double_tap_is_the_same_entries(log: Log) -> None:
    tap = visit()
    record(log, tap, now=NOW)
    again = record(log, tap, now=NOW)
    assert (again.recorded, again.already, again.remarks) == ((), there(*tap), ())
    assert log.everything().height == 2


def test_a_resend_answers_with_what_was_taken_and_not_with_what_it_says(log: Log) -> None:
    first = look(when(1), "done")
    record(log, [first], now=NOW)
    receipt = record(log, [first.model_copy(update={"saw": "empty"})], now=NOW)
    assert receipt.already == there(first)
    assert log.find([first.id]) == [*there(first)]


def test_a_resend_of_what_was_taken_back_stays_taken_back(log: Log) -> None:
    first = look(when(1), "done")
    void = tell("EntryVoided", when(2), which=first.id, why="slip")
    record(log, [first, void], now=NOW)
    assert record(log, [first], now=NOW).already == there(first)
    assert log.voided([first.id]) == [first.id]


def test_a_half_known_tap_is_completed(log: Log) -> None:
    off, on = visit()
    record(log, [off], now=NOW)
    receipt = record(log, [off, on], now=NOW)
    assert (receipt.recorded, receipt.already) == ((on,), there(off))


def test_the_same_thing_within_a_minute_is_a_second_tap(log: Log) -> None:
    first = look(when(1), "done")
    record(log, [first], now=NOW)
    receipt = record(log, [later(first, REPEAT_SECONDS - 1)], now=NOW)
    assert (receipt.recorded, receipt.already) == ((), there(first))


def test_the_same_thing_twice_in_one_tap_is_one_entry(log: Log) -> None:
    first = look(when(1), "done")
    receipt = record(log, [first, later(first, 5)], now=NOW)
    assert (receipt.recorded, receipt.already) == ((first,), (first,))


OTHER_FACTS = {
    "a minute later": {},
    "noted later": {"noted_at": when(1, minutes=5)},
    "another sight": {"saw": "empty"},
    "another machine": {"machine": "A2"},
    "another person": {"by": "JO"},
}


@pytest.mark.parametrize("fields", OTHER_FACTS.values(), ids=OTHER_FACTS.keys())
def test_another_fact_is_another_entry(log: Log, fields: dict[str, object]) -> None:
    first = look(when(1), "done")
    record(log, [first], now=NOW)
    second = later(first, 5 if fields else REPEAT_SECONDS, **fields)
    assert record(log, [second], now=NOW).recorded == (second,)


def test_two_counts_of_a_shelf_within_a_minute_are_two_counts(log: Log) -> None:
    first = tell("StockReceived", when(1), item="box-s", quantity=10)
    assert len(record(log, [first, later(first, 5)], now=NOW).recorded) == 2


def test_what_was_taken_back_may_be_told_again_at_once(log: Log) -> None:
    wrong = look(when(1), "done")
    record(log, [wrong], now=NOW)
    void, right = tell("EntryVoided", when(1), which=wrong.id, why="slip"), later(wrong, 20)
    assert record(log, [void, right], now=NOW).recorded == (void, right)


def test_a_tap_with_a_bad_entry_writes_nothing(log: Log) -> None:
    good, bad = look(when(1), "done"), start(when(2), file="nothing")
    for tap in ([good, bad], [bad, good]):
        with pytest.raises(Refused):
            record(log, tap, now=NOW)
    assert log.everything().height == 0


def test_an_entry_of_a_tap_counts_for_those_after_it(log: Log) -> None:
    taken = tell("OrderTaken", when(1), order="0007", product="clip", quantity=12, due=when(9))
    receipt = record(log, [taken, start(when(1), order="0007")], now=NOW)
    assert (len(receipt.recorded), receipt.remarks) == (2, ())


def history() -> list[AnyEntry]:
    """Ten days of A1: a print a day, an order, a slip taken back."""
    taken = tell("OrderTaken", when(0), order="0007", product="clip", quantity=12, due=when(9))
    days = [entry for day in range(1, 9) for entry in (start(when(day)), at_a1("PartsOff", when(day, hours=23.5)))]
    slip = look(when(5, hours=2), "stopped")
    void = tell("EntryVoided", when(5, hours=3), which=slip.id, why="wrong machine")
    packed = tell("OrderPacked", when(8), order="0007", quantity=12)
    return [taken, *days, slip, void, packed, tell("OrderShipped", when(9), order="0007")]


def arrivals(log: Log) -> list[datetime | None]:
    """When every entry arrived, in the order of writing."""
    return [entry.arrived_at for entry in entries_from(log.everything())]


def test_a_tap_arrives_when_it_is_taken_whatever_it_says(log: Log) -> None:
    record(log, [look(when(1), "done").model_copy(update={"arrived_at": when(1)})], now=NOW)
    assert arrivals(log) == [NOW]


def test_what_a_shop_brings_along_is_known_since_it_was_noted(log: Log) -> None:
    record_many(log, history(), now=NOW)
    assert set(arrivals(log)) == {None}


def test_a_batch_arrives_when_it_is_taken_once_the_log_is_kept(log: Log) -> None:
    record(log, [look(when(4), "done")], now=when(4))
    brought, told_late, exported = (tell("Looked", when(day), machine="A2", saw="done") for day in (3, 5, 6))
    exported = exported.model_copy(update={"arrived_at": when(6, hours=1)})
    record_many(log, [brought, told_late, exported], now=NOW)
    assert arrivals(log) == [when(4), None, NOW, when(6, hours=1)]


def test_an_order_may_be_told_after_what_was_printed_for_it(log: Log) -> None:
    taken = tell("OrderTaken", when(2), order="0007", product="clip", quantity=12, due=when(9))
    outcome = record_many(log, [start(when(1), order="0007"), taken], now=NOW)
    assert (outcome.recorded, outcome.problems) == (2, [])


def test_a_mistake_may_be_taken_back_at_the_time_it_tells_of(log: Log) -> None:
    slip = look(when(5), "stopped", noted_at=when(6))
    void = tell("EntryVoided", when(4), which=slip.id, why="wrong day", noted_at=when(7))
    outcome = record_many(log, [void, slip], now=NOW)
    assert (outcome.recorded, outcome.problems) == (2, [])


def test_what_was_taken_back_and_told_again_within_a_minute_comes_in_whole(log: Log) -> None:
    wrong = look(when(5), "stopped")
    void = tell("EntryVoided", when(5), which=wrong.id, why="slip", noted_at=when(5, minutes=0.2))
    again = later(wrong, 20)
    outcome = record_many(log, [wrong, void, again], now=NOW)
    assert (outcome.recorded, outcome.already, outcome.problems) == (3, 0, [])


@pytest.mark.parametrize("seed", range(5))
def test_a_batch_may_come_in_any_order(log: Log, seed: int) -> None:
    batch = history()
    Random(seed).shuffle(batch)
    outcome = record_many(log, batch, now=NOW)
    assert (outcome.recorded, outcome.already, outcome.problems) == (len(batch), 0, [])
    assert set(log.everything()["id"]) == {str(entry.id) for entry in batch}


def test_a_batch_told_twice_is_taken_once(log: Log) -> None:
    batch = history()
    record_many(log, batch, now=NOW)
    outcome = record_many(log, batch, now=NOW)
    assert (outcome.recorded, outcome.already, outcome.problems) == (0, len(batch), [])
    assert log.everything().height == len(batch)


def test_bad_rows_of_a_batch_are_listed_by_their_place_and_the_good_go_in(log: Log) -> None:
    good = history()
    batch = [start(when(6), file="nothing"), *good, tell("Looked", when(1), machine="A9", saw="done")]
    outcome = record_many(log, batch, now=NOW)
    assert outcome.recorded == len(good)
    assert [(p.index, p.rule) for p in outcome.problems] == [
        (0, "file_is_known"),
        (len(batch) - 1, "machine_is_known"),
    ]
    assert "A9" in outcome.problems[1].sentence
    assert set(log.everything()["id"]) == {str(entry.id) for entry in good}


def test_a_row_that_leans_on_a_bad_row_is_bad_as_well(log: Log) -> None:
    taken = tell("OrderTaken", when(1), order="0008", product="hive", quantity=1, due=when(9))
    outcome = record_many(log, [tell("OrderShipped", when(2), order="0008"), taken], now=NOW)
    assert [(p.index, p.rule) for p in outcome.problems] == [(0, "order_is_known"), (1, "product_is_known")]
    assert log.everything().height == 0


def test_a_repeat_within_a_batch_is_counted_as_there_already(log: Log) -> None:
    first = look(when(1), "done")
    outcome = record_many(log, [later(first, 5), first, first], now=NOW)
    assert (outcome.recorded, outcome.already) == (1, 2)


def test_progress_runs_from_nothing_to_the_whole(log: Log) -> None:
    seen: list[float] = []
    record_many(log, history(), progress=seen.append, now=NOW)
    assert (seen[0], seen[-1]) == (0.0, 1.0)
    assert seen == sorted(seen)


def test_an_empty_batch_is_nothing(log: Log) -> None:
    seen: list[float] = []
    outcome = record_many(log, [], progress=seen.append, now=NOW)
    assert (outcome.recorded, outcome.already, outcome.problems, seen) == (0, 0, [], [1.0])
