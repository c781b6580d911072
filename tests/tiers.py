"""Which tests run when, and how many examples a law is tried on.

`pytest` runs the quick tier, `pytest --full` everything, and so does `pytest` with the names of files or folders. What
is left to the full tier follows from what a test uses (a browser, a server of its own), where it is (the judge's
folder), or its own marker `full`; what is left out is counted at the end of every run.
"""

import os
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import is_hypothesis_test, settings

#: Fixtures that run a program: a browser, and what starts servers.
PROGRAMS = ("chromium", "start")
#: Invented shops are followed for weeks there, to judge the reckoning; the families of rooms that it is judged on.
JUDGE = ("simulated", "rooms")
#: One server and one test a page there are in the quick tier too.
SMOKE = "smoke"

# A slow machine is no failure. Where a test asks for a number of examples, that is its number in the full tier.
settings.register_profile("full", deadline=None, max_examples=100)
settings.register_profile("quick", deadline=None, max_examples=10)
FEWEST = 3
#: How many threads linear algebra and Polars take; each reads it when it is imported.
THREADS = ("OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS")


def whole(config: pytest.Config) -> bool:
    """Whether everything is asked for: by the option, or since whoever names files or folders means all in them."""
    return config.option.full or config.args_source is pytest.Config.ArgsSource.ARGS


def asks_for(item: pytest.Item, fixture: str) -> bool:
    """Whether a test asks for a fixture, itself or through another one."""
    parameters = getattr(getattr(item, "callspec", None), "params", {})
    return fixture in getattr(item, "fixturenames", ()) and fixture not in parameters


def runs_programs(item: pytest.Item) -> bool:
    """Whether a test drives a browser or has the server in a process of its own."""
    return any(asks_for(item, fixture) for fixture in PROGRAMS)


def is_full(item: pytest.Item) -> bool:
    """Whether a test is in the full tier alone."""
    folder = Path(item.path).parent.name
    marked = item.get_closest_marker("full") is not None
    return (runs_programs(item) and folder != SMOKE) or folder in JUDGE or marked


def processes(config: pytest.Config) -> int:
    """How many processes keep all cores busy: tests that drive a browser wait most of the time."""
    return (os.cpu_count() or 1) * (2 if whole(config) else 1)


def take_one_thread() -> None:
    """In this process and those it starts, unless told otherwise: a process a core leaves none to further threads."""
    for name in THREADS:
        os.environ.setdefault(name, "1")


def long_files_first(items: Sequence[pytest.Item]) -> list[pytest.Item]:
    """The tests, those files first that take longest by what is in them, or one would be left alone at the end."""
    ranks: dict[Path, int] = {}
    for item in items:
        ranks[item.path] = min(_rank(item), ranks.get(item.path, len(items)))
    return sorted(items, key=lambda item: ranks[item.path])


def _rank(item: pytest.Item) -> int:
    """Programs take longest to start, then weeks are simulated, then histories drawn."""
    starts = runs_programs(item) or hasattr(getattr(item, "module", None), "subprocess")
    drawn = is_hypothesis_test(getattr(item, "obj", None))
    return [starts, Path(item.path).parent.name in JUDGE, drawn, True].index(True)


def examples(number: int) -> settings:
    """So many examples in the full tier and a tenth of them, `FEWEST` or more, in the quick one."""
    return settings(max_examples=max(number * settings.default.max_examples // 100, min(number, FEWEST)))
