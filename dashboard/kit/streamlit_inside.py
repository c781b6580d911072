"""Streamlit's inner ways: all that the pages stand on though Streamlit does not promise it.

What its documentation promises may be used anywhere: `st.…`, `st.App`, the class `st-key-…` of whatever has a key.
All else may change with its next minor version, which is why the version is pinned; it stands here or, where it
reaches into what Streamlit draws, in `streamlit.css`. Every piece has a canary that says what broke and where to look,
in `tests/dashboard/kit/test_streamlit_inside.py`, and in `tests/floor/test_streamlit_inside.py` what only a browser can
tell.
"""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.state import SafeSessionState
from streamlit.web import bootstrap

#: The rules that reach into what Streamlit draws.
SHEET = Path(__file__).with_name("streamlit.css")
#: Where the server answers: Streamlit would ask below the address of the page first, in vain, and wait 0.2 s.
HERE = b"<script>window.__streamlit = {BACKEND_BASE_URL: location.origin};</script>"


def load_config(file: Path, address: str, port: int) -> None:
    """Give Streamlit the options of a `config.toml` as if on its command line, so that no other folder's file counts.

    `st.App` reads its options where it is made and takes none as arguments.
    """
    with file.open("rb") as toml:
        options = dict(flat(tomllib.load(toml)))
    bootstrap.load_config_options(options | {"server.address": address, "server.port": port})


def flat(table: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """The options of a `config.toml` by their full names."""
    for name, value in table.items():
        if isinstance(value, dict):
            yield from flat(value, f"{prefix}{name}.")
        else:
            yield prefix + name, value


def keep_taps() -> None:
    """Let every run of a page take in its taps, whatever comes meanwhile.

    Streamlit asks first whether a newer tap waits, ends the run if so, and what was tapped before is lost.
    """

    def take_in(state: SafeSessionState, *told: Any, **more: Any) -> None:
        with state._lock:  # noqa: SLF001 - there is no other way in
            state._state.on_script_will_rerun(*told, **more)  # noqa: SLF001

    SafeSessionState.on_script_will_rerun = take_in  # type: ignore[assignment, method-assign]


def draws_a_page() -> bool:
    """Whether this thread draws a page, so that somebody may be tapping at it."""
    return get_script_run_ctx(suppress_warning=True) is not None


def give_way() -> None:
    """End the drawing of this page if a tap waits: any question about the session does, whatever it asks for.

    The runs of a session follow each other, and one is ended only where it asks Streamlit for something.
    """
    st.session_state.get("floor")
