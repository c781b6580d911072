"""Answers as plain text for a terminal: the same words as the pages, in aligned columns."""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from itertools import zip_longest
from zoneinfo import ZoneInfo

from core.answers import TimeAccount
from core.floor.types import RackNow
from core.morning.types import Report
from core.reading.types import Hours, MachineNow, Period
from core.review.types import Review
from dashboard.words import owner_words, question_words, store_words, trust_words, written
from dashboard.words import review_words as said
from dashboard.words.names import Names

WIDTH = 100
Line = Sequence[str]

_HOURS_OF = ("mttr", "mtbf")
_SHARES = ("utilisation", "uptime", "downtime", "out_of_service")


def report_text(report: Report) -> str:
    """The owner's page in its order."""
    clock = owner_words.clock_of(report)
    asked = [question_words.question_sentence(question, clock) for question in report.questions]
    times = [owner_words.print_time(time) for time in report.print_times]
    stops = [owner_words.stop_rate(rate) for rate in owner_words.stops_told(report.stops)]
    unnoted = owner_words.unnoted_rows(report)
    orders = [store_words.order_now(line) for line in report.order_now]
    blocks = [
        report.shop,
        _block(
            owner_words.TRUST,
            _wrapped([*trust_words.trust_sentences(report), *trust_words.proof_sentences(report.trust)]),
        ),
        _block(owner_words.NEEDS, _needs(report)),
        _block(owner_words.WHERE, [line for rack in report.racks for line in _rack(rack)]),
        _block(owner_words.GAVE, _gave(report)),
        _block(owner_words.runs_out(report.runs_out, owner_words.clock_of(report)), _runs_out(report)),
        _block(store_words.ORDER_NOW, _table(orders) if orders else [store_words.NOTHING_TO_ORDER]),
        _block(owner_words.CHANGING, _wrapped(owner_words.changes(report.series))),
        _block(owner_words.ASKED, _wrapped(asked)) if asked else "",
        _block(owner_words.PRINT_TIMES, _table(times)) if times else "",
        _block(owner_words.STOPS, _table(stops)) if stops else "",
        _block(owner_words.UNNOTED, _table(unnoted)) if unnoted else "",
    ]
    return "\n\n".join(block for block in blocks if block)


def review_text(review: Review) -> str:
    """The weekly review: what changed, what it cost, the figures of the last weeks."""
    clock, names = written.Clock(ZoneInfo(review.zone), review.end), Names({}, {}, {}, {}, {}, {}, {}, {}, {})
    calls = [(chart, call) for chart in review.charts for call in chart.called if call.new]
    changed = [": ".join(said.called(chart, call, names)) for chart, call in calls] or [said.NOTHING_CHANGED]
    heads, rows = said.figures(review)
    blocks = [
        f"{review.shop}: {said.week(review, clock)}",
        _block(said.CHANGED, _wrapped([*changed, said.false_calls(review)])),
        _block(said.FIGURES, [*_table([heads, *rows]), *_wrapped([said.AS_KNOWN])]),
        _block(said.COST, _table([said.loss(line, names) for line in review.losses])) if review.losses else "",
        _block(said.PROMISES, _table([said.PROMISES_HEAD, *(said.promises(line, clock) for line in review.promises)])),
        _block(said.MODELS, _table([said.MODELS_HEAD, *map(said.model, review.models)])),
    ]
    return "\n\n".join(block for block in blocks if block)


def hours_text(hours: Hours) -> str:
    """Time accounting: hours per state with their range, the figures, a line a group, the formulas."""
    clock = written.Clock(ZoneInfo(hours.zone), hours.end)
    title = (
        f"{clock.full(hours.start)} to {clock.full(hours.end)}: {written.count(hours.whole.window_hours)} machine-hours"
    )
    blocks = [
        title,
        _block("Hours by state", _table(_states(hours.whole))),
        _block("Figures", _table(_figures(hours.whole))),
        _block(f"Hours by {hours.by}", _table(_by_state(hours.groups), right=True)) if hours.groups else "",
        _block(f"Figures by {hours.by}", _table(_by_figure(hours.groups), right=True)) if hours.groups else "",
        _block("How it is counted", _formulas(hours.formulas)),
    ]
    return "\n\n".join(block for block in blocks if block)


def _block(title: str, lines: Iterable[str]) -> str:
    return "\n".join([title, *(f"  {line}" for line in lines)])


