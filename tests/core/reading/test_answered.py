"""What the entries leave open is asked, and an answer becomes entries."""

from collections.abc import Sequence
from datetime import datetime

import pytest

from core.entries import AnyEntry
from core.estimate import Estimate
from core.floor.check_in import machine_page
from core.log.record import record
from core.log.store import Log
from core.morning.report import report
from core.reading.answered import entries_for
from core.reading.types import Question
from core.timeline.questions import NOBODY_KNOWS
from tests.core.larkfield import EXACT, when
from tests.core.seven_machines import AT


def only_question(log: Log) -> Question:
    (question,) = report(log, AT, EXACT).questions
    return question


def answer(log: Log, name: str, at: datetime = AT) -> Sequence[AnyEntry]:
    question = only_question(log)
    (choice,) = (choice for choice in question.choices if choice.name == name)
    return record(log, entries_for(question, choice, "MK", at), now=at).recorded


def test_what_the_entries_leave_open_is_asked(log: Log) -> None:
    question = only_question(log)
    assert (question.rule, question.machine, question.found) == ("parts not counted", "A2", "parts gone")
    assert (question.about, question.seen) == (when(7, 11), when(7, 13, 30))
    assert (question.file, question.revision, question.parts) == ("clip", 1, 12)
    assert [choice.name for choice in question.choices] == ["all good", "all scrap", NOBODY_KNOWS]


@pytest.mark.parametrize(("name", "good", "scrap"), [("all good", 21, 3), ("all scrap", 9, 15)])
def test_an_answer_fills_the_gap_and_the_question_is_gone(log: Log, name: str, good: int, scrap: int) -> None:
    (off,) = answer(log, name)
    assert (off.kind, off.at, off.noted_at, off.by) == ("PartsOff", when(7, 13, 30), AT, "MK")
    page = report(log, AT, EXACT)
    assert page.questions == []
    assert (page.yesterday.good, page.yesterday.scrap) == (Estimate.exact(good), scrap)


def test_nobody_knows_closes_the_question_and_changes_nothing_else(log: Log) -> None:
    before = report(log, AT, EXACT)
    (closed,) = answer(log, NOBODY_KNOWS)
    assert (closed.kind, closed.at, closed.noted_at, closed.by) == ("QuestionClosed", AT, AT, "MK")
    after = report(log, AT, EXACT)
    assert after.questions == []
    assert (after.needs, after.racks, after.yesterday, after.week) == (
        before.needs, before.racks, before.yesterday, before.week,
    )  # fmt: skip
    assert machine_page(log, "A2", AT, EXACT).questions == []


def test_a_question_was_still_open_before_it_was_answered(log: Log) -> None:
    later = when(8, 14)
    question = only_question(log)
    answer(log, NOBODY_KNOWS, later)
    assert report(log, AT, EXACT).questions == [question]
    assert report(log, later, EXACT).questions == []


def test_a_question_is_asked_for_a_week(log: Log) -> None:
    assert [len(report(log, at, EXACT).questions) for at in (when(14, 13), when(14, 14))] == [1, 0]


def test_a_question_is_asked_on_the_page_of_its_machine_alone(log: Log) -> None:
    assert machine_page(log, "A2", AT, EXACT).questions == [only_question(log)]
    assert machine_page(log, "A1", AT, EXACT).questions == []


def test_a_question_that_went_through_json_is_answered_all_the_same(log: Log) -> None:
    question = only_question(log)
    again = Question.model_validate_json(question.model_dump_json())
    assert question.choices
    for choice, same in zip(question.choices, again.choices, strict=True):
        told, retold = (
            [entry.model_dump(exclude={"id"}) for entry in entries_for(asked, chosen, "MK", AT)]
            for asked, chosen in ((question, choice), (again, same))
        )
        assert told == retold
