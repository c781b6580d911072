"""The parts of the owner's page that are words and cells, as HTML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from markupsafe import Markup

from core.answers import FORMULAS
from core.floor.types import RackNow
from core.morning.types import Report
from core.reading.types import MachineNow, Mending, NeedsHand, Period
from dashboard.kit.links import Links
from dashboard.templates.templating import macros
from dashboard.words import owner_words, store_words, trust_words, written
from dashboard.words.names import Names
from dashboard.words.written import Clock

#: So many lines of what needs a hand are seen at once; the others are a tap away.
SEEN_AT_ONCE = 5
#: So many items to order are seen at once.
ORDERS_SEEN = 6
#: Racks with more machines side by side than this do not keep their places on a phone.
PHONE_ACROSS = 5

_PAGE = macros("owner.html", said=owner_words, stores=store_words)


class _Need(NamedTuple):
    """A line of what needs a hand: how urgent, which machines, where they are, how they stand, what to do."""

    level: str
    who: str
    address: str
    how: str
    step: str


class _Cell(NamedTuple):
    """A machine in its place; `level` says how urgently it needs a hand, if it does."""

    machine: str
    address: str
    level: str | None
    sign: str
    state: str


class _Rack(NamedTuple):
    """A rack, place by place; `wide` if it does not keep its places on a phone."""

    name: str
    across: int
    wide: bool
    cells: Sequence[_Cell | None]


def trust(report: Report) -> Markup:
    """The strip at the top; on a phone its second half is a tap away."""
    return _PAGE.trust(trust_words.trust_sentences(report), trust_words.proof_sentences(report.trust))


def needs(report: Report, names: Names, links: Links) -> Markup:
    """The list of what needs a hand, the most urgent lines first."""
    clock = owner_words.clock_of(report)
    lines = [_need(need, clock, names, links) for need in report.needs]
    return _PAGE.needs(lines, SEEN_AT_ONCE, owner_words.more_needs(report.needs[SEEN_AT_ONCE:]))


def where(report: Report, links: Links) -> Markup:
    """The racks with their machines in their places."""
    levels = {machine: need.level for need in report.needs for machine in need.machines}
    return _PAGE.where([_rack(rack, levels, links) for rack in report.racks])


def gave(report: Report) -> Markup:
    """The figures of yesterday and the last seven days."""
    return _PAGE.gave(("", owner_words.yesterday(report), owner_words.week(report)), owner_words.figures(report))


def changing(report: Report) -> Markup:
    """Whether anything is changing, in words."""
    return _PAGE.changing(owner_words.changes(report.series))


def more(number: int) -> Markup:
    """How many more questions there are."""
    return _PAGE.more(owner_words.more_questions(number))


def _need(need: NeedsHand, clock: Clock, names: Names, links: Links) -> _Need:
    alone = len(need.machines) == 1
    address = links.machine(need.machines[0]) if alone else links.rack(need.rack)
    step = owner_words.next_step(need, names.down, names.spares)
    return _Need(need.level, written.codes(need.machines), address, owner_words.plight(need, clock), step)


def _rack(rack: RackNow, levels: Mapping[str, str], links: Links) -> _Rack:
    cells = [_cell(machine, levels, links) if machine else None for machine in owner_words.slots(rack)]
    return _Rack(rack.name, rack.across, rack.across > PHONE_ACROSS, cells)


def _cell(machine: MachineNow, levels: Mapping[str, str], links: Links) -> _Cell:
    code, state = machine.machine, owner_words.STATE_WORDS[machine.state].short
    return _Cell(code, links.machine(code), levels.get(code), owner_words.sign(machine.basis), state)


def all_losses(period: Period, mending: Mending, names: Names) -> Markup:
    """Every reason for which machines printed nothing, with its range, and the scrap by cause."""
    rows = [
        (owner_words.reason(loss, names.down, names.spares), written.hours(loss.hours), owner_words.times(loss.times))
        for loss in period.losses
    ]
    return _PAGE.all_losses(rows, owner_words.scrap_causes(period, names.scrap), owner_words.mending(mending))


def print_times(report: Report) -> Markup:
    """What every file truly takes, folded away; nothing before any was seen through."""
    return _PAGE.all(owner_words.PRINT_TIMES, [owner_words.print_time(time) for time in report.print_times])


def unnoted(report: Report) -> Markup:
    """What nobody noted, by rack and shift, folded away; nothing before anything could tell."""
    return _PAGE.all(owner_words.UNNOTED, owner_words.unnoted_rows(report))


def stops(report: Report) -> Markup:
    """How often prints stop, folded away; nothing before any was seen through."""
    return _PAGE.all(owner_words.STOPS, [owner_words.stop_rate(rate) for rate in owner_words.stops_told(report.stops)])


def below_run_outs(rest: Sequence[Sequence[str]], clock: bool, unknown: str) -> Markup:
    """What the clock of run-outs means, the spools it does not show, and of how many nothing is known."""
    return _PAGE.below_run_outs(clock, rest, owner_words.more_run_outs(len(rest)), unknown)


def order_now(report: Report, links: Links) -> Markup:
    """What must be ordered today, with days of cover."""
    rows = [store_words.order_now(line) for line in report.order_now]
    to = [links.item(line.item) for line in report.order_now]
    return _PAGE.order_now(rows, to, ORDERS_SEEN, store_words.more_orders(len(rows) - ORDERS_SEEN))


def asked() -> Markup:
    """The heading of the questions."""
    return _PAGE.asked()


def counted() -> Markup:
    """How it is counted, at the foot."""
    return _PAGE.counted([(owner_words.FIGURE_WORDS[name], text) for name, text in FORMULAS.items()])
