"""The style sheet travels in the head of every page, and nothing else is touched."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.responses import HTMLResponse, PlainTextResponse
from starlette.types import ASGIApp, Message

from dashboard.server.look import Look

PAGE = "<html><head><title>Roundsheet</title></head><body></body></html>"


def answer(app: ASGIApp, accept: str, method: str = "GET") -> tuple[dict[str, str], bytes]:
    """The headers and the body of the app's answer behind the look."""
    sent: list[Message] = []
    scope = {"type": "http", "method": method, "path": "/", "headers": [
        (b"accept", accept.encode()), (b"accept-encoding", b"gzip"), (b"if-none-match", b"x"),
    ]}  # fmt: skip

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    with ThreadPoolExecutor(1) as thread:  # a browser test may have left a loop running in this one
        thread.submit(lambda: asyncio.run(Look(app)(scope, receive, send))).result()
    headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return headers, b"".join(message.get("body", b"") for message in sent)


def test_a_page_carries_the_style_sheet_before_its_body():
    headers, body = answer(HTMLResponse(PAGE, headers={"etag": "x"}), "text/html")
    head, _, rest = body.partition(b"</head>")
    assert b".st-key-slot" in head
    assert rest == b"<body></body></html>"
    assert headers["content-length"] == str(len(body))
    assert "etag" not in headers


@pytest.mark.parametrize("status", [404, 500])
def test_an_error_passes_as_it_is(status):
    _, body = answer(HTMLResponse(PAGE, status), "text/html")
    assert body == PAGE.encode()


def test_what_is_no_page_passes_as_it_is():
    _, body = answer(PlainTextResponse("</head>"), "text/html")
    assert body == b"</head>"
    _, body = answer(HTMLResponse(PAGE), "*/*")
    assert body == PAGE.encode()


def test_the_app_is_asked_for_a_whole_page_unpacked():
    async def app(scope, receive, send):
        assert dict(scope["headers"]) == {b"accept": b"text/html"}
        await HTMLResponse(PAGE)(scope, receive, send)

    answer(app, "text/html")
