"""A family of rooms that are worked on rounds only.

One or two people walk along all racks two to six times a day and do at each machine what there is to do, one after
another; a round of a big room takes one to two hours. Rounds are early or late by tens of minutes, none is at lunch,
some are left out, and whoever has to go home stops where they are. Between rounds nobody looks. A print that a fault
ended stands "stopped" until it is found and the machine is "down" from then, as the design's words have it;
`Fault.failed` is the true moment. Repairs, spools, upkeep and proving are done in passing. People tap at the machine
or, in part, from memory when the round is over. Entries are lost one by one, and whole racks of a round are forgotten.
At the start all platforms are clear; a print still on at the end is told as it would have ended.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from core import setup
from core.entries import AnyEntry, entry_adapter
from demo.rooms.rounds_people import Fact, Unit, Walker, after
from demo.rooms.told import Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
ZONES = ("Europe/Lisbon", "Europe/Helsinki", "Europe/Prague", "America/Denver", "America/Toronto", "Pacific/Auckland")
PARTS = (
    "clip", "hinge", "knob", "tray", "bracket", "foot", "sleeve", "hook", "cap", "spacer", "handle", "latch", "cover",
    "guide", "ring", "stand", "grip", "duct", "shim", "frame", "wedge", "plug", "rail", "cradle", "spout",
)  # fmt: skip
TROUBLES = ("nozzle", "belt", "heater", "feeder", "board", "sensor", "fan")
#: An entry, with the round and rack that it may be forgotten with.
Tapped = tuple[AnyEntry, tuple[int, str]]


@dataclass(frozen=True)
class House:
    """What is so in one room: its set-up, its machines' ways and its people's habits."""

    machines: Sequence[setup.Machine]
    files: Sequence[setup.PrintFile]
    causes: Sequence[setup.Cause]
    scrap_causes: Sequence[str]
    tasks: Sequence[setup.UpkeepTask]
    pack: float
    pace: dict[str, float]  # of a file, by its code
    model_pace: dict[str, float]
    firmware: tuple[str, datetime, float] | None
    run_spread: float
    usage: dict[str, float]  # grams truly used for one stated, by file
    risk: dict[str, float]  # that a print of this file goes wrong
    runs_on: float  # of those, the share that prints on as scrap
    fault_hours: float
    bad: str | None
    worse: float
    load: float
    sticky: float
    night: float
    eye: float
    checks_spool: float
    mends_at_once: float
    repair_hours: float
    spare_days: float
    hush: float
    watches: float
    proves: float
    hurried: float
    odd_scrap: float
    off_minutes: float
    start_minutes: float
    walk_seconds: float
    aside: float


@dataclass(frozen=True)
class Hours:
    """When the rounds of a room are, in hours of its clock: those of the day shift, a late one, Saturdays."""

    pattern: str
    zone: ZoneInfo
    opens: float
    shuts: float
    rounds: int
    late: float
    spread: float
    saturday: int
    left_out: float
    people: int
    walkers: int
    holiday: date


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One room: the same seed lives the same life whatever share of the entries is missing."""
    start = END - timedelta(weeks=weeks)
    draw, life, tell, lose = (np.random.default_rng([seed, 7, stream]) for stream in range(4))
    hours = _hours(draw)
    house = _house(draw, start, hours.rounds)
    units, facts = _live(house, hours, start, life)
    return Told(
        family="rounds", seed=seed, pattern=hours.pattern, start=start, end=END,
        rows=_rows(house, hours, draw), entries=_thinned(_Teller(house, tell).tell(facts), missing, lose),
        turns={unit.row.machine: tuple(unit.turns) for unit in units},
        runs=tuple(run for unit in units for run in unit.runs),
        faults=tuple(fault for unit in units for fault in unit.faults), bad=house.bad,
    )  # fmt: skip


def _hours(rng: np.random.Generator) -> Hours:
    pattern = ("one shift", "one shift and Saturday", "late rounds")[int(rng.integers(3))]
    opens = float(rng.choice([6, 6.5, 7, 7.5, 8, 9]))
    return Hours(
        pattern=pattern, zone=ZoneInfo(ZONES[int(rng.integers(len(ZONES)))]), opens=opens,
        shuts=opens + float(rng.choice([7.5, 8, 8.5, 9])), rounds=int(rng.integers(2, 7)),
        late=float(rng.choice([20, 20.5, 21, 21.5])) if pattern == "late rounds" else 0.0,
        spread=float(rng.uniform(10, 40)) / 60,
        saturday=int(rng.integers(1, 4)) if pattern == "one shift and Saturday" else 0,
        left_out=float(rng.uniform(0, 0.06)), people=int(rng.integers(2, 5)), walkers=1 + int(rng.random() < 0.35),
        holiday=date(2026, 5, 25) if rng.random() < 0.5 else date(2026, 4, 6),
    )  # fmt: skip


