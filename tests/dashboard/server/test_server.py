"""The one process: who may ask it, what it owns, and what it leaves behind."""

import json
import signal
import socket
import sys
from http.client import HTTPConnection
from pathlib import Path
from threading import Event

import pytest
from playwright.sync_api import Browser

from core import answers
from core.entries import Looked
from core.epoch import utc_now
from core.log.store import Log
from dashboard.server import server
from dashboard.server.guard import POLICY
from dashboard.server.server import ANYWHERE, LOCAL
from tests.dashboard.serving import Serving, Start, make_shop, run
from tests.patience import DEADLINE


def a_look(saw: str = "printing") -> dict[str, object]:
    now = utc_now()
    return Looked(at=now, noted_at=now, by="AB", machine="A1", saw=saw).model_dump(mode="json")


def post(serving: Serving, job: str, arguments: object, **headers: str) -> tuple[int, dict[str, object]]:
    allowed = {"Authorization": f"Bearer {serving.owner.token}"} | headers
    status, text = serving.send("POST", f"/local/{job}", json.dumps(arguments), allowed)
    return status, json.loads(text) if text.startswith("{") else {}


def handshake(serving: Serving, origin: str) -> str:
    """The status line a WebSocket of the pages is answered with, opened by a page of `origin`."""
    lines = (
        "GET /_stcore/stream HTTP/1.1", f"Host: 127.0.0.1:{serving.port}", f"Origin: {origin}",
        "Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==", "", "",
    )  # fmt: skip
    with socket.create_connection(("127.0.0.1", serving.port), timeout=DEADLINE) as sock:
        sock.sendall("\r\n".join(lines).encode())
        return sock.recv(1000).decode().splitlines()[0]


def test_the_pages_are_served(serving: Serving) -> None:
    status, page = serving.send("GET", "/")
    assert status == 200
    assert "<html" in page
    assert serving.send("GET", "/_stcore/health") == (200, "ok")
    assert handshake(serving, f"http://127.0.0.1:{serving.port}").startswith("HTTP/1.1 101")


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/checkin", "/files/none.csv", "/nowhere"])
def test_every_answer_says_that_nobody_may_frame_it_and_nothing_comes_from_elsewhere(
    serving: Serving, path: str
) -> None:
    _, headers, _ = serving.download(path)
    assert {name: headers.get(name) for name in POLICY} == POLICY


def test_a_host_that_is_not_ours_is_told_so_too(serving: Serving) -> None:
    connection = HTTPConnection("127.0.0.1", serving.port, timeout=DEADLINE)
    connection.request("GET", "/", headers={"Host": "elsewhere.example"})
    answer = connection.getresponse()
    assert (answer.status, answer.getheader("x-frame-options")) == (403, "DENY")
    connection.close()


def test_a_page_of_another_site_cannot_show_ours_in_a_frame(serving: Serving, chromium: Browser) -> None:
    context = chromium.new_context()
    page = context.new_page()
    frame = f'<html><body><iframe src="{serving.owner.url}/checkin" width=390 height=800></iframe></body></html>'
    page.route("http://elsewhere.example/**", lambda route: route.fulfill(body=frame, content_type="text/html"))
    page.goto("http://elsewhere.example/", wait_until="load")
    (framed,) = page.main_frame.child_frames
    assert "Roundsheet" not in framed.content()
    assert framed.url != f"{serving.owner.url}/checkin"
    context.close()


def test_a_second_process_is_refused_in_one_sentence_that_names_the_first(serving: Serving) -> None:
    second = run("serve", "--shop", serving.shop, "--port", 0, cwd=serving.shop.parent)
    assert second.returncode == 1
    assert second.stdout == ""
    assert len(second.stderr.splitlines()) == 1
    assert f"process {serving.process.pid}" in second.stderr
    assert serving.owner.url in second.stderr


def test_a_taken_port_is_refused_and_the_file_let_go(serving: Serving, tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "other.duckdb")
    refused = run("serve", "--shop", shop, "--port", serving.port, cwd=tmp_path)
    assert refused.returncode == 1
    assert len(refused.stderr.splitlines()) == 1
    assert f"port {serving.port}" in refused.stderr
    Log.open(shop).close()


def test_an_entry_goes_in_through_the_local_route_once(serving: Serving) -> None:
    look = a_look("done")  # as nobody else saw it within the minute
    status, first = post(serving, "entries", {"entries": [look]})
    assert status == 200
    assert [entry["id"] for entry in first["recorded"]] == [look["id"]]  # type: ignore[attr-defined, index]
    _, again = post(serving, "entries", {"entries": [look]})
    assert again["recorded"] == []
    assert [entry["id"] for entry in again["already"]] == [look["id"]]  # type: ignore[attr-defined, index]


@pytest.mark.parametrize(
    ("job", "arguments", "rule"),
    [
        ("entries", {"entries": [a_look() | {"machine": "Z9"}]}, "machine_is_known"),
        ("entries", {"entries": [{"kind": "Looked"}]}, "bad_arguments"),
        ("entries", {"entry": []}, "bad_arguments"),
        ("entries", [], "bad_arguments"),
        ("export", {"folder": "here"}, "path_not_absolute"),
        ("anything", {}, "no_such_job"),
    ],
)
def test_a_refusal_comes_over_the_route_with_its_rule(serving: Serving, job: str, arguments: object, rule: str) -> None:
    status, refusal = post(serving, job, arguments)
    assert status == 400
    assert refusal["rule"] == rule
    assert str(refusal["sentence"]).endswith(".")


