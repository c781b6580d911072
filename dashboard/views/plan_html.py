"""The parts of the plan that are words and bars, as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from html import escape

from core.plan.types import Capacity, Gain, Loading, OrderDue, Plan
from dashboard.words import plan_words as said
from dashboard.words import written
from dashboard.words.written import Clock


def due(plan: Plan, clock: Clock, most: int | None = None) -> str:
    """The open orders as bars, those most at risk first."""
    seen, rest = plan.orders[:most], plan.orders[most:] if most is not None else []
    rows = "".join(_order(order, clock) for order in seen)
    told = [f'<p class="rs-key">{escape(line)}</p>' for line in _below(plan, len(rest))]
    return f'<section class="rs rs-due"><h2>{said.DUE}</h2>{rows}{"".join(told)}</section>'


def _below(plan: Plan, hidden: int) -> list[str]:
    lines = [] if plan.orders else [said.NOTHING_DUE]
    lines += [said.more(hidden)] if hidden else []
    lines += [] if plan.learned else [said.USUAL_SHOP]
    return [*lines, *([said.LEGEND] if plan.orders else []), *said.beside(plan)]


def _order(order: OrderDue, clock: Clock) -> str:
    what, stands, leaves = said.order(order, clock)
    there, soon = (100 * min(n / order.quantity, 1.0) for n in (order.there, order.by_due.best))
    return (
        f'<div class="rs-order"><b>{escape(what)}</b><span class="rs-band rs-parts">'
        f'<i class="rs-coming" style="width:{max(there, soon):.1f}%"></i>'
        f'<i class="rs-there" style="width:{there:.1f}%"></i></span>'
        f"<span>{escape(stands)}<br>{escape(leaves)}</span></div>"
    )


def loading(found: Loading, loaded: Set[str], clock: Clock, materials: Mapping[str, str]) -> str:
    """The loading list as a table to walk along with; what was begun since is ticked."""
    told = "".join(f'<p class="rs-key">{escape(line)}</p>' for line in said.loading(found, clock))
    if not found.loads:
        return f'<section class="rs rs-load"><h2>{said.LOAD}</h2>{told}</section>'
    head = "".join(f'<th scope="col">{name}</th>' for name in said.LOAD_HEAD)
    rows = "".join(_load(said.load(line, found, clock, materials), line.machine in loaded) for line in found.loads)
    return (
        f'<section class="rs rs-load"><h2>{said.LOAD}</h2>{told}<table><thead><tr><th></th>{head}</tr></thead>'
        f'<tbody>{rows}</tbody></table><p class="rs-note rs-screen">{said.ONLY_LIST}</p></section>'
    )


def _load(cells: Sequence[tuple[str, str]], loaded: bool) -> str:
    mark = "\N{BALLOT BOX WITH CHECK}" if loaded else "\N{BALLOT BOX}"
    told = "".join(f"<td><b>{escape(first)}</b><span>{escape(second)}</span></td>" for first, second in cells)
    return f'<tr><td class="rs-tick">{mark}</td>{told}</tr>'


def falling(found: Capacity) -> str:
    """What became of the hours on the wall: every loss as a bar, from where the one before it ended."""
    rest, rows = found.wall, []
    for step in found.steps:
        name, told = said.step(step)
        if step.hours.best <= 0 or not found.wall:
            continue
        rest -= step.hours.best
        left, width = (100 * hours / found.wall for hours in (rest, step.hours.best))
        rows.append(bar(name, f"{told} a week", left, width))
    share = 100 * found.good.best / found.wall if found.wall else 0
    rows.append(bar("Good parts", f"{written.hours(found.good)} a week", 0, share, "rs-there"))
    told = f'<p class="rs-key">{escape(said.good(found))}</p>'
    return f'<section class="rs rs-room"><h2>{said.ROOM}</h2>{told}{"".join(rows)}</section>'


def bar(name: str, told: str, left: float, width: float, kind: str = "rs-loss") -> str:
    """A line with a bar, from `left` on, both in percent of the place for bars; what it says is told beside it."""
    return (
        f'<div class="rs-order"><b>{escape(name)}</b><span class="rs-band">'
        f'<i class="{kind}" style="left:{left:.1f}%;width:{width:.1f}%"></i></span>'
        f"<span>{escape(told)}</span></div>"
    )


def gains(found: Sequence[Gain], models: Mapping[str, str]) -> str:
    """What would give more."""
    rows = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{escape(parts)}</td><td>{escape(cost)}</td></tr>'
        for name, parts, cost in (said.gain(line, models) for line in found)
    )
    head = "".join(f'<th scope="col">{name}</th>' for name in said.GAIN_HEAD)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    return f'<section class="rs">{table}<p class="rs-key">{said.CHANGES_KEY}</p></section>'
