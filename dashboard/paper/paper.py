"""A sheet of paper: one A4 page, landscape, black on white, with room to write.

What a printer is given cannot scroll, and a browser cannot say "and three more": what fits is worked out here, from how
long the words are, on the safe side. What is left of a column is ruled for notes, so a letter that comes out wider than
was thought takes from those and is not cut off. Lengths are millimetres, sizes of letters points. Everything that is
given as words is escaped.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple, Protocol
from urllib.parse import quote

STYLE = Path(__file__).with_name("paper.css")

#: What is left of an A4 page inside its margins, and between two columns; `paper.css` has the same.
WIDTH, HEIGHT, GAP = 281.0, 193.0, 5.0
#: The sizes of letters: of the sheet's title, of a block's, of what matters, of what is beside it, of the
#: smallest there are.
LARGE, NAME, MAIN, BESIDE, SMALL = 14.0, 10.0, 10.0, 8.5, 8.0
#: A line is so much higher than its letters.
LEADING = 1.25
#: Thin and broad letters, and the widths of letters in their size: thin, broad, capital, other; a space; bold.
#: A little more than measured in Liberation Sans, which is as wide as Arial, and in DejaVu Sans Condensed.
THIN, BROAD = frozenset("ijlfrtI.,:;'|!()[]/-\N{NON-BREAKING HYPHEN}"), frozenset("mwMW%@")
WIDTHS = (0.34, 0.92, 0.67, 0.57)
SPACE, BOLD = 0.3, 1.12
POINT = 25.4 / 72
#: The space between a number and its unit.
_UNIT = re.compile(r"(?<=\d) (?=(?:%|h|g|kg|min)(?:\W|$))")
#: The height above a title, below every row, and of a line to write on; the width of a box to tick, and after a cell.
ABOVE, ROW, RULE, BOX, CELL = 1.4, 1.2, 7.0, 6.0, 2.0
#: The width for when it was made.
MADE = 90.0
#: So much of every column is kept for notes.
NOTES = 1.5 * RULE
#: How lines are drawn.
LINE, THIN_LINE = (f'fill="none" stroke-width="{width}" vector-effect="non-scaling-stroke"' for width in (1.5, 0.8))


def document(title: str, sheet: str) -> str:
    """A sheet as an HTML document that needs nothing else."""
    style = STYLE.read_text(encoding="utf-8")
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f'<style>\n{style}</style></head>\n<body style="margin:0">{sheet}</body></html>\n'
    )


class Head(NamedTuple):
    """The head of a sheet: its title, when it was made, and what is told under them."""

    title: str
    made: str
    told: str


class Above(NamedTuple):
    """What stands between the head and the columns, of a height of its own."""

    html: str
    high: float


class Column(NamedTuple):
    """Blocks one below the other, those that matter most first; its width is a share of those of all columns."""

    share: float
    blocks: Sequence[Block]


def sheet(head: Head, columns: Sequence[Column], above: Above | None = None) -> str:
    """A whole sheet."""
    titles = max(tall(head.title, WIDTH - MADE, BOLD * LARGE), tall(head.made, MADE, BOLD * LARGE)) + 2
    room = HEIGHT - titles - tall(head.told, WIDTH, BESIDE) - ROW - (above.high if above else 0.0)
    width = (WIDTH - GAP * (len(columns) - 1)) / sum(column.share for column in columns)
    told = "".join(
        f'<div class="paper-column" style="flex-grow:{column.share:g}">'
        f"{_column(column.blocks, room, column.share * width)}{_ruled()}</div>"
        for column in columns
    )
    return (
        f'<article class="paper"><header><h1>{printed(head.title)}</h1><b>{printed(head.made)}</b></header>'
        f'<p>{printed(head.told)}</p>{above.html if above else ""}<div class="paper-columns">{told}</div></article>'
    )


def tall(words: str, width: float, size: float) -> float:
    """How high words stand that are set in a width."""
    lines, used = 1, 0.0
    for word in unbroken(words).split(" "):
        begun = used + SPACE * size * POINT if used else 0.0
        wide = long(word, size)
        if begun and begun + wide > width:
            lines, begun = lines + 1, 0.0
        used = begun + wide
        if used > width:  # a word wider than the line goes on in the next one, and every line ends before a letter
            more, used = divmod(used, width - size * POINT)
            lines += int(more)
    return lines * size * POINT * LEADING


def unbroken(words: str) -> str:
    """Words in which a code, a range, and a number with its unit stay on one line."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", words).replace("-", "\N{NON-BREAKING HYPHEN}")


