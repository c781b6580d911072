"""What a page stands on is begun when its address is asked for, once, and nothing else is changed by it."""

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import streamlit as st
from starlette.responses import PlainTextResponse
from starlette.types import Message

from core import answers as core_answers
from core.errors import Refused
from core.log.store import Log
from dashboard.kit import data, shop
from dashboard.server.early import Early, answers
from demo.make import make

NAMES = ("floor", "machine_page", "machine_record", "rack_round", "reliability", "report", "review", "stores")


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The answers that are given of a small shop, by name."""
    path = tmp_path / "shop.duckdb"
    make(path, machines=2, weeks=1)
    told: list[str] = []

    def noting(name: str, answer: Callable[..., object]) -> Callable[..., object]:
        return lambda *args: told.append(name) or answer(*args)

    for name in NAMES:
        monkeypatch.setattr(core_answers, name, noting(name, getattr(core_answers, name)))
    st.cache_resource.clear()
    with Log.open(path) as log:
        shop.hold(log)
        yield told
        shop.hold(None)


@pytest.mark.parametrize(
    ("page", "asked", "answer", "then"),
    [
        ("", {}, "report", data.report),
        ("", {"machine": "P01"}, "machine_page", lambda: data.machine_page("P01")),
        ("checkin", {"machine": "P01", "by": "ro"}, "machine_page", lambda: data.machine_page("P01")),
        ("round", {"rack": "A"}, "rack_round", lambda: data.rack_round("A")),
        ("round", {}, "floor", data.racks),
        ("stores", {"item": "petg-grey"}, "stores", data.stores),
        ("upkeep", {"machine": "P01"}, "machine_record", lambda: data.machine_record("P01")),
        ("upkeep", {}, "reliability", data.reliability),
        ("review", {}, "review", data.review),
    ],
)
def test_what_was_begun_is_what_the_page_finds(given, monkeypatch, page, asked, answer, then):
    monkeypatch.setattr(data, "moment", lambda: (str(shop.current_log().path), shop.current_log().version(), 0))
    for each in answers(page, asked):
        each()
    then()
    assert given.count(answer) == 1


@pytest.mark.parametrize(("page", "asked"), [("downloads", {}), ("no-page", {"machine": "P01"}), ("checkin", {})])
def test_nothing_is_begun_where_nothing_is_shown(page, asked):
    assert answers(page, asked) == ()


def pass_through(headers: list[tuple[bytes, bytes]]) -> bytes:
    """The body that comes out behind it for the owner's page."""
    sent: list[Message] = []
    scope = {"type": "http", "method": "GET", "path": "/", "query_string": b"by=ro", "headers": headers}

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    with ThreadPoolExecutor(1) as thread:  # a browser test may have left a loop running in this one
        thread.submit(lambda: asyncio.run(Early(PlainTextResponse("as it is"))(scope, receive, send))).result()
    return b"".join(message.get("body", b"") for message in sent)


@pytest.mark.parametrize(("accept", "begun"), [(b"text/html,*/*", 1), (b"*/*", 0)])
def test_only_pages_begin_anything_and_all_passes_as_it_is(monkeypatch, accept, begun):
    works: list[object] = []
    monkeypatch.setattr(data, "behind", works.append)
    assert pass_through([(b"accept", accept)]) == b"as it is"
    assert len(works) == begun


@pytest.mark.usefixtures("given")
def test_what_is_refused_is_left_for_the_page_to_say():
    (asked,) = answers("upkeep", {"machine": "Z9"})
    with pytest.raises(Refused, match="no machine Z9"):
        asked()
    data.behind(asked)
