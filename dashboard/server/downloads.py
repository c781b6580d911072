"""The files that the page Downloads leads to: a table or a chart of what the pages show, made when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, get_args
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from core.answer_tables import TABLES, written
from core.epoch import utc_now
from core.errors import Refused
from dashboard.charts import charts
from dashboard.charts.drawn import DRAWINGS, Drawing, Each, Seen
from dashboard.kit import data, menu
from dashboard.words import download_words as said

MEDIA = {
    "csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet",
    "svg": "image/svg+xml", "png": "image/png",
}  # fmt: skip


class File(NamedTuple):
    """A file to download: its name without the ending, its kind, and which machine, item or model it is of."""

    name: str
    kind: Any
    of: Mapping[str, str]


def download_routes() -> list[Route]:
    """`GET /tables/<name>.csv` or `.parquet`, `GET /charts/<name>.svg` or `.png`.

    Those of one machine, item or model take its code as `machine`, `item` or `model`. Answers 404 with a sentence where
    there is no such file, or nothing to draw. They tell what the pages tell, to whoever may see the pages.
    """
    return [Route("/tables/{file}", _answering(_table)), Route("/charts/{file}", _answering(_chart))]


def _answering(make: Callable[[File], bytes]) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        name, _, kind = request.path_params["file"].rpartition(".")
        file = File(name, kind, request.query_params)
        try:
            return _sent(await run_in_threadpool(make, file), file)
        except Refused as refused:
            return PlainTextResponse(refused.sentence, status_code=404)

    return answer


def _sent(content: bytes, file: File) -> Response:
    day = utc_now().astimezone(data.setup().zone).date().isoformat()
    codes = [file.of[each] for each in get_args(Each) if each in file.of]
    name = quote("-".join([file.name, *codes, day]), safe="")
    headers = {
        "Content-Disposition": f"attachment; filename*=UTF-8''{name}.{file.kind}",
        "Cache-Control": "no-store",
        "X-Content-Type-Options": "nosniff",
    }
    return Response(content, media_type=MEDIA[file.kind], headers=headers)


def _table(file: File) -> bytes:
    table = TABLES.get(file.name)
    if table is None or file.kind not in ("csv", "parquet"):
        raise Refused("no_such_file", said.no_such(f"{file.name}.{file.kind}"))
    return written(table.of(menu.answer(table.answer, file.of)), file.kind)


def _chart(file: File) -> bytes:
    drawing = DRAWINGS.get(file.name)
    if drawing is None or file.kind not in ("svg", "png"):
        raise Refused("no_such_file", said.no_such(f"{file.name}.{file.kind}"))
    code = file.of.get(drawing.each, "") if drawing.each else ""
    seen = Seen(data.names(), data.clock(), code)
    chart = drawing.draw(menu.answer(drawing.answer, file.of), seen)
    if chart is None:
        raise Refused("nothing_to_draw", said.NOTHING)
    return charts.picture(chart, file.kind, said.CHARTS[file.name], _told(drawing, seen))


def _told(drawing: Drawing[Any], seen: Seen) -> list[str]:
    """What stands under the heading of a chart that stands alone: what it needs to be read, of what it is, and when."""
    shop = data.setup().shop(seen.clock.at).name
    known = {"item": data.items, "figure": data.figures}.get(drawing.each or "", dict)
    name = known().get(seen.code, seen.code)
    key = [said.KEYS[drawing.name]] if drawing.name in said.KEYS else []
    return [*key, ", ".join(filter(None, [name, shop, seen.clock.full(seen.clock.at)]))]
