"""Upkeep and repairs as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from urllib.parse import urlencode

from core.setup import Machine
from core.upkeep.types import MachineRecord, Room, TaskDue
from dashboard.kit.blocks import key, note, section, table, told, unfolding
from dashboard.views import owner_html, plan_html
from dashboard.words import upkeep_words as said
from dashboard.words.floor_words import Names
from dashboard.words.written import Clock

#: Tasks shown before the others unfold; days ahead that tasks are shown for; lines of a machine's story.
TASKS, STORY, BRIEF = 10, 30, 3
SOON = 7


class Links(owner_html.Links):
    """Where a tap leads, records included."""

    def record(self, machine: str) -> str:
        """The record of a machine."""
        return escape(f"/upkeep?{urlencode({'machine': machine, **self.by})}")

    def files(self, machine: str) -> str:
        """What can be taken along of a machine."""
        return escape(f"/downloads?{urlencode({'machine': machine, **self.by})}")


def due(found: Room, clock: Clock, links: Links) -> str:
    """The tasks that are due or will be within a week, machines that stand before others."""
    mine = [line for line in found.due if line.share.best >= 1 or _soon(line, found)]
    rows = [_task(line, clock, links) for line in mine]
    nothing = "" if mine else key(said.NOTHING_DUE if found.due else said.NO_TASKS)
    return section(said.DUE, nothing, unfolding(rows, TASKS), kind="rs-tasks")


def _soon(line: TaskDue, found: Room) -> bool:
    return line.due is not None and (line.due - found.at).days < SOON


def _task(line: TaskDue, clock: Clock, links: Links) -> str:
    return told(*said.due(line, clock), address=links.record(line.machine), marked=line.share.best >= 1)


def brief(found: Room, clock: Clock, names: Names, links: Links) -> str:
    """Upkeep and repairs in a few lines, for the owner's page."""
    late = [line for line in found.due if line.share.best >= 1]
    rows = _waits(found, clock, names, links)
    rows += [told(one.machine, said.stands_out(one), address=links.record(one.machine)) for one in found.stands_out]
    rows += [_task(line, clock, links) for line in late[:BRIEF]]
    return section(said.BRIEF, *rows, key(said.upkeep(late, len(late) - BRIEF)))


def waits(found: Room, clock: Clock, names: Names, links: Links) -> str:
    """The machines that wait for a spare."""
    rows = _waits(found, clock, names, links) or [key(said.NOTHING_WAITS)]
    return section(said.WAITS, *rows, note(said.lost(found)))


def _waits(found: Room, clock: Clock, names: Names, links: Links) -> list[str]:
    return [told(*said.waits(one, clock, names.down), address=links.record(one.machine)) for one in found.waits]


def fails(found: Room) -> str:
    """How often machines fail, by model, and which one stands out."""
    out = [said.stands_out(line) for line in found.stands_out] or [said.NOBODY]
    who = section(said.STANDS_OUT, *map(key, out))
    if not found.models:
        return who
    models = table(said.FAILS_HEAD, map(said.model, found.models))
    return who + section(said.FAILS, models, *map(note, said.estimators(found.models)), kind="rs-next-one")


def heading(title: str, sentence: str) -> str:
    """The head of a section of charts, and how to read them."""
    return section(title, key(sentence))


def causes(found: Room, names: Names) -> str:
    """Why machines were down, most hours first, as bars."""
    most = max((line.hours for line in found.causes), default=0.0) or 1.0
    rows = [plan_html.bar(*said.cause(line, names.down), 0, 100 * line.hours / most) for line in found.causes]
    priced = any(line.cost is not None for line in found.causes)
    return section(said.WHY, *rows, note(said.HOURS_COST) if priced else "") if rows else ""


def intervals(found: Room) -> str:
    """Whether upkeep is done too often or too seldom."""
    rows = [told(*said.interval(line)) for line in found.advice]
    return section(said.ADVICE, *rows, note(said.ADVICE_KEY)) if rows else ""


def spares(found: Room) -> str:
    """What each spare serves."""
    return section(said.SPARES, table(said.SPARES_HEAD, map(said.spare, found.spares))) if found.spares else ""


def tasks(mine: Sequence[TaskDue], clock: Clock) -> str:
    """The upkeep of one machine."""
    rows = [told(line.name, said.due(line, clock)[1], marked=line.share.best >= 1) for line in mine]
    return section(said.DUE, *rows) if rows else ""


def story(found: MachineRecord, clock: Clock, names: Names) -> str:
    """Faults, upkeep, and what went into it, newest first."""
    faults = [told(*said.fault(line, clock, names)) for line in found.faults]
    done = [told(*said.done(line, clock, names)) for line in found.upkeep]
    moves = [(one.at, said.fitted(one, clock, names)) for one in found.fitted]
    moves += [(one.at, said.card(one, clock)) for one in found.cards]
    went_in = [told(*move) for _, move in sorted(moves, key=lambda move: move[0], reverse=True)]
    sections = (
        (said.FAULTS, faults, said.NO_FAULTS), (said.DONE, done, said.NONE_DONE), (said.WENT_IN, went_in, said.NONE_IN)
    )  # fmt: skip
    return "".join(
        section(title, unfolding(rows, STORY) or f"<p>{none}</p>", kind="rs-next-one") for title, rows, none in sections
    )


def records(machines: Sequence[Machine], names: Names, links: Links) -> str:
    """The way to the record of every machine, rack by rack."""
    by_rack: dict[str, list[str]] = {}
    for one in machines:
        by_rack.setdefault(one.rack, []).append(one.machine)
    rows = [
        f"<h3>{escape(names.racks.get(rack, rack))}</h3><div>"
        + "".join(f'<a href="{links.record(machine)}">{escape(machine)}</a>' for machine in mine)
        + "</div>"
        for rack, mine in by_rack.items()
    ]
    return section(said.RECORDS, *rows, kind="rs-take rs-next-one")


def ways_on(machine: str, links: Links) -> str:
    """The ways from a record to the check-in, and to its files."""
    return _ways({said.CHECK_IN.format(machine): links.machine(machine), said.TAKE: links.files(machine)})


def to_record(machine: str, links: Links) -> str:
    """The way from the check-in to the record."""
    return _ways({said.RECORD.format(machine): links.record(machine)})


def _ways(ways: Mapping[str, str]) -> str:
    """Links as large as a finger: what each is called, and where it leads (escaped)."""
    rows = (f'<a href="{to}">{escape(name)}</a>' for name, to in ways.items())
    return section("", *rows, kind="rs-ways")
