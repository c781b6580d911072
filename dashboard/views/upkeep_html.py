"""Upkeep and repairs as HTML."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from core.setup import Machine
from core.upkeep.types import MachineRecord, RoomUpkeep, TaskDue
from dashboard.kit.blocks import Bar, Told, told
from dashboard.kit.links import Links
from dashboard.templates.templating import macros
from dashboard.words import upkeep_words as said
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: Tasks shown before the others unfold; days ahead that tasks are shown for; lines of a machine's story.
TASKS, STORY, BRIEF = 10, 30, 3
SOON = 7

_PAGE = macros("upkeep.html", said=said)


def due(found: RoomUpkeep, clock: Clock, links: Links) -> Markup:
    """The tasks that are due or will be within a week, machines that stand before others."""
    mine = [line for line in found.due if line.share.best >= 1 or _soon(line, found)]
    lines = [_task(line, clock, links) for line in mine]
    return _PAGE.due(lines, TASKS, said.NOTHING_DUE if found.due else said.NO_TASKS)


def _soon(line: TaskDue, found: RoomUpkeep) -> bool:
    return line.due is not None and (line.due - found.at).days < SOON


def _task(line: TaskDue, clock: Clock, links: Links) -> Told:
    return told(*said.due(line, clock), address=links.record(line.machine), marked=line.share.best >= 1)


def brief(found: RoomUpkeep, clock: Clock, names: Names, links: Links) -> Markup:
    """Upkeep and repairs in a few lines, for the owner's page."""
    late = [line for line in found.due if line.share.best >= 1]
    lines = _waits(found, clock, names, links)
    lines += [told(one.machine, said.stands_out(one), address=links.record(one.machine)) for one in found.stands_out]
    lines += [_task(line, clock, links) for line in late[:BRIEF]]
    return _PAGE.brief(lines, said.upkeep(late, len(late) - BRIEF))


def waits(found: RoomUpkeep, clock: Clock, names: Names, links: Links) -> Markup:
    """The machines that wait for a spare."""
    return _PAGE.waits(_waits(found, clock, names, links), said.lost(found))


def _waits(found: RoomUpkeep, clock: Clock, names: Names, links: Links) -> list[Told]:
    return [told(*said.waits(one, clock, names.down), address=links.record(one.machine)) for one in found.waits]


def fails(found: RoomUpkeep) -> Markup:
    """How often machines fail, by model, and which one stands out."""
    out = [said.stands_out(line) for line in found.stands_out] or [said.NOBODY]
    return _PAGE.fails(out, [said.model(line) for line in found.models], said.estimators(found.models))


def causes(found: RoomUpkeep, names: Names) -> Markup:
    """Why machines were down, most hours first, as bars."""
    most = max((line.hours for line in found.causes), default=0.0) or 1.0
    bars = [Bar(*said.cause(line, names.down), 0, 100 * line.hours / most) for line in found.causes]
    return _PAGE.causes(bars, any(line.cost is not None for line in found.causes))


def intervals(found: RoomUpkeep) -> Markup:
    """Whether upkeep is done too often or too seldom."""
    return _PAGE.intervals([told(*said.interval(line)) for line in found.advice])


def spares(found: RoomUpkeep) -> Markup:
    """What each spare serves."""
    return _PAGE.spares([said.spare(line) for line in found.spares])


def tasks(mine: Sequence[TaskDue], clock: Clock) -> Markup:
    """The upkeep of one machine."""
    return _PAGE.tasks([told(line.name, said.due(line, clock)[1], marked=line.share.best >= 1) for line in mine])


def story(found: MachineRecord, clock: Clock, names: Names) -> Markup:
    """Faults, upkeep, and what went into it, newest first."""
    faults = [told(*said.fault(line, clock, names)) for line in found.faults]
    done = [told(*said.done(line, clock, names)) for line in found.upkeep]
    moves = [(one.at, said.fitted(one, clock, names)) for one in found.fitted]
    moves += [(one.at, said.card(one, clock)) for one in found.cards]
    went_in = [told(*move) for _, move in sorted(moves, key=lambda move: move[0], reverse=True)]
    return _PAGE.story(faults, done, went_in, STORY)


def records(machines: Sequence[Machine], names: Names, links: Links) -> Markup:
    """The way to the record of every machine, rack by rack."""
    racks: dict[str, list[tuple[str, str]]] = {}
    for one in machines:
        racks.setdefault(one.rack, []).append((one.machine, links.record(one.machine)))
    return _PAGE.records([(names.racks.get(rack, rack), mine) for rack, mine in racks.items()])


def ways_on(machine: str, links: Links) -> Markup:
    """The ways from a record to the check-in, and to its files."""
    return _PAGE.ways([(said.CHECK_IN.format(machine), links.machine(machine)), (said.TAKE, links.files(machine))])


def to_record(machine: str, links: Links) -> Markup:
    """The way from the check-in to the record."""
    return _PAGE.ways([(said.RECORD.format(machine), links.record(machine))])
