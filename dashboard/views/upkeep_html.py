"""Upkeep and repairs as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from urllib.parse import urlencode

from core.upkeep_types import MachineRecord, Room, TaskDue
from dashboard import upkeep_words as said
from dashboard.floor_words import Names
from dashboard.views import owner_html, plan_html
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
    named_ = "".join(f'<p class="rs-key">{escape(said.stands_out(line))}</p>' for line in found.stands_out)
    out = named_ or f'<p class="rs-key">{said.NOBODY}</p>'
    who = f'<section class="rs"><h2>{said.STANDS_OUT}</h2>{out}</section>'
    if not found.models:
        return who
    notes = "".join(f'<p class="rs-note">{escape(line)}</p>' for line in said.estimators(found.models))
    table = _table(said.FAILS_HEAD, [said.model(line) for line in found.models])
    return f'{who}<section class="rs rs-next-one"><h2>{said.FAILS}</h2>{table}{notes}</section>'


def _table(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    """A table; on a phone a card a line, in which every cell but the first says what it is."""
    heads = "".join(f'<th scope="col">{name}</th>' for name in head)
    rows = "".join(
        "<tr>" + "".join(f'<td data-head="{name}">{escape(cell)}</td>' for name, cell in zip(head, line, strict=True))
        + "</tr>" for line in lines
    )  # fmt: skip
    return f'<table class="rs-cards"><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>'


def heading(title: str, key: str) -> str:
    """The head of a section of charts, and how to read them."""
    return f'<section class="rs"><h2>{escape(title)}</h2><p class="rs-key">{escape(key)}</p></section>'


def causes(found: Room, names: Names) -> str:
    """Why machines were down, most hours first, as bars."""
    most = max((line.hours for line in found.causes), default=0.0) or 1.0
    rows = [plan_html.bar(*said.cause(line, names.down), 0, 100 * line.hours / most) for line in found.causes]
    priced = any(line.cost is not None for line in found.causes)
    key = f'<p class="rs-note">{escape(said.HOURS_COST)}</p>' if priced else ""
    return f'<section class="rs"><h2>{said.WHY}</h2>{"".join(rows)}{key}</section>' if rows else ""


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
    table = _table(said.SPARES_HEAD, [said.spare(line) for line in found.spares])
    return f'<section class="rs"><h2>{said.SPARES}</h2>{table}</section>'


def tasks(mine: Sequence[TaskDue], clock: Clock) -> str:
    """The upkeep of one machine."""
    rows = [_line(line.name, said.due(line, clock)[1], None, line.share.best >= 1) for line in mine]
    return f'<section class="rs"><h2>{said.DUE}</h2>{"".join(rows)}</section>' if rows else ""


def story(found: MachineRecord, clock: Clock, names: Names) -> str:
    """Faults, upkeep, and what went into it, newest first."""
    faults = [_line(*said.fault(line, clock, names)) for line in found.faults]
    done = [_line(*said.done(line, clock, names)) for line in found.upkeep]
    moves = [(one.at, said.fitted(one, clock, names)) for one in found.fitted]
    moves += [(one.at, said.card(one, clock)) for one in found.cards]
    went_in = [_line(*told) for _, told in sorted(moves, key=lambda move: move[0], reverse=True)]
    sections = (
        (said.FAULTS, faults, said.NO_FAULTS), (said.DONE, done, said.NONE_DONE), (said.WENT_IN, went_in, said.NONE_IN)
    )  # fmt: skip
    told = [
        f'<section class="rs rs-next-one"><h2>{title}</h2>{_unfolding(rows, STORY) or f"<p>{none}</p>"}</section>'
        for title, rows, none in sections
    ]
    return "".join(told)


def check_in(machine: str, links: Links) -> str:
    """The way to the check-in."""
    return f'<p class="rs-key"><a href="{links.machine(machine)}">{escape(said.CHECK_IN.format(machine))}</a></p>'
