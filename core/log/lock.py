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
from core.log.safety.still_there import must_not_be_half


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


def _may_be_there(folder: Path) -> bool:
    """Whether a folder is there, or cannot be looked into: then the lock says why it is of no use."""
    try:
        return folder.is_dir()
    except OSError:
        return True


class Lock:
    """The ownership of one shop's file by this process; `take` or be refused, `release` at the end."""

    def __init__(self, shop: Path) -> None:
        self.shop = shop
        self._lock = FileLock(companion(shop, ".lock"), timeout=0, thread_local=False)

    def take(self) -> None:
        """Own the file, without a note as yet.

        Raises `Refused`: "shop_in_use", "folder_not_writable", "belongs_to_a_shop", "no_folder", "file_missing".
        """
        free_of_shops(self.shop)
        if not _may_be_there(self.shop.parent):
            raise Refused("no_folder", f"There is no folder {self.shop.parent}: make it, or name another with --shop.")
        try:
            self._lock.acquire()
        except Timeout:
            raise self.in_use() from None
        except OSError as error:
            raise Refused(
                "folder_not_writable",
                f"Roundsheet cannot write beside {self.shop} ({error.strerror or error}): "
                "choose a folder you may write to with --shop.",
            ) from None
        try:
            must_not_be_half(self.shop)
        except Refused:
            self._lock.release()
            raise

    def sign(self) -> None:
        """Leave the note that this process owns the file."""
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
        """Give the file up and take the note away, if it is ours: who was turned away leaves the owner's."""
        if self._lock.is_locked:
            if (owner := read_owner(self.shop)) and owner.pid == os.getpid():
                _note(self.shop).unlink(missing_ok=True)
            self._lock.release()

    def in_use(self) -> Refused:
        """What to say to whoever wants a file that another process owns."""
        owner = read_owner(self.shop)
        who = f"process {owner.pid}" if owner else "another process"
        what = f", which serves it at {owner.url}" if owner and owner.url else ""
        return Refused(
            "shop_in_use",
            f"{self.shop} is in use by {who}{what}: use that one, or stop it first.",
        )
