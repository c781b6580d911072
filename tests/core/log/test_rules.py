"""Every rule of the log, each broken alone."""

from collections.abc import Iterable
from typing import NamedTuple
from uuid import UUID

import pytest

from core.entries import KINDS, AnyEntry, entry_adapter
from core.errors import Refused
from core.log.known import Known
from core.log.record import record
from core.log.remarks import REMARKS
from core.log.rules import REFUSALS
from core.log.store import Log
from core.setup import Machine, PrintFile, Setup
from tests.core.larkfield import LEAST, ROWS, STAMP, at_a1, look, start, tell, when

#: Ten days after the first Monday; what the rules take for now.
NOW = when(days=10)
NOTED, TAKEN_BACK = UUID(int=1), UUID(int=2)

TAKEN = tell("OrderTaken", when(hours=9), order="0007", product="clip", quantity=240, due=when(days=20))
LOOKED = look(when(hours=9), "empty", id=NOTED)
BACK = tell("EntryVoided", when(hours=10), which=NOTED, why="wrong machine", id=TAKEN_BACK)


class Case(NamedTuple):
    """What was noted before, the entry that breaks one rule, the value to name and what to do."""

    rule: str
    entry: AnyEntry
    value: str
    do: str
    before: tuple[AnyEntry, ...] = ()


def packed(hours: float) -> AnyEntry:
    return tell("OrderPacked", when(hours=hours), order="0007", quantity=1)


def agreed(number: int, **fields: object) -> AnyEntry:
    told = {"note": f"try no {number}", "who": "MK", "due": when(9), "figure": "scrap", **fields}
    return tell("ActionAgreed", when(1), **told)


IMPOSSIBLE = (
    Case("not_in_the_future", look(when(days=10, minutes=3), "done"), "12 Mar 2026 00:03", "correct the time"),
    Case("not_in_the_future", look(when(days=9), "done", noted_at=when(days=11)), "13 Mar 2026", "correct the time"),
    Case("noted_after_it_happened", look(when(hours=9), "done", noted_at=when(hours=8)), "02 Mar 2026 08:00",
         "correct one of the two times"),
    Case("machine_is_known", tell("Looked", when(1), machine="A9", saw="done"), "A9", "correct the code"),
    Case("machine_is_known", tell("Looked", when(1), machine="OLD", saw="done"), "OLD", "correct the code"),
    Case("file_is_known", start(when(1), file="clips"), "clips", "add that revision"),
    Case("file_is_known", start(when(1), file="clip", revision=2), "revision 2", "add that revision"),
    Case("file_fits_machine", start(when(1), file="feeder"), "bench-220", "pick another file"),
    Case("scrap_within_platform", at_a1("PartsOff", when(1), scrap=3, scrap_cause="warped", on_platform=2), "3 of 2",
         "correct one of the two numbers"),
    Case("platform_within_any_file", at_a1("PartsOff", when(1), on_platform=13), "13 parts", "Change the number"),
    Case("platform_within_any_file", at_a1("PartsOff", when(1), scrap=13, scrap_cause="warped"), "13 parts",
         "Change the number", (start(when(0)),)),
    Case("scrap_has_a_cause", at_a1("PartsOff", when(1), scrap=2), "2 scrap", "'dont-know'"),
    Case("cause_is_known", at_a1("WentDown", when(1), cause="warped"), "'warped'", "pick one of them"),
    Case("cause_is_known", at_a1("PartsOff", when(1), scrap=1, scrap_cause="belt"), "'belt'", "pick one of them"),
    Case("material_is_known", at_a1("SpoolFitted", when(1), material="pla", grams=1000), "pla", "add it"),
    Case("spool_weight_is_possible", at_a1("SpoolFitted", when(1), material="petg-black", grams=1), "1 g",
         "in grams, 20 or more"),
    Case("spool_weight_is_possible", at_a1("SpoolFitted", when(1), material="petg-black", grams=10_001), "10001 g",
         "at most 10000"),
    Case("spool_weight_is_possible",
         at_a1("SpoolFitted", when(1), material="petg-black", grams=1000, left_grams=20_000), "20000 g",
         "at most 10000"),
    Case("spare_is_known", at_a1("WentDown", when(1), cause="belt", spare="belt-300"), "belt-300", "add it"),
    Case("spare_is_known", at_a1("UpkeepDone", when(1), task="clean", minutes=5, spares="belt-220; fan"), "fan",
         "add it"),
    Case("spare_is_known", at_a1("CameBack", when(1), spares="fan"), "fan", "add it"),
    Case("task_is_known", at_a1("UpkeepDone", when(1), task="grease", minutes=5), "grease", "add it"),
    *(Case("item_is_known", tell(kind, when(1), item="tape", quantity=1), "tape", "add it")
      for kind in ("StockCounted", "StockOrdered", "StockReceived")),
    Case("stock_quantity_is_possible", tell("StockCounted", when(1), item="petg-black", quantity=0.75), "0.75 g",
         "is that kilograms, or spools?"),
    Case("stock_quantity_is_possible", tell("StockReceived", when(1), item="petg-black", quantity=2e8), "2e+08 g",
         "correct the number"),
    *(Case("stock_quantity_is_possible", tell(kind, when(1), item="box-s", quantity=0), "0 of box-s",
           "give how much") for kind in ("StockOrdered", "StockReceived")),
    Case("expected_after_ordered", tell("StockOrdered", when(2), item="box-s", quantity=1, expected=when(1)),
         "03 Mar 2026 00:00", "correct one of the two"),
    Case("product_is_known",
         tell("OrderTaken", when(1), order="0008", product="hive", quantity=1, due=when(9)), "hive", "add it"),
    Case("due_after_taken",
         tell("OrderTaken", when(2), order="0008", product="clip", quantity=1, due=when(1)), "03 Mar 2026 00:00",
         "correct one of the two"),
    Case("order_is_new", tell("OrderTaken", when(1), order="0007", product="clip", quantity=1, due=when(9)),
         "0007", "another name", (TAKEN,)),
    Case("order_is_known", packed(30), "0007", "enter the order first"),
    Case("order_is_known", tell("OrderShipped", when(1), order="0009"), "0009", "enter the order first", (TAKEN,)),
    Case("order_is_known", start(when(1), order="0009"), "0009", "enter the order first"),
    Case("air_says_something", tell("AirRead", when(1), place="room"), "room", "give degrees"),
    Case("actions_are_few", agreed(4), "try no 4", "end one of them", (agreed(1), agreed(2), agreed(3))),
    Case("action_has_a_person", agreed(1, who="XX"), "XX", "add the person"),
    Case("action_ends_after_it_began", agreed(1, due=when(0.5)), "02 Mar 2026 12:00", "correct the date"),
    Case("action_is_open", tell("ActionEnded", when(1), which=NOTED, answer="done"), str(NOTED), "nothing to end"),
    Case("void_is_possible", tell("EntryVoided", when(1), which=NOTED, why="slip"), str(NOTED), "correct the id"),
    Case("void_is_possible", tell("EntryVoided", when(1), which=TAKEN_BACK, why="slip"), "stays so",
         "enter the fact again", (LOOKED, BACK)),
    Case("void_is_possible", tell("EntryVoided", when(1), which=NOTED, why="slip"), str(NOTED), "nothing to do",
         (LOOKED, BACK)),
)  # fmt: skip

