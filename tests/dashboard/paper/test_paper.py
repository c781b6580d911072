"""A sheet of paper: what fits on it, what is left out and said so, and that it needs nothing but itself."""

import re
from urllib.parse import unquote

import pytest
from markupsafe import Markup

from dashboard.paper import paper
from dashboard.paper.paper import Above, Block, Cells, Column, Drawn, Head, Line

HEAD = Head("Larkfield", "as at 06:00, Thu 26 Nov 2026", "Newest entry Thu 05:50.")


def lines(number: int, name: str = "line") -> list[Line]:
    return [Line(f"{name} {n}", "start a print", "Empty, since Wed 08:00") for n in range(number)]


def told(blocks: list[Block], above: float = 0.0) -> str:
    return paper.sheet(HEAD, [Column(1, blocks)] * 3, Above(Markup("<div></div>"), above))


def shown(page: str, name: str = "line") -> int:
    """How many lines are on the first of the three columns."""
    return len(re.findall(rf"<b>{name} \d+</b>", page.split('class="paper-column"')[1]))


def test_all_lines_stand_there_where_they_find_room():
    page = told([Block("Needs", lines(5), 1, lambda n: f"and {5 - n} more")])
    assert shown(page) == 5
    assert "more" not in page


def test_lines_without_room_are_counted():
    page = told([Block("Needs", lines(200), 1, lambda n: f"and {200 - n} more")])
    seen = shown(page)
    assert 10 < seen < 30
    assert f"<b>and {200 - seen} more</b>" in page


def test_what_is_shown_is_never_higher_than_the_sheet():
    blocks = [Block(f"Block {n}", lines(40, f"row{n}"), 2, lambda n: f"and {40 - n} more") for n in range(3)]
    for above in (0.0, 40.0, 90.0, 130.0):
        page = told(blocks, above)
        width = (paper.WIDTH - 2 * paper.GAP) / 3
        used = sum(
            block.heights(width)[shown(page, f"row{n}")]
            for n, block in enumerate(blocks)
            if f"<h2>{block.title}</h2>" in page
        )
        assert used + above <= paper.HEIGHT, above


def test_a_block_comes_before_the_lines_of_those_above_it():
    page = told([Block("First", lines(200), 1, lambda n: "more"), Block("Last", lines(5, "last"), 2, lambda n: "more")])
    assert shown(page, "last") == 2


def test_the_last_blocks_go_where_there_is_no_room_for_one_line_of_each():
    tall = [Block(f"Block {n}", lines(5), 2, lambda n: "more") for n in range(4)]
    page = told(tall, above=130.0)
    assert "Block 0" in page
    assert "Block 3" not in page


def test_a_table_is_whole_or_not_there():
    table = Block("Figures", [Cells((f"row {n}", "1"), (0.5, 0.5)) for n in range(6)])
    assert len(re.findall("row \\d", told([table]))) == 18  # six rows in three columns
    assert table.fewest() == 6


@pytest.mark.parametrize(
    ("words", "lines"),
    [("", 1), ("take parts off", 1), ("0123456789 " * 9, 3), ("0" * 90, 3), ("\N{CJK UNIFIED IDEOGRAPH-7269}" * 48, 3)],
)
def test_words_take_as_many_lines_as_they_need(words, lines):
    """80 mm are 22.7 letters of 10 points: 39.8 digits of 0.57, so three words of ten, a space of 0.3 after each."""
    assert paper.tall(words, 80, 10) == pytest.approx(lines * 10 * paper.POINT * paper.LEADING)


def test_words_are_text_and_never_markup():
    rude = "<i>&</i>"
    page = paper.document(rude, paper.sheet(Head(rude, rude, rude), [Column(1, [
        Block(rude, [Line(rude, rude, rude, rude), Cells((rude,), (1,)), Drawn(rude, Markup(), rude, 3, (1, 1, 1))]),
        Block(rude, lines(200), 0, lambda n: rude),
    ])]))  # fmt: skip
    assert "<i>&" not in page
    assert page.count("&lt;i&gt;&amp;&lt;/i&gt;") == 14


def test_a_code_a_range_and_a_number_with_its_unit_stay_together():
    assert paper.unbroken("F-001: 15 % (14-16), 100 g") == (
        "F\N{NON-BREAKING HYPHEN}001: 15\N{NO-BREAK SPACE}% (14\N{NON-BREAKING HYPHEN}16), 100\N{NO-BREAK SPACE}g"
    )


def test_a_document_needs_nothing_but_itself():
    drawn = Drawn("Printing", paper.line([1, None, 3, 4], [2], (0, 5)), "4", 7, (0.3, 0.5, 0.2))
    page = paper.document("Larkfield", told([Block("Changes", [drawn])]))
    assert page.startswith('<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">')
    assert "<script" not in page
    assert re.findall(r"(?:src|href)=\"(?!data:)", page) == []
    assert re.findall(r"url\(|@import", page) == []
    assert "size: A4 landscape" in page


def test_a_line_has_gaps_where_nothing_is_known():
    drawn = unquote(paper.line([1, 2, None, 3, 4], [2.5], (1, 4)))
    assert re.findall(r'points="([^"]*)"', drawn) == ["0.0,95.0 25.0,65.0", "75.0,35.0 100.0,5.0"]
    assert 'd="M0,50.0 H100"' in drawn


def test_bars_stand_from_share_to_share():
    drawn = unquote(paper.bar([(0, 0.25, "#000"), (0.25, 1, "#999")]))
    found = re.findall(r'x="([\d.]+)" width="([\d.]+)"', drawn)
    assert [tuple(map(float, pair)) for pair in found] == [(0, 25), (25, 75)]
