"""The rooms of `lone`: their set-up, what their machines are like, who is in when, and how they tell of it."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import accumulate, groupby
from random import Random
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from core import setup
from core.entries import AnyEntry, AtMachine, EntryVoided, Looked, PartsOff, PrintStarted, entry_adapter

Spells = list[tuple[float, float]]
OWNER, HELPER, HOUR = "ow", "he", timedelta(hours=1)
#: A full spool by the set-up, in grams, and the hours of printing after which upkeep is due.
FULL, UPKEEP_HOURS = 1000.0, 150.0
ZONES = (
    "Europe/Dublin",
    "Europe/Berlin",
    "Europe/Madrid",
    "America/New_York",
    "America/Chicago",
    "Australia/Melbourne",
)
THINGS = ("hook", "knob", "cable-clip", "bracket", "plant-stand", "key-tray", "lamp-foot", "door-stop", "pen-cup",
          "fan-grill", "spice-lid", "book-end", "curtain-ring", "coat-peg", "soap-dish", "tag", "jar")  # fmt: skip
#: What goes wrong, the spare that mends it, and the one upkeep task.
WRONG = {"down": ("nozzle-blocked", "feed-slips", "bed-cold", "belt-worn", "fan-dead", "dont-know"),
         "scrap": ("came-loose", "layers-shifted", "rough", "dont-know")}  # fmt: skip
SPARES = {"nozzle-blocked": "nozzle", "feed-slips": "feed-gear", "bed-cold": "heater", "fan-dead": "fan"}
TASK = "clean-and-oil"
#: How people come and go: chances a day, and a day off in May; both it and evening visits in half of the rooms only.
COMING = {"away": (0.01, 0.07), "errand": (0.05, 0.45), "evening": (-0.5, 0.5), "off": (-28, 28)}
#: How people tell: shares of visits told late, of slips, of slips put right.
TELLING = {
    "late": (0.03, 0.3), "late hours": (0.2, 1.5), "quick": (0.003, 0.04), "wrong file": (0.002, 0.025),
    "wrong machine": (0.001, 0.012), "wrong count": (0.01, 0.08), "righted": (0.2, 0.8), "hourly": (0.1, 0.9),
}  # fmt: skip


def moment(start: datetime, t: float) -> datetime:
    return start + timedelta(seconds=round(t * 3600))


@dataclass(frozen=True)
class Job:
    """A revision of a print file: from when until when it is used, how it truly prints, and how much it is wanted."""

    row: setup.PrintFile
    used: tuple[float, float]
    pace: float
    risk: float
    scrap: float
    wanted: float


@dataclass
class Print:
    """A print on a platform. `fails` is after how many hours it goes wrong, and `halts` whether it stops then."""

    job: Job
    started: float
    whole: float
    hours: float
    grams: float
    proving: bool
    fails: float = math.inf
    halts: bool = True
    done: float = 0.0
    starved: float | None = None
    ended: float | None = None
    by_itself: bool = False


@dataclass
class Bench:
    """A machine as it truly is. `flaw` is where a fault will show; `step` counts what befell it."""

    row: setup.Machine
    mean: float
    to_fault: float
    material: str
    spool: float
    upkeep: float
    aside: tuple[float, float]
    turns: list[tuple[float, str]] = field(default_factory=lambda: [(0.0, "empty")])
    on: Print | None = None
    resumed: float = 0.0
    last: Job | None = None
    flaw: str = ""
    broke: tuple[float, bool] | None = None
    spare: str | None = None
    told: bool = True
    step: int = 0

    @property
    def print(self) -> Print:
        assert self.on is not None
        return self.on

    def turn(self, t: float, state: str) -> None:
        self.turns.append((t, state))
        self.step += 1

    def state(self, t: float) -> str:
        return next(state for since, state in reversed(self.turns) if since <= t)

    def spoils(self, t: float) -> bool:
        on = self.on
        return on is not None and on.ended is None and not on.halts and on.fails < on.done + t - self.resumed

    def wear(self, t: float) -> None:
        hours, on = t - self.resumed, self.print
        on.done += hours
        self.spool -= hours * on.grams / on.hours
        self.to_fault, self.upkeep = self.to_fault - hours, self.upkeep + hours


class House:
    """A room: its machines, files and clock, how fast each model truly prints, and a change of firmware."""

    def __init__(self, dice: Random, hours: float) -> None:
        many = dice.randint(10, 28)
        each = -(-many // dice.choice([2, 2, 3]))
        turns = dice.choices(["M1", "M2", "M3"][: dice.choice([1, 1, 2, 2, 3])], k=7)
        self.machines = [
            setup.Machine(machine=f"P{i + 1:02}", rack="ABC"[i // each], place=i % each + 1, model=turns[i // 4])
            for i in range(many)
        ]
        models = sorted({row.model for row in self.machines})
        self.paces = {model: dice.uniform(0.93, 1.07) for model in models}
        factor = 1 + dice.choice([-1, 1]) * dice.uniform(0.03, 0.08)
        self.firmware = (dice.choice(models) if dice.random() < 0.4 else "", dice.uniform(0.3, 0.7) * hours, factor)
        self.bad = dice.choice(self.machines).machine if dice.random() < 1 / 3 else None
        self.zone, self.jobs = ZoneInfo(dice.choice(ZONES)), jobs(dice, models, hours)

    def pace(self, model: str, t: float) -> float:
        return self.paces[model] * (self.firmware[2] if self.firmware[0] == model and self.firmware[1] <= t else 1)

    def rows(self, start: datetime, days: Iterable[setup.Row], lead: float) -> list[setup.Row]:
        return [
            setup.Shop(name="A lone owner's room", zone=self.zone.key),
            *(setup.Model(model=name, name=name) for name in self.paces),
            *(setup.Rack(rack=name, name=name) for name in sorted({row.rack for row in self.machines})),
            *(setup.Product(product=name, name=name) for name in sorted({job.row.product for job in self.jobs})),
            *(j.row.model_copy(update={"since": moment(start, j.used[0])} if j.used[0] else {}) for j in self.jobs),
            *(setup.Person(person=code, name=code) for code in (OWNER, HELPER)),
            *self.machines, *days,
            *(setup.Material(material=name, name=name) for name in sorted({job.row.material for job in self.jobs})),
            *(setup.Spare(spare=name, name=name, lead_days=lead) for name in SPARES.values()),
            *(setup.Cause(about=about, cause=name, name=name, place=place, spare=SPARES.get(name))
              for about in ("down", "scrap") for place, name in enumerate(WRONG[about], start=1)),
            setup.UpkeepTask(task=TASK, name="Clean and oil", minutes=25, every_hours=UPKEEP_HOURS),
        ]  # fmt: skip

    def benches(self, dice: Random, hours: float, spool: float) -> list[Bench]:
        mean, worse = math.exp(dice.uniform(math.log(60), math.log(600))), dice.uniform(3, 5)
        asides, benches = dice.choice([0.0, 0.05, 0.1]), []
        for row in self.machines:
            own = mean * dice.lognormvariate(0, 0.25) / (worse if row.machine == self.bad else 1)
            begin = dice.uniform(0, hours) if dice.random() < asides else math.inf
            material = dice.choice([job.row.material for job in self.jobs if row.model in job.row.models])
            benches.append(Bench(row, own, dice.expovariate(1 / own), material, spool * dice.uniform(0.05, 1),
                                 dice.uniform(0, 150), (begin, begin + dice.uniform(60, 600))))  # fmt: skip
        return benches


def jobs(dice: Random, models: Sequence[str], hours: float) -> list[Job]:
    """The print files: groups of one to four products alike; half-way one file is revised, one renamed."""
    things, drawn = dice.sample(THINGS, dice.randint(5, 17)), list[Job]()
    materials = [f"mat-{colour}" for colour in ("grey", "black", "white")[: dice.randint(1, 3)]]
    shortest, longest, spread = dice.choice([0.5, 1, 2, 4, 8, 12, 18]), dice.uniform(14, 40), dice.uniform(0.01, 0.06)
    risk = math.exp(dice.uniform(math.log(0.0007), math.log(0.006)))
    while things:
        group, base = [things.pop() for _ in range(min(dice.randint(1, 4), len(things)))], dice.uniform(0, 1)
        fits = tuple(models) if not drawn or dice.random() < 0.7 else (dice.choice(models),)
        material = dice.choice(materials)
        for thing in group:
            stated = round(shortest * (longest / shortest) ** min(max(base + dice.uniform(-0.2, 0.2), 0), 1), 2)
            row = setup.PrintFile(
                file=thing, revision=1, product=thing, parts=min(max(round(stated / dice.uniform(0.15, 3)), 1), 60),
                hours=stated, grams=round(min(stated * dice.uniform(5, 18), 800)), material=material, models=fits,
            )  # fmt: skip
            drawn.append(Job(row, (0, math.inf), dice.lognormvariate(0, spread), risk * dice.lognormvariate(0, 1),
                             dice.choice([0.0, 0.005, 0.03]), dice.lognormvariate(0, 0.8)))  # fmt: skip
    half, first, second = dice.uniform(0.35, 0.65) * hours, drawn[0], drawn[1]
    anew = {"revision": 2, "hours": round(first.row.hours * dice.uniform(0.8, 1.1), 2)}
    for job, change in ((first, anew), (second, {"file": f"{second.row.file}-b"})):
        drawn.remove(job)
        drawn.append(replace(job, used=(0, half)))
        drawn.append(replace(job, row=job.row.model_copy(update=change), used=(half, math.inf)))
    return drawn


def stated_hours(dice: Random, seed: int) -> tuple[str, dict[int, Spells], dict[int, Spells]]:
    """What the set-up says of the week: the pattern, and the spells a weekday (0 is Monday) of owner and helper."""
    pattern = ("one shift", "one shift and Saturday", "split day")[seed % 3]
    begin = dice.choice([7.0, 8.0, 8.5, 9.0])
    spells = [(begin, begin + dice.choice([7.0, 7.5, 8.0, 8.5, 9.0]))]
    halves = [(begin, begin + 4), (begin + 4, spells[0][1])]
    if pattern == "split day":
        first, second = (begin, begin + dice.choice([3.0, 3.5, 4.0])), dice.choice([15.5, 16.0, 16.5])
        spells = halves = [first, (second, second + dice.choice([2.0, 3.0, 3.5]))]
    both = dice.sample(range(5), dice.randint(2, 5)) if dice.random() < 0.45 else []
    owner = {day: halves if day in both else spells for day in range(5)}
    if pattern == "one shift and Saturday" or (pattern == "split day" and dice.random() < 0.4):
        owner[5] = [(begin + 1, begin + 1 + dice.choice([3.0, 4.0, 5.0]))]
    return pattern, owner, {day: [dice.choice(halves)] for day in both}


def stated_days(owner: Mapping[int, Spells], helper: Mapping[int, Spells], off: int) -> list[setup.Row]:
    """The shifts of the set-up, with two hands where both are in, and the day off in May, if there is one."""
    rows: list[setup.Row] = [setup.SpecialDay(day=date(2026, 5, off))] if off > 0 else []
    for day, spells in owner.items():
        for place, spell in enumerate(spells, start=1):
            begin, end = (time(int(moment), round(moment % 1 * 60)) for moment in spell)
            told = {"start": begin, "end": end, "hands": 1 + (spell in helper.get(day, []))}
            rows.append(setup.Shift.model_validate({"weekday": setup.WEEKDAYS[day], "shift": place, **told}))
    return rows


class Presence:
    """When somebody is truly in: spells in hours since the start, and the hours of presence up to a moment."""

    def __init__(self, spells: Iterable[tuple[float, float]]) -> None:
        self.begins: list[float] = []
        self.ends: list[float] = []
        for begin, end in sorted(spells):
            if self.ends and begin <= self.ends[-1]:
                self.ends[-1] = max(self.ends[-1], end)
            else:
                self.begins.append(begin)
                self.ends.append(end)
        lengths = (end - begin for begin, end in zip(self.begins, self.ends, strict=True))
        self._before = [0.0, *accumulate(lengths)][:-1]
        #: Arrivals after, and leavings before, a long absence.
        absences = [(a, b) for a, b in zip(self.ends, self.begins[1:], strict=False) if b - a > 7]
        self.leavings, self.mornings = [a for a, _ in absences], self.begins[:1] + [b for _, b in absences]

    def inside(self, t: float) -> bool:
        return bisect_right(self.begins, t) > bisect_right(self.ends, t)

    def after(self, t: float, hours: float) -> float:
        """The moment at which so many hours of presence have gone by since `t`; infinite where there are none."""
        place = bisect_right(self.begins, t) - 1
        gone = self._before[place] + min(t, self.ends[place]) - self.begins[place] if place >= 0 else 0.0
        place = max(bisect_right(self._before, gone + hours) - 1, 0)
        then = self.begins[place] + gone + hours - self._before[place]
        return max(then, t) if then <= self.ends[place] else math.inf

    def next_morning(self, t: float) -> float:
        return next((begin for begin in self.mornings if begin > t), math.inf)


def truly_in(dice: Random, plan: Mapping[int, Spells], ways: Mapping[str, float], span: tuple[datetime, datetime],
             zone: ZoneInfo, *, owner: bool) -> Presence:  # fmt: skip
    """When the owner (or the helper) is truly in, in hours since the span's start."""
    spells, away = Spells(), 0
    for ahead in range((span[1] - span[0]).days + 3):
        day = span[0].astimezone(zone).date() + timedelta(days=ahead)
        if day.weekday() in plan and dice.random() < ways["away"]:
            away = dice.choice([1, 1, 1, 2, 3])
        off = (day.month, day.day) == (5, int(ways["off"]))
        local = _day(dice, [] if off else plan.get(day.weekday(), []), ways, owner=owner)
        midnight = datetime.combine(day, time(), zone)
        for spell in () if away else local:
            begin, end = ((midnight + timedelta(hours=hour)).astimezone(UTC) - span[0] for hour in spell)
            spells.append((begin / HOUR, end / HOUR))
        away = max(away - 1, 0)
    return Presence((max(begin, 0.0), end) for begin, end in spells if end > max(begin, 0))


