"""What the rules may ask about the log while an entry is checked."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from core.entries import (
    OUT_OF_ORDER_MINUTES,
    ActionAgreed,
    ActionEnded,
    AnyEntry,
    AtMachine,
    EntryVoided,
    OrderTaken,
    PrintStarted,
    moment,
)
from core.log.frames import entries_from
from core.log.store import Log
from core.setup import PrintFile, Setup
from core.window import Window


class Known:
    """The set-up, the clock, and the entries near those being checked; grows as entries are taken.

    What `withdrawn` names is about to be taken back: it stands in nobody's way from the beginning,
    wherever its void comes.
    """

    def __init__(
        self, setup: Setup, now: datetime, entries: Iterable[AnyEntry] = (), withdrawn: Iterable[UUID] = ()
    ) -> None:
        self.setup = setup
        self.now = now
        self._withdrawn = frozenset(withdrawn)
        self._machines: dict[str, list[tuple[tuple[datetime, int, str], AtMachine]]] = {}
        self._by_id: dict[UUID, AnyEntry] = {}
        self._voided: set[UUID] = set()
        self._orders: dict[str, OrderTaken] = {}
        self._actions: dict[UUID, ActionAgreed] = {}
        for entry in entries:
            self.add(entry)

    @classmethod
    def around(cls, log: Log, entries: Sequence[AnyEntry], now: datetime) -> Known:
        """What the log holds that bears on `entries`: their machines' neighbourhood, orders, voided ids."""
        as_of = now + timedelta(days=1)
        whole = log.span() or Window(now, now)
        near = [e for e in entries if isinstance(e, AtMachine)]
        times = [e.at for e in near] or [now]
        window = Window(min(times) - timedelta(hours=1), max(times) + timedelta(hours=1))
        held = entries_from(log.machine_entries(window, as_of, sorted({e.machine for e in near})))
        everything = Window(whole.start, whole.end + timedelta(days=1))
        if any(hasattr(e, "order") for e in entries):
            held += entries_from(log.entries_of(["OrderTaken"], everything, as_of))
        if any(isinstance(e, ActionAgreed | ActionEnded) for e in entries):
            held += entries_from(log.entries_of(["ActionAgreed", "ActionEnded"], everything, as_of))
        withdrawn = (e.which for e in entries if isinstance(e, EntryVoided))
        known = cls(log.setup(), now, {entry.id: entry for entry in held}.values(), withdrawn)
        known._by_id.update({e.id: e for e in log.find(_ids(entries))})
        known._voided.update(log.voided(_ids(entries)))
        return known

    def add(self, entry: AnyEntry) -> None:
        """Take an entry into account for those after it."""
        self._by_id[entry.id] = entry
        if isinstance(entry, EntryVoided):
            self._voided.add(entry.which)
            self._drop(self._by_id.get(entry.which))
        elif isinstance(entry, OrderTaken):
            if not self.is_withdrawn(entry) or entry.order not in self._orders:
                self._orders[entry.order] = entry
        elif isinstance(entry, ActionAgreed):
            if not self.is_withdrawn(entry):
                self._actions[entry.id] = entry
        elif isinstance(entry, ActionEnded):
            if not self.is_withdrawn(entry):
                self._actions.pop(entry.which, None)
        elif isinstance(entry, AtMachine) and not self.is_withdrawn(entry):
            insort(self._machines.setdefault(entry.machine, []), (moment(entry), entry), key=lambda step: step[0])

    def by_id(self, which: UUID) -> AnyEntry | None:
        """The entry with that id, voided or not."""
        return self._by_id.get(which)

    def is_voided(self, which: UUID) -> bool:
        """Whether an entry was taken back."""
        return which in self._voided

    def is_withdrawn(self, entry: AnyEntry) -> bool:
        """Whether the entries being checked take this one back."""
        return entry.id in self._withdrawn

    def order(self, code: str) -> OrderTaken | None:
        """The order of that name; one that is withdrawn only where no other has the name."""
        return self._orders.get(code)

    @property
    def actions(self) -> dict[UUID, ActionAgreed]:
        """The actions that have not ended, by their ids."""
        return self._actions

    def near(self, entry: AtMachine, seconds: float) -> list[AtMachine]:
        """The machine's entries that happened within `seconds` of this one."""
        line = self._machines.get(entry.machine, [])
        reach = timedelta(seconds=seconds)
        first = bisect_left(line, entry.at - reach, key=lambda step: step[0][0])
        last = bisect_right(line, entry.at + reach, key=lambda step: step[0][0])
        return [e for _, e in line[first:last]]

    def on_platform(self, entry: AtMachine) -> PrintStarted | None:
        """The print whose parts were on the machine's platform just before this entry, if it is known."""
        before = (e for e in self.back_from(entry) if isinstance(e, PrintStarted) or clears_platform(e))
        newest = next(before, None)
        if newest is None or not isinstance(newest, PrintStarted):
            return None
        earlier = next(before, None)
        return earlier if isinstance(earlier, PrintStarted) and _slipped(entry, newest) else newest

    def back_from(self, entry: AtMachine) -> Iterator[AtMachine]:
        """The machine's entries before this one, newest first, as far back as the log gave them."""
        line = self._machines.get(entry.machine, [])
        place = bisect_left(line, moment(entry), key=lambda step: step[0])
        return (line[index][1] for index in range(place - 1, -1, -1))

    def file_of(self, started: PrintStarted) -> PrintFile | None:
        """The print file a start names."""
        return self.setup.file(started.file, started.revision)

    def _drop(self, entry: AnyEntry | None) -> None:
        if isinstance(entry, AtMachine):
            line = self._machines.get(entry.machine, [])
            line[:] = [(m, e) for m, e in line if e.id != entry.id]
        elif isinstance(entry, OrderTaken) and self._orders.get(entry.order) == entry:
            del self._orders[entry.order]
        elif isinstance(entry, ActionAgreed):
            self._actions.pop(entry.id, None)


def _slipped(entry: AtMachine, newest: PrintStarted) -> bool:
    """Whether a removal noted after a start belongs before it (see `OUT_OF_ORDER_MINUTES`)."""
    return entry.kind == "PartsOff" and entry.at - newest.at < timedelta(minutes=OUT_OF_ORDER_MINUTES)


def clears_platform(entry: AtMachine) -> bool:
    """Whether nothing stood on the platform after this entry."""
    return entry.kind in ("PartsOff", "CameBack", "SetAside", "PutBack") or getattr(entry, "saw", "") == "empty"


def _ids(entries: Sequence[AnyEntry]) -> list[UUID]:
    return [e.id for e in entries] + [e.which for e in entries if isinstance(e, EntryVoided)]
