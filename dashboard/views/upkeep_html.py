"""Upkeep and repairs as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from urllib.parse import urlencode

from core.upkeep_types import MachineRecord, Room, TaskDue
from dashboard import upkeep_words as said
from dashboard.floor_words import Names
from dashboard.views import owner_html
from dashboard.written import Clock

#: Tasks shown before the others unfold; days ahead that tasks are shown for; lines of a machine's story.
TASKS, STORY, BRIEF = 10, 30, 3
SOON = 7


class Links(owner_html.Links):
    """Where a tap leads, records included."""

    def record(self, machine: str) -> str:
        """The record of a machine."""
        return escape(f"/upkeep?{urlencode({'machine': machine, **self.by})}")


def due(found: Room, clock: Clock, links: Links) -> str:
    """The tasks that are due or will be within a week, machines that stand before others."""
    mine = [line for line in found.due if line.share.best >= 1 or _soon(line, found)]
    rows = [_line(*said.due(line, clock), links.record(line.machine), line.share.best >= 1) for line in mine]
    told = [] if mine else [f'<p class="rs-key">{said.NOTHING_DUE if found.due else said.NO_TASKS}</p>']
    return f'<section class="rs rs-tasks"><h2>{said.DUE}</h2>{"".join(told)}{_unfolding(rows, TASKS)}</section>'


def _soon(line: TaskDue, found: Room) -> bool:
    return line.due is not None and (line.due - found.at).days < SOON


def _line(what: str, how: str, address: str | None = None, marked: bool = False) -> str:
    mark = '<i class="rs-mark rs-mark-today"></i>' if marked else ""
    name = f'<a href="{address}">{escape(what)}</a>' if address else f"<b>{escape(what)}</b>"
    return f'<div class="rs-told">{name}<span>{mark}{escape(how)}</span></div>'


def _unfolding(rows: Sequence[str], most: int) -> str:
    """The first lines, and the others behind a fold."""
    rest = rows[most:]
    more = f"<details><summary>{len(rest)} more</summary>{''.join(rest)}</details>" if rest else ""
    return "".join(rows[:most]) + more


def brief(found: Room, clock: Clock, names: Names, links: Links) -> str:
    """Upkeep and repairs in a few lines, for the owner's page."""
    late = [line for line in found.due if line.share.best >= 1]
    rows = [_line(*said.waits(line, clock, names.down), links.record(line.machine)) for line in found.waits]
    rows += [_line(line.machine, said.stands_out(line), links.record(line.machine)) for line in found.stands_out]
    rows += [_line(*said.due(line, clock), links.record(line.machine), True) for line in late[:BRIEF]]
    told = said.upkeep(late, len(late) - BRIEF)
    return f'<section class="rs"><h2>{said.BRIEF}</h2>{"".join(rows)}<p class="rs-key">{escape(told)}</p></section>'


def waits(found: Room, clock: Clock, names: Names, links: Links) -> str:
    """The machines that wait for a spare."""
    rows = [_line(*said.waits(line, clock, names.down), links.record(line.machine)) for line in found.waits]
    told = "".join(rows) or f'<p class="rs-key">{said.NOTHING_WAITS}</p>'
    return f'<section class="rs"><h2>{said.WAITS}</h2>{told}<p class="rs-note">{escape(said.lost(found))}</p></section>'


def fails(found: Room) -> str:
    """How often machines fail, by model, and which one stands out."""
    rows = _rows(said.model(line) for line in found.models)
    named_ = "".join(f'<p class="rs-key">{escape(said.stands_out(line))}</p>' for line in found.stands_out)
    out = named_ or f'<p class="rs-key">{said.NOBODY}</p>'
    return (
        f'<section class="rs"><h2>{said.STANDS_OUT}</h2>{out}<h2>{said.FAILS}</h2>'
        f'{_table(said.FAILS_HEAD, rows)}<p class="rs-note">{escape(said.estimators(found.models))}</p></section>'
    )


def _table(head: Sequence[str], rows: str) -> str:
    cells = "".join(f'<th scope="col">{name}</th>' for name in head)
    return f'<table class="rs-cards"><thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table>'


def _rows(lines: Iterable[Sequence[str]]) -> str:
    return "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in line) + "</tr>" for line in lines)


def causes(found: Room, names: Names) -> str:
    """Why machines were down, most hours first, as bars."""
    most = max((line.hours for line in found.causes), default=0.0) or 1.0
    rows = []
    for line in found.causes:
        name, told = said.cause(line, names.down)
        bar = f'<i class="rs-loss" style="left:0;width:{100 * line.hours / most:.1f}%"></i>'
        rows.append(f'<div class="rs-order"><b>{escape(name)}</b><span class="rs-band">{bar}</span>'
                    f"<span>{escape(told)}</span></div>")  # fmt: skip
    return f'<section class="rs"><h2>{said.WHY}</h2>{"".join(rows)}</section>' if rows else ""


def intervals(found: Room) -> str:
    """Whether upkeep is done too often or too seldom."""
    if not found.advice:
        return ""
    rows = "".join(_line(*said.interval(line)) for line in found.advice)
    return f'<section class="rs"><h2>{said.ADVICE}</h2>{rows}<p class="rs-note">{said.ADVICE_KEY}</p></section>'


def spares(found: Room) -> str:
    """What each spare serves."""
    if not found.spares:
        return ""
    table = _table(said.SPARES_HEAD, _rows(said.spare(line) for line in found.spares))
    return f'<section class="rs"><h2>{said.SPARES}</h2>{table}</section>'


def tasks(mine: Sequence[TaskDue], clock: Clock) -> str:
    """The upkeep of one machine."""
    rows = [_line(line.name, said.due(line, clock)[1], None, line.share.best >= 1) for line in mine]
    return f'<section class="rs"><h2>{said.DUE}</h2>{"".join(rows)}</section>' if rows else ""


def story(found: MachineRecord, clock: Clock, names: Names) -> str:
    """Faults and upkeep, newest first."""
    faults = [_line(*said.fault(line, clock, names)) for line in found.faults]
    done = [_line(*said.done(line, clock, names)) for line in found.upkeep]
    told = [
        f'<section class="rs"><h2>{title}</h2>{_unfolding(rows, STORY) or f"<p>{none}</p>"}</section>'
        for title, rows, none in ((said.FAULTS, faults, said.NO_FAULTS), (said.DONE, done, said.NONE_DONE))
    ]
    return "".join(told)


def check_in(machine: str, links: Links) -> str:
    """The way to the check-in."""
    return f'<p class="rs-key"><a href="{links.machine(machine)}">{escape(said.CHECK_IN.format(machine))}</a></p>'
