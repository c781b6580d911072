"""The paper side of a crew's room: who works there and how, what the set-up says, and what each person tells."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from random import Random
from typing import Any, cast
from uuid import UUID
from zoneinfo import ZoneInfo

from core import setup
from core.entries import KINDS, AnyEntry

HOUR, DAY = 3600, 24 * 3600
#: Life goes on after the span so that the prints running at its end have an end.
AFTER = 5 * DAY
#: How often the room asks whether there is work for an empty machine.
TICK = 20 * 60
NEVER = 10**12
PATTERNS = ("overlapping shifts", "overlapping and Saturday", "round the clock", "one shift")
ZONES = ("Europe/Lisbon", "Europe/Warsaw", "Europe/Helsinki", "America/Halifax", "America/Chicago", "Pacific/Auckland")
NAMES = ("hinge", "clip", "spacer", "bracket", "knob", "hook", "tray", "cap", "foot", "sleeve", "latch", "guide")
DOWN = ("nozzle-blocked", "belt", "fan", "heater", "bed-sensor", "drive")
SCRAP = ("came-loose", "warped", "stringing", "layer-shift")


@dataclass(frozen=True)
class Plate:
    """One print file revision as it truly is: `factor` is what its stated hours are multiplied by."""

    file: str
    revision: int
    parts: int
    stated: float
    grams: float
    material: str
    models: tuple[str, ...]
    factor: float
    risk: float
    scrap: float
    weight: float
    since: int = -AFTER
    until: int = NEVER


@dataclass(frozen=True)
class Deed:
    """What a person truly did or saw; `visit` is one walk to a machine or one round, `said` the fields of the entry."""

    at: int
    who: Worker
    kind: str
    machine: str
    visit: int
    said: Mapping[str, Any]
    hushed: bool = False


class Worker:
    """A person's habits, drawn; `shifts` are (in, out) in seconds from the start of the span."""

    def __init__(self, name: str, chance: Random, racks: Sequence[str], mends: bool, forgetful: float) -> None:
        self.name, self.mends = name, mends
        self.shifts: list[tuple[int, int]] = []
        self.hears = chance.random() < 0.5
        self.react = (30 if self.hears else 400) * 10 ** chance.uniform(0.0, 1.0 if self.hears else 0.95)
        self.chains = chance.uniform(0.5, 0.99)
        self.checks_spool = chance.choice((0.0, 0.8, 0.98, 1.0))
        self.weighs = chance.random() < 0.25
        self.mend_delay = HOUR * 10 ** chance.uniform(-0.5, 0.7)
        self.rounds = chance.random() < 0.5
        left_out = chance.choice(racks) if chance.random() < 0.35 else ""
        self.round_racks = tuple(rack for rack in racks if rack != left_out)
        self.plans_nights = chance.random() < 0.6
        self.pace = chance.uniform(0.7, 1.6)
        self.spots = HOUR * chance.uniform(0.5, 6)
        self.proves, self.upkeep = chance.choice((0.0, 0.3, 0.8)), chance.choice((0.0, 0.1, 0.6, 0.9))
        self.tells = chance.choices(("at once", "at breaks", "at the end"), (5, 2, 3))[0]
        self.late = chance.uniform(0.0, 0.25)
        self.step, self.blur = chance.choice((600, 900, 1800, 3600)), chance.uniform(0.02, 0.15)
        self.muddles = chance.uniform(0.0, 0.2)
        self.wrong_file, self.wrong_machine = chance.uniform(0.0, 0.025), chance.uniform(0.0, 0.012)
        self.corrects, self.miscounts = chance.random(), chance.choice((0.0, 0.03, 0.1))
        self.skips_scrap = chance.choice((0.0, 0.0, 0.1, 0.35))
        self.misreads, self.knows = chance.uniform(0.0, 0.02), chance.uniform(0.3, 0.95)
        self.forgets = {kind: 2.718 ** (forgetful + chance.gauss(0, 0.5)) for kind in KINDS}
        for kind in chance.sample(("Looked", "SpoolFitted", "UpkeepDone", "CameBack", "WentDown"), 2):
            self.forgets[kind] *= 6.0
        self.present_until = self.busy_until = -(10**9)


