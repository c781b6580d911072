"""The widest family: every habit is drawn on its own, so that no two rooms are alike.

It assumes 10 to 45 machines of 1 to 3 models in 2 or 3 racks and one to five hands a shift, who come to a machine
after a lognormal wait of staffed time whose median is 3 minutes to 3 hours. They start the next print at once or
later, as far as that week's work goes; they pause, abort, move and restart prints, and tell a removal before a
restart or not. Machines fail by the printing hour, all alike but for one bad one in a third of the rooms; some
faults are never told. Files differ in risk by a lot, and of a few nobody knows the right hours. A failed machine is
"stopped" until somebody finds it, and "down" or "waiting" from then on. A room starts empty; one used less than 25
% or more than 85 % is drawn anew. What is told late is told from memory, by some far more than others; entries go
missing at random, by kind, by person or whole half days at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from core.setup import (
    ALWAYS,
    DONT_KNOW,
    Cause,
    Machine,
    Material,
    Model,
    Person,
    PrintFile,
    Product,
    Rack,
    Row,
    Shift,
    Shop,
    Spare,
    SpecialDay,
    UpkeepTask,
)
from demo.rooms.spread_floor import DAY, WEEK, Bench, Fact, Floor, Print, Spans, tell
from demo.rooms.spread_people import Life
from demo.rooms.told import Fault, Run, Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
PATTERNS = ("one shift", "one shift and Saturday", "two shifts", "two shifts and Saturday")
ZONES = ("Europe/Dublin", "Europe/Helsinki", "America/Chicago", "America/Halifax", "Australia/Adelaide")
WEEKDAYS: tuple[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"], ...] = (
    "mon",
    "tue",
    "wed",
    "thu",
    "fri",
    "sat",
    "sun",
)
NAMES = (
    "hinge", "knob", "clip", "bracket", "hook", "spacer", "foot", "tray", "lid", "grip", "cap", "duct", "frame",
    "pulley", "handle", "plug", "stand", "cover", "wedge", "ring", "funnel", "latch", "rail", "shim", "cradle",
)  # fmt: skip
CAUSES = (("nozzle", "nozzle"), ("belt", "belt"), ("bed", None), ("feeder", "feeder"), (DONT_KNOW, None))
SCRAPS = ("warped", "stringy", "loose", DONT_KNOW)
Rng = np.random.Generator
PRINTS = ("printing", "proving")
#: A room whose machines print less or more than this is drawn anew, so many times at most.
LEAST_USED, MOST_USED, MOST_DRAWS = 0.25, 0.85, 8


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A room drawn: its set-up, its floor with all that happened on it, and what there is to tell."""

    pattern: str
    rows: list[Row]
    floor: Floor
    facts: list[Fact]
    bad: str | None


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One room of this family: the same seed has the same life however much is missing of what is told."""
    start = END - timedelta(weeks=weeks)
    for attempt in range(MOST_DRAWS):
        drawn = _drawn(np.random.default_rng([seed, 71, attempt]), PATTERNS[seed % 4], start, weeks)
        if LEAST_USED <= _used(drawn.floor) <= MOST_USED:
            break
    floor, benches = drawn.floor, drawn.floor.benches
    entries = tell(drawn.facts, floor, start, missing, np.random.default_rng([seed, 72]))
    turns = {b.code: [(_at(start, t), state) for t, state in b.turns if t < floor.span] for b in benches}
    runs = [_run(b.code, run, start, floor.span) for b in benches for run in b.prints if run.started < floor.span]
    faults = [
        Fault(b.code, _at(start, f.failed), _within(start, f.back, floor.span), f.in_print)
        for b in benches for f in b.faults if f.failed < floor.span
    ]  # fmt: skip
    return Told("spread", seed, drawn.pattern, start, END, drawn.rows, entries, turns, runs, faults, drawn.bad)


def _drawn(rng: Rng, pattern: str, start: datetime, weeks: int) -> _Drawn:
    """One room drawn and lived through."""
    zone, habits, hands = ZoneInfo(str(rng.choice(ZONES))), _habits(rng), int(rng.integers(1, 6))
    shifts = _shifts(pattern, hands, rng)
    shut = [(start + timedelta(days=int(d))).astimezone(zone).date() for d in rng.integers(3, 7 * weeks, 2)]
    people = _people(shifts, hands, zone, start, {str(day) for day in shut}, rng)
    benches, bad = _benches(rng, habits)
    shortest = 4.0 if pattern.startswith("one") else 2.5
    files, turn = _files(sorted({b.model for b in benches}), start, weeks, shortest, rng)
    floor = _floor(benches, files, start, turn, people, weeks=weeks, rng=rng)
    life = Life(floor, habits, rng)
    life.live()
    rows = _rows(zone, benches, files, shifts, people, habits=habits, pack=floor.pack)
    rows += [SpecialDay(day=day) for day in dict.fromkeys(shut)]
    return _Drawn(pattern, rows, floor, life.facts, bad)


def _used(floor: Floor) -> float:
    """The share of machine time in which machines print."""
    printed = 0
    for bench in floor.benches:
        ends = [t for t, _ in bench.turns[1:]] + [floor.span]
        spans = zip(bench.turns, ends, strict=True)
        printed += sum(min(b, floor.span) - a for (a, s), b in spans if s in PRINTS and a < floor.span)
    return printed / (floor.span * len(floor.benches))


def _at(start: datetime, t: int) -> datetime:
    return start + timedelta(seconds=t)


def _within(start: datetime, t: int | None, span: int) -> datetime | None:
    return _at(start, t) if t is not None and t < span else None


def _run(machine: str, run: Print, start: datetime, span: int) -> Run:
    """What a print truly was; one that still runs at the end of the span is said to end there."""
    over = run.ended is not None and run.ended < span
    ended = run.ended if run.ended is not None and over else span
    hours = run.hours if run.by_itself and over else min(run.hours, run.lasted(ended) / 3600)
    return Run(
        machine, run.file.file, run.file.revision, _at(start, run.started), _at(start, ended),
        _within(start, run.off, span), hours, run.whole, run.by_itself and over, run.file.parts, run.scrap,
        _within(start, run.starved, span),
    )  # fmt: skip


def _log(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _habits(rng: Rng) -> dict[str, float]:
    """Every habit on its own: hours, minutes and shares."""
    flat = {
        "wait_spread": (0.5, 1.3), "demand": (0.45, 1.3), "at_once": (0.2, 1), "look_ahead": (0, 0.9),
        "use": (0.95, 1.1),
        "fit_exact": (0.85, 1), "untold": (0, 0.4), "no_spare": (0, 0.6), "runs_on": (0.1, 0.9), "spots": (0.05, 0.7),
        "again": (0, 0.8), "silent_again": (0, 0.7), "abort": (0, 0.05), "move": (0, 0.8), "pause": (0, 0.06),
        "give_up": (0, 0.3), "proves": (0, 0.4), "aside": (0, 1), "overnight": (0, 0.5), "passing": (0, 0.2),
    }  # fmt: skip
    wide = {"wait": (0.05, 3), "noise": (0.003, 0.03), "life": (60, 600), "repair": (0.3, 8), "upkeep_hours": (80, 600),
            "upkeep_minutes": (10, 120), "odd_scrap": (0.002, 0.04)}  # fmt: skip
    habits = {name: float(rng.uniform(*ends)) for name, ends in flat.items()}
    habits |= {name: _log(rng, *ends) for name, ends in wide.items()}
    habits["check_spool"] = float(rng.choice([0, 0.85, 1]))
    habits["rounds"], habits["all_racks"] = float(rng.choice([0, 1, 2, 3])), float(rng.random() < 0.6)
    return habits


def _shifts(pattern: str, hands: int, rng: Rng) -> list[Shift]:
    """The week's shifts in local time."""
    first = int(rng.integers(6, 9))
    if pattern.startswith("two"):
        day = [(time(6), time(14)), (time(14), time(22))]
    else:
        day = [(time(first), time(first + int(rng.integers(8, 10))))]
    rows = [
        Shift(weekday=name, shift=i + 1, start=a, end=b, hands=hands)
        for name in WEEKDAYS[:5]
        for i, (a, b) in enumerate(day)
    ]
    if pattern.endswith("Saturday"):
        rows.append(Shift(weekday="sat", start=time(first), end=time(first + 6), hands=hands))
    return rows


