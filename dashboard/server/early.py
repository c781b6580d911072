"""What a page stands on is begun when its address is asked for.

A browser takes a third of a second to load the pages' programs before it asks for anything; meanwhile the answer is
given, and kept for the page to find (`dashboard.kit.keeping`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from starlette.datastructures import Headers, QueryParams
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.kit.behind import Behind
from dashboard.kit.menu import PAGES

#: Pages whose answers are begun at the same time.
AT_ONCE = 4


class Early:
    """Begins the answers of every page that passes."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._behind = Behind(AT_ONCE)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let everything pass as it is."""
        if scope["type"] == "http" and "text/html" in Headers(scope=scope).get("accept", ""):
            self._begin(scope["path"].strip("/"), QueryParams(scope["query_string"]))
        await self._app(scope, receive, send)

    def _begin(self, address: str, asked: QueryParams) -> None:
        page = next((page for page in PAGES if page.address == address), None)
        if page:
            self._behind.begin((address, page.codes(asked)), partial(_give, page.asks(asked)))


def _give(asks: Iterable[Callable[[], Any]]) -> None:
    for ask in asks:
        ask()
