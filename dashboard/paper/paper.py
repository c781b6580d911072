"""A sheet of paper: one A4 page, landscape, black on white, with room to write.

What a printer is given cannot scroll, and a browser cannot say "and three more": what fits is worked out here, from how
long the words are, on the safe side. What is left of a column is ruled for notes, so a letter that comes out wider than
was thought takes from those and is not cut off. Lengths are millimetres, sizes of letters points.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple, Protocol

from markupsafe import Markup

from dashboard.templates.templating import macros

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


def unbroken(words: str) -> str:
    """Words in which a code, a range, and a number with its unit stay on one line."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", words).replace("-", "\N{NON-BREAKING HYPHEN}")


_SHEET = macros("paper.html", unbroken=unbroken)


def document(title: str, sheet: Markup) -> Markup:
    """A sheet as an HTML document that needs nothing else."""
    return _SHEET.document(title, STYLE.read_text(encoding="utf-8"), sheet)


class Head(NamedTuple):
    """The head of a sheet: its title, when it was made, and what is told under them."""

    title: str
    made: str
    told: str


class Above(NamedTuple):
    """What stands between the head and the columns, of a height of its own."""

    html: Markup
    high: float


class Column(NamedTuple):
    """Blocks one below the other, those that matter most first; its width is a share of those of all columns."""

    share: float
    blocks: Sequence[Block]


def sheet(head: Head, columns: Sequence[Column], above: Above | None = None) -> Markup:
    """A whole sheet."""
    titles = max(tall(head.title, WIDTH - MADE, BOLD * LARGE), tall(head.made, MADE, BOLD * LARGE)) + 2
    room = HEIGHT - titles - tall(head.told, WIDTH, BESIDE) - ROW - (above.high if above else 0.0)
    width = (WIDTH - GAP * (len(columns) - 1)) / sum(column.share for column in columns)
    placed = [(column.share, _column(column.blocks, room, column.share * width)) for column in columns]
    return _SHEET.sheet(head, above.html if above else "", placed, int(HEIGHT / RULE))


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


class PaperRow(Protocol):
    """What a block is made of."""

    def height(self, width: float) -> float:
        """How high it stands in a width."""

    def html(self) -> Markup:
        """The row."""


#: What is shown of a block: its title and rows.
Placed = tuple[str, Sequence[PaperRow]]


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

    def html(self) -> Markup:
        """The line."""
        return _SHEET.line(self)


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

    def html(self) -> Markup:
        """The row."""
        return _SHEET.cells(self)


@dataclass(frozen=True, slots=True)
class Drawn:
    """Something drawn (`bar`, `line`) so high, between words; the shares of the width that the three have."""

    left: str
    drawing: Markup
    right: str
    high: float
    shares: tuple[float, float, float]

    def height(self, width: float) -> float:
        """How high it stands in a width."""
        left, _, right = (share * width - CELL for share in self.shares)
        return ROW + max(self.high, tall(self.left, left, BESIDE), tall(self.right, right, BESIDE))

    def html(self) -> Markup:
        """The row."""
        return _SHEET.drawn(self)


@dataclass(frozen=True, slots=True)
class Block:
    """A title and rows. At least so many of them are shown (null: all); `more`, given how many, tells of the others."""

    title: str
    rows: Sequence[PaperRow]
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

    def placed(self, shown: int) -> Placed:
        """The title, so many rows, and what is told of the others."""
        return self.title, [*self.rows[:shown], *self._after(shown)]

    def _after(self, shown: int) -> list[Line]:
        told = self.more(shown) if shown < len(self.rows) else ""
        return [Line(told)] if told else []


def _column(blocks: Sequence[Block], height: float, width: float) -> list[Placed]:
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
    return [block.placed(n) for block, n in zip(blocks[:mine], shown[:mine], strict=True)]


def _ends(high: Sequence[Sequence[float]], shown: Sequence[int]) -> list[float]:
    """How far down every block reaches with so many of its rows."""
    return list(accumulate(tops[n] for tops, n in zip(high, shown, strict=True)))


def bar(parts: Sequence[tuple[float, float, str]]) -> Markup:
    """Bars in a row, each from one share of the width to another, in a colour."""
    return _SHEET.bar([(100 * start, 100 * (end - start), colour) for start, end, colour in parts])


def bars(lengths: Sequence[tuple[float, str]]) -> Markup:
    """Bars one under the other, each a share of the width long, in a colour."""
    each = 100 / max(len(lengths), 1)
    return _SHEET.bars([(n * each, 0.9 * each, 100 * long, colour) for n, (long, colour) in enumerate(lengths)])


def line(values: Sequence[float | None], levels: Sequence[float], span: tuple[float, float]) -> Markup:
    """A line through values in equal steps, drawn between the bounds of a span, and faint levels; gaps where null."""
    low, high = span
    step, scale = 100 / max(len(values) - 1, 1), 90 / ((high - low) or 1)
    runs: list[list[tuple[float, float]]] = [[]]
    for index, value in enumerate(values):
        if value is None:
            runs.append([])
        else:
            runs[-1].append((index * step, 95 - scale * (value - low)))
    return _SHEET.lines([95 - scale * (level - low) for level in levels], list(filter(None, runs)))