SURPRISING = (
    Case("start_on_down_machine", start(when(1)), "02 Mar 2026 00:00", "down until this start",
         (at_a1("WentDown", when(0), cause="belt"),)),
    Case("start_on_machine_set_aside", start(when(1)), "02 Mar 2026 00:00", "set aside until this start",
         (at_a1("SetAside", when(0)),)),
    Case("start_on_full_platform", start(when(1)), "02 Mar 2026 00:00", "uncounted", (start(when(0)),)),
    Case("removal_without_a_start", at_a1("PartsOff", when(1)), "A1", "its file is asked for"),
    Case("more_scrap_than_parts", at_a1("PartsOff", when(1), scrap=5, scrap_cause="warped"), "has 4 parts",
         "all 5 scrap count, none good with them", (start(when(0)),)),
    Case("more_left_than_fitted",
         at_a1("SpoolFitted", when(1), material="petg-black", grams=1000, left_grams=1500), "1500 g", "not noted",
         (at_a1("SpoolFitted", when(0), material="petg-black", grams=1000),)),
    Case("order_gone_before_taken", packed(8), "02 Mar 2026 09:00", "on the book from this entry on", (TAKEN,)),
    Case("order_gone_before_taken", tell("OrderShipped", when(hours=8), order="0007"), "02 Mar 2026 09:00",
         "on the book from this entry on", (TAKEN,)),
    Case("back_without_down", at_a1("CameBack", when(1)), "A1", "down for part of the time before"),
)  # fmt: skip


def name(case: Case) -> str:
    return f"{case.rule}: {case.entry.kind} {case.value}, {case.do}"


cases = pytest.mark.parametrize("case", IMPOSSIBLE, ids=name)
surprises = pytest.mark.parametrize("case", SURPRISING, ids=name)


OLD = Machine(machine="OLD", model="bench-220", rack="B", place=2)
SHOP = Setup([*ROWS, OLD, OLD.model_copy(update={"since": when(0), "in_service": False})])


