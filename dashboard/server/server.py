"""The one process: it owns the shop's file, serves the pages and answers the local routes."""

import os
import secrets
import signal
import socket
import sysconfig
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click
import streamlit as st
import uvicorn
from starlette.middleware import Middleware

from core import answers
from core.errors import Refused
from core.log.lock import Owner
from core.log.store import Log
from dashboard.kit import shop
from dashboard.kit.streamlit_inside import keep_taps, load_config
from dashboard.server.downloads import download_routes
from dashboard.server.early import Early
from dashboard.server.guard import LOCAL_NAMES, Policy, SameOrigin
from dashboard.server.look import Look
from dashboard.server.routes import local_routes

LOCAL = "127.0.0.1"
ANYWHERE = "0.0.0.0"  # only where asked for, and said
APP = Path(__file__).parents[1] / "app.py"
_SOURCE = Path(__file__).parents[2] / ".streamlit" / "config.toml"
_INSTALLED = Path(sysconfig.get_path("data")) / "share" / "roundsheet" / "config.toml"
CONFIG = _SOURCE if _SOURCE.exists() else _INSTALLED


def serve(path: Path, address: str, port: int, browser: bool) -> None:
    """Serve the shop in a file until Ctrl-C or SIGTERM; then the file is whole and free again.

    Raises `Refused` before anything listens: the file is in use or no shop's, the port is taken.
    """
    for name in ("SIGTERM", "SIGBREAK"):
        if hasattr(signal, name):
            # uvicorn stops serving on these and raises them again: end by way of every `finally`.
            signal.signal(getattr(signal, name), _end)
    try:
        with Log.open(path) as log, _listening(address, port) as sockets, _held(log):
            port = sockets[0].getsockname()[1]
            url = f"http://{LOCAL}:{port}"
            token = secrets.token_urlsafe(32)
            log.announce(Owner(os.getpid(), url, token))
            _say_where(log.path, url, address, port)
            # Nobody waits for it unless they ask for a plan before it is there, and then for no second time.
            threading.Thread(target=answers.ready_to_play, daemon=True).start()
            if browser:
                threading.Thread(target=webbrowser.open, args=[url], daemon=True).start()
            _run(_app(log, token, address, port), sockets)
    except KeyboardInterrupt:
        pass


def _app(log: Log, token: str, address: str, port: int) -> st.App:
    load_config(CONFIG, address, port)
    keep_taps()
    middleware = [Middleware(Policy), Middleware(SameOrigin, address=address), Middleware(Look), Middleware(Early)]
    return st.App(APP, routes=[*local_routes(log, token), *download_routes()], middleware=middleware)


def _run(app: st.App, sockets: list[socket.socket]) -> None:
    config = uvicorn.Config(
        app, ws="websockets-sansio", log_level="warning", access_log=False, timeout_graceful_shutdown=5
    )
    server = uvicorn.Server(config)
    server.run(sockets)
    if not server.started:
        raise Refused("not_started", "The pages could not be started: the lines above say why.")


@contextmanager
def _held(log: Log) -> Iterator[None]:
    shop.hold(log)
    try:
        yield
    finally:
        shop.hold(None)


@contextmanager
def _listening(address: str, port: int) -> Iterator[list[socket.socket]]:
    """Sockets that listen: this computer's own address, for its command line, and the one asked for.

    They are bound before Streamlit starts, so a taken port is one sentence and not the next port.
    """
    own = [] if address == ANYWHERE else [LOCAL]
    asked = [] if address in (LOCAL, "localhost") else [address]
    with ExitStack() as stack:
        sockets: list[socket.socket] = []
        for each in own + asked:
            sockets.append(stack.enter_context(_bound(each, port)))
            port = sockets[0].getsockname()[1]  # port 0 is any free one, the same for both
        yield sockets


def _bound(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        return socket.create_server((address, port), family=family)
    except OSError as error:
        raise Refused(
            "cannot_listen",
            f"Roundsheet cannot listen at {address} port {port} ({error.strerror or error}): "
            "stop what uses it, or choose another with --port or --address.",
        ) from None


def is_local(address: str) -> bool:
    """Whether only this computer can reach a server that listens at `address`."""
    return address in LOCAL_NAMES


def _say_where(path: Path, url: str, address: str, port: int) -> None:
    click.echo(f"Roundsheet serves {path} at {url} - Ctrl-C stops it.")
    if not is_local(address):
        name = socket.gethostname() if address == ANYWHERE else f"[{address}]" if ":" in address else address
        click.echo(
            f"Other devices reach it at http://{name}:{port}, and there is no access control yet: "
            "anybody on that network can read and enter.",
            err=True,
        )


def _end(*_: object) -> None:
    raise SystemExit(0)
