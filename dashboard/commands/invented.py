"""Make the invented shop into a file, without ever touching a file of another shop."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from core.errors import Refused
from core.log.lock import Lock
from core.log.safety.companions import companion
from core.log.safety.outgoing import sync_folder
from core.log.store import Log
from core.setup import Shop

INVENTED = "Larkfield Hive Fittings"


def make_invented(path: Path, machines: int, weeks: int, seed: int, progress: Callable[[float], None]) -> bool:
    """Make the invented shop and put it at `path` when it is whole; whether it replaced an older one.

    Raises `Refused`: "other_shop" where the file there holds anything else, "told_since" where people told it
    anything the demo did not make, or as `Lock.take` does.
    """
    from demo.make import make

    path = path.resolve()
    there = path.exists()
    if there:
        _must_be_invented(path)
    with _owned(path), TemporaryDirectory(prefix=f".{path.name}-", suffix=".making", dir=path.parent) as beside:
        making = Path(beside) / path.name
        make(making, machines, weeks, seed, progress=progress)
        _move(making, path)
    return there


def _must_be_invented(path: Path) -> None:
    # Opening and closing it also puts the rest of its write-ahead log into the file, or a stale one
    # would be taken for the new file's.
    with Log.open(path) as log:
        names, made = {row.name for row in log.setup().history(Shop)}, log.is_made()
    if names != {INVENTED}:
        what = " and ".join(sorted(names)) or "no shop we know"
        raise Refused(
            "other_shop",
            f"{path} holds {what}, not the invented shop, and stays as it is: name another with --shop.",
        )
    if not made:
        raise Refused(
            "told_since",
            f"{path} holds what the demo did not make, and stays as it is: see it with 'roundsheet serve --shop', "
            "name another with --shop, or move it away.",
        )


@contextmanager
def _owned(path: Path) -> Iterator[None]:
    lock = Lock(path)
    lock.take()
    try:
        yield
    finally:
        lock.release()


def _move(making: Path, path: Path) -> None:
    """The file and its write-ahead log are one: the log first, so the file never stands without it."""
    if companion(making, ".wal").exists():
        companion(making, ".wal").replace(companion(path, ".wal"))
    making.replace(path)
    sync_folder(path.parent)
