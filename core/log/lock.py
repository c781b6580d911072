"""One process owns a shop's file. A lock of our own keeps a second one out and says who has it.

DuckDB's own lock is lost when its process opens and closes the file by any other way, so the lock
sits on a separate file. Beside it the owner leaves a note: its process id and, while it serves,
the address and the secret by which programs of this computer may ask it (readable by its user alone).
"""

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from core.errors import Refused
from core.log.safety.companions import companion
from core.log.safety.outgoing import free_of_shops


@dataclass(frozen=True, slots=True)
class Owner:
    """Who owns a shop's file. `url` and `token` are empty unless the owner serves the pages."""

    pid: int
    url: str = ""
    token: str = ""


def _note(shop: Path) -> Path:
    return companion(shop, ".owner")


def read_owner(shop: Path) -> Owner | None:
    """The note beside the file, or None; it may be stale, so only `Lock.take` says who owns the file."""
    try:
        return Owner(**json.loads(_note(shop).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None


class Lock:
    """The ownership of one shop's file by this process; `take` or be refused, `release` at the end."""

    def __init__(self, shop: Path) -> None:
        self.shop = shop
        self._lock = FileLock(companion(shop, ".lock"), timeout=0, thread_local=False)

    def take(self) -> None:
        """Own the file. Raises `Refused`: "shop_in_use", "folder_not_writable", "belongs_to_a_shop"."""
        free_of_shops(self.shop)
        try:
            self._lock.acquire()
        except Timeout:
            raise self._in_use() from None
        except OSError as error:
            raise Refused(
                "folder_not_writable",
                f"Roundsheet cannot write beside {self.shop} ({error.strerror or error}): "
                "choose a folder you may write to with --shop.",
            ) from None
        self.announce(Owner(os.getpid()))

    def announce(self, owner: Owner) -> None:
        """Leave the note that tells other programs of this computer how to ask the owner."""
        note = _note(self.shop)
        fresh = note.with_name(note.name + ".new")
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
            json.dump(asdict(owner), out)
        fresh.replace(note)

    def release(self) -> None:
        """Give the file up and take the note away."""
        if self._lock.is_locked:
            _note(self.shop).unlink(missing_ok=True)
            self._lock.release()

    def _in_use(self) -> Refused:
        owner = read_owner(self.shop)
        who = f"process {owner.pid}" if owner else "another process"
        what = f", which serves it at {owner.url}" if owner and owner.url else ""
        return Refused(
            "shop_in_use",
            f"{self.shop} is in use by {who}{what}: use that one, or stop it first.",
        )
