"""The owner's morning page on one sheet of paper: all machines, and what the owner's page says, to walk along with."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from math import ceil
from typing import NamedTuple

from markupsafe import Markup

from core.morning.types import Report
from core.plan.types import OrderDue, Plan
from core.reading.types import MachineNow, Question, Series
from core.upkeep.types import RoomUpkeep, TaskDue
from dashboard.paper import paper
from dashboard.paper.paper import Above, Block, Cells, Column, Drawn, Head, Line
from dashboard.templates.templating import macros
from dashboard.words import owner_words, plan_words, question_words, store_words, trust_words, upkeep_words, written
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: At most so many machines side by side; a cell is so wide at most, so high at least and at most (mm).
ACROSS, WIDEST, LEAST, MOST = 14, 34.0, 9.0, 15.0
#: All machines have so much of the sheet if that is enough, and at most.
MAP, MAP_MOST = 78.0, 100.0
#: The name of a rack, the key, and what is between two racks.
NAME, KEY, BETWEEN = 5.0, 5.0, 4.0
#: The edges of a cell on both sides, and what is between its words; with so much more height than its words need, its
#: box to write in stands below them, else beside them.
EDGE, GAP, ROOMY = 2.2, 0.6, 3.4
#: Its lines stand closer than others.
CLOSE = 1.1 / paper.LEADING
#: So many spools stand together on a line.
TOGETHER = 3
#: So many reasons for lost hours.
REASONS = 6
#: The shares of the width of the figures' table.
FIGURES = (0.42, 0.29, 0.29)

_SHEET = macros("morning.html")


def morning(report: Report, plan: Plan, room: RoomUpkeep, names: Names) -> Markup:
    """The sheet, as HTML."""
    clock = owner_words.clock_of(report)
    head = Head(report.shop, owner_words.as_at(clock), trust_words.trust_line(report))
    columns = (
        Column(30.5, [_needs(report, clock, names), _asked(report, clock, names)]),
        Column(35, [_gave(report), _due(plan, clock), _lost(report, names), _changing(report)]),
        Column(34.5, [_runs_out(report, clock, names), _orders(report), _upkeep(room, clock, names)]),
    )
    return paper.sheet(head, columns, _machines(report, clock))


def _needs(report: Report, clock: Clock, names: Names) -> Block:
    lines = [
        Line(written.codes(need.machines), owner_words.next_step(need, names.down, names.spares),
             owner_words.plight(need, clock), owner_words.LEVEL_WORDS[need.level], tick=True)
        for need in report.needs
    ]  # fmt: skip
    nothing = [Line("", owner_words.NOTHING_NEEDED)]
    return Block(
        owner_words.NEEDS,
        lines or nothing,
        1,
        lambda n: owner_words.on_the_page(owner_words.more_needs(report.needs[n:])),
    )


def _asked(report: Report, clock: Clock, names: Names) -> Block:
    lines = [_question(question, clock, names) for question in report.questions]
    nothing = [Line("", owner_words.NOTHING_ASKED)]
    return Block(
        owner_words.ASKED,
        lines or nothing,
        0,
        lambda n: owner_words.on_the_page(owner_words.more_asked(len(lines) - n, len(lines))),
    )


def _question(question: Question, clock: Clock, names: Names) -> Line:
    choices = [question_words.choice_words(question, choice, names.down) for choice in question.choices]
    return Line("", question_words.question_sentence(question, clock), _to_tick(choices), answer=1)


def _gave(report: Report) -> Block:
    heads = Cells(("", owner_words.yesterday(report), owner_words.week(report)), FIGURES, head=True)
    return Block(owner_words.GAVE, [heads, *(Cells(figures, FIGURES) for figures in owner_words.figures(report))])


def _due(plan: Plan, clock: Clock) -> Block:
    soonest = sorted(plan.orders, key=lambda order: order.due)
    lines = [_order(order, clock) for order in soonest]
    nothing = [Line("", plan_words.NOTHING_DUE)]
    return Block(
        plan_words.DUE, lines or nothing, 2, lambda n: owner_words.on_the_page(plan_words.more(len(lines) - n))
    )


def _order(order: OrderDue, clock: Clock) -> Line:
    what, stands, leaves = plan_words.order(order, clock)
    return Line("", what, f"{stands}; {leaves}")


def _changing(report: Report) -> Block:
    told = [Line("", sentence) for sentence in owner_words.changes(report.series)]
    drawn = [_series(series) for series in report.series if len(series.days) > 1]
    return Block(owner_words.CHANGING, [*told, *drawn], 1)


def _series(series: Series) -> Drawn:
    levels = [level for level in (series.mean, series.lower, series.upper) if level is not None]
    seen = [*series.values, *levels]
    drawing = paper.line(series.values, levels, (min(seen), max(seen)))
    return Drawn(
        owner_words.series_title(series)[0],
        drawing,
        owner_words.amount(series, series.values[-1]),
        7.0,
        (0.3, 0.5, 0.2),
    )


def _lost(report: Report, names: Names) -> Block:
    """The reasons that cost most as bars."""
    losses = report.week.losses[:REASONS]
    most = max((loss.hours.best for loss in losses), default=0.0) or 1.0
    rows = [
        Drawn(
            owner_words.reason(loss, names.down, names.spares),
            paper.bar([(0.0, loss.hours.best / most, "#000")]), owner_words.lost(loss), 3.0, (0.38, 0.3, 0.32),
        )
        for loss in losses
    ]  # fmt: skip
    return Block(owner_words.LOST, rows, 1)


def _runs_out(report: Report, clock: Clock, names: Names) -> Block:
    """The spools that run out soonest; those to be changed by the same time stand together."""
    spools: dict[str, list[str]] = {}
    for end in report.runs_out.spools:
        spool, step = owner_words.run_out(end, clock, names.materials)
        spools.setdefault(step, []).append(spool)
    told = [line for step, together in spools.items() for line in _spools(step, together)]
    lines = [line for line, _ in told] or [Line("", owner_words.no_run_out(report.runs_out))]
    counts = [count for _, count in told]
    return Block(
        owner_words.runs_out(report.runs_out, clock),
        lines,
        2,
        lambda n: owner_words.on_the_page(owner_words.more_run_outs(sum(counts[n:]))),
    )


def _spools(step: str, spools: Sequence[str]) -> list[tuple[Line, int]]:
    """The lines of spools to be changed by the same time, and how many are on each."""
    if len(spools) == 1:
        return [(Line("", spools[0], right=step, tick=True), 1)]
    parts = [spools[first : first + TOGETHER] for first in range(0, len(spools), TOGETHER)]
    return [(Line("" if n else step.capitalize(), under=_to_tick(part)), len(part)) for n, part in enumerate(parts)]


def _to_tick(told: Iterable[str]) -> str:
    """Words in one line, a box to tick before each."""
    return " ".join(f"\N{BALLOT BOX}\N{NO-BREAK SPACE}{one}" for one in told)


def _orders(report: Report) -> Block:
    told = (store_words.order_now(line) for line in report.order_now)
    lines = [Line(name, how_many, why, tick=True) for name, how_many, why in told]
    nothing = [Line("", store_words.NOTHING_TO_ORDER)]
    more = len(lines)
    return Block(
        store_words.ORDER_NOW, lines or nothing, 2, lambda n: owner_words.on_the_page(store_words.more_orders(more - n))
    )


def _upkeep(room: RoomUpkeep, clock: Clock, names: Names) -> Block:
    late = [line for line in room.due if line.share.best >= 1]
    told = [Line("", upkeep_words.upkeep(late, 0))]
    told += [Line(*upkeep_words.waits(line, clock, names.down)) for line in room.waits]
    told += [_task(line, clock) for line in late if line.stands]
    return Block(upkeep_words.BRIEF, told, 1)


def _task(line: TaskDue, clock: Clock) -> Line:
    what, why = upkeep_words.due(line, clock)
    return Line("", what, why, tick=True)


def _machines(report: Report, clock: Clock) -> Above:
    """All machines, rack by rack in their places; one after the other where there is no room for those."""
    every = [machine for rack in report.racks for machine in rack.machines]
    shelves = _shelves([_Rack(rack.name, min(rack.across, ACROSS), owner_words.slots(rack)) for rack in report.racks])
    wide = _wide(shelves)
    least = max((_least(machine, wide, clock) for machine in every), default=LEAST)
    if _rows(shelves) * least + len(shelves) * NAME > MAP_MOST - KEY:
        fit = ACROSS * int((MAP_MOST - KEY - NAME) / least)
        shelves = _shelves([_Rack(owner_words.not_in_places(len(every) - fit), ACROSS, every[:fit])])
    high = max(min((MAP - KEY - len(shelves) * NAME) / max(_rows(shelves), 1), MOST), least)
    hands = {machine for need in report.needs for machine in need.machines}
    cells = [
        [(rack.name, rack.across, [_cell(one, hands, clock) for one in rack.places]) for rack in shelf]
        for shelf in shelves
    ]
    told = owner_words.PAPER_KEY if shelves else owner_words.NO_MACHINES
    drawn = _SHEET.machines(cells, _wide(shelves), high, high < least + ROOMY, told)
    return Above(drawn, _rows(shelves) * high + len(shelves) * NAME + KEY)


class _Cell(NamedTuple):
    """A machine: its code, when its print is due off, its state, and whether it needs a hand."""

    machine: str
    due_off: str
    state: str
    hand: bool


class _Rack(NamedTuple):
    """A rack on the sheet: its name, how many stand side by side, and the machines place by place."""

    name: str
    across: int
    places: Sequence[MachineNow | None]


def _shelves(racks: Sequence[_Rack]) -> list[list[_Rack]]:
    """Racks side by side as far as the sheet is wide, those that do not fit below them."""
    shelves: list[list[_Rack]] = []
    for rack in racks:
        if shelves and sum(other.across for other in shelves[-1]) + rack.across <= ACROSS:
            shelves[-1].append(rack)
        else:
            shelves.append([rack])
    return shelves


def _rows(shelves: Sequence[Sequence[_Rack]]) -> int:
    """Rows of cells one below the other."""
    return sum(max(ceil(len(rack.places) / rack.across) for rack in shelf) for shelf in shelves)


def _wide(shelves: Sequence[Sequence[_Rack]]) -> float:
    """The width of a cell, the same on all shelves."""
    each = ((paper.WIDTH - BETWEEN * (len(shelf) - 1)) / sum(rack.across for rack in shelf) for shelf in shelves)
    return min((WIDEST, *each))


def _least(machine: MachineNow, wide: float, clock: Clock) -> float:
    """How high the words of a cell stand, with a box beside the state."""
    inside = wide - EDGE
    beside = paper.long("00:00", paper.SMALL) + GAP if machine.due else 0.0
    code = min(paper.long(machine.machine, paper.BOLD * paper.MAIN), inside - beside)
    words_high = max(
        paper.tall(machine.machine, inside - beside, paper.BOLD * paper.MAIN),
        paper.tall(_due_off(machine, clock), inside - code - GAP, paper.SMALL),
    )
    return max(LEAST, CLOSE * (words_high + paper.tall("", inside, paper.SMALL)) + EDGE)


def _due_off(machine: MachineNow, clock: Clock) -> str:
    return clock.soon(machine.due.best) if machine.due else ""


def _cell(machine: MachineNow | None, hands: Set[str], clock: Clock) -> _Cell | None:
    if machine is None:
        return None
    state = owner_words.sign(machine.basis) + owner_words.STATE_WORDS[machine.state].short
    return _Cell(machine.machine, _due_off(machine, clock), state, machine.machine in hands)