def printed(words: str) -> str:
    """Words as they stand on the sheet, as HTML."""
    return escape(unbroken(words))


def long(words: str, size: float) -> float:
    """How long words are, set in one line."""
    return sum(map(_width, words)) * size * POINT


@cache
def _width(letter: str) -> float:
    """The width of a letter in its size."""
    thin, broad, capital, other = WIDTHS
    if letter in THIN:
        return thin
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    if letter in BROAD:
        return broad
    return SPACE if letter.isspace() else capital if letter.isupper() else other


class Row(Protocol):
    """What a block is made of."""

    def height(self, width: float) -> float:
        """How high it stands in a width."""

    def html(self) -> str:
        """The row."""


@dataclass(frozen=True, slots=True)
class Line:
    """Words in bold, words, others at its right end, and small ones under them.

    `tick`: a box to tick stands before it. `answer`: so many ruled lines under it to write on.
    """

    strong: str
    words: str = ""
    under: str = ""
    right: str = ""
    tick: bool = False
    answer: int = 0

    def height(self, width: float) -> float:
        """How high it stands in a width."""
        wide = width - BOX * self.tick
        bolder = (BOLD - 1) * long(self.strong, MAIN)
        words = " ".join(filter(None, (self.strong, self.words, self.right)))
        told = bool(words) * tall(words, wide - CELL * bool(self.right) - bolder, MAIN)
        return told + bool(self.under) * tall(self.under, wide, BESIDE) + self.answer * RULE + ROW

    def html(self) -> str:
        """The line."""
        tick = '<i class="paper-tick"></i>' if self.tick else ""
        right = f'<span class="paper-right">{printed(self.right)}</span>' if self.right else ""
        under = f'<span class="paper-under">{printed(self.under)}</span>' if self.under else ""
        told = f"<b>{printed(self.strong)}</b> {printed(self.words)}"
        return f"<li>{tick}<div>{right}{told}{under}{'<i></i>' * self.answer}</div></li>"


@dataclass(frozen=True, slots=True)
class Cells:
    """A row of a table: its cells, and the share of the width that each has; `head` names the columns."""

    told: Sequence[str]
    shares: Sequence[float]
    head: bool = False

    def height(self, width: float) -> float:
        """How high it stands in a width."""
        sizes = [BESIDE, *[BESIDE if self.head else BOLD * MAIN] * (len(self.told) - 1)]
        parts = zip(self.told, self.shares, sizes, strict=True)
        return ROW + max(tall(words, share * width - CELL, size) for words, share, size in parts)

    def html(self) -> str:
        """The row."""
        cells = "".join(f"<span>{printed(words)}</span>" for words in self.told)
        kind = "paper-head" if self.head else "paper-cells"
        return f'<li class="{kind}" style="grid-template-columns:{_tracks(self.shares)}">{cells}</li>'


@dataclass(frozen=True, slots=True)
class Drawn:
    """Something drawn (`bar`, `line`) so high, between words; the shares of the width that the three have."""

    left: str
    drawing: str
    right: str
    high: float
    shares: tuple[float, float, float]

    def height(self, width: float) -> float:
        """How high it stands in a width."""
        left, _, right = (share * width - CELL for share in self.shares)
        return ROW + max(self.high, tall(self.left, left, BESIDE), tall(self.right, right, BESIDE))

    def html(self) -> str:
        """The row."""
        drawing = f'<span style="height:{self.high:.1f}mm">{self.drawing}</span>'
        cells = f"<span>{printed(self.left)}</span>{drawing}<span>{printed(self.right)}</span>"
        return f'<li class="paper-drawn" style="grid-template-columns:{_tracks(self.shares)}">{cells}</li>'


