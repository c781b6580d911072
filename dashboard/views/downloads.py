"""What can be taken along: every table and every chart of the pages, a line each with its files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from urllib.parse import urlencode

import streamlit as st

from core.epoch import utc_now
from core.setup import Machine, Model, UpkeepTask
from core.tables import TABLES
from dashboard.charts.drawn import AGE, DRAWINGS
from dashboard.kit import data, parts
from dashboard.kit.menu import PAGES
from dashboard.words import download_words as said

TABLE_KINDS, CHART_KINDS = {"csv": "CSV", "parquet": "Parquet"}, {"svg": "SVG", "png": "PNG"}


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
        st.html(_of_one(f"{title}: {names.get(code, code)}", _rows(kind, {kind: code}), by))
    else:
        pages = [name for page in PAGES for name in page.files if name not in kinds]
        folded = [_folded(said.PAGES[name], _table(_rows(name))) for name in pages]
        folded += [_folded(title, _links(kind, names, by)) for kind, (title, names) in kinds.items()]
        told = "".join(f"<p>{line}</p>" for line in said.INTRO)
        st.html(f'<section class="rs rs-take">{told}{"".join(folded)}</section>')


def _kinds() -> dict[str, tuple[str, dict[str, str]]]:
    """What there is one file of each for: its title, and the names of the codes."""
    machines = {row.machine: row.machine for row in data.setup().all(Machine, utc_now())}
    return {"machine": (said.MACHINES, machines), "item": (said.ITEMS, data.items()),
            "figure": (said.FIGURES, data.figures())}  # fmt: skip


def _of_one(title: str, rows: Iterable[str], by: str | None) -> str:
    back = f'<div><a href="{_address(by, {})}">{said.BACK}</a></div>'
    return f'<section class="rs rs-take"><h2>{escape(title)}</h2>{_table(rows)}{back}</section>'


def _folded(title: str, body: str) -> str:
    return f"<details><summary>{title}</summary>{body}</details>"


def _table(rows: Iterable[str]) -> str:
    return f"<table><tbody>{''.join(rows)}</tbody></table>"


def _rows(name: str, of: Mapping[str, str] | None = None) -> Iterator[str]:
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


def _chart(name: str, of: Mapping[str, str], which: str = "") -> str:
    title = said.chart(said.CHARTS[name], which)
    return _row("charts", name, title, CHART_KINDS, of)


def _row(where: str, name: str, title: str, kinds: Mapping[str, str], of: Mapping[str, str]) -> str:
    asked, told = f"?{urlencode(of)}" if of else "", escape(title)
    links = "".join(
        f'<td><a href="{escape(f"/{where}/{name}.{ending}{asked}")}" aria-label="{kind}: {told}">{kind}</a></td>'
        for ending, kind in kinds.items()
    )
    return f'<tr><th scope="row">{told}</th>{links}</tr>'


def _links(kind: str, names: Mapping[str, str], by: str | None) -> str:
    """Every machine or item, to come to its files."""
    links = (f'<a href="{_address(by, {kind: code})}">{escape(name)}</a>' for code, name in names.items())
    return f"<div>{''.join(links)}</div>"


def _address(by: str | None, of: Mapping[str, str]) -> str:
    asked = {**of, **({"by": by} if by else {})}
    return escape(f"/downloads?{urlencode(asked)}")


if __name__ == "__main__":
    page()
