"""What the entries leave open, as questions and their answers."""

from __future__ import annotations

from core.reading.types import AnswerChoice, Question
from core.setup import DONT_KNOW
from dashboard.words.owner_words import Names
from dashboard.words.written import Clock

_FOUND = {
    "clear": "started on",
    "printing": "found printing",
    "done": "found done",
    "stopped": "found stopped",
    "empty": "found empty",
    "down": "found down",
    "upkeep": "found in upkeep",
}


def question_sentence(question: Question, clock: Clock) -> str:
    """What the entries leave open about a machine."""
    about, seen = clock.when(question.about), clock.when(question.seen)
    found = _FOUND.get(question.found, f"found {question.found}")
    print_ = _print_of(question)
    told = {
        "parts not counted": f"the parts of the print started {about}{print_} were never counted.",
        "more scrap than parts": f"{question.scrap} scrap were noted {seen}, where {question.parts} parts of "
        f"{question.file} were started {about}: what was printed after it?",
        "start not noted": f"{found} {seen}, but no start was noted. It began about {about}: what was it?",
        "return not noted": f"{found} {seen}, but nobody noted that it was back. Was it, from {about}?",
        "fault not noted": f"found down {seen}. It went down about {about}: what was the cause?",
        "passed over": f"nobody has been at it since {about}, while others were started beside it. "
        "Is it down, and why?",
    }
    return f"{question.machine}: {told[question.rule]}"


def _print_of(question: Question) -> str:
    known = [question.file, f"{question.parts} parts" if question.parts else None]
    told = ", ".join(part for part in known if part)
    return f" ({told})" if told else ""


def choice_words(question: Question, choice: AnswerChoice, causes: Names) -> str:
    """The words on an answer's button."""
    if question.rule in ("fault not noted", "passed over") and choice.entries and "cause" in choice.entries[0]:
        cause = choice.entries[0]["cause"]
        return "Don't know" if cause == DONT_KNOW else causes.get(cause, cause.replace("-", " ").capitalize())
    if question.rule == "more scrap than parts" and choice.entries:
        return choice.name
    parts = f"{question.parts} " if question.parts else ""
    told = {
        "all good": f"All {parts}good",
        "all scrap": "All scrap",
        "the same file again": f"The same file again: {question.file}",
    }
    return told.get(choice.name, choice.name.capitalize())


def answered(question: Question, answer: str) -> str:
    """What was recorded by a tap on an answer."""
    return f"{question.machine} recorded: {answer[:1].lower()}{answer[1:]}."