@dataclass
class Place:
    """What a room is before anything happens in it."""

    start: datetime
    end: datetime
    pattern: str
    zone: ZoneInfo
    rows: list[setup.Row] = field(default_factory=list)
    crew: list[Worker] = field(default_factory=list)
    plates: list[Plate] = field(default_factory=list)
    machines: list[setup.Machine] = field(default_factory=list)
    packs: dict[str, float] = field(default_factory=dict)
    spares: dict[str, str | None] = field(default_factory=dict)
    tasks: dict[str, tuple[float, float, float]] = field(default_factory=dict)

    def when(self, at: int) -> datetime:
        """The moment so many seconds after the start."""
        return self.start + timedelta(seconds=at)

    def within(self, at: int | None) -> datetime | None:
        """The same, or None where it was not within the span."""
        return self.when(at) if at is not None and at < self.seconds else None

    @property
    def seconds(self) -> int:
        """How long the span is."""
        return int((self.end - self.start).total_seconds())


class Ways:
    """What is so of a whole room, drawn: its demand, its machines' faults, its prints' times."""

    def __init__(self, here: Place, chance: Random) -> None:
        models = sorted({row.model for row in here.machines})
        self.demand = chance.uniform(0.35, 1.0)
        self.waves = chance.uniform(0.05, 0.35)
        self.run_spread, self.use = chance.uniform(0.003, 0.03), chance.uniform(0.95, 1.10)
        self.mean_fault = 10 ** chance.uniform(1.78, 2.78)
        rare = min(1.0, self.mean_fault / 300) ** 0.5
        self.untold, self.spare_share, self.long_share = (chance.uniform(0, t) for t in (0.35, rare / 2, rare / 10))
        self.spare_days, self.work_hours = chance.uniform(0.5, 5), chance.uniform(0.25, 1.5)
        self.run_on, self.part_spools = chance.uniform(0.2, 0.8), chance.uniform(0.0, 0.3)
        self.abort, self.move, self.hush = chance.uniform(0.0, 0.05), chance.uniform(0.0, 0.006), chance.random()
        self.asides = chance.uniform(0, 4) * TICK / here.seconds
        self.idle_fault = chance.uniform(0.2, 1.2) / self.mean_fault
        self.model_factor = {model: chance.gauss(1.0, 0.04) for model in models}
        self.firmware = (chance.choice(models), NEVER, 1.0)
        if chance.random() < 0.35:
            change = 1 + chance.choice((-1, 1)) * chance.uniform(0.03, 0.08)
            self.firmware = (self.firmware[0], int(here.seconds * chance.uniform(0.35, 0.65)), change)
        self.bad = chance.choice(here.machines).machine if chance.random() < 0.35 else None
        self.badness = chance.uniform(3, 5)


def place(seed: int, chance: Random, start: datetime, end: datetime) -> Place:
    """Draw the room's set-up, its files as they truly are, and its people."""
    here = Place(start, end, PATTERNS[seed % 4], ZoneInfo(chance.choice(ZONES)))
    here.rows.append(setup.Shop(name=f"Crew room {seed}", zone=here.zone.key))
    _stand_machines(here, chance)
    _draw_stock(here, chance)
    _draw_files(here, chance)
    _draw_crew(here, chance)
    return here


