"""What a sheet of paper must be, as a real browser prints it."""

import re

import pytest
from playwright.sync_api import Page

A4 = (841.9, 595.3)
SMALLEST = 8 * 96 / 72
#: What is wider than its place, higher than its place, and text too small to read, of all that is printed.
CUT = """() => [...document.querySelectorAll(".paper, .paper *")].filter(e =>
  e.clientWidth && e.scrollWidth > e.clientWidth ||
  e.clientHeight && e.scrollHeight > e.clientHeight && !e.matches(".paper-ruled")
).map(e => `${e.tagName} ${e.className} ${e.textContent.slice(0, 40)}`)"""
SIZES = """() => [...document.querySelectorAll(".paper *")]
  .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
  .map(e => parseFloat(getComputedStyle(e).fontSize))"""


def must_be_one_whole_sheet(page: Page) -> str:
    """Print the page and look at it as it is printed; what is read on it."""
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1
    (box,) = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert [float(length) for length in box] == pytest.approx(A4, abs=1)
    page.emulate_media(media="print")
    assert page.evaluate(CUT) == []
    assert min(page.evaluate(SIZES)) >= SMALLEST - 0.01
    return page.locator("body").inner_text()