def _wrapped(sentences: Iterable[str]) -> list[str]:
    return [line for text in sentences for line in textwrap.wrap(text, WIDTH - 4, subsequent_indent="  ")]


def _table(rows: Sequence[Line], right: bool = False) -> list[str]:
    """Rows in columns as wide as their widest cell; `right` sets all but the first flush right."""
    widths = [max(map(len, column)) for column in zip_longest(*rows, fillvalue="")]
    return ["  ".join(_cells(row, widths, right)).rstrip() for row in rows]


def _cells(row: Line, widths: Sequence[int], right: bool) -> Iterable[str]:
    for index, (cell, width) in enumerate(zip(row, widths, strict=False)):
        yield cell.rjust(width) if right and index else cell.ljust(width)


def _runs_out(report: Report) -> list[str]:
    runs, clock = report.runs_out, owner_words.clock_of(report)
    rows = [owner_words.run_out(end, clock, {}) for end in runs.spools]
    return [
        *(_table(rows) if rows else [owner_words.no_run_out(runs)]),
        *filter(None, [owner_words.no_spool_noted(runs)]),
    ]


def _needs(report: Report) -> list[str]:
    clock = owner_words.clock_of(report)
    rows = [
        (
            owner_words.LEVEL_WORDS[need.level],
            written.codes(need.machines),
            owner_words.STATE_WORDS[need.state].short,
            owner_words.since(need, clock),
            owner_words.next_step(need, {}, {}),
        )
        for need in report.needs
    ]
    return _table(rows) if rows else [owner_words.NOTHING_NEEDED]


def _rack(rack: RackNow) -> list[str]:
    cells = [_cell(machine) if machine else "" for machine in owner_words.slots(rack)]
    rows = [cells[i : i + rack.across] for i in range(0, len(cells), rack.across)]
    return [rack.name, *(f"  {line}" for line in _table(rows))]


def _cell(machine: MachineNow) -> str:
    return f"{machine.machine} {owner_words.sign(machine.basis)}{owner_words.STATE_WORDS[machine.state].short}"


def _gave(report: Report) -> list[str]:
    heads = ("", owner_words.yesterday(report), owner_words.week(report))
    return [
        *_table([heads, *owner_words.figures(report)]),
        "Hours that printed nothing, last seven days:",
        *(f"  {line}" for line in _table(_losses(report.week))),
        *_wrapped([owner_words.mending(report.mending)]),
    ]


def _losses(period: Period) -> list[Line]:
    return [
        (owner_words.reason(loss, {}, {}), written.hours(loss.hours), owner_words.times(loss.times))
        for loss in period.losses
    ]


def _states(account: TimeAccount) -> list[Line]:
    return [(owner_words.STATE_WORDS[state].full, written.hours(hours)) for state, hours in account.hours.items()]


def _figures(account: TimeAccount) -> list[Line]:
    rows = [(owner_words.FIGURE_WORDS[name], written.share(getattr(account, name))) for name in _SHARES]
    rows += [(owner_words.FIGURE_WORDS[name], written.hours(getattr(account, name))) for name in _HOURS_OF]
    return [*rows, ("faults that began", written.count(account.faults))]


def _by_state(groups: Sequence[TimeAccount]) -> list[Line]:
    """Best values alone: the ranges of every group would not fit a line."""
    states = list(groups[0].hours)
    heads = ["", *(owner_words.STATE_WORDS[state].short for state in states)]
    return [heads, *([group.group, *(written.count(group.hours[s].best) for s in states)] for group in groups)]


def _by_figure(groups: Sequence[TimeAccount]) -> list[Line]:
    tell: dict[str, Callable[[TimeAccount], str]] = {
        "printing": lambda a: written.share(a.utilisation),
        "downtime": lambda a: written.share(a.downtime),
        "out of service": lambda a: written.share(a.out_of_service),
        "to restore": lambda a: written.hours(a.mttr),
        "between faults": lambda a: written.hours(a.mtbf),
        "faults": lambda a: written.count(a.faults),
    }
    return [["", *tell], *([group.group, *(of(group) for of in tell.values())] for group in groups)]


def _formulas(formulas: dict[str, str]) -> list[str]:
    lines = [f"{owner_words.FIGURE_WORDS.get(name, name)}: {text}" for name, text in formulas.items()]
    return _wrapped([*lines, owner_words.STANDARDS])
