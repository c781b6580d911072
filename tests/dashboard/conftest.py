"""The real server in a process of its own."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from core.log.lock import read_owner
from tests.dashboard.serving import ENVIRONMENT, ROUNDSHEET, Serving, Start, make_shop


@pytest.fixture(scope="module")
def start() -> Iterator[Start]:
    """Starts servers; whatever still runs at the end is stopped."""
    running = []

    def started(shop: Path, *options: object, verb: str = "serve", command: list[str] = ROUNDSHEET) -> Serving:
        arguments = [*command, verb, "--shop", str(shop), "--port", "0", *map(str, options)]
        process = subprocess.Popen(
            arguments,
            cwd=shop.parent,
            env=ENVIRONMENT,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        running.append(process)
        assert process.stdout is not None
        while not (line := process.stdout.readline()).startswith("Roundsheet serves"):
            assert line, process.communicate()
        owner = read_owner(shop)
        assert owner is not None
        return Serving(shop, process, owner)

    yield started
    for process in running:
        process.kill()
        with process:  # waits for it and closes its pipes
            pass


@pytest.fixture(scope="module")
def serving(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Serving:
    """One server for the tests that leave it as it was."""
    return start(make_shop(tmp_path_factory.mktemp("served") / "shop.duckdb"))
