"""The parts of the plan that are words and bars, as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from html import escape

from core.plan_types import OrderDue, Plan
from dashboard import plan_words as said
from dashboard.written import Clock


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
    return [*lines, *([said.LEGEND] if plan.orders else []), *said.unpacked(plan)]


def _order(order: OrderDue, clock: Clock) -> str:
    what, stands, leaves = said.order(order, clock)
    there, soon = (100 * min(n / order.quantity, 1.0) for n in (order.there, order.by_due.best))
    return (
        f'<div class="rs-order"><b>{escape(what)}</b><span class="rs-band rs-parts">'
        f'<i class="rs-coming" style="width:{max(there, soon):.1f}%"></i>'
        f'<i class="rs-there" style="width:{there:.1f}%"></i></span>'
        f"<span>{escape(stands)}<br>{escape(leaves)}</span></div>"
    )
