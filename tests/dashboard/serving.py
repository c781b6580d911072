"""A small shop's file, and the command line and the server as a person runs them."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path

from core.log.lock import Owner
from core.log.store import Log
from core.setup import Machine, Model, Rack, Shop
from tests.patience import DEADLINE

ROOT = Path(__file__).parents[2]
#: What is compiled once is kept, also where the tests themselves shall leave nothing behind.
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"PYTHONPATH": str(ROOT)}
ROUNDSHEET = [sys.executable, "-m", "dashboard"]


def make_shop(path: Path, name: str = "Larkfield Hive Fittings", machine: str = "A1") -> Path:
    """A shop with one machine in `path`."""
    with Log.open(path) as log:
        log.append_setup([
            Shop(name=name, zone="Europe/Dublin"),
            Model(model="B220", name="Bench 220"),
            Rack(rack="A", name="Rack A"),
            Machine(machine=machine, model="B220", rack="A", place=1),
        ])  # fmt: skip
    return path


def run(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command line, as a person runs it."""
    command = [*ROUNDSHEET, *map(str, arguments)]
    return subprocess.run(
        command, check=False, cwd=cwd, env=ENVIRONMENT, capture_output=True, text=True, timeout=DEADLINE
    )


@dataclass
class Serving:
    """A server that answers."""

    shop: Path
    process: subprocess.Popen[str]
    owner: Owner

    @property
    def port(self) -> int:
        return int(self.owner.url.rsplit(":", 1)[1])

    def send(self, method: str, path: str, body: str = "", headers: dict[str, str] | None = None) -> tuple[int, str]:
        """One request; the status and the text of the answer."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=DEADLINE)
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        answer = response.status, response.read().decode()
        connection.close()
        return answer

    def download(self, path: str) -> tuple[int, dict[str, str], bytes]:
        """What is at a path: the status, the headers by their names in small letters, and the bytes."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=DEADLINE)
        connection.request("GET", path)
        response = connection.getresponse()
        answer = response.status, {name.lower(): value for name, value in response.getheaders()}, response.read()
        connection.close()
        return answer

    def stop(self) -> tuple[str, str]:
        """SIGTERM, as a service manager sends it; what the server printed."""
        self.process.terminate()
        return self.process.communicate(timeout=DEADLINE)


#: Starts a server for a shop's file, with more options of `serve`.
Start = Callable[..., Serving]
