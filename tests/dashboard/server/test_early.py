"""What a page stands on is begun when its address is asked for, and nothing else is changed by it."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.responses import PlainTextResponse
from starlette.types import Message

from dashboard.kit.behind import Behind
from dashboard.server.early import Early


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """By what names work is begun behind the pages; none is done."""
    names: list[object] = []
    monkeypatch.setattr(Behind, "begin", lambda _, name, __: names.append(name))
    return names


def pass_through(path: str, query: bytes = b"", accept: bytes = b"text/html,*/*") -> bytes:
    """The body that comes out behind it."""
    sent: list[Message] = []
    headers = [(b"accept", accept)]
    scope = {"type": "http", "method": "GET", "path": path, "query_string": query, "headers": headers}

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    with ThreadPoolExecutor(1) as thread:  # a browser test may have left a loop running in this one
        thread.submit(lambda: asyncio.run(Early(PlainTextResponse("as it is"))(scope, receive, send))).result()
    return b"".join(message.get("body", b"") for message in sent)


@pytest.mark.parametrize(
    ("path", "query", "names"),
    [
        ("/", b"by=ro", [("", (None,))]),
        ("/", b"machine=P01", [("", ("P01",))]),
        ("/checkin", b"machine=P01&by=ro", [("checkin", ("P01",))]),
        ("/round/", b"rack=A", [("round", ("A",))]),
        ("/stores", b"item=petg-grey&by=ro", [("stores", ())]),
        ("/no-page", b"machine=P01", []),
    ],
)
def test_a_page_is_begun_by_what_it_is_of_whoever_asks_and_all_passes_as_it_is(begun, path, query, names):
    assert pass_through(path, query) == b"as it is"
    assert begun == names


def test_only_pages_begin_anything(begun):
    assert pass_through("/", accept=b"*/*") == b"as it is"
    assert begun == []
