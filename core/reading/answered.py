"""An answer to one of the owner's questions, as entries."""

from __future__ import annotations

from datetime import datetime

from core.entries import AnyEntry, QuestionClosed, entry_adapter
from core.reading.types import AnswerChoice, Question


def entries_for(question: Question, choice: AnswerChoice, by: str, now: datetime) -> list[AnyEntry]:
    """The entries that record this answer, to be given to `core.log.record.record`."""
    if not choice.entries:
        return [QuestionClosed(at=now, noted_at=now, by=by, question=question.id, answer=choice.name)]
    return [entry_adapter.validate_python({**fields, "noted_at": now, "by": by}) for fields in choice.entries]
