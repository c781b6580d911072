"""What the entries leave open, asked so that one tap answers it."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import NamedTuple

import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.silences import Silences
from core.timeline.questions import NOBODY_KNOWS, OpenQuestion, PossibleAnswer, questions
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, tell, when

WEEK = Window(when(0), when(7))
CAUSES = ["nozzle", "belt", "dont-know"]
NO_SILENCE = Silences()


def silent(chance: float) -> Silences:
    """A1 is silent from Wednesday to the end of the week, and down by a chance."""
    rows = {"machine": ["A1"], "start": [micros(when(2))], "end": [micros(WEEK.end)], "down": [chance]}
    return Silences(0.1, pl.DataFrame(rows))


def asked(
    entries: Sequence[AnyEntry],
    since: datetime = WEEK.start,
    closed: Sequence[str] = (),
    causes: Sequence[str] = CAUSES,
    silences: Silences = NO_SILENCE,
) -> list[OpenQuestion]:
    return questions(reckoned(entries, WEEK), micros(since), closed, causes, silences, micros(WEEK.end))


class Case(NamedTuple):
    """A history that leaves one question open, and the names of its answers."""

    rule: str
    story: list[AnyEntry]
    answers: list[str]


RAN_BEFORE = [start(when(0)), at_a1("PartsOff", when(1))]

CASES = {
    "a start after a start": Case("parts not counted", [start(when(0)), start(when(3))],
                                  ["all good", "all scrap", NOBODY_KNOWS]),
    "gone before its time": Case("parts not counted", [start(when(0)), start(when(0.2))],
                                 ["all good", "all scrap", NOBODY_KNOWS]),
    "empty after a print": Case("parts not counted", [start(when(0)), look(when(3), "empty")],
                                ["all good", "all scrap", NOBODY_KNOWS]),
    "printing when it was empty": Case("start not noted", [*RAN_BEFORE, look(when(1.5), "printing")],
                                       ["the same file again", NOBODY_KNOWS]),
    "done when it was empty": Case("start not noted", [*RAN_BEFORE, look(when(3), "done")],
                                   ["the same file again", NOBODY_KNOWS]),
    "stopped when it was empty": Case("start not noted", [*RAN_BEFORE, look(when(3), "stopped")],
                                      ["the same file again", NOBODY_KNOWS]),
    "no print known": Case("start not noted", [look(when(1), "empty"), look(when(2), "done")], [NOBODY_KNOWS]),
    "a start on a machine that was down": Case("return not noted",
                                               [at_a1("WentDown", when(1), cause="belt"), start(when(3))],
                                               ["it was back then", NOBODY_KNOWS]),
    "empty when it waited for a spare": Case(
        "return not noted", [at_a1("WentDown", when(1), cause="belt", spare="belt-220"), look(when(3), "empty")],
        ["it was back then", NOBODY_KNOWS]),
    "a start on a machine set aside": Case("return not noted", [at_a1("SetAside", when(1)), start(when(3))],
                                           ["it was back then", NOBODY_KNOWS]),
    "a start on a machine in upkeep": Case("return not noted", [look(when(1), "upkeep"), start(when(3))],
                                           ["it was back then", NOBODY_KNOWS]),
    "down when it was empty": Case("fault not noted", [*RAN_BEFORE, look(when(3), "down")], CAUSES),
    "back when it was empty": Case("fault not noted", [*RAN_BEFORE, at_a1("CameBack", when(3))], CAUSES),
}  # fmt: skip

#: Another print with room for 8 came before; since the start of four grilles a day has passed, and two hours.
MORE_SCRAP = [
    start(when(-1), file="clip"), at_a1("PartsOff", when(-0.5)), start(when(0)),
    at_a1("PartsOff", when(2), scrap=8, scrap_cause="warped"),
]  # fmt: skip

cases = pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
ANSWERS = {
    f"{name}: {answer}": (case, answer)
    for name, case in CASES.items()
    for answer in case.answers
    if answer != NOBODY_KNOWS
}


def told(answer: PossibleAnswer) -> list[AnyEntry]:
    """The entries an answer makes."""
    return [
        tell(draft.kind, datetime.fromtimestamp(draft.at / 1e6, UTC), **draft.fields, noted_at=WEEK.end)
        for draft in answer.drafts
    ]


@cases
def test_the_question_arises_alone(case: Case) -> None:
    (question,) = asked(case.story)
    assert (question.rule, question.machine) == (case.rule, "A1")
    assert [answer.name for answer in question.answers] == case.answers
    assert question.about <= question.seen == micros(case.story[-1].at)


@pytest.mark.parametrize("ended", ["itself", "stopped"])
def test_parts_taken_off_a_machine_that_is_down_leave_nothing_to_ask(ended: str) -> None:
    story = [
        start(when(1)), at_a1("WentDown", when(2), cause="belt"), at_a1("PartsOff", when(2, 0, 5), ended=ended),
        look(when(3), "down"), look(when(4), "down"), at_a1("CameBack", when(5)),
    ]  # fmt: skip
    assert asked(story) == []


@pytest.mark.parametrize(("case", "name"), ANSWERS.values(), ids=ANSWERS.keys())
def test_an_answer_fills_the_gap_and_the_question_is_gone(case: Case, name: str) -> None:
    (question,) = asked(case.story)
    (answer,) = (a for a in question.answers if a.name == name)
    entries = told(answer)
    assert entries
    assert asked([*case.story, *entries]) == []


@cases
def test_closing_a_question_closes_it_alone(case: Case) -> None:
    (question,) = asked(case.story)
    assert asked(case.story, closed=[question.id]) == []
    assert asked(case.story, closed=["another"]) == [question]


@cases
def test_nobody_knows_changes_nothing(case: Case) -> None:
    (question,) = asked(case.story)
    assert [a.drafts for a in question.answers if a.name == NOBODY_KNOWS] in ([()], [])


@cases
def test_a_question_is_the_same_while_its_entries_are(case: Case) -> None:
    (question,) = asked(case.story)
    later = [*case.story, look(when(6.9), "down"), look(when(6.95), "down")]
    assert question.id in [q.id for q in asked(later)]


@cases
def test_questions_of_before_are_not_asked(case: Case) -> None:
    seen = case.story[-1].at
    assert len(asked(case.story, since=seen)) == 1
    assert asked(case.story, since=when(0.01) + (seen - when(0))) == []


def test_a_question_about_parts_tells_of_their_print() -> None:
    first = start(when(0), file="clip")
    (question,) = asked([first, start(when(3))])
    assert (question.file, question.revision, question.parts) == ("clip", 1, 12)
    assert question.about == micros(when(0))
    scrap = question.answers[1].drafts[0].fields
    assert (scrap["scrap"], scrap["scrap_cause"], scrap["on_platform"]) == (12, "dont-know", 12)


def test_more_scrap_than_parts_asks_what_was_printed() -> None:
    (question,) = asked(MORE_SCRAP)
    assert (question.rule, question.file, question.parts, question.scrap) == ("more scrap than parts", "grille", 4, 8)
    assert (question.about, question.seen) == (micros(when(0)), micros(when(2)))
    assert [answer.name for answer in question.answers] == ["clip", NOBODY_KNOWS]
    assert asked(MORE_SCRAP, closed=[question.id]) == []


def test_the_print_that_was_forgotten_began_after_the_one_noted_and_had_its_time() -> None:
    (question,) = asked(MORE_SCRAP)
    (draft,) = question.answers[0].drafts
    # Between a day after its start, when the grilles were done, and two hours, what clips take, before the removal.
    assert draft.at == micros(when(1, 11))
    assert draft.fields == {"machine": "A1", "file": "clip", "revision": 1}


def test_once_it_is_told_what_was_printed_the_parts_of_the_print_before_are_asked_for() -> None:
    (question,) = asked(MORE_SCRAP)
    (next_one,) = asked([*MORE_SCRAP, *told(question.answers[0])])
    assert (next_one.rule, next_one.file, next_one.parts) == ("parts not counted", "grille", 4)


def test_a_print_for_which_there_was_no_time_is_not_offered() -> None:
    hasty = [*MORE_SCRAP[:3], at_a1("PartsOff", when(0, 1), scrap=8, scrap_cause="warped")]
    (question,) = asked(hasty)
    assert [answer.name for answer in question.answers] == [NOBODY_KNOWS]


def test_the_file_to_guess_is_the_machines_last() -> None:
    (question,) = asked([start(when(0), file="clip"), at_a1("PartsOff", when(1)), look(when(1.5), "printing")])
    assert (question.file, question.revision) == ("clip", 1)


def test_without_causes_to_tap_a_fault_can_still_be_closed() -> None:
    (question,) = asked(CASES["down when it was empty"].story, causes=[])
    assert question.answers == (PossibleAnswer(NOBODY_KNOWS),)


def test_the_newest_question_comes_first() -> None:
    story = [start(when(0)), start(when(2)), start(when(4)), at_a1("PartsOff", when(6))]
    assert [question.seen for question in asked(story)] == [micros(when(4)), micros(when(2))]


def test_a_history_without_gaps_asks_nothing() -> None:
    story = [
        *RAN_BEFORE, start(when(1)), look(when(1.5), "printing"), look(when(2), "done"),
        at_a1("PartsOff", when(3)), at_a1("WentDown", when(3), cause="belt"), look(when(4), "down"),
        at_a1("CameBack", when(5)), start(when(5)), look(when(5.5), "stopped"),
        at_a1("PartsOff", when(5.6), ended="stopped", scrap=4, scrap_cause="dont-know"),
        at_a1("SetAside", when(5.6)), at_a1("PutBack", when(6)),
    ]  # fmt: skip
    assert asked(story) == []


EMPTIED = [start(when(0)), at_a1("PartsOff", when(2))]


def test_a_machine_that_is_passed_over_is_asked_about_when_it_is_likelier_down_than_not() -> None:
    assert asked(EMPTIED, silences=silent(0.4)) == []
    (question,) = asked(EMPTIED, silences=silent(0.6))
    assert (question.rule, question.about, question.seen) == ("passed over", micros(when(2)), micros(WEEK.end))
    assert [answer.name for answer in question.answers] == [*CAUSES, "it had no work", NOBODY_KNOWS]


@pytest.mark.parametrize("name", ["belt", "it had no work"])
def test_whatever_is_answered_of_a_machine_passed_over_it_is_silent_no_more(name: str) -> None:
    (question,) = asked(EMPTIED, silences=silent(0.9))
    (answer,) = (a for a in question.answers if a.name == name)
    assert asked([*EMPTIED, *told(answer)], silences=silent(0.9)) == []


def test_a_machine_somebody_has_been_at_since_is_not_asked_about() -> None:
    assert asked([*EMPTIED, start(when(6))], silences=silent(0.9)) == []
