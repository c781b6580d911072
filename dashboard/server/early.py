"""What a page stands on is begun when its address is asked for.

A browser takes a third of a second to load the pages' programs before it asks for anything; meanwhile the answer is
given, and kept for the page to find (`dashboard.kit.data`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from starlette.datastructures import Headers, QueryParams
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.kit import data

Answer = Callable[[], object]

#: What the pages show that are not about one machine or rack, in their order.
_STANDS_ON: Mapping[str, Sequence[Answer]] = {
    "": (data.report, data.plan, data.capacity, data.reliability),
    "round": (data.racks,),
    "stores": (data.stores,),
    "plan": (data.plan, data.loading, data.capacity),
    "upkeep": (data.reliability,),
    "review": (data.review_charts,),
}


class Early:
    """Begins the answers of every page that passes."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let everything pass as it is."""
        if scope["type"] == "http" and "text/html" in Headers(scope=scope).get("accept", ""):
            data.behind(partial(_give, answers(scope["path"].strip("/"), QueryParams(scope["query_string"]))))
        await self._app(scope, receive, send)


def answers(page: str, asked: Mapping[str, str]) -> Sequence[Answer]:
    """What a page with this address stands on; nothing for an address that is no page's."""
    machine, rack = asked.get("machine"), asked.get("rack")
    if machine and page in {"", "checkin"}:
        return (partial(data.machine_page, machine),)
    if machine and page == "upkeep":
        return (partial(data.machine_record, machine),)
    if rack and page == "round":
        return (partial(data.rack_round, rack),)
    return _STANDS_ON.get(page, ())


def _give(asked: Sequence[Answer]) -> None:
    for answer in asked:
        answer()
