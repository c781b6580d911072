"""The one door for entries: checked against the rules, then written, whole or not at all."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from core.entries import AnyEntry, AtMachine, moment
from core.epoch import utc_now
from core.errors import Refused
from core.log.known import Known
from core.log.remarks import REMARKS
from core.log.rules import REFUSALS
from core.log.store import Log

#: The same thing told twice within this many seconds is one entry: a second tap, not a second fact.
REPEAT_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Receipt:
    """What came of a tap: the entries now on disk, those that were there already, and what surprised."""

    recorded: tuple[AnyEntry, ...]
    already: tuple[AnyEntry, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Turned:
    """An entry of a batch that was turned away: its place in the batch, the rule and the sentence."""

    index: int
    rule: str
    sentence: str


@dataclass(slots=True)
class Outcome:
    """What came of a batch: how many entries are new, how many were there already, which were turned away."""

    recorded: int = 0
    already: int = 0
    problems: list[Turned] = field(default_factory=list)


def record(log: Log, entries: Sequence[AnyEntry], now: datetime | None = None) -> Receipt:
    """Take the entries of one tap, all or none; on disk when this returns.

    Raises `Refused` with the first rule broken; then nothing was written.
    """
    with log.writing():
        known = Known.around(log, entries, now or utc_now())
        fresh: list[AnyEntry] = []
        already: list[AnyEntry] = []
        remarks: list[str] = []
        for entry in entries:
            if earlier := _same(entry, known):
                already.append(earlier)
                continue
            _check(entry, known)
            remarks += [sentence for rule in REMARKS if (sentence := rule(entry, known))]
            known.add(entry)
            fresh.append(entry)
        if fresh:
            log.append([entry.model_copy(update={"arrived_at": known.now}) for entry in fresh])
    return Receipt(tuple(fresh), tuple(already), tuple(remarks))


def record_many(
    log: Log,
    entries: Sequence[AnyEntry],
    progress: Callable[[float], None] | None = None,
    now: datetime | None = None,
) -> Outcome:
    """Take a batch in any order: the good entries in one transaction, the others listed with their rule.

    Entries are checked in the order in which they happened, so a file may name them in any order. They arrive now; but
    what was noted before anything came in by itself is what a shop brings along, and what an export says stays so.
    `progress` is called with the share done, 0 to 1.
    """
    outcome = Outcome()
    with log.writing():
        known, since = Known.around(log, entries, now or utc_now()), log.first_arrival()
        fresh: list[AnyEntry] = []
        for done, (index, entry) in enumerate(_in_order(entries)):
            if progress and done % 1000 == 0:
                progress(0.9 * done / len(entries))
            if _same(entry, known):
                outcome.already += 1
                continue
            try:
                _check(entry, known)
            except Refused as refused:
                outcome.problems.append(Turned(index, refused.rule, refused.sentence))
                continue
            known.add(entry)
            fresh.append(entry)
        if fresh:
            log.append([_arrived(entry, known.now, since) for entry in fresh])
    outcome.recorded = len(fresh)
    outcome.problems.sort(key=lambda problem: problem.index)
    if progress:
        progress(1.0)
    return outcome


def _in_order(entries: Sequence[AnyEntry]) -> Iterable[tuple[int, AnyEntry]]:
    """Index and entry as they happened; orders before what refers to them, voids after everything."""

    def place(pair: tuple[int, AnyEntry]) -> tuple[object, ...]:
        entry = pair[1]
        first = {"OrderTaken": 0, "EntryVoided": 2}.get(entry.kind, 1)
        return (first, *moment(entry))

    return sorted(enumerate(entries), key=place)


def _arrived(entry: AnyEntry, now: datetime, since: datetime | None) -> AnyEntry:
    """The entry with the time of its arrival, if the log was kept by then (`since`) and the entry does not say it."""
    if entry.arrived_at or since is None or entry.noted_at < since:
        return entry
    return entry.model_copy(update={"arrived_at": now})


def _check(entry: AnyEntry, known: Known) -> None:
    for rule in REFUSALS:
        if sentence := rule(entry, known):
            raise Refused(rule.__name__, sentence)


def _same(entry: AnyEntry, known: Known) -> AnyEntry | None:
    """The entry already taken that this one repeats: the same id, or the same thing within a minute.

    What is taken back with it repeats nothing: it is kept for its void to name.
    """
    if earlier := known.by_id(entry.id):
        return earlier
    if not isinstance(entry, AtMachine) or known.is_withdrawn(entry):
        return None
    told = _content(entry)
    for near in known.near(entry, REPEAT_SECONDS):
        if _content(near) == told and abs((near.noted_at - entry.noted_at).total_seconds()) < REPEAT_SECONDS:
            return near  # type: ignore[return-value]
    return None


def _content(entry: AtMachine) -> dict[str, object]:
    return entry.model_dump(exclude={"id", "at", "noted_at", "arrived_at"})