def _stand_machines(here: Place, chance: Random) -> None:
    models = [f"model-{letter}" for letter in "ABC"[: chance.choices((1, 2, 3), (4, 4, 2))[0]]]
    racks = [f"R{number}" for number in range(1, chance.choice((2, 3)) + 1)]
    here.rows += [setup.Model(model=model, name=model) for model in models]
    here.rows += [setup.Rack(rack=rack, name=f"Rack {rack}") for rack in racks]
    machines = chance.randint(10, 45)
    for number in range(machines):
        model = models[0] if number < len(models) * 2 and number % 2 else models[number % len(models)]
        rack = racks[number * len(racks) // machines]
        here.machines.append(setup.Machine(machine=f"M{number + 1:02}", model=model, rack=rack, place=number + 1))
    here.rows += here.machines


def _draw_stock(here: Place, chance: Random) -> None:
    for name in ("pla-grey", "petg-black", "pla-white", "abs-red")[: chance.randint(2, 4)]:
        here.packs[name] = chance.choice((750.0, 1000.0, 1000.0, 2300.0))
        here.rows.append(setup.Material(material=name, name=name, pack=here.packs[name]))
    causes = chance.sample(DOWN, chance.randint(3, 6))
    for number, cause in enumerate(causes):
        spare = f"{cause}-part" if chance.random() < 0.6 else None
        here.spares[cause] = spare
        here.rows += [setup.Spare(spare=spare, name=spare)] if spare else []
        here.rows.append(setup.Cause(about="down", cause=cause, name=cause, place=number + 1, spare=spare))
    here.rows += [setup.Cause(about="scrap", cause=c, name=c, place=n + 1) for n, c in enumerate(SCRAP)]
    unknown: dict[str, Any] = {"cause": setup.DONT_KNOW, "name": "don't know yet", "place": 8}
    here.rows += [setup.Cause(about="down", **unknown), setup.Cause(about="scrap", **unknown)]
    for task in ("clean", "grease")[: chance.randint(1, 2)]:
        hours, days, minutes = chance.uniform(80, 350), chance.uniform(7, 30), chance.choice((10.0, 20.0, 45.0))
        by_days = chance.random() < 0.4
        here.tasks[task] = (1e9 if by_days else hours, days if by_days else 1e9, minutes)
        due = {"every_days": days} if by_days else {"every_hours": hours}
        here.rows.append(setup.UpkeepTask(task=task, name=task, minutes=minutes, **due))  # type: ignore[arg-type]


def _draw_files(here: Place, chance: Random) -> None:
    """Print files in groups of one to four products; one or two of them revised or renamed half-way."""
    middle = chance.uniform(7, 18) if here.pattern == "one shift" else chance.uniform(3, 17)
    spread, slow, risk = chance.uniform(0.4, 0.9), chance.uniform(0.85, 1.25), chance.uniform(0.008, 0.05)
    by_file, files, models = chance.uniform(0.01, 0.06), chance.randint(6, 25), sorted({m.model for m in here.machines})
    names = iter(chance.sample(NAMES, len(NAMES)))
    group, products = next(names), chance.randint(1, 4)
    for number in range(files):
        if number and chance.random() < 0.4:
            group, products = next(names, group), chance.randint(1, 4)
        hours = min(40.0, max(0.5, chance.lognormvariate(0, spread) * middle))
        material = chance.choice(list(here.packs))
        own = tuple(models) if number < 2 or chance.random() < 0.6 else (chance.choice(models),)
        plate = Plate(
            file=f"{group}-{number + 1}", revision=1, parts=max(1, int(hours * 10 ** chance.uniform(-0.7, 0.7))),
            stated=round(hours, 2), grams=round(min(0.85 * here.packs[material], hours * chance.uniform(8, 22)), 1),
            material=material, models=own, factor=slow * chance.gauss(1.0, by_file),
            risk=min(0.4, risk * chance.lognormvariate(0, 1)), scrap=min(0.2, chance.expovariate(60)),
            weight=chance.lognormvariate(0, 0.8),
        )  # fmt: skip
        product = f"{group}-size-{chance.randint(1, products)}"
        if not any(getattr(row, "product", "") == product for row in here.rows):
            here.rows.append(setup.Product(product=product, name=product))
        changes = number in (2, 4) and chance.random() < 0.75
        for version in _revised(plate, here, chance, by_file, slow) if changes else [plate]:
            here.plates.append(version)
            row = setup.PrintFile(
                file=version.file, revision=version.revision, product=product, parts=version.parts,
                hours=version.stated, grams=version.grams, material=material, models=own,
                since=here.when(version.since) if version.since > 0 else setup.ALWAYS,
            )  # fmt: skip
            here.rows.append(row)


def _revised(plate: Plate, here: Place, chance: Random, by_file: float, slow: float) -> list[Plate]:
    """The old revision till about half-way, and what came after it: a new revision, or the same under a new name."""
    change = int(here.seconds * chance.uniform(0.35, 0.65))
    stated = round(min(40.0, plate.stated * chance.uniform(0.8, 1.15)), 2)
    new = replace(plate, since=change, file=f"{plate.file}-new")
    if chance.random() < 0.5:
        new = replace(plate, since=change, revision=2, stated=stated, factor=slow * chance.gauss(1.0, by_file))
    return [replace(plate, until=change), new]


def _windows(pattern: str, people: int, chance: Random) -> list[tuple[int, int]]:
    """From which hour to which each person works; past 24 is past midnight."""
    if pattern == "one shift":
        begin = chance.choice((7, 8, 9))
        return [(begin, begin + 8)] * (people - 1) + [chance.choice(((begin, begin + 8), (begin + 1, begin + 5)))]
    if pattern == "round the clock":
        begin = chance.choice((5, 6, 7))
        return [(begin + 8 * (person % 3), begin + 8 * (person % 3 + 1)) for person in range(people)]
    early, late = chance.choice((5, 6, 7)), chance.choice((12, 13, 14))
    windows = [(early, early + 8), (9, 17), (late, late + 8)]
    night = [(21, 29)] if people > 3 and chance.random() < 0.35 else []
    others = [(early, early + 8), (8, 16), (10, 18), (late, late + 8), (9, 13)]
    return [*windows, *night, *(chance.choice(others) for _ in range(people))][:people]


def _draw_crew(here: Place, chance: Random) -> None:
    all_week = chance.random() < 0.6
    people = chance.randint(5 if here.pattern == "round the clock" and all_week else 3, 6)
    racks = [row.rack for row in here.rows if isinstance(row, setup.Rack)]
    forgetful = [-2.0, 1.0, *(chance.gauss(0, 1) for _ in range(4))][:people]
    chance.shuffle(forgetful)
    works: dict[tuple[int, int, int], int] = {}
    first = (here.start - timedelta(days=1)).date()
    dates = [first + timedelta(days=n) for n in range((here.end - here.start).days + AFTER // DAY)]
    holiday = chance.choice([d for d in dates if d.weekday() < 5]) if chance.random() < 0.5 else None
    here.rows += [setup.SpecialDay(day=holiday, note="closed")] if holiday else []
    for number, (begin, finish) in enumerate(_windows(here.pattern, people, chance)):
        name, mends = "ABDKLT"[number] + "EN"[number % 2], not number or chance.random() < 0.4
        worker = Worker(name, chance, racks, mends, forgetful[number])
        free = chance.sample(range(5), chance.choices((0, 1, 2), (6, 2, 1))[0]) if number > 2 else ()
        week = chance.sample(range(7), 5) if here.pattern == "round the clock" and all_week else range(5)
        days = {day: (begin, finish) for day in week if day not in free}
        if "Saturday" in here.pattern and number in (0, people - 1):
            days[5] = (8, chance.choice((12, 13, 15)))
        for day, (since, until) in days.items():
            works[day, since, until] = works.get((day, since, until), 0) + 1
        for date in (d for d in dates if d.weekday() in days and d != holiday and chance.random() > 0.03):
            midnight = datetime.combine(date, time(), here.zone)
            comes, goes = ((midnight + timedelta(hours=h)).astimezone(UTC) - here.start for h in days[date.weekday()])
            came = max(0, int(comes.total_seconds() + chance.uniform(-300, 500)))
            went = int(goes.total_seconds() + chance.uniform(-600, 900))
            worker.shifts += [(came, went)] if went > came else []
        here.crew.append(worker)
        here.rows.append(setup.Person(person=worker.name, name=f"Person {worker.name}"))
    for number, ((day, since, until), hands) in enumerate(sorted(works.items())):
        nth = 1 + sum(d == day for d, _, _ in sorted(works)[:number])
        row: Any = {"weekday": setup.WEEKDAYS[day], "shift": nth, "hands": hands}
        here.rows.append(setup.Shift(**row, start=time(since % 24), end=time(until % 24)))


class Telling:
    """Turns deeds into entries, each by its person's ways of telling; what is hushed was not thought worth a tap."""

    def __init__(self, here: Place, deeds: Iterable[Deed], chance: Random) -> None:
        self.here, self.chance = here, chance
        self.told: list[tuple[int, AnyEntry, Deed]] = []
        self._models = {m.machine: m.model for m in here.machines}
        self._blurs, self._tapped = dict[tuple[str, int], float](), dict[str, int]()
        self._rounds: dict[int, UUID] = {}
        for deed in sorted(deeds, key=lambda d: (d.at, d.machine, d.kind)):
            if not deed.hushed and deed.at < self.here.seconds:
                self._tell_one(deed)

    def _tell_one(self, deed: Deed) -> None:
        at, noted = self._times(deed)
        fields, slip = self._fields(deed), {}
        if deed.kind == "PrintStarted" and self.chance.random() < deed.who.wrong_file:
            slip = self._other_file(deed)
        elif deed.kind != "Looked" and self.chance.random() < deed.who.wrong_machine:
            slip = self._other_machine(deed)
        wrong = self._note(deed, deed.kind, at, noted, {**fields, **slip})
        if slip and self.chance.random() < deed.who.corrects:
            later = noted + int(self.chance.uniform(15, 2400))
            self._note(deed, "EntryVoided", later, later, {"which": wrong.id, "why": "tapped wrong"})
            self._note(deed, deed.kind, at, later + 5, fields)

    def _note(self, deed: Deed, kind: str, at: int, noted: int, fields: Mapping[str, Any]) -> AnyEntry:
        stamps = {"at": self.here.when(at), "noted_at": self.here.when(noted), "by": deed.who.name}
        code = UUID(int=self.chance.getrandbits(128), version=4)
        entry = cast(AnyEntry, KINDS[kind](id=code, **stamps, **fields))  # type: ignore[arg-type]
        self.told.append((noted, entry, deed))
        return entry

    def _times(self, deed: Deed) -> tuple[int, int]:
        """When the person says it was, and when it is tapped."""
        chance, who = self.chance, deed.who
        prompt = deed.at + int(chance.expovariate(1 / 25))
        came, went = next((shift for shift in who.shifts if shift[1] >= deed.at), (deed.at, deed.at))
        if deed.kind == "Looked" or (who.tells == "at once" and chance.random() >= who.late):
            return prompt, prompt
        if who.tells == "at once":
            noted = max(prompt, min(deed.at + int(chance.uniform(300, 6000)), went))
            ago = min((0, 600, 1800, 3600), key=lambda step: abs(noted - step - deed.at))
            return noted - ago, noted
        session = went - chance.randint(0, 900)
        if who.tells == "at breaks":
            session = came + (int((deed.at - came) / (2.5 * HOUR)) + 1) * int(2.5 * HOUR) + chance.randint(0, 600)
        noted = max(prompt, min(session, went), self._tapped.get(who.name, prompt) + chance.randint(4, 20))
        self._tapped[who.name] = noted
        own = (who.name, deed.at if chance.random() < who.muddles else -deed.visit)
        blur = self._blurs.setdefault(own, chance.gauss(0, who.blur))
        recalled = deed.at + blur * max(600, noted - deed.at)
        at = round(recalled / who.step) * who.step if noted - deed.at > 1200 else round(recalled / 300) * 300
        return min(max(at, came), noted), noted

    def _fields(self, deed: Deed) -> dict[str, Any]:
        chance, who, fields = self.chance, deed.who, {"machine": deed.machine, **deed.said}
        if deed.kind == "Looked":
            fields["round"] = self._rounds.setdefault(deed.visit, UUID(int=self.chance.getrandbits(128), version=4))
            if chance.random() < who.misreads:
                fields["saw"] = chance.choice(("printing", "done", "empty"))
        if deed.kind == "PartsOff":
            whole = fields.pop("parts")
            if fields["ended"] == "itself" and chance.random() < who.skips_scrap and fields["scrap"] < 0.5 * whole:
                fields["scrap"] = 0
            if chance.random() < who.miscounts * (1 if fields["scrap"] else 0.1):
                fields["scrap"] = min(whole, max(0, fields["scrap"] + chance.choice((-1, 1))))
            if fields["scrap"]:
                fields["scrap_cause"] = chance.choice(SCRAP) if chance.random() < who.knows else setup.DONT_KNOW
        return fields

    def _other_file(self, deed: Deed) -> dict[str, Any]:
        model, tapped = self._models[deed.machine], deed.said["file"]
        fit = [p for p in self.here.plates if model in p.models and p.since <= deed.at < p.until and p.file != tapped]
        other = self.chance.choice(fit) if fit else None
        return {"file": other.file, "revision": other.revision} if other else {}

    def _other_machine(self, deed: Deed) -> dict[str, Any]:
        codes = list(self._models)
        place = codes.index(deed.machine)
        near = [c for c in codes[max(0, place - 2) : place + 3] if c != deed.machine]
        near = [c for c in near if self._models[c] == self._models[deed.machine]]
        return {"machine": self.chance.choice(near)} if near else {}

    def reached(self, missing: float, chance: Random) -> list[AnyEntry]:
        """The entries that reach the log, in the order tapped: who forgets much of what, and whole visits at a time."""
        told = [t for t in sorted(self.told, key=lambda t: (t[0], t[1].at, t[1].id)) if t[0] <= self.here.seconds]
        weights = [deed.who.forgets[deed.kind] for _, _, deed in told]
        scales = [1.01**step for step in range(-1200, 1200)]
        steps = bisect_left(scales, missing * len(told), key=lambda s: sum(min(0.97, s * w) for w in weights))
        scale = scales[min(steps, len(scales) - 1)] if missing else 0.0
        visits: dict[int, float] = {}
        kept: list[AnyEntry] = []
        gone: set[UUID] = set()
        for (_, entry, deed), weight in zip(told, weights, strict=True):
            together, alone = chance.random(), chance.random()
            luck = visits.setdefault(deed.visit, chance.random()) if together < 0.6 else alone
            if luck < min(0.97, scale * weight) or getattr(entry, "which", None) in gone:
                gone.add(entry.id)
            else:
                kept.append(entry)
        return kept
