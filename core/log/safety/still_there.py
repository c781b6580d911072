"""Whether a shop's file is still the one that is written to.

What is deleted stays open for its writer, who would go on writing into nothing. So the disk is asked before and after
every commit, by name and without opening: a file opened and closed would lose DuckDB's lock on it.
"""

from pathlib import Path
from typing import NamedTuple

from core.errors import Refused
from core.log.safety.companions import companion

#: DuckDB's write-ahead logs: the usual one, and those of a checkpoint that was broken off.
LOGS = (".wal", ".checkpoint.wal", ".recovery.wal")


class _Look(NamedTuple):
    """What the disk says of a file that is there: which one it is, its bytes, when they changed (ns)."""

    device: int
    inode: int
    size: int
    changed: int


class StillThere:
    """What was last seen of a shop's file and of its write-ahead log, by the one who alone writes them."""

    def __init__(self, shop: Path) -> None:
        self._shop, self._wal = shop, companion(shop, ".wal")
        self._seen = self._look()

    def must_stand(self) -> None:
        """Before a write: both are as the last write left them. Raises `Refused`: "file_gone", "log_gone"."""
        if not self.file_stands():
            raise _file_gone(self._shop)
        now, before = _look_at(self._wal), self._seen[1]
        if now != before and not _is_longer(now, before):
            raise _log_gone(self._wal)

    def must_have_taken(self) -> None:
        """After a write: it went into the log, or into the file itself. Raises as `must_stand` does."""
        seen, now = self._seen, self._look()
        if not _is_same(now[0], seen[0]):
            raise _file_gone(self._shop)
        kept = now[1] is not None and (seen[1] is None or _is_same(now[1], seen[1]))
        if not kept and now[0] == seen[0]:
            raise _log_gone(self._wal)
        self._seen = now

    def file_stands(self) -> bool:
        """Whether the file itself is there, and no shorter than the last write left it."""
        return _is_longer(_look_at(self._shop), self._seen[0])

    def _look(self) -> tuple[_Look | None, _Look | None]:
        return _look_at(self._shop), _look_at(self._wal)


def must_not_be_half(shop: Path) -> None:
    """Refuse a file that is not there while its write-ahead log is: a new file would be the end of what that holds."""
    if shop.exists():
        return
    for ending in LOGS:
        if (wal := companion(shop, ending)).exists():
            raise Refused(
                "file_missing",
                f"{wal} holds entries of a file that is not there: put {shop} back beside it, "
                "or move it away before you begin anew.",
            )


def _look_at(file: Path) -> _Look | None:
    try:
        found = file.stat()
    except OSError:
        return None
    return _Look(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns)


def _is_same(now: _Look | None, before: _Look | None) -> bool:
    return now is not None and before is not None and now[:2] == before[:2]


def _is_longer(now: _Look | None, before: _Look | None) -> bool:
    """Whether it is the same file, no shorter than before."""
    return now is not None and before is not None and _is_same(now, before) and now.size >= before.size


def _file_gone(shop: Path) -> Refused:
    return Refused(
        "file_gone",
        f"This was not recorded, for {shop} was taken away, replaced or cut while it was in use: "
        "stop Roundsheet, put the file back as it was or the last backup in its place, and start again.",
    )


def _log_gone(wal: Path) -> Refused:
    return Refused(
        "log_gone",
        f"This was not recorded, for {wal} was taken away, replaced or cut while it was in use: "
        "stop Roundsheet, which puts all it knows into the shop's file, and start again.",
    )
