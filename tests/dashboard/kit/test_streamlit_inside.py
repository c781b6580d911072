"""Canaries: each says in plain words what broke and where to look, when a new Streamlit goes other ways inside.

Every canary is a check that raises `AssertionError` with that sentence; its breakage is planted to see it say so.
"""

import ast
import gc
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from types import SimpleNamespace
from typing import Any, cast

import pytest
import streamlit
from streamlit import config
from streamlit.runtime.app_session import AppSession, AppSessionState
from streamlit.runtime.scriptrunner import ScriptRunner, script_runner
from streamlit.runtime.scriptrunner_utils.exceptions import RerunException
from streamlit.runtime.scriptrunner_utils.script_requests import RerunData
from streamlit.runtime.state import SafeSessionState
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.local_script_runner import LocalScriptRunner

from dashboard.kit import streamlit_inside
from dashboard.server.server import CONFIG
from tests.dashboard.serving import ROOT
from tests.patience import DEADLINE

#: A check, or a breakage of what it checks; what it patches is put back.
Canary = Callable[[pytest.MonkeyPatch], object]

PAGE = Path(streamlit.__file__).parent / "static" / "index.html"
GC = "runner.postScriptGC"
KNOWN = config.get_config_options().keys()
#: What of Streamlit is documented, so that any page may import it.
DOCUMENTED = {"streamlit", "streamlit.delta_generator"}


def drawn(page: Callable[..., None], **told: Any) -> AppTest:
    """A page drawn by Streamlit itself, to its end, however busy the machine."""
    found = AppTest.from_function(page, default_timeout=DEADLINE, kwargs=told).run()
    assert found.text, "nothing was drawn"
    return found


def a_page() -> None:
    import streamlit as st

    st.text("drawn")


def a_button(taken: list[str]) -> None:
    """A page that takes in a tap as `parts.pressed` does."""
    import streamlit as st

    st.button("tap", on_click=lambda: taken.append("tapped"))
    st.text("drawn")


def taken_of_two_quick_taps(patch: pytest.MonkeyPatch) -> list[str]:
    """What is taken in of a tap where the next one waits at the first moment that Streamlit looks for one."""
    taken: list[str] = []
    page = drawn(a_button, taken=taken)
    waiting = [RerunException(RerunData())]

    def look_for_a_newer_tap(runner: ScriptRunner) -> None:
        if waiting and runner._execing:  # noqa: SLF001 - outside the page nothing looks for any
            raise waiting.pop()

    patch.setattr(ScriptRunner, "_maybe_handle_execution_control_request", look_for_a_newer_tap)
    page.button[0].click().run()
    return taken


def keep_taps(patch: pytest.MonkeyPatch) -> None:
    """Ours, until the end of the test."""
    patch.setattr(SafeSessionState, "on_script_will_rerun", SafeSessionState.on_script_will_rerun)
    streamlit_inside.keep_taps()


def a_run_takes_in_its_tap_though_a_newer_one_waits(patch: pytest.MonkeyPatch) -> None:
    keep_taps(patch)
    taken = taken_of_two_quick_taps(patch)
    assert taken == ["tapped"], (
        "A run no longer takes in its tap where a newer one waits: the first of two quick taps is lost. See "
        "streamlit_inside.keep_taps, SafeSessionState.on_script_will_rerun, which it replaces, and what "
        "ScriptRunner._run_script does before it."
    )


def it_is_still_needed_to_keep_taps(patch: pytest.MonkeyPatch) -> None:
    assert taken_of_two_quick_taps(patch) == [], (
        "Streamlit takes in a run's tap by itself now, before it looks for newer ones: streamlit_inside.keep_taps may "
        "go, once tests/floor/test_checkin.py passes without it."
    )


def a_long_answer() -> None:
    """A page at which somebody taps while it waits for an answer."""
    import streamlit as st
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_requests import RerunData

    from dashboard.kit import streamlit_inside

    told = st.session_state.setdefault("told", [])
    told.append("begun")
    if len(told) == 1:
        running = get_script_run_ctx()
        assert running is not None
        assert running.script_requests is not None
        running.script_requests.request_rerun(RerunData())
        streamlit_inside.give_way()
        told.append("waited on")
    st.text("drawn")


def a_tap_ends_the_wait_for_an_answer(_: pytest.MonkeyPatch) -> None:
    told = drawn(a_long_answer).session_state["told"]
    assert told == ["begun", "begun"], (
        f"A read of the session no longer ends a run where a tap waits ({told}): whoever taps while a long answer is "
        "given waits for it. See streamlit_inside.give_way, and SafeSessionState for what asks for newer taps now."
    )


def who_draws() -> None:
    """A page that says whether it is drawn by a run."""
    import streamlit as st

    from dashboard.kit import streamlit_inside

    st.text(str(streamlit_inside.draws_a_page()))


def a_run_of_a_page_is_told_from_other_threads(_: pytest.MonkeyPatch) -> None:
    elsewhere: list[bool] = []
    thread = Thread(target=lambda: elsewhere.append(streamlit_inside.draws_a_page()))
    thread.start()
    thread.join()
    found = (drawn(who_draws).text[0].value, elsewhere)
    assert found == ("True", [False]), (
        f"It can no longer be told whether a thread draws a page ({found}): answers begun behind the pages would ask "
        "for taps, or pages would not. See streamlit_inside.draws_a_page and get_script_run_ctx."
    )


def every_option_of_ours_is_known(_: pytest.MonkeyPatch) -> None:
    ours = dict(streamlit_inside.flat(tomllib.loads(CONFIG.read_text(encoding="utf-8"))))
    unknown = sorted(set(ours) - set(config.get_config_options()))
    assert unknown == [], (
        f"Streamlit has no option {', '.join(unknown)} any more. `.streamlit/config.toml` says what it was for: find "
        "what does that now."
    )


