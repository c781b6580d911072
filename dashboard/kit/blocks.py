"""The pieces that pages are put together from, as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def section(title: str, *bodies: str, kind: str = "", level: int = 2) -> str:
    """A title, if there is one, and what belongs under it; `kind` names its style."""
    head = f"<h{level}>{escape(title)}</h{level}>" if title else ""
    style = f"rs {kind}" if kind else "rs"
    return f'<section class="{style}">{head}{"".join(bodies)}</section>'


def key(sentence: str) -> str:
    """A sentence in the size of what matters."""
    return f'<p class="rs-key">{escape(sentence)}</p>'


def note(sentence: str) -> str:
    """A sentence in the size of what explains."""
    return f'<p class="rs-note">{escape(sentence)}</p>'


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table whose first column names the rows; on a phone a card a row, in which every cell says its column."""
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>'
        + "".join(f'<td data-head="{escape(h)}">{escape(cell)}</td>' for h, cell in zip(head[1:], cells, strict=True))
        + "</tr>"
        for name, *cells in rows
    )
    return f'<table class="rs-cards"><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>'


def told(what: str, *how: str, address: str | None = None, marked: bool = False) -> str:
    """A line of a name, which may lead to an `address` (escaped), and what is told of it, `marked` if it is due."""
    mark = '<i class="rs-mark rs-mark-today"></i>' if marked else ""
    name = f'<a href="{address}">{escape(what)}</a>' if address else f"<b>{escape(what)}</b>"
    return f'<div class="rs-told">{name}<span>{mark}{"<br>".join(map(escape, filter(None, how)))}</span></div>'


def folded(title: str, body: str) -> str:
    """What is a tap away."""
    return f"<details><summary>{escape(title)}</summary>{body}</details>" if body else ""


def unfolding(rows: Sequence[str], most: int) -> str:
    """The first lines, and the others a tap away."""
    rest = rows[most:]
    return "".join(rows[:most]) + folded(f"{len(rest)} more", "".join(rest))