def _house(rng: np.random.Generator, start: datetime, rounds: int) -> House:
    models = ["M1", "M2", "M3"][: int(rng.integers(1, 4))]
    machines = _machines(rng, models)
    files = _files(rng, models, start + (END - start) * float(rng.uniform(0.35, 0.65)), 42 / (rounds + 1))
    names = sorted({file.file for file in files})
    of_room, spread = float(rng.uniform(0.85, 1.25)), float(rng.uniform(0.01, 0.06))
    base, usage = float(rng.uniform(0.008, 0.07)), float(rng.uniform(0.96, 1.09))
    spares = {cause: f"{cause}-kit" if rng.random() < 0.6 else None for cause in TROUBLES}
    of_faults, repair = (float(np.exp(rng.uniform(np.log(a), np.log(b)))) for a, b in ((60, 600), (0.7, 24)))
    by = 1 + float(rng.choice([-1, 1]) * rng.uniform(0.03, 0.08))
    return House(
        machines=machines, files=files, pack=float(rng.choice([750, 1000, 1000, 2300])),
        causes=[
            setup.Cause(about="down", cause=c, name=c.title(), place=i, spare=spares[c])
            for i, c in enumerate(TROUBLES[: int(rng.integers(3, 8))], 1)
        ],
        scrap_causes=("warped", "stringy", "loose", "dont-know")[: int(rng.integers(2, 5))],
        tasks=[setup.UpkeepTask(task="clean", name="Clean", minutes=12, every_hours=float(rng.integers(150, 500)))]
        + [setup.UpkeepTask(task="grease", name="Grease", minutes=25, every_hours=float(rng.integers(300, 900)))]
        * int(rng.random() < 0.6),
        pace={name: of_room * float(np.exp(rng.normal(0, spread))) for name in names},
        model_pace={model: float(np.exp(rng.normal(0, 0.02))) for model in models},
        firmware=(models[0], start + (END - start) * float(rng.uniform(0.4, 0.6)), by) if rng.random() < 0.3 else None,
        run_spread=float(np.exp(rng.uniform(np.log(0.003), np.log(0.03)))),
        usage={name: float(np.clip(rng.normal(usage, 0.012), 0.95, 1.10)) for name in names},
        risk={name: min(0.6, base * float(rng.lognormal(0, 0.9))) for name in names},
        runs_on=float(rng.uniform(0.1, 0.7)), fault_hours=of_faults,
        bad=machines[int(rng.integers(len(machines)))].machine if rng.random() < 0.34 else None,
        worse=float(rng.uniform(3, 5)), load=float(rng.uniform(0.7, 1.0)), sticky=float(rng.uniform(0.3, 0.9)),
        night=float(rng.uniform(0.15, 1)), eye=float(rng.uniform(0.1, 0.7)),
        checks_spool=(0.0, 0.8, 1.0)[int(rng.integers(3))], mends_at_once=float(rng.uniform(0.2, 0.7)),
        repair_hours=repair * (of_faults / 600) ** 0.5, spare_days=float(rng.uniform(1, 9)),
        hush=float(rng.uniform(0.02, 0.3)), watches=float(rng.uniform(0, 1)), proves=float(rng.choice([0, 0.3, 0.8])),
        hurried=float(rng.uniform(0, 0.08)), odd_scrap=float(rng.uniform(0, 0.03)),
        off_minutes=float(rng.uniform(2, 6)), start_minutes=float(rng.uniform(1, 4)),
        walk_seconds=float(rng.uniform(10, 50)), aside=float(rng.choice([0, 0.0005, 0.002])),
    )  # fmt: skip