def collected(patch: pytest.MonkeyPatch) -> list[object]:
    """The full garbage collections of a run of a page, with our options."""
    full: list[object] = []
    patch.setattr(config, "get_option", lambda name, ask=config.get_option: name != GC and ask(name))
    patch.setattr(gc, "collect", lambda *generation: full.append(generation))
    patch.setattr(LocalScriptRunner, "_on_script_finished", ScriptRunner._on_script_finished)  # noqa: SLF001 - a test's own
    drawn(a_page)
    return full


def no_run_ends_with_a_garbage_collection(patch: pytest.MonkeyPatch) -> None:
    assert not collected(patch), (
        f"Streamlit collects all garbage after every run although {GC} is off: a tap costs several times as much. "
        "Look for gc.collect in streamlit/runtime."
    )


def a_newer_tap_waits_for_the_run_before_it(patch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    runner = SimpleNamespace(
        request_rerun=lambda _: asked.append("the run before it") or True,
        request_stop=lambda: asked.append("another run beside it"),
    )
    session = SimpleNamespace(
        _state=AppSessionState.APP_IS_RUNNING, _scriptrunner=runner, _create_scriptrunner=lambda _: None
    )
    patch.setattr(config, "get_option", lambda name, ask=config.get_option: name != "runner.fastReruns" and ask(name))
    AppSession.request_rerun(cast("AppSession", session), None)
    assert asked == ["the run before it"], (
        f"Although runner.fastReruns is off, a newer tap goes to {asked}: runs beside each other draw the second of "
        "two quick taps without the first. Look at AppSession.request_rerun."
    )


def a_page_has_a_head_to_add_to(_: pytest.MonkeyPatch) -> None:
    heads = PAGE.read_text(encoding="utf-8").count("</head>")
    assert heads == 1, (
        f"The page Streamlit sends has {heads} </head>, not one: our style and the server's address have no place. "
        "See dashboard/server/look.py."
    )


class AnotherSession(SafeSessionState):
    """A session as a new Streamlit might have it, with a door of its own for taps."""

    def on_script_will_rerun(self, *told: Any, **more: Any) -> None:
        self._yield_callback()
        self._state.on_script_will_rerun(*told, **more)


def run_beside(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(AppSession, "request_rerun", lambda session, _: session._scriptrunner.request_stop())  # noqa: SLF001


def collect_always(patch: pytest.MonkeyPatch) -> None:
    finish = ScriptRunner._on_script_finished  # noqa: SLF001
    patch.setattr(ScriptRunner, "_on_script_finished", lambda *told, **more: (finish(*told, **more), gc.collect(2)))


#: Every canary, how Streamlit may break what it watches, and words of what it then says.
CANARIES: list[tuple[Canary, Canary, str]] = [
    (
        a_run_takes_in_its_tap_though_a_newer_one_waits,
        lambda patch: patch.setattr(script_runner, "SafeSessionState", AnotherSession),
        "no longer takes in its tap",
    ),
    (it_is_still_needed_to_keep_taps, keep_taps, "keep_taps may go"),
    (
        a_tap_ends_the_wait_for_an_answer,
        lambda patch: patch.setattr(SafeSessionState, "__getitem__", lambda state, key: state._state[key]),  # noqa: SLF001
        "waited on.*waits for it",
    ),
    (
        a_run_of_a_page_is_told_from_other_threads,
        lambda patch: patch.setattr(streamlit_inside, "get_script_run_ctx", lambda **_: None),
        "no longer be told",
    ),
    (
        every_option_of_ours_is_known,
        lambda patch: patch.setattr(config, "get_config_options", lambda: KNOWN - {GC}),
        f"no option {GC} any more",
    ),
    (no_run_ends_with_a_garbage_collection, collect_always, "collects all garbage"),
    (
        a_newer_tap_waits_for_the_run_before_it,
        run_beside,
        "goes to .'another run beside it'.",
    ),
    (
        a_page_has_a_head_to_add_to,
        lambda patch: patch.setattr(Path, "read_text", lambda *_, **__: "<body>"),
        "has 0 </head>",
    ),
]


@pytest.mark.parametrize("canary", dict.fromkeys(canary for canary, *_ in CANARIES), ids=lambda canary: canary.__name__)
def test_streamlit_still_works_so(canary: Canary, monkeypatch: pytest.MonkeyPatch) -> None:
    canary(monkeypatch)


@pytest.mark.parametrize(("canary", "breakage", "words"), CANARIES)
def test_a_canary_says_what_broke(
    canary: Canary, breakage: Canary, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    breakage(monkeypatch)
    with pytest.raises(AssertionError, match=words):
        canary(monkeypatch)


def imported(file: Path) -> set[str]:
    """The modules of Streamlit that a file names."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return {name for name in found if name.split(".")[0] == "streamlit"}


#: What Streamlit calls its own in what it draws, and the addresses of its programs.
INSIDE = re.compile(r"\bst[A-Z]\w+|data-testid|st-emotion|_stcore|__streamlit")


@pytest.mark.parametrize("kind", ["*.py", "*.css"])
def test_nothing_else_reaches_into_streamlit(kind: str) -> None:
    files = [file for file in (ROOT / "dashboard").rglob(kind) if file.stem not in {"streamlit", "streamlit_inside"}]
    assert len(files) > 2
    reaching = {file.name: INSIDE.findall(file.read_text(encoding="utf-8")) for file in files}
    assert {name: found for name, found in reaching.items() if found} == {}
    if kind == "*.py":
        assert {file.name: more for file in files if (more := imported(file) - DOCUMENTED)} == {}