@dataclass(frozen=True, slots=True)
class Block:
    """A title and rows. At least so many of them are shown (null: all); `more`, given how many, tells of the others."""

    title: str
    rows: Sequence[Row]
    least: int | None = None
    more: Callable[[int], str] = lambda _: ""

    def fewest(self) -> int:
        """So many rows are shown whatever else there is."""
        return len(self.rows) if self.least is None else min(self.least, len(self.rows))

    def heights(self, width: float) -> list[float]:
        """How high it stands with no row, with one, and so on to all of them."""
        title = ABOVE + tall(self.title, width, BOLD * NAME)
        rows = accumulate((row.height(width) for row in self.rows), initial=title)
        return [high + sum(row.height(width) for row in self._after(n)) for n, high in enumerate(rows)]

    def html(self, shown: int) -> str:
        """The title, so many rows, and what is told of the others."""
        rows = "".join(row.html() for row in [*self.rows[:shown], *self._after(shown)])
        return f"<h2>{printed(self.title)}</h2><ol>{rows}</ol>"

    def _after(self, shown: int) -> list[Line]:
        told = self.more(shown) if shown < len(self.rows) else ""
        return [Line(told)] if told else []


def _tracks(shares: Sequence[float]) -> str:
    return " ".join(f"minmax(0,{share:g}fr)" for share in shares)


def _column(blocks: Sequence[Block], height: float, width: float) -> str:
    """The blocks of a column: the fewest rows of each, then more in their order.

    Where even those find no room, one row of each has to do, and a last block is left out.
    """
    high = [block.heights(width) for block in blocks]
    shown = [block.fewest() for block in blocks]
    if _ends(high, shown)[-1] > height - NOTES:
        shown = [min(n, 1) if block.least is not None else n for block, n in zip(blocks, shown, strict=True)]
    ends = _ends(high, shown)
    mine = max(sum(end <= height for end in ends), 1)
    left = height - NOTES - ends[mine - 1]
    for index, tops in enumerate(high[:mine]):
        room = left + tops[shown[index]]
        shown[index] = max([n for n in range(shown[index], len(tops)) if tops[n] <= room], default=shown[index])
        left = room - tops[shown[index]]
    return "".join(block.html(n) for block, n in zip(blocks[:mine], shown[:mine], strict=True))


def _ends(high: Sequence[Sequence[float]], shown: Sequence[int]) -> list[float]:
    """How far down every block reaches with so many of its rows."""
    return list(accumulate(tops[n] for tops, n in zip(high, shown, strict=True)))


def _ruled() -> str:
    """Lines to write on, as many as there is room for."""
    return f'<div class="paper-ruled">{"<i></i>" * int(HEIGHT / RULE)}</div>'


def bar(parts: Sequence[tuple[float, float, str]]) -> str:
    """Bars in a row, each from one share of the width to another, in a colour."""
    drawn = (f'<rect x="{100 * a:.1f}" width="{100 * (b - a):.1f}" height="100" fill="{c}"/>' for a, b, c in parts)
    return _picture("".join(drawn))


def bars(lengths: Sequence[tuple[float, str]]) -> str:
    """Bars one under the other, each a share of the width long, in a colour."""
    each = 100 / max(len(lengths), 1)
    drawn = (
        f'<rect x="0" y="{n * each:.1f}" width="{100 * a:.1f}" height="{0.9 * each:.1f}" fill="{c}"/>'
        for n, (a, c) in enumerate(lengths)
    )
    return _picture("".join(drawn))


def line(values: Sequence[float | None], levels: Sequence[float], span: tuple[float, float]) -> str:
    """A line through values in equal steps, drawn between the bounds of a span, and faint levels; gaps where null."""
    low, high = span
    step, scale = 100 / max(len(values) - 1, 1), 90 / ((high - low) or 1)
    runs: list[list[str]] = [[]]
    for index, value in enumerate(values):
        if value is None:
            runs.append([])
        else:
            runs[-1].append(f"{index * step:.1f},{95 - scale * (value - low):.1f}")
    heights = (f"{95 - scale * (level - low):.1f}" for level in levels)
    faint = (f'<path d="M0,{y} H100" stroke="#767676" stroke-dasharray="4 4" {THIN_LINE}/>' for y in heights)
    drawn = (f'<polyline points="{" ".join(run)}" stroke="#000" {LINE}/>' for run in runs if run)
    return _picture("".join([*faint, *drawn]))


def _picture(drawn: str) -> str:
    """A drawing as wide and high as its place: a picture, for backgrounds are not printed.

    It stands within the address of an image, where a page leaves it alone; drawn as such it would be taken out.
    """
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" preserveAspectRatio="none">{drawn}</svg>'
    return f'<img alt="" src="data:image/svg+xml,{quote(svg)}">'