def _machines(rng: np.random.Generator, models: Sequence[str]) -> list[setup.Machine]:
    count, racks = int(rng.integers(10, 46)), int(rng.integers(2, 4))
    size = -(-count // racks)
    of = [models[i * len(models) // count] for i in range(count)]
    return [
        setup.Machine(machine=f"P{i + 1:02d}", model=model, rack="ABC"[i // size], place=i % size + 1)
        for i, model in enumerate(of)
    ]


def _files(rng: np.random.Generator, models: Sequence[str], half: datetime, gap: float) -> list[setup.PrintFile]:
    """The print files: short and long ones by the room's own taste, one or two of them new or renamed half-way."""
    typical, taste = float(np.exp(rng.uniform(np.log(gap), np.log(30)))), float(rng.uniform(0.3, 0.9))
    names, product, left, files = rng.permutation(PARTS)[: int(rng.integers(6, 26))], "", 0, []
    for i, name in enumerate(str(n) for n in names):
        if not left:
            product, left = name, int(rng.integers(1, 5))
        left -= 1
        hours = round(float(np.clip(rng.lognormal(np.log(typical), taste), 0.5, 40)), 2)
        fit = tuple(m for m in models if i < len(models) or rng.random() < 0.75) or (models[0],)
        files.append(
            setup.PrintFile(
                file=name, revision=1, product=product, parts=int(rng.choice([1, 2, 4, 6, 8, 12, 20])), hours=hours,
                grams=float(round(min(600, 10 + hours * rng.uniform(8, 28)))), models=fit,
                material=str(rng.choice(["pla-black", "petg-grey", "petg-white"], p=[0.75, 0.15, 0.1])),
            )
        )  # fmt: skip
    files.append(
        files[0].model_copy(update={"revision": 2, "since": half, "hours": round(files[0].hours * 0.9 + 0.05, 2)})
    )
    if rng.random() < 0.6:
        files.append(files[1].model_copy(update={"file": f"{files[1].file}-new", "since": half}))
    return files


def _rows(house: House, hours: Hours, rng: np.random.Generator) -> tuple[setup.Row, ...]:
    """The set-up as the room has it."""
    spares = sorted({cause.spare for cause in house.causes if cause.spare})
    days = [(day, hours.opens, hours.shuts, 1, hours.walkers) for day in setup.WEEKDAYS[:5]]
    days += [(day, hours.late, hours.late + 2, 2, 1) for day in setup.WEEKDAYS[:5] if hours.late]
    days += [("sat", hours.opens + 1, hours.opens + 6, 1, hours.walkers)] * bool(hours.saturday)
    return (
        setup.Shop(
            name="Invented rounds", zone=str(hours.zone), change_minutes=round(house.off_minutes + house.start_minutes)
        ),
        *(setup.Model(model=model, name=model) for model in house.model_pace),
        *(setup.Rack(rack=rack, name=f"Rack {rack}") for rack in sorted({m.rack for m in house.machines})),
        *house.machines,
        *(setup.Product(product=p, name=p.title()) for p in sorted({file.product for file in house.files})),
        *(setup.Material(material=m, name=m, pack=house.pack) for m in sorted({file.material for file in house.files})),
        *house.files,
        *(setup.Person(person=f"W{i + 1}", name=f"Walker {i + 1}") for i in range(hours.people)),
        *(
            setup.Shift.model_validate({"weekday": day, "shift": n, "start": _time(a), "end": _time(b), "hands": hands})
            for day, a, b, n, hands in days
        ),
        setup.SpecialDay(day=hours.holiday, note="closed"),
        *(
            setup.Spare(spare=s, name=s, lead_days=max(1.0, round(house.spare_days * rng.uniform(0.8, 1.2))))
            for s in spares
        ),
        *house.causes,
        setup.Cause(about="down", cause="dont-know", name="Don't know", place=8),
        *(
            setup.Cause(about="scrap", cause=c, name=c.title(), place=i)
            for i, c in enumerate(("warped", "stringy", "loose"), 1)
        ),
        setup.Cause(about="scrap", cause="dont-know", name="Don't know", place=8),
        *house.tasks,
    )


def _time(hour: float) -> time:
    return time(int(hour), int(hour % 1 * 60))


def _live(
    house: House, hours: Hours, start: datetime, rng: np.random.Generator
) -> tuple[list[Unit], list[tuple[Fact, datetime]]]:
    """Everything that happened, and every fact with the moment at which its round was over."""
    walker, facts = Walker(house, rng), []
    units = [_unit(machine, house, walker, start, rng) for machine in house.machines]
    free, mood = start, 1.0
    for number, (planned, shut, last) in enumerate(_rounds(hours, start, rng)):
        begin = max(planned, after(free, 10))
        if begin > after(shut, -10) or rng.random() < hours.left_out:
            continue
        mood = float(np.clip(mood + rng.normal(0, 0.06), 0.7, 1.0))
        hands = 1 if planned.astimezone(hours.zone).hour >= 19 else hours.walkers
        for hand in range(hands):
            walker.by = f"W{(planned.toordinal() // 5 + hand) % hours.people + 1}"
            walker.round, walker.last, walker.mood, walker.carried = number, last, mood, None
            walker.clock, before = after(begin, float(rng.uniform(0, 4))), len(walker.facts)
            for unit in units[hand * len(units) // hands : (hand + 1) * len(units) // hands]:
                if walker.clock < min(after(shut, 25), END - timedelta(hours=1)):
                    walker.visit(unit)
            free = max(free, walker.clock)
            facts += [(fact, walker.clock) for fact in walker.facts[before:]]
    for unit in units:
        unit.finish(END)
    return units, facts


def _unit(machine: setup.Machine, house: House, walker: Walker, start: datetime, rng: np.random.Generator) -> Unit:
    material = house.files[int(rng.integers(len(house.files)))].material
    unit = Unit(machine, [(start, "empty")], walker.next_fault(machine), material, house.pack * float(rng.random()))
    unit.since_upkeep = float(rng.uniform(0, 300))
    return unit


def _rounds(hours: Hours, start: datetime, rng: np.random.Generator) -> Iterator[tuple[datetime, datetime, bool]]:
    """Every round's planned moment, when whoever walks it goes home, and whether it is the day's last."""
    day = start.astimezone(hours.zone).date()
    while day <= END.astimezone(hours.zone).date():
        plan: list[tuple[float, float]] = []
        if day != hours.holiday and day.weekday() < 5:
            plan = _spread(hours.opens, hours.shuts, hours.rounds - bool(hours.late), hours.spread, rng)
            late = hours.late + 0.2 + abs(float(rng.normal(0, hours.spread)))
            plan += [(late, hours.late + 2)] * bool(hours.late)
        elif day.weekday() == 5:
            plan = _spread(hours.opens + 1, hours.opens + 6, hours.saturday, hours.spread, rng)
        for at, shut in plan:
            midnight = datetime.combine(day, time(), hours.zone)
            moments = [(midnight + timedelta(seconds=round(3600 * h))).astimezone(UTC) for h in (at, shut)]
            if start < moments[0] < END - timedelta(hours=1):
                yield moments[0], moments[1], (at, shut) == plan[-1]
        day += timedelta(days=1)


def _spread(
    opens: float, shuts: float, many: int, spread: float, rng: np.random.Generator
) -> list[tuple[float, float]]:
    """The rounds of one shift: the first soon after it began, the last before its end, none at lunch."""
    at = np.linspace(opens + 0.15, shuts - 1.3, max(many, 2))[:many] + rng.normal(0, spread, many)
    return [(13 + (h - 12) / 3 if 12 <= h < 13 else h, shuts) for h in sorted(max(opens, float(h)) for h in at)]


class _Teller:
    """What people tell of what they did and saw: at the machine or from memory, with slips."""

    def __init__(self, house: House, rng: np.random.Generator) -> None:
        self.house, self.rng = house, rng
        self.looks = ("idle", "racks", "never")[int(rng.integers(3))]
        racks = sorted({machine.rack for machine in house.machines})
        self.racks = set(racks[: int(rng.integers(1, len(racks)))])
        self.memory, self.whole = float(rng.uniform(0, 0.3)), float(rng.uniform(0, 0.25))
        self.step = int(rng.choice([10, 10, 30, 60]))
        self.wrong_file, self.wrong_machine = float(rng.uniform(0.002, 0.025)), float(rng.uniform(0, 0.012))
        self.voids, self.miscounts = float(rng.uniform(0.2, 0.8)), float(rng.uniform(0, 0.04))
        self.rounds: dict[int, UUID] = {}
        self.from_memory: dict[tuple[int, str], bool] = {}
        self.told: list[Tapped] = []

    def tell(self, facts: Sequence[tuple[Fact, datetime]]) -> list[Tapped]:
        for fact, over in facts:
            if fact.kind != "Looked" or self._tells_look(fact):
                self._tap(fact, over)
        return sorted(self.told, key=lambda tapped: (tapped[0].noted_at, str(tapped[0].id)))

    def _tells_look(self, fact: Fact) -> bool:
        if self.looks == "idle":
            return not fact.worked
        return (
            self.looks == "racks" and fact.machine.rack in self.racks and (not fact.worked or self.rng.random() < 0.3)
        )

    def _tap(self, fact: Fact, over: datetime) -> None:
        at, noted = self._times(fact, over)
        fields, machine = dict(fact.fields), fact.machine.machine
        if fact.kind == "Looked":
            fields["round"] = self.rounds.setdefault(fact.round, self._id())
        elif self.rng.random() < self.wrong_machine:
            machine = self._neighbour(fact.machine)
        if fact.kind == "PartsOff" and self.rng.random() < self.miscounts:
            fields["scrap"] = max(0, int(str(fields["scrap"])) + int(self.rng.choice([-1, 1])))
            fields["scrap_cause"] = (fields["scrap_cause"] or "dont-know") if fields["scrap"] else None
        if fact.kind == "PrintStarted" and self.rng.random() < self.wrong_file:
            fields |= self._other_file(fact)
        first = self._add(fact, at, noted, machine, fields)
        slipped = machine != fact.machine.machine or fields.get("file") != fact.fields.get("file")
        again = after(noted, float(self.rng.choice([1, 3, 30, 90])))
        if slipped and again < END and self.rng.random() < self.voids:
            void = {"kind": "EntryVoided", "id": self._id(), "at": again, "noted_at": again, "by": fact.by}
            taken_back = entry_adapter.validate_python(void | {"which": first, "why": "slip"})
            self.told.append((taken_back, (fact.round, fact.machine.rack)))
            self._add(fact, at, again, fact.machine.machine, dict(fact.fields))

    def _add(self, fact: Fact, at: datetime, noted: datetime, machine: str, fields: dict[str, object]) -> UUID:
        head = {"kind": fact.kind, "id": self._id(), "at": at, "noted_at": noted, "by": fact.by, "machine": machine}
        entry = entry_adapter.validate_python(head | fields)
        self.told.append((entry, (fact.round, fact.machine.rack)))
        return entry.id

    def _times(self, fact: Fact, over: datetime) -> tuple[datetime, datetime]:
        """When it is said to have happened and when it was tapped: at the machine, or when the round was over."""
        batch = (fact.round, fact.machine.rack)
        if batch not in self.from_memory:
            self.from_memory[batch] = bool(self.rng.random() < self.whole)
        if fact.kind == "Looked" or not (self.from_memory[batch] or self.rng.random() < self.memory):
            at = after(fact.at, float(self.rng.exponential(0.4)))
            return at, at
        noted = after(over, float(self.rng.uniform(1, 15)))
        ago = (noted - fact.at).total_seconds() / 60 * float(self.rng.lognormal(0, 0.12))
        return after(noted, -self.step * round(ago / self.step)), noted

    def _neighbour(self, machine: setup.Machine) -> str:
        near = [m.machine for m in self.house.machines if m.rack == machine.rack and m.model == machine.model]
        where = near.index(machine.machine)
        return near[where - 1 if where else min(1, len(near) - 1)]

    def _other_file(self, fact: Fact) -> dict[str, object]:
        fit = [f for f in self.house.files if fact.machine.model in f.models and f.since <= fact.at]
        other = fit[int(self.rng.integers(len(fit)))]
        return {"file": other.file, "revision": other.revision}

    def _id(self) -> UUID:
        return UUID(bytes=self.rng.bytes(16), version=4)


def _thinned(told: Sequence[Tapped], missing: float, rng: np.random.Generator) -> tuple[AnyEntry, ...]:
    """What reached the log: some went by whole racks of a round, some one by one; a void goes with what it voids."""
    by_rack = missing * float(rng.uniform(0.15, 0.7))
    one_by_one = 1 - (1 - missing) / (1 - by_rack)
    batches = {batch: rng.random() >= by_rack for batch in dict.fromkeys(batch for _, batch in told)}
    kept = [entry for entry, batch in told if batches[batch] and rng.random() >= one_by_one]
    there = {entry.id for entry in kept}
    return tuple(entry for entry in kept if entry.kind != "EntryVoided" or entry.which in there)
