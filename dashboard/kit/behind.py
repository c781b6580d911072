"""Work that is begun behind the pages, so that nobody waits for it."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import Lock, Thread

from core.errors import Refused
from core.log.store import Log
from dashboard.kit.shop import current_log, is_open


class Behind:
    """Work that is done behind the pages, so many at a time.

    What is asked for again meanwhile joins what is under way. What finds no room is not done: the page that needs it
    does it, and no flood of addresses takes more than these threads.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = Lock()
        self._doing: set[Hashable] = set()

    def begin(self, name: Hashable, work: Callable[[], object]) -> None:
        """Begin it. Where it is refused, the page that asks for it will say so."""
        log = current_log()
        with self._lock:
            if name in self._doing or len(self._doing) >= self._most:
                return
            self._doing.add(name)
        try:
            Thread(target=self._do, args=(log, name, work), daemon=True).start()
        except RuntimeError:  # the computer has no thread left
            self._doing.discard(name)

    def _do(self, log: Log, name: Hashable, work: Callable[[], object]) -> None:
        try:
            work()
        except Refused:
            pass
        except Exception:
            # Where the shop was closed meanwhile, nobody waits for it any more.
            if is_open(log):
                raise
        finally:
            self._doing.discard(name)
