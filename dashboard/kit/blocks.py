"""The pieces that pages are put together from, as HTML, and the one way by which HTML comes onto a page."""

from __future__ import annotations

from typing import NamedTuple

import streamlit as st
from markupsafe import Markup

from dashboard.templates.templating import macros

_PIECES = macros("blocks.html")


class Told(NamedTuple):
    """A line of a name, which may lead to an `address`, and what is told of it, `marked` if it is due."""

    what: str
    how: tuple[str, ...]
    address: str | None = None
    marked: bool = False


class Bar(NamedTuple):
    """A line with a bar, from `left` on, both in percent of the place for bars; what it says is told beside it."""

    name: str
    told: str
    left: float
    width: float


def put(made: Markup) -> None:
    """HTML that templates made, onto the page; nothing where it is empty, which Streamlit takes for a mistake."""
    if made:
        st.html(made)


def lines(kind: str, *told: str, tag: str = "p") -> Markup:
    """Lines to read, in the style of their kind (see `look`)."""
    return _PIECES.lines(kind, told, tag)


def key(sentence: str) -> Markup:
    """A sentence in the size of what matters."""
    return _PIECES.key(sentence)


def explained(sentence: str) -> Markup:
    """A sentence in the size of what explains, under a drawing."""
    return _PIECES.explained(sentence)


def plainly(title: str, sentence: str, kind: str = "") -> Markup:
    """A title and one sentence."""
    return _PIECES.plainly(title, sentence, kind)


def told(what: str, *how: str, address: str | None = None, marked: bool = False) -> Told:
    """A line, without what is empty."""
    return Told(what, tuple(filter(None, how)), address, marked)