@pytest.fixture
def larkfield(log: Log) -> Log:
    """The shop with a machine that has left it."""
    log.append_setup(SHOP.rows)
    return log


def sentences(entry: AnyEntry, before: Iterable[AnyEntry] = ()) -> dict[str, str]:
    """What every rule says of an entry, by the name of the rule."""
    known = Known(SHOP, NOW, before)
    return {rule.__name__: sentence for rule in (*REFUSALS, *REMARKS) if (sentence := rule(entry, known))}


def test_no_rule_stands_outside_these_tests() -> None:
    assert {case.rule for case in IMPOSSIBLE} == {rule.__name__ for rule in REFUSALS}
    assert {case.rule for case in SURPRISING} == {rule.__name__ for rule in REMARKS}


@cases
def test_the_entry_breaks_this_rule_alone_and_the_sentence_says_what_to_do(case: Case) -> None:
    said = sentences(case.entry, case.before)
    refused = {rule: said[rule] for rule in said if rule in {r.__name__ for r in REFUSALS}}
    assert refused.keys() == {case.rule}
    assert case.value in refused[case.rule]
    assert case.do in refused[case.rule]
    assert refused[case.rule].endswith(".")


@cases
def test_nothing_is_written_of_a_tap_with_a_bad_entry(larkfield: Log, case: Case) -> None:
    record(larkfield, case.before, now=NOW)
    version, before = larkfield.version(), larkfield.everything()
    with pytest.raises(Refused) as refused:
        record(larkfield, [look(when(3), "done"), case.entry], now=NOW)
    assert refused.value.rule == case.rule
    assert larkfield.everything().equals(before)
    assert larkfield.version() == version


@surprises
def test_a_surprising_entry_is_taken_with_its_remark(larkfield: Log, case: Case) -> None:
    record(larkfield, case.before, now=NOW)
    assert sentences(case.entry, case.before).keys() == {case.rule}
    receipt = record(larkfield, [case.entry], now=NOW)
    assert receipt.recorded == (case.entry,)
    assert larkfield.find([case.entry.id]) == [case.entry.model_copy(update={"arrived_at": NOW})]
    (remark,) = receipt.remarks
    assert case.value in remark
    assert case.do in remark


@surprises
def test_what_is_no_surprise_gets_no_remark(case: Case) -> None:
    explained: dict[str, list[AnyEntry]] = {
        "start_on_down_machine": [at_a1("CameBack", when(0.5))],
        "start_on_machine_set_aside": [at_a1("PutBack", when(0.5))],
        "start_on_full_platform": [at_a1("PartsOff", when(0.5))],
        "removal_without_a_start": [start(when(0.5))],
        "more_scrap_than_parts": [at_a1("PartsOff", when(0.4)), start(when(0.5), file="clip")],
        "more_left_than_fitted": [at_a1("SpoolFitted", when(0.5), material="petg-black", grams=3000)],
        "order_gone_before_taken": [TAKEN.model_copy(update={"at": when(hours=8)})],
        "back_without_down": [at_a1("WentDown", when(0.5), cause="belt")],
    }
    assert sentences(case.entry, [*case.before, *explained[case.rule]]) == {}


@pytest.mark.parametrize("kind", KINDS)
def test_a_usual_entry_of_every_kind_is_taken_without_a_word(larkfield: Log, kind: str) -> None:
    usual: dict[str, list[AnyEntry]] = {
        "PartsOff": [start(when(0))],
        "CameBack": [at_a1("WentDown", when(0), cause="belt")],
        "OrderPacked": [TAKEN],
        "OrderShipped": [TAKEN],
        "EntryVoided": [LOOKED],
        "ActionEnded": [tell("ActionAgreed", when(0), **LEAST["ActionAgreed"], id=LEAST["ActionEnded"]["which"])],
    }
    record(larkfield, usual.get(kind, []), now=NOW)
    fields = {**STAMP, **LEAST[kind], "at": when(hours=9), "noted_at": when(hours=9, minutes=5)}
    more = {"EntryVoided": {"which": NOTED}, "AirRead": {"celsius": 21.5}}.get(kind, {})
    entry = entry_adapter.validate_python({"kind": kind, **fields, **more})
    assert sentences(entry, usual.get(kind, [])) == {}
    assert record(larkfield, [entry], now=NOW).recorded == (entry,)
    assert larkfield.find([entry.id]) == [entry.model_copy(update={"arrived_at": NOW})]