def _day(dice: Random, plan: Spells, ways: Mapping[str, float], *, owner: bool) -> Spells:
    spells, slack = Spells(), 40 / 60 if owner else 15 / 60
    for planned in plan:
        begin, end = (moment + dice.uniform(-slack, slack) for moment in planned)
        if owner and end - begin > 1.5 and dice.random() < ways["errand"]:
            left = dice.uniform(begin + 0.3, end - 0.7)
            spells.append((begin, left))
            begin = left + dice.uniform(1, 3)
        spells.append((begin, end))
    if owner and dice.random() < ways["evening"]:
        visit = dice.uniform(19.5, 22.5)
        spells.append((visit, visit + dice.uniform(0.1, 0.9)))
    return spells


@dataclass(frozen=True)
class Fact:
    """What somebody did or saw at `t`: the entry it makes, the parts on the platform, when it is taken back."""

    t: float
    who: str
    visit: int
    kind: type[AtMachine]
    machine: str
    says: Mapping[str, Any]
    parts: int = 0
    undone: float = math.inf


class Teller:
    """Turns facts into entries, as people tap them."""

    def __init__(self, dice: Random, people: Mapping[str, Presence], house: House, start: datetime, end: float) -> None:
        self.dice, self.people, self.house, self.start, self.end = dice, people, house, start, end
        self.ways = {name: dice.uniform(*bounds) for name, bounds in TELLING.items()}

    def tell(self, facts: Iterable[Fact]) -> list[AnyEntry]:
        visits = [list(visit) for _, visit in groupby(facts, key=lambda fact: fact.visit)]
        entries = [entry for visit in visits for entry in self._visit(visit)]
        return sorted(entries, key=lambda entry: entry.noted_at)

    def _visit(self, visit: Sequence[Fact]) -> list[AnyEntry]:
        looked = visit[0].kind is Looked and len(visit) == 1
        quick = 0.003 if looked else self.dice.expovariate(1 / self.ways["quick"])
        moments = [(fact.t + quick, fact.t + quick) for fact in visit]
        if not looked and self.dice.random() < self.ways["late"]:
            lag = self.dice.lognormvariate(math.log(self.ways["late hours"]), 1.1)
            noted = self.people[visit[0].who].after(visit[-1].t, lag)
            moments = [(self._remembered(fact.t, noted), noted) for fact in visit]
        whole = [(fact, *told) for fact, told in zip(visit, moments, strict=True) if told[1] < self.end]
        return [entry for fact, at, noted in whole for entry in self._fact(fact, at, noted)]

    def _remembered(self, t: float, noted: float) -> float:
        """The moment that is named for `t` when it is tapped at `noted`: stamped, so long ago, or by the clock."""
        lag = noted - t
        if lag < 0.12 or not math.isfinite(noted):
            return noted
        felt = lag * self.dice.lognormvariate(0, 0.15)
        if felt < 1.3:
            return noted - min((10, 30, 60), key=lambda step: abs(step - felt * 60)) / 60
        step = 1.0 if self.dice.random() < self.ways["hourly"] else 0.5
        return min(round((noted - felt) / step) * step, noted) if felt < noted else 0.0

    def _fact(self, fact: Fact, at: float, noted: float) -> list[AnyEntry]:
        true, said = (fact.machine, fact.says), self._slipped(fact)
        first = self._entry(fact, said, at, noted)
        righted = said != true and self.dice.random() < self.ways["righted"]
        back = noted + self.dice.lognormvariate(-0.7, 1.5) if righted else max(noted, fact.undone)
        if back >= self.end or not (righted or fact.undone < self.end):
            return [first]
        now = moment(self.start, back)
        void = EntryVoided(id=self._id(), at=now, noted_at=now, by=fact.who, which=first.id, why="slip")
        return [first, void, self._entry(fact, true, at, back)] if fact.undone > self.end else [first, void]

    def _slipped(self, fact: Fact) -> tuple[str, Mapping[str, Any]]:
        machine, says = fact.machine, dict(fact.says)
        if self.dice.random() < self.ways["wrong machine"]:
            place = next(i for i, row in enumerate(self.house.machines) if row.machine == machine)
            near, model = self.house.machines[max(place - 1, 0) : place + 2], self.house.machines[place].model
            machine = self.dice.choice([row.machine for row in near if row.model == model])
        if fact.kind is PrintStarted and self.dice.random() < self.ways["wrong file"]:
            fits = next(set(job.row.models) for job in self.house.jobs if job.row.file == says["file"])
            now = [job.row for job in self.house.jobs if job.used[0] <= fact.t < job.used[1]]
            other = self.dice.choice([row for row in now if fits <= set(row.models)])
            says |= {"file": other.file, "revision": other.revision}
        if fact.kind is PartsOff and says["scrap"] and self.dice.random() < self.ways["wrong count"]:
            says["scrap"] = max(0, min(says["scrap"] + self.dice.choice([-1, 1]), fact.parts))
        return machine, says

    def _entry(self, fact: Fact, said: tuple[str, Mapping[str, Any]], at: float, noted: float) -> AnyEntry:
        fields = {"kind": fact.kind.__name__, "id": self._id(), "at": moment(self.start, at), "by": fact.who, **said[1]}
        return entry_adapter.validate_python({**fields, "noted_at": moment(self.start, noted), "machine": said[0]})

    def _id(self) -> UUID:
        return UUID(int=self.dice.getrandbits(128), version=4)


def heard(dice: Random, entries: Sequence[AnyEntry], missing: float, zone: ZoneInfo) -> list[AnyEntry]:
    """Those entries that reach the log: whole half days go all but untold, the rest is nearly complete."""
    halves = [(noted.date(), noted.hour >= 13) for noted in (entry.noted_at.astimezone(zone) for entry in entries)]
    order, in_burst = sorted(set(halves)), dice.uniform(0.85, 1.0)
    rates = dict.fromkeys(order, missing * dice.uniform(0.03, 0.2))
    lacking = (missing - rates[order[0]]) * len(entries)
    while lacking > 0.5:
        first, length = dice.randrange(len(order)), dice.choice([1, 1, 1, 2, 2, 3, 4, 6])
        for half in order[first : first + length]:
            more = min(in_burst - rates[half], max(lacking, 0.0) / halves.count(half))
            rates[half] += more
            lacking -= more * halves.count(half)
    kept = [entry for entry, half in zip(entries, halves, strict=True) if dice.random() >= rates[half]]
    there = {entry.id for entry in kept}
    return [entry for entry in kept if not isinstance(entry, EntryVoided) or entry.which in there]
