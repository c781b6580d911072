"""What a check-in and a round show."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from core.entries import Sight
from core.frozen import Frozen
from core.habits.usage import LASTS
from core.reading.types import Due, MachineNow, Question, SpoolNow


class RackNow(Frozen):
    """A rack as it stands: its machines by place, `across` side by side."""

    rack: str
    name: str
    across: int
    machines: list[MachineNow]


class Choice(Frozen):
    """Something to tap: the code that is recorded and the words that are shown."""

    code: str
    name: str


class TaskChoice(Choice):
    """An upkeep task, the `minutes` it usually takes and the `spare` it usually needs, if any."""

    minutes: float
    spare: str | None


class FileChoice(Frozen):
    """A print file that fits a machine.

    `lasts` is the chance that the spool on the machine feeds it; null where nobody noted a spool, 0 where it is of
    another material.
    """

    file: str
    revision: int
    product: str
    name: str
    parts: int
    hours: float
    grams: float
    material: str
    lasts: float | None

    @property
    def feeds(self) -> bool | None:
        """Whether the spool feeds it surely enough to start it; None where nobody noted a spool."""
        return None if self.lasts is None else self.lasts >= LASTS


class MachinePage(Frozen):
    """All that a check-in at one machine needs.

    `acts` are what is possible now, most likely first; `files` fit the machine, likeliest first; `spool` is what is
    on it, `spool_grams` the net weight of the spool last fitted to it; `shift_began` is when the shift began that
    runs or ran last today; `recent` are its newest entries (fields as recorded), newest first; `planned` is the file
    that a loading list has for it next. No print file for it has more than `most_parts`.
    """

    now: MachineNow
    acts: list[str]
    files: list[FileChoice]
    most_parts: int
    down_causes: list[Choice]
    scrap_causes: list[Choice]
    spares: list[Choice]
    materials: list[Choice]
    spool: SpoolNow | None
    spool_grams: float | None
    shift_began: datetime | None
    tasks: list[TaskChoice]
    recent: list[dict[str, Any]]
    questions: list[Question]
    planned: str | None = None


class Expected(Frozen):
    """A machine on a round and what it should be seen doing; null where nobody can say, so it is asked."""

    machine: str
    place: int
    state: str
    expected: Sight | None
    due: Due | None


class RackRound(Frozen):
    """A round of one rack: its machines in the order of their places."""

    rack: str
    name: str
    across: int
    machines: list[Expected]
