"""What can be taken along: every table and every chart of the pages, a line each with its files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from urllib.parse import urlencode

import streamlit as st

from core.answer_tables import TABLES
from core.epoch import utc_now
from core.setup import Machine, Model, UpkeepTask
from dashboard.charts.drawn import AGE, DRAWINGS
from dashboard.kit import data, parts
from dashboard.kit.blocks import put
from dashboard.kit.menu import PAGES
from dashboard.templates.templating import macros
from dashboard.words import download_words as said

TABLE_KINDS, CHART_KINDS = {"csv": "CSV", "parquet": "Parquet"}, {"svg": "SVG", "png": "PNG"}

#: A table or a chart, and its files: of which kind, and where.
Row = tuple[str, list[tuple[str, str]]]

_PAGE = macros("downloads.html", said=said)


def page() -> None:
    """All there is, page by page; or what there is of the machine or item that the address names."""
    if refused := data.no_shop():
        parts.text("refused", refused.sentence)
        return
    by = parts.who()
    parts.text("ask", said.TITLE, tag="h2")
    kinds = _kinds()
    asked = next(((kind, code) for kind in kinds if (code := st.query_params.get(kind))), None)
    if asked and asked[1] not in kinds[asked[0]][1]:
        parts.text("refused", said.no_such(asked[1]))
        asked = None
    if asked:
        kind, code = asked
        title, names = kinds[kind]
        put(_PAGE.of_one(f"{title}: {names.get(code, code)}", list(_rows(kind, {kind: code})), _address(by, {})))
    else:
        mine = [name for page in PAGES for name in page.files if name not in kinds]
        pages = [(said.PAGES[name], list(_rows(name))) for name in mine]
        put(_PAGE.everything(pages, [(title, _links(kind, names, by)) for kind, (title, names) in kinds.items()]))


def _kinds() -> dict[str, tuple[str, dict[str, str]]]:
    """What there is one file of each for: its title, and the names of the codes."""
    machines = {row.machine: row.machine for row in data.setup().all(Machine, utc_now())}
    return {"machine": (said.MACHINES, machines), "item": (said.ITEMS, data.items()),
            "figure": (said.FIGURES, data.figures())}  # fmt: skip


def _rows(name: str, of: Mapping[str, str] | None = None) -> Iterator[Row]:
    """The tables and charts of a page, or of one machine or item."""
    known, now = data.setup(), utc_now()
    tasks = {task.task: task.name for task in known.all(UpkeepTask, now)}
    models = {model.model: model.name for model in known.all(Model, now)}
    several: dict[str, dict[str, str]] = {"model": models, "task": {AGE: said.AGE_NAME} | tasks}
    for table in TABLES:
        if table.startswith(f"{name}-"):
            yield _row("tables", table, said.TABLES[table], TABLE_KINDS, of or {})
    for drawing in DRAWINGS.values():
        kind = drawing.each or ""
        if kind in several and drawing.name.startswith(f"{name}-"):
            for code, which in several[kind].items():
                yield _chart(drawing.name, {kind: code}, which)
        elif (drawing.each or drawing.name.partition("-")[0]) == name:
            yield _chart(drawing.name, of or {})


def _chart(name: str, of: Mapping[str, str], which: str = "") -> Row:
    title = said.chart(said.CHARTS[name], which)
    return _row("charts", name, title, CHART_KINDS, of)


def _row(where: str, name: str, title: str, kinds: Mapping[str, str], of: Mapping[str, str]) -> Row:
    asked = f"?{urlencode(of)}" if of else ""
    return title, [(kind, f"/{where}/{name}.{ending}{asked}") for ending, kind in kinds.items()]


def _links(kind: str, names: Mapping[str, str], by: str | None) -> list[tuple[str, str]]:
    """Every machine or item, to come to its files."""
    return [(name, _address(by, {kind: code})) for code, name in names.items()]


def _address(by: str | None, of: Mapping[str, str]) -> str:
    asked = {**of, **({"by": by} if by else {})}
    return f"/downloads?{urlencode(asked)}"


if __name__ == "__main__":
    page()
