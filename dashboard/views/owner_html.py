"""The parts of the owner's page that are words and cells, as HTML. Everything that was typed in is escaped."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from itertools import zip_longest
from urllib.parse import urlencode

from core.answers import FORMULAS
from core.floor.types import RackNow
from core.morning.types import Report
from core.reading.types import MachineNow, Mending, NeedsHand, Period
from dashboard.words import owner_words, store_words, written
from dashboard.words.floor_words import Names
from dashboard.words.written import Clock

#: So many lines of what needs a hand are seen at once; the others are a tap away.
SEEN_AT_ONCE = 5
#: So many items to order are seen at once.
ORDERS_SEEN = 6
#: Racks with more machines side by side than this do not keep their places on a phone.
PHONE_ACROSS = 5


class Links:
    """Where a tap leads, with the person who is here carried along."""

    def __init__(self, by: str | None) -> None:
        self.by = {"by": by} if by else {}

    def machine(self, machine: str) -> str:
        """The check-in of a machine."""
        return escape(f"/checkin?{urlencode({'machine': machine, **self.by})}")

    def rack(self, rack: str) -> str:
        """The round of a rack."""
        return escape(f"/round?{urlencode({'rack': rack, **self.by})}")

    def item(self, item: str) -> str:
        """An item on the shelf."""
        return escape(f"/stores?{urlencode({'item': item, **self.by})}")


def trust(report: Report) -> str:
    """The strip at the top; on a phone its second half is a tap away."""
    told, proof = (
        _side_by_side(s) for s in (owner_words.trust_sentences(report), owner_words.proof_sentences(report.trust))
    )
    return (
        f'<section class="rs rs-trust"><h2>{owner_words.TRUST}</h2>{told}{_folded(owner_words.PROOF, proof)}</section>'
    )


def _side_by_side(sentences: Iterable[str]) -> str:
    return f"<p>{''.join(f'<span>{escape(sentence)}</span> ' for sentence in sentences)}</p>"


def needs(report: Report, names: Names, links: Links) -> str:
    """The list of what needs a hand, the most urgent lines first."""
    clock = owner_words.clock_of(report)
    lines = [_need(need, clock, names, links) for need in report.needs]
    seen, rest = lines[:SEEN_AT_ONCE], lines[SEEN_AT_ONCE:]
    told = f"<ol>{''.join(seen)}</ol>" if seen else key(owner_words.NOTHING_NEEDED)
    hidden = owner_words.more_needs(report.needs[SEEN_AT_ONCE:])
    more = _folded(hidden, f"<ol>{''.join(rest)}</ol>") if rest else ""
    return _section("needs", owner_words.NEEDS, told + more)


def where(report: Report, links: Links) -> str:
    """The racks with their machines in their places."""
    levels = {machine: need.level for need in report.needs for machine in need.machines}
    racks = "".join(_rack(rack, levels, links) for rack in report.racks)
    told = f'<div class="rs-racks">{racks}</div><p class="rs-note">{_legend()}</p>'
    return _section("where", owner_words.WHERE, told if racks else f"<p>{owner_words.NO_MACHINES}</p>")


def gave(report: Report) -> str:
    """The figures of yesterday and the last seven days."""
    heads = ("", owner_words.yesterday(report), owner_words.week(report))
    return _section("gave", owner_words.GAVE, _table(owner_words.figures(report), heads))


def changing(report: Report) -> str:
    """Whether anything is changing, in words."""
    return _section("changing", owner_words.CHANGING, "".join(map(key, owner_words.changes(report.series))))


def key(sentence: str) -> str:
    """A sentence in the size of what matters."""
    return f'<p class="rs-key">{escape(sentence)}</p>'


def more(number: int) -> str:
    """How many more there are."""
    return f'<p class="rs-more">{owner_words.more_questions(number)}</p>'


def plainly(title: str, sentence: str) -> str:
    """A title and one sentence."""
    return _section("plain", title, key(sentence))


def _section(name: str, title: str, body: str) -> str:
    return f'<section class="rs rs-{name}"><h2>{escape(title)}</h2>{body}</section>'


def _need(need: NeedsHand, clock: Clock, names: Names, links: Links) -> str:
    alone = len(need.machines) == 1
    link = links.machine(need.machines[0]) if alone else links.rack(need.rack)
    return (
        f'<li><span class="rs-level">{_mark(need.level)}{owner_words.LEVEL_WORDS[need.level]}</span>'
        f'<a class="rs-who" href="{link}">{escape(written.codes(need.machines))}</a>'
        f'<span class="rs-how">{escape(owner_words.plight(need, clock))}</span>'
        f'<span class="rs-next">{escape(owner_words.next_step(need, names.down, names.spares))}</span></li>'
    )


def _rack(rack: RackNow, levels: Mapping[str, str], links: Links) -> str:
    cells = "".join(_cell(machine, levels, links) for machine in owner_words.slots(rack))
    wide = " rs-wide" if rack.across > PHONE_ACROSS else ""
    return (
        f'<div class="rs-rack{wide}" style="--across:{rack.across}"><h3>{escape(rack.name)}</h3>'
        f'<div class="rs-cells">{cells}</div></div>'
    )


def _cell(machine: MachineNow | None, levels: Mapping[str, str], links: Links) -> str:
    if machine is None:
        return '<span class="rs-hole"></span>'
    level = levels.get(machine.machine)
    mark = _mark(level) if level else ""
    sign = owner_words.sign(machine.basis)
    return (
        f'<a class="rs-cell rs-{level or "normal"}" href="{links.machine(machine.machine)}">'
        f"<span>{mark}<b>{escape(machine.machine)}</b> {sign}</span>"
        f"<span>{owner_words.STATE_WORDS[machine.state].short}</span></a>"
    )


def _mark(level: str) -> str:
    return f'<i class="rs-mark rs-mark-{level}"></i>'


def _legend() -> str:
    marks = " ".join(f"<span>{_mark(level)}{word}</span>" for level, word in owner_words.LEVEL_WORDS.items())
    return f"{marks} <span>{owner_words.SIGN_MEANS}</span>"


def all_losses(period: Period, mending: Mending, names: Names) -> str:
    """Every reason for which machines printed nothing, with its range, and the scrap by cause."""
    rows = [
        (owner_words.reason(loss, names.down, names.spares), written.hours(loss.hours), owner_words.times(loss.times))
        for loss in period.losses
    ]
    scrap = owner_words.scrap_causes(period, names.scrap)
    told = f"<p>Scrap: {escape(scrap)}.</p>" if scrap else ""
    mended = owner_words.mending(mending)
    down = f"<p>{mended}</p>" if mended else ""
    return _all(owner_words.ALL_REASONS, rows, told + down)


def print_times(report: Report) -> str:
    """What every file truly takes, folded away; nothing before any was seen through."""
    rows = [owner_words.print_time(time) for time in report.print_times]
    return _all(owner_words.PRINT_TIMES, rows)


def unnoted(report: Report) -> str:
    """What nobody noted, by rack and shift, folded away; nothing before anything could tell."""
    rows = owner_words.unnoted_rows(report)
    return _all(owner_words.UNNOTED, rows)


def stops(report: Report) -> str:
    """How often prints stop, folded away; nothing before any was seen through."""
    rows = [owner_words.stop_rate(rate) for rate in owner_words.stops_told(report.stops)]
    return _all(owner_words.STOPS, rows)


def below_run_outs(rest: Sequence[Sequence[str]], clock: bool, unknown: str) -> str:
    """What the clock of run-outs means, the spools it does not show, and of how many nothing is known."""
    told = [key(owner_words.RUN_OUTS_KEY)] if clock else []
    if rest:
        told.append(_folded(owner_words.more_run_outs(len(rest)), _table(rest)))
    if unknown:
        told.append(key(unknown))
    return f'<section class="rs">{"".join(told)}</section>'


def order_now(report: Report, links: Links) -> str:
    """What must be ordered today, with days of cover."""
    rows = [store_words.order_now(line) for line in report.order_now]
    to = [links.item(line.item) for line in report.order_now]
    told = _table(rows[:ORDERS_SEEN], to=to[:ORDERS_SEEN]) if rows else key(store_words.NOTHING_TO_ORDER)
    rest, their = rows[ORDERS_SEEN:], to[ORDERS_SEEN:]
    more = _folded(store_words.more_orders(len(rest)), _table(rest, to=their)) if rest else ""
    return _section("orders", store_words.ORDER_NOW, told + more)


def asked() -> str:
    """The heading of the questions."""
    return _section("asked", owner_words.ASKED, "")


def counted() -> str:
    """How it is counted, at the foot."""
    rows = [(owner_words.FIGURE_WORDS[name], text) for name, text in FORMULAS.items()]
    folded = _folded(owner_words.FORMULAS_TITLE, f"{_table(rows)}<p>{owner_words.STANDARDS}</p>")
    return f'<section class="rs rs-foot"><p>{owner_words.COUNTED}</p>{folded}</section>'


def _table(rows: Iterable[Sequence[str]], heads: Sequence[str] = (), to: Sequence[str] = ()) -> str:
    """A table whose first column names the rows, and leads `to` where a tap on it goes."""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in heads)
    body = "".join(
        f'<tr><th scope="row">{_linked(name, link)}</th>{"".join(f"<td>{escape(cell)}</td>" for cell in cells)}</tr>'
        for (name, *cells), link in zip_longest(rows, to)
    )
    return f"<table>{f'<thead><tr>{head}</tr></thead>' if heads else ''}<tbody>{body}</tbody></table>"


def _linked(name: str, link: str | None) -> str:
    return f'<a href="{link}">{escape(name)}</a>' if link else escape(name)


def _all(title: str, rows: Sequence[Sequence[str]], after: str = "") -> str:
    """A table folded away, with what is told after it; nothing where it has no rows."""
    return f'<section class="rs rs-all">{_folded(title, _table(rows) + after)}</section>' if rows else ""


def _folded(title: str, body: str) -> str:
    return f"<details><summary>{title}</summary>{body}</details>"
