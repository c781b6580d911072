"""What was agreed on in the weekly review, and whether the figure it should move has moved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

import numpy as np

from core.arrays import Flags
from core.entries import NOTE_LENGTH, ActionAgreed, ActionEnded
from core.epoch import micros
from core.errors import Refused
from core.estimate import Estimate
from core.log.frames import entries_from
from core.log.store import Log
from core.review.figure_level import level_of, says
from core.review.quarter import BEFORE, WEEKS
from core.review.types import Action, Chart, Moved
from core.window import Window

#: Actions that ended are told of for a quarter.
KEPT = timedelta(weeks=WEEKS)
#: Before and after need so many values each to be compared.
ENOUGH = 4


def actions(log: Log, charts: Sequence[Chart], at: datetime) -> list[Action]:
    """The actions that are open, then those that ended lately, newest first, with before and after by `charts`."""
    told = log.entries_of(["ActionAgreed", "ActionEnded"], Window(at - 2 * KEPT, at + timedelta(microseconds=1)), at)
    entries = entries_from(told)
    ends = {entry.which: entry for entry in entries if isinstance(entry, ActionEnded)}
    zone = log.setup().zone
    found = [
        _action(entry, ends.get(entry.id), charts, entry.at.astimezone(zone).date())
        for entry in entries
        if isinstance(entry, ActionAgreed)
    ]
    kept = [action for action in found if action.ended is None or action.ended > at - KEPT]
    return sorted(kept, key=lambda action: (action.ended is not None, -micros(action.agreed)))


def _action(entry: ActionAgreed, end: ActionEnded | None, charts: Sequence[Chart], day: date) -> Action:
    chart = next((c for c in charts if c.figure == entry.figure and c.of == entry.of), None)
    return Action(
        id=entry.id, what=entry.note, who=entry.who, agreed=entry.at, due=entry.due, figure=entry.figure, of=entry.of,
        ended=end.at if end else None, answer=end.answer if end else None, moved=_moved(chart, day) if chart else None,
    )  # fmt: skip


def _moved(chart: Chart, day: date) -> Moved | None:
    """The four weeks before a day against the time since, without the day itself."""
    since = day - timedelta(weeks=BEFORE)
    days = np.array(chart.days)
    before, after = (days >= since) & (days < day), days > day
    if min(before.sum(), after.sum()) < ENOUGH:
        return None
    one, other = _level(chart, before), _level(chart, after)
    change, told = says(one, other)
    return Moved(before=one, after=other, change=change, says=told)


def _level(chart: Chart, which: Flags) -> Estimate:
    return level_of(chart.kind, np.array(chart.values)[which], np.array(chart.of_each)[which])


def agree(note: str, who: str, due: datetime, chart: Chart, by: str, now: datetime) -> ActionAgreed:
    """The entry of an action that should move the figure of a chart. Raises `Refused` without words, or of too many."""
    if not note.strip():
        raise Refused("action_says_something", "The action has no words: say what is tried.")
    if len(note.strip()) > NOTE_LENGTH:
        raise Refused(
            "action_is_short",
            f"The action has {len(note.strip())} characters: say it in {NOTE_LENGTH} at most.",
        )
    return ActionAgreed(at=now, noted_at=now, by=by, note=note, who=who, due=due, figure=chart.figure, of=chart.of)


def end(which: UUID, answer: str, by: str, now: datetime) -> ActionEnded:
    """The entry that ends an action: "done" or "dropped"."""
    return ActionEnded.model_validate({"at": now, "noted_at": now, "by": by, "which": which, "answer": answer})