def _people(
    shifts: list[Shift], hands: int, zone: ZoneInfo, start: datetime, shut: set[str], rng: Rng
) -> dict[str, Spans]:
    """When each person is in: days off as they fall, and one week in which half of them are away."""
    teams = 1 + max(row.shift for row in shifts) // 2
    names = [f"P{i + 1}" for i in range(hands * teams)]
    days, away = (END - start).days, int(rng.integers(1, max(2, (END - start).days // 7 - 1)))
    off, early = rng.uniform(0, 0.08), rng.uniform(0, 0.6)
    spans: dict[str, Spans] = {}
    for i, name in enumerate(names):
        mine: list[tuple[int, int]] = []
        for day in range(days + 1):
            date = (start + timedelta(days=day)).astimezone(zone).date()
            if str(date) in shut or rng.random() < off or (day // 7 == away and len(names) > 1 and i % 2):
                continue
            for row in shifts:
                team = day // 7 % teams if row.weekday == "sat" else row.shift - 1
                if row.weekday == WEEKDAYS[date.weekday()] and team == i // hands:
                    a, b = (datetime.combine(date, t, zone) for t in (row.start, row.end))
                    late, soon = rng.exponential(5 * 60), rng.exponential(early * 1200)
                    mine.append((int((a - start).total_seconds() + late), int((b - start).total_seconds() - soon)))
        spans[name] = [(max(0, a), b) for a, b in sorted(mine) if b > max(0, a)]
    return spans


def _benches(rng: Rng, habits: Mapping[str, float]) -> tuple[list[Bench], str | None]:
    """The machines, rack by rack; in a third of the rooms one of them fails far more often."""
    count, racks, models = int(rng.integers(10, 46)), int(rng.integers(2, 4)), int(rng.integers(1, 4))
    benches = [
        Bench(f"M{i + 1:02d}", f"T{1 + i * models // count}", f"R{1 + i * racks // count}", 1.0,
              rng.uniform(0, habits["upkeep_hours"]))
        for i in range(count)
    ]  # fmt: skip
    if rng.random() > 1 / 3:
        return benches, None
    bad = benches[int(rng.integers(count))]
    bad.frailty = float(rng.uniform(3, 5))
    return benches, bad.code


def _files(
    models: list[str], start: datetime, weeks: int, shortest: float, rng: Rng
) -> tuple[list[PrintFile], datetime]:
    """The print files, some revised or renamed half-way; `hours` are the stated ones."""
    turn = start + timedelta(days=int(rng.integers(2 * weeks, 5 * weeks)))
    middle, spread, rows = _log(rng, shortest, 28), rng.uniform(0.3, 1.0), []
    for i in range(int(rng.integers(6, 26))):
        hours = round(float(np.clip(rng.lognormal(np.log(middle), spread), 0.5, 40)), 2)
        fits = models if i < 2 or rng.random() < 0.6 else [str(rng.choice(models))]
        rows.append(PrintFile(
            file=NAMES[i], revision=1, product=f"{NAMES[i // 3]}-{1 + i % int(rng.integers(1, 4))}",
            parts=int(rng.integers(1, 25)), hours=hours, grams=round(min(650.0, hours * rng.uniform(8, 30)), 1),
            material=f"plastic-{1 + int(rng.integers(3))}", models=tuple(fits),
        ))  # fmt: skip
    for old in [rows[int(i)] for i in rng.choice(len(rows), 2, replace=False)]:
        told = {"since": turn, "hours": round(old.hours * rng.uniform(0.8, 1.15), 2)}
        renamed = {"file": f"{old.file}-new", "since": turn}
        rows.append(old.model_copy(update=renamed if rng.random() < 0.4 else {**told, "revision": 2}))
    return rows, turn


def _floor(
    benches: Sequence[Bench], files: list[PrintFile], start: datetime, turn: datetime, people: dict[str, Spans],
    *, weeks: int, rng: Rng,
) -> Floor:  # fmt: skip
    """How long prints truly take, and what goes wrong with which file."""
    common, spread = rng.uniform(0.85, 1.25), rng.uniform(0.01, 0.06)
    factor = {(f.file, f.revision): common * rng.normal(1, spread) for f in files}
    for key in [list(factor)[int(i)] for i in rng.choice(len(factor), int(rng.integers(1, 4)), replace=False)]:
        factor[key] *= 1 + rng.choice([-1, 1]) * rng.uniform(0.2, 0.6)
    models = sorted({b.model for b in benches})
    of = {model: rng.normal(1, 0.03) for model in models}
    firm = (str(rng.choice(models)), 1 + rng.choice([-1, 1]) * rng.uniform(0.03, 0.08))
    since, changes = int((turn - start).total_seconds()) + 3 * DAY, rng.random() < 0.4
    later = {f.file.removesuffix("-new") for f in files if f.since > ALWAYS}
    half = (turn - start).total_seconds()

    def whole(file: PrintFile, model: str, t: int) -> float:
        new = firm[1] if changes and model == firm[0] and t >= since else 1.0
        return float(file.hours * factor[file.file, file.revision] * of[model] * new)

    old = [f for f in files if f.since == ALWAYS]
    new = [f for f in files if f.since > ALWAYS or f.file not in later]

    def in_force(t: int) -> list[PrintFile]:
        return new if t >= half else old

    risk = _log(rng, 0.0008, 0.01)
    return Floor(
        benches, in_force, whole, {f.file: risk * float(rng.lognormal(0, 1)) for f in files},
        {f"plastic-{i}": float(rng.choice([750, 1000, 1000, 2000])) for i in (1, 2, 3)}, CAUSES, SCRAPS,
        ("clean", "grease"), people, weeks * WEEK, files,
    )  # fmt: skip


def _rows(
    zone: ZoneInfo, benches: Sequence[Bench], files: list[PrintFile], shifts: list[Shift], people: Mapping[str, Spans],
    *, habits: Mapping[str, float], pack: Mapping[str, float],
) -> list[Row]:  # fmt: skip
    """The set-up as the shop would have written it."""
    rows: list[Row] = [Shop(name="Invented room", zone=zone.key)]
    rows += [Model(model=m, name=m) for m in sorted({b.model for b in benches})]
    rows += [Rack(rack=r, name=r) for r in sorted({b.rack for b in benches})]
    rows += [Machine(machine=b.code, model=b.model, rack=b.rack, place=i + 1) for i, b in enumerate(benches)]
    rows += [Product(product=p, name=p) for p in sorted({f.product for f in files})]
    rows += [Material(material=m, name=m, pack=grams) for m, grams in pack.items()]
    rows += [Spare(spare=s, name=s) for _, s in CAUSES if s]
    rows += [Cause(about="down", cause=c, name=c, place=i + 1, spare=s) for i, (c, s) in enumerate(CAUSES)]
    rows += [Cause(about="scrap", cause=c, name=c, place=i + 1) for i, c in enumerate(SCRAPS)]
    minutes, every = round(habits["upkeep_minutes"]), round(habits["upkeep_hours"])
    rows += [UpkeepTask(task=t, name=t, minutes=minutes, every_hours=every) for t in ("clean", "grease")]
    rows += [Person(person=p, name=p) for p in people]
    return [*rows, *files, *shifts]