@pytest.mark.parametrize(
    "headers",
    [
        {"Authorization": ""},
        {"Authorization": "Bearer guessed"},
        {"Host": "192.0.2.7:8551"},
        {"Host": "rebound.example"},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
    ],
)
def test_who_may_not_ask_is_turned_away(serving: Serving, headers: dict[str, str]) -> None:
    look = a_look()
    status, _ = post(serving, "entries", {"entries": [look]}, **headers)
    assert status == 403
    _, later = post(serving, "entries", {"entries": [look]})
    assert look["id"] not in [entry["id"] for entry in later["already"]]  # type: ignore[attr-defined, index]


def test_even_a_page_of_its_own_may_not_use_the_local_routes(serving: Serving) -> None:
    status, _ = post(serving, "entries", {"entries": []}, Origin=f"http://127.0.0.1:{serving.port}")
    assert status == 403


def test_pages_answer_to_their_own_name_alone(serving: Serving) -> None:
    assert serving.send("GET", "/", headers={"Host": "rebound.example"})[0] == 403
    assert serving.send("GET", "/", headers={"Host": f"localhost:{serving.port}"})[0] == 200
    assert serving.send("GET", "/", headers={"Host": "192.0.2.7:8551"})[0] == 200
    assert "403" in handshake(serving, "http://elsewhere.example")


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_a_stop_leaves_one_whole_file(start: Start, tmp_path: Path, stop: signal.Signals) -> None:
    serving = start(make_shop(tmp_path / "shop.duckdb"))
    status, _ = post(serving, "entries", {"entries": [a_look()]})
    assert status == 200
    serving.process.send_signal(stop)
    out, err = serving.process.communicate(timeout=DEADLINE)
    assert (serving.process.returncode, out, err) == (0, "", "")
    assert {file.name for file in tmp_path.iterdir()} <= {"shop.duckdb", "shop.duckdb.lock"}
    with Log.open(serving.shop) as log:
        assert log.everything().height == 1


def test_demo_serves_what_it_made(start: Start, tmp_path: Path) -> None:
    size = ("--machines", 2, "--weeks", 1, "--no-browser")
    serving = start(tmp_path / "larkfield.duckdb", *size, verb="demo")
    status, out = post(serving, "export", {"folder": str(tmp_path / "out")})
    assert status == 200, out
    assert "Larkfield Hive Fittings" in (tmp_path / "out" / "shop.csv").read_text(encoding="utf-8")
    serving.stop()


def test_another_address_is_plainly_said_to_be_open(start: Start, tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "shop.duckdb")
    serving = start(shop, "--address", ANYWHERE)
    assert post(serving, "entries", {"entries": [a_look()]})[0] == 200
    _, said = serving.stop()
    assert "no access control yet" in said
    assert f"http://{socket.gethostname()}:{serving.port}" in said


def test_it_listens_on_this_computer_alone_unless_told(serving: Serving) -> None:
    own = socket.gethostbyname(socket.gethostname())
    elsewhere = own if not own.startswith("127.") else "127.0.0.2"
    with pytest.raises((ConnectionRefusedError, TimeoutError)):
        socket.create_connection((elsewhere, serving.port), timeout=DEADLINE)


#: The command line with an ear on its sockets: every host it turns to goes to standard error.
LISTENED = """
import sys
def heard(event, args):
    target = args[1] if event == "socket.connect" else args[0] if event == "socket.getaddrinfo" else None
    if target is not None and not str(target).startswith(("('127.0.0.1'", "127.0.0.1", "localhost")):
        print("turned to", target, file=sys.stderr)
sys.addaudithook(heard)
from dashboard.cli import main
main()
"""


def test_it_turns_to_no_other_host(start: Start, tmp_path: Path) -> None:
    serving = start(make_shop(tmp_path / "shop.duckdb"), command=[sys.executable, "-c", LISTENED])
    assert serving.send("GET", "/")[0] == 200
    assert "101" in handshake(serving, f"http://127.0.0.1:{serving.port}")
    assert "403" in handshake(serving, "http://elsewhere.example")
    _, said = serving.stop()
    assert "turned to" not in said


def test_what_plays_the_shop_forward_is_brought_before_anybody_asks(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    brought = Event()
    monkeypatch.setattr(answers, "ready_to_play", brought.set)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    for asked in ("_app", "_run"):
        monkeypatch.setattr(server, asked, lambda *_: None)
    server.serve(make_shop(tmp_path / "shop.duckdb"), LOCAL, 0, browser=False)
    assert brought.wait(60)


def test_a_tap_into_a_file_that_was_deleted_is_refused_and_the_rest_of_it_left(start: Start, tmp_path: Path) -> None:
    serving = start(make_shop(tmp_path / "shop.duckdb"))
    assert post(serving, "entries", {"entries": [a_look()]})[0] == 200
    serving.shop.unlink()
    status, refusal = post(serving, "entries", {"entries": [a_look("done")]})
    assert (status, refusal["rule"]) == (400, "file_gone")
    serving.stop()
    again = run("import", tmp_path, "--shop", serving.shop, cwd=tmp_path)
    assert again.returncode == 1
    assert "holds entries of a file that is not there" in again.stderr
    assert not serving.shop.exists()
