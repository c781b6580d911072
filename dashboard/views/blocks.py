"""The pieces that pages are put together from, as HTML. Everything that was typed in is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def section(title: str, *bodies: str, level: int = 2) -> str:
    """A title and what belongs under it."""
    head = f"<h{level}>{escape(title)}</h{level}>" if title else ""
    return f'<section class="rs">{head}{"".join(bodies)}</section>'


def key(sentence: str) -> str:
    """A sentence in the size of what matters."""
    return f'<p class="rs-key">{escape(sentence)}</p>'


def note(sentence: str) -> str:
    """A sentence in the size of what explains."""
    return f'<p class="rs-note">{escape(sentence)}</p>'


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table whose first column names the rows; on a phone every cell says its column."""
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>'
        + "".join(f'<td data-head="{escape(h)}">{escape(cell)}</td>' for h, cell in zip(head[1:], cells, strict=True))
        + "</tr>"
        for name, *cells in rows
    )
    return f'<table class="rs-figures"><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>'


def told(what: str, *how: str) -> str:
    """A line of a name and what is told of it."""
    return f'<div class="rs-told"><b>{escape(what)}</b><span>{"<br>".join(map(escape, filter(None, how)))}</span></div>'


def folded(title: str, body: str) -> str:
    """What is a tap away."""
    return f"<details><summary>{escape(title)}</summary>{body}</details>" if body else ""
