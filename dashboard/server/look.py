"""The style of the pages and where their server is, in the HTML that is sent: nothing jumps, and nothing is guessed.

Streamlit gives a control that has a `key` a class of the same name, and the beginnings of the names say
what a control is: `main-` an act, `apart-` an act kept away from the others, `tile-` one of many choices,
`step-` plus or minus, `quiet-` what is seldom needed. Sizes are CSS pixels.
"""

from __future__ import annotations

from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.kit.streamlit_inside import HERE, SHEET

_HERE = Path(__file__).parent
_PAGES = _HERE.parent
#: What reaches into Streamlit's own, what every page needs, what the owner's pages need, what is printed.
SHEETS = (SHEET, _HERE / "look.css", _PAGES / "views" / "owner.css", _PAGES / "paper" / "paper.css")
#: What would let the page answer with something that cannot be added to: packed, in part, or not at all.
_PLAINLY = (b"accept-encoding", b"if-none-match", b"if-modified-since", b"range")


class Look:
    """Adds the style sheets, and where the server is, to the head of every HTML page that passes."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        style = b"<style>" + b"".join(sheet.read_bytes() for sheet in SHEETS) + b"</style>"
        self._more = style + HERE + b"</head>"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let everything but pages pass as it is."""
        if scope["type"] == "http" and "text/html" in Headers(scope=scope).get("accept", ""):
            headers = [pair for pair in scope["headers"] if pair[0] not in _PLAINLY]
            await self._app({**scope, "headers": headers}, receive, _Dressing(send, self._more))
        else:
            await self._app(scope, receive, send)


class _Dressing:
    """Holds the start of an HTML answer back until its length is known."""

    def __init__(self, send: Send, more: bytes) -> None:
        self._send = send
        self._more = more
        self._start: Message | None = None
        self._body = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_page(message):
            self._start = message
        elif self._start is None or message["type"] != "http.response.body":
            await self._send(message)
        else:
            await self._page(message)

    async def _page(self, message: Message) -> None:
        self._body += message.get("body", b"")
        if message.get("more_body") or self._start is None:
            return
        body = self._body.replace(b"</head>", self._more, 1)
        headers = MutableHeaders(scope=self._start)
        if body:  # the answer to HEAD has none
            headers["content-length"] = str(len(body))
        for name in ("etag", "last-modified", "accept-ranges"):
            del headers[name]
        await self._send(self._start)
        await self._send({"type": "http.response.body", "body": body})


def _is_page(start: Message) -> bool:
    return start["status"] == 200 and Headers(raw=start["headers"]).get("content-type", "").startswith("text/html")