JUST_WITHIN = {
    "a clock ahead": look(when(days=10, minutes=2), "done"),
    "a clock behind": look(when(hours=9), "done", noted_at=when(hours=9, minutes=-2)),
    "scrap nobody can explain": at_a1("PartsOff", when(1), scrap=1, scrap_cause="dont-know"),
    "a fault nobody can explain": at_a1("WentDown", when(1), cause="dont-know"),
    "a spool's end": at_a1("SpoolFitted", when(1), material="petg-black", grams=20),
    "a big spool": at_a1("SpoolFitted", when(1), material="petg-black", grams=10_000, left_grams=10_000),
    "a full platform of scrap": at_a1("PartsOff", when(1), on_platform=12, scrap=12, scrap_cause="warped"),
    "a delivery over the counter": tell("StockOrdered", when(1), item="box-s", quantity=1, expected=when(1)),
    "an order due at once": tell("OrderTaken", when(1), order="0008", product="clip", quantity=1, due=when(1)),
}


@pytest.mark.parametrize("entry", JUST_WITHIN.values(), ids=JUST_WITHIN.keys())
def test_what_lies_just_within_a_rule_is_taken(entry: AnyEntry) -> None:
    assert sentences(entry).keys() <= {"removal_without_a_start"}


def test_an_entry_before_its_machine_left_is_taken() -> None:
    assert sentences(tell("Looked", when(-1), machine="OLD", saw="done")) == {}


def test_the_clock_in_a_sentence_is_the_shops() -> None:
    assert "01 May 2026 13:00" in sentences(look(when(days=60, hours=12), "done"))["not_in_the_future"]


def test_an_order_taken_back_leaves_its_name_free(larkfield: Log) -> None:
    again = tell("OrderTaken", when(1), order="0007", product="clip", quantity=1, due=when(9))
    record(larkfield, [TAKEN, tell("EntryVoided", when(1), which=TAKEN.id, why="slip")], now=NOW)
    assert record(larkfield, [again], now=NOW).recorded == (again,)


def test_no_more_comes_off_than_the_files_for_that_model_hold() -> None:
    tray = PrintFile(file="tray", revision=1, product="grille", parts=20, hours=9, grams=200, material="petg-black",
                     models=("bench-300",))  # fmt: skip
    known = Known(Setup([*ROWS, tray]), NOW)
    broken = {
        machine: [rule.__name__ for rule in REFUSALS if rule(tell("PartsOff", when(1), machine=machine, **told), known)]
        for machine, told in {
            "A1": {"scrap": 13, "scrap_cause": "warped"},
            "B1": {"scrap": 20, "scrap_cause": "warped"},
        }.items()
    }
    assert broken == {"A1": ["platform_within_any_file"], "B1": []}


def test_what_comes_off_may_be_of_a_revision_that_is_no_longer_the_newest() -> None:
    newer = PrintFile(file="clip", revision=2, product="clip", parts=6, hours=1, grams=30, material="petg-black",
                      models=())  # fmt: skip
    known = Known(Setup([*ROWS, newer]), NOW)
    off = at_a1("PartsOff", when(1), scrap=12, scrap_cause="warped")
    assert [rule(off, known) for rule in REFUSALS if rule(off, known)] == []


def test_what_was_counted_out_on_the_platform_contradicts_no_start() -> None:
    off = at_a1("PartsOff", when(1), on_platform=8, scrap=5, scrap_cause="warped")
    assert sentences(off, [start(when(0))]) == {}


def test_a_removal_told_just_after_the_next_start_is_of_the_print_before() -> None:
    before = [start(when(0), file="clip"), start(when(1), file="grille")]
    scrap = {"scrap": 12, "scrap_cause": "warped"}
    assert sentences(at_a1("PartsOff", when(1, minutes=29), **scrap), before) == {}
    assert sentences(at_a1("PartsOff", when(1, minutes=31), **scrap), before).keys() == {"more_scrap_than_parts"}


@pytest.mark.parametrize("cleared", ["PartsOff", "SetAside", "PutBack"])
def test_what_cleared_the_platform_leaves_nothing_to_take_off(cleared: str) -> None:
    before = [start(when(0)), at_a1(cleared, when(0.5))]
    assert sentences(at_a1("PartsOff", when(1)), before).keys() == {"removal_without_a_start"}


def test_a_start_taken_back_puts_nothing_on_the_platform() -> None:
    started = start(when(0))
    void = tell("EntryVoided", when(0.5), which=started.id, why="slip")
    assert sentences(at_a1("PartsOff", when(1)), [started, void]).keys() == {"removal_without_a_start"}


def test_the_rules_know_of_a_start_long_before(larkfield: Log) -> None:
    record(larkfield, [start(when(-300)), look(when(-200), "done")], now=NOW)
    receipt = record(larkfield, [at_a1("PartsOff", when(1), scrap=5, scrap_cause="warped")], now=NOW)
    assert [remark for remark in receipt.remarks if "grille" in remark and "has 4 parts" in remark] == [
        *receipt.remarks
    ]
    assert len(receipt.remarks) == 1
