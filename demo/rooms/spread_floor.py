"""What a widely drawn room consists of, and what its people tap of its life: late, with slips, and not all of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np

from core.entries import AnyEntry, EntryVoided, entry_adapter
from core.setup import PrintFile

MINUTE, HOUR, DAY = 60, 3600, 86400
WEEK = 7 * DAY
Spans = Sequence[tuple[int, int]]


@dataclass(slots=True)
class Fact:
    """What somebody did or saw, as they would tell it at once: seconds from the start, by whom, and the fields."""

    at: int
    by: str
    kind: str
    machine: str
    more: dict[str, object] = field(default_factory=dict)


@dataclass(slots=True)
class Print:
    """A print as it truly goes; `ahead` is what happens to it, by the seconds it has printed until then."""

    file: PrintFile
    proving: bool
    started: int
    hours: float
    whole: float
    ahead: list[tuple[int, str]]
    printed: int = 0
    ended: int | None = None
    off: int | None = None
    scrap: int = 0
    by_itself: bool = False
    spoiled: bool = False
    starved: int | None = None
    since: int | None = None

    def lasted(self, t: int) -> int:
        """Seconds printed by a moment, pauses not counted."""
        return self.printed + (t - self.since if self.since is not None and t > self.since else 0)


@dataclass(slots=True)
class Breakdown:
    """A true fault of a machine."""

    failed: int
    in_print: bool
    back: int | None = None


@dataclass(slots=True)
class Bench:
    """One machine with everything that has happened to it."""

    code: str
    model: str
    rack: str
    frailty: float
    upkeep_in: float
    turns: list[tuple[int, str]] = field(default_factory=lambda: [(0, "empty")])
    prints: list[Print] = field(default_factory=list)
    faults: list[Breakdown] = field(default_factory=list)
    token: int = 0
    called: bool = False
    broken: bool = False
    grams: float = 0.0
    material: str = ""
    again: PrintFile | None = None
    prove: bool = False

    def seen(self, t: int) -> str:
        """Its state at a moment."""
        return next(state for since, state in reversed(self.turns) if since <= t)

    def turn(self, t: int, state: str) -> None:
        """Take a state on from a moment; what was to come of the last one comes no more."""
        while self.turns and self.turns[-1][0] >= t:
            self.turns.pop()
        if not self.turns or self.turns[-1][1] != state:
            self.turns.append((t, state))
        self.token += 1


@dataclass(frozen=True, slots=True)
class Floor:
    """All that life needs: machines, files in force, true hours of a print, risks an hour, and who is in when."""

    benches: Sequence[Bench]
    files: Callable[[int], Sequence[PrintFile]]
    whole: Callable[[PrintFile, str, int], float]
    risk: Mapping[str, float]
    pack: Mapping[str, float]
    causes: Sequence[tuple[str, str | None]]
    scrap_causes: Sequence[str]
    tasks: Sequence[str]
    people: Mapping[str, Spans]
    span: int
    every: Sequence[PrintFile]


MISSING = ("at random", "by kind", "in bursts", "by person")
HALF_DAY = 12 * HOUR


def tell(
    facts: Sequence[Fact], floor: Floor, start: datetime, missing: float, rng: np.random.Generator
) -> list[AnyEntry]:
    """The entries that reach the log, in the order in which they do."""
    late, slip = _log(rng, 0.01, 0.5), _log(rng, 0.0005, 0.02)
    mends, way = rng.random(), MISSING[int(rng.integers(len(MISSING)))]
    person = {name: rng.lognormal(0, 0.6) for name in floor.people}
    entries: list[AnyEntry] = []
    for fact in sorted(facts, key=lambda fact: fact.at):
        if fact.at >= floor.span - HOUR // 2:
            continue
        share = 0.0 if fact.kind == "Looked" else min(0.9, late * person[fact.by])
        entries += _told(fact, floor, start, share, (slip, mends), rng)
    gone = _gone(entries, start, missing, way, rng)
    there = {entry.id for entry, lost in zip(entries, gone, strict=True) if not lost}
    kept = [e for e in entries if e.id in there and (not isinstance(e, EntryVoided) or e.which in there)]
    return sorted(kept, key=lambda entry: entry.noted_at)


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _told(
    fact: Fact, floor: Floor, start: datetime, late: float, habits: tuple[float, float], rng: np.random.Generator
) -> list[AnyEntry]:
    """One fact as it is tapped: at once or from memory; after a slip it may be taken back and said anew."""
    slip, mends = habits
    noted, at = _when(fact, floor, late, rng)
    wrong = _slip(fact, floor, rng) if rng.random() < slip else None
    if wrong is None:
        return [_entry(fact, at, noted, start, rng)]
    said = _entry(wrong, at, noted, start, rng)
    if rng.random() > mends:
        return [said]
    again = min(noted + int(rng.uniform(1, 30) * MINUTE), floor.span - 1)
    moment = start + timedelta(seconds=again)
    void = EntryVoided(id=_id(rng), at=moment, noted_at=moment, by=fact.by, which=said.id, why="slip")
    return [said, void, _entry(fact, at, again + 20, start, rng)]


def _when(fact: Fact, floor: Floor, late: float, rng: np.random.Generator) -> tuple[int, int]:
    """When it is tapped, and when the person says it was: remembered in steps if told late, by the end of the shift."""
    if rng.random() >= late:
        return fact.at + int(rng.integers(2, 40)), fact.at
    leaves = next((b for a, b in floor.people[fact.by] if a <= fact.at < b), fact.at + HOUR)
    noted = min(fact.at + int(rng.lognormal(np.log(HOUR), 0.9)), max(leaves, fact.at + MINUTE), floor.span - 1)
    step = int(rng.choice([10, 30, 60])) * MINUTE
    if rng.random() < 0.3:
        return noted, min(noted, round(fact.at / HOUR) * HOUR)
    return noted, max(0, noted - round((noted - fact.at) / step) * step)


def _slip(fact: Fact, floor: Floor, rng: np.random.Generator) -> Fact | None:
    """The same with a slip of the finger: another file, the machine beside it, one scrap more or less."""
    model = {bench.code: bench.model for bench in floor.benches}
    codes = list(model)
    if fact.kind == "PartsOff" and rng.random() < 0.5:
        scrap = max(0, int(str(fact.more["scrap"])) + int(rng.choice([-1, 1])))
        cause = (fact.more["scrap_cause"] or "dont-know") if scrap else None
        return Fact(fact.at, fact.by, fact.kind, fact.machine, {**fact.more, "scrap": scrap, "scrap_cause": cause})
    if fact.kind == "PrintStarted" and rng.random() < 0.6:
        fit = [f for f in floor.every if model[fact.machine] in f.models]
        other = fit[int(rng.integers(len(fit)))]
        told = {**fact.more, "file": other.file, "revision": other.revision}
        return Fact(fact.at, fact.by, fact.kind, fact.machine, told)
    beside = codes[(codes.index(fact.machine) + int(rng.choice([-1, 1]))) % len(codes)]
    same = model[beside] == model[fact.machine]
    return Fact(fact.at, fact.by, fact.kind, beside, fact.more) if same and fact.kind != "Looked" else None


def _entry(fact: Fact, at: int, noted: int, start: datetime, rng: np.random.Generator) -> AnyEntry:
    """The entry of a fact."""
    when = {"at": start + timedelta(seconds=at), "noted_at": start + timedelta(seconds=noted)}
    return entry_adapter.validate_python(
        {"kind": fact.kind, "id": _id(rng), "by": fact.by, "machine": fact.machine, **when, **fact.more}
    )


def _id(rng: np.random.Generator) -> UUID:
    return UUID(bytes=rng.bytes(16), version=4)


def _gone(
    entries: Sequence[AnyEntry], start: datetime, missing: float, way: str, rng: np.random.Generator
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which entries never reach the log, in this room's way; the share is that given."""
    if way == "in bursts":
        halves = [int((entry.noted_at - start).total_seconds() // HALF_DAY) for entry in entries]
        rank = {half: i for i, half in enumerate(rng.permutation(sorted(set(halves))))}
        order = np.argsort([rank[half] for half in halves], kind="stable")
        last = rank[halves[order[round(missing * len(entries))]]] if missing else -1
        return np.array([rank[half] < last for half in halves], dtype=np.bool_)
    keys = [entry.kind if way == "by kind" else entry.by if way == "by person" else "" for entry in entries]
    weight = {key: rng.lognormal(0, 0.8) for key in sorted(set(keys))}
    weights, low, high = np.array([weight[key] for key in keys]), 0.0, 50.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if np.minimum(0.97, middle * weights).mean() < missing else (low, middle)
    return np.asarray(rng.random(len(entries)) < (np.minimum(0.97, low * weights) if missing else 0.0), dtype=np.bool_)
