"""A family of invented rooms by the minute: hands work through a queue of what waits for them.

Machines run alone: a print ends, halts, runs on as scrap, starves in its middle, or the machine fails under it after
exponential printing hours (on one machine in a third of the rooms 3 to 5 times as often). Then it waits until somebody
is in and has noticed. At opening all that ended overnight waits at once, one to three hours of work for those who are
in; later hands follow as busy as they are, for finishing and packing takes them away for half an hour to hours. What is
next is drawn by room: first come first served, nearest, longest file, or most urgent. Nobody is in at night; in some
rooms people choose what runs until morning before they close. Only as many machines run as there is work for in that
week. A machine that failed is `stopped` until it is found, `down` from then, `waiting` while a spare is. A print that
still runs or starves at the end of the span is told as ended there, not by itself. Entries go missing by kind: removals,
spools, upkeep and returns more often than starts, looks less (in some rooms a round at a time).
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, time, timedelta
from itertools import groupby
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from core.entries import AnyEntry, EntryVoided, entry_adapter
from core.setup import (
    WEEKDAYS, Cause, Machine, Material, Model, Person, PrintFile, Product, Rack, Row, Shift, Shop, Spare, SpecialDay,
    UpkeepTask,
)  # fmt: skip
from tests.simulated.rooms.queues_people import DAY, HOUR, NEVER, Act, Life, Plant, Sheet, Window
from tests.simulated.rooms.told import Fault, Run, Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
ZONES = ("Europe/Dublin", "Europe/Madrid", "Europe/Helsinki", "America/Toronto", "America/Denver", "America/Santiago")
PATTERNS = ("one shift", "two shifts", "one shift and Saturday", "two shifts and Saturday")
PEOPLE = ("AM", "BK", "CS", "DO", "EV", "FT", "GL", "HN", "IR", "JP", "KW", "LZ")
PARTS = ("hook", "tray", "hinge", "knob", "clip", "bracket", "spacer", "foot", "cover", "handle", "wedge", "guide",
         "cap", "frame", "latch", "stand", "sleeve", "plug", "ring", "grip", "holder", "bezel", "funnel", "peg", "arm")  # fmt: skip
MATERIALS = ("petg-black", "pla-grey", "asa-white", "pla-red")
SPARES = ("nozzle", "belt", "fan", "heater")
DOWN = ("clogged", "axis", "cold-bed", "no-feed")
SCRAP = ("lifted", "stringy", "shifted", "gaps")
SHARE_AT_OPENING = 0.65


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One invented room; the same seed lives the same life whatever share of entries is missing."""
    rng, start = np.random.default_rng([seed, 1]), END - timedelta(weeks=weeks)
    pattern, rows, plant = _Drawing(rng, start, weeks).draw()
    life = Life(plant, rng)
    life.live()
    entries = _Teller(np.random.default_rng([seed, 2]), start, plant).tell(life.acts, missing)

    def when(second: int | None) -> datetime | None:
        return None if second is None or second >= plant.span else start + timedelta(seconds=second)

    runs = [
        Run(code, r.sheet.row.file, r.sheet.row.revision, when(r.started) or END, when(r.ended) or END, when(r.off),
            r.hours, r.whole, r.by_itself, r.sheet.row.parts, r.scrap, when(r.starved))
        for code, r in life.runs if r.started < plant.span
    ]  # fmt: skip
    faults = [Fault(code, when(t.failed) or END, when(t.back), t.in_print) for code, t in life.troubles]
    turns = {
        unit.code: [(start + timedelta(seconds=at), state) for at, state in _steps(unit.turns, plant.span)]
        for unit in life.units
    }
    bad = max(plant.often, key=plant.often.__getitem__) if len(set(plant.often.values())) > 1 else None
    return Told("queues", seed, pattern, start, END, rows, entries, turns, runs, faults, bad)


def _steps(turns: list[tuple[int, str]], span: int) -> Iterator[tuple[int, str]]:
    """The turns within the span, without those that took no time and those that changed nothing."""
    last = ""
    for (at, state), (until, _) in zip(turns, [*turns[1:], (span, "")], strict=True):
        if at < span and until > at and state != last:
            yield at, state
            last = state


class _Drawing:
    """Draws a room: its set-up, and what its machines and people are like."""

    def __init__(self, rng: np.random.Generator, start: datetime, weeks: int) -> None:
        self.rng, self.start, self.weeks, self.span = rng, start, weeks, weeks * 7 * DAY
        self.pattern, self.zone = self.any(PATTERNS), self.any(ZONES)
        self.models = ("Alder", "Birch", "Cedar")[: int(rng.integers(1, 4))]
        self.racks, self.count = int(rng.integers(2, 4)), int(rng.integers(10, 46))
        self.packs = {name: self.any((750.0, 1000.0, 1000.0)) for name in MATERIALS[: int(rng.integers(1, 5))]}
        self.machines = tuple(
            (f"Q{n + 1:02}", self.models[n * len(self.models) // self.count], n * self.racks // self.count)
            for n in range(self.count)
        )
        queue = float(rng.uniform(60, 180)) / (SHARE_AT_OPENING * self.count)  # minutes of one hand a machine
        self.hands = max(1, round(float(rng.uniform(6, 14)) / queue))
        self.visit = min(22.0, max(4.0, queue * self.hands))
        self.second = max(1, round(self.hands * self.between(0.4, 1)))

    def any(self, values: Sequence[Any]) -> Any:
        return values[int(self.rng.integers(len(values)))]

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def widely(self, low: float, high: float) -> float:
        """Between two bounds, as likely in each doubling."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def draw(self) -> tuple[str, list[Row], Plant]:
        shifts, days = self._shifts(), self._days_off()
        sheets = self._sheets()
        tasks = (("clean", self.between(80, 350), self.between(8, 40)), ("grease", self.between(300, 900), 45.0))
        bad = self.any(self.machines)[0] if self.rng.random() < 0.35 else None
        fault_hours, often = self.widely(60, 600), self.between(3, 5)
        demand = self.between(0.5, 1.15)
        plant = Plant(
            span=self.span, machines=self.machines, sheets=tuple(sheets), windows=tuple(self._windows(shifts, days)),
            packs=self.packs, pace={model: self.between(0.93, 1.07) for model in self.models},
            firmware=self._firmware(),
            often={code: (often if code == bad else 1) / fault_hours for code, _, _ in self.machines},
            demand=tuple(demand * float(self.rng.lognormal(0, 0.12)) for _ in range(self.weeks)), spares=SPARES,
            causes=(*DOWN, "dont-know"), tasks=tasks, order=self.any(("fcfs", "nearest", "longest", "urgent")),
            rounds=self.any(((0.0,), (0.0,), (0.0, 0.5), (0.0, 0.9), (0.5,), ())), do=self._habits(sheets),
        )  # fmt: skip
        return self.pattern, [*self._set_up(tasks), *shifts, *days, *[sheet.row for sheet in sheets]], plant

    def _habits(self, sheets: list[Sheet]) -> dict[str, float]:
        """How often, how long: what differs between rooms."""
        u, parts = self.between, sum(s.row.parts / s.row.hours for s in sheets) / len(sheets)
        finishing = u(0.1, 0.4) * 480 * self.hands / (self.count * 12 * parts)
        return {
            "visit_minutes": self.visit, "lag_minutes": self.widely(3, 45), "restart": u(0.5, 1),
            "closing_minutes": self.any((0, 0, u(40, 90), u(60, 180))), "sticky": u(0.1, 0.8),
            "checks_spool": self.any((0.0, 0.85, 1.0)), "leftovers": u(0, 0.7), "rack_seen": u(0.6, 1),
            "pack_first": self.any((0.001, 0.01)), "pack_hour": u(2, 7), "finish_minutes": finishing,
            "spots": u(0, 0.9), "clears_first": u(0.2, 1), "quick": u(0.3, 0.8), "patience_hours": self.widely(3, 50),
            "spare_days": self.widely(1, 8), "silent": u(0, 0.3), "holds": u(0.8, 1), "proves": u(0, 0.4),
            "aborts": u(0, 0.04), "upkeep": u(0.05, 0.8), "aside": self.any((0, 0.001, 0.003)),
            "use": u(0.95, 1.1), "run_spread": self.widely(0.003, 0.03),
        }  # fmt: skip

    def _firmware(self) -> tuple[str, int, float]:
        changed = int(self.span * self.between(0.35, 0.65))
        change = self.between(0.03, 0.08) * self.any((-1, 1)) * (self.rng.random() < 0.35)
        return self.any(self.models), changed, 1 + change

    def _shifts(self) -> list[Shift]:
        """Shifts a weekday; nobody comes at night."""
        two, opens = "two" in self.pattern, int(self.rng.integers(5, 8 if "two" in self.pattern else 10))
        long = 8 * 60 if two else int(self.rng.integers(15, 20)) * 30
        ends = [opens * 60, opens * 60 + long, opens * 60 + 2 * long]
        clocks = [time(minute // 60, minute % 60) for minute in ends[: 3 if two else 2]]
        rows = [
            Shift(weekday=day, shift=n + 1, start=clocks[n], end=clocks[n + 1], hands=(self.hands, self.second)[n])
            for day in WEEKDAYS[:5] for n in range(len(clocks) - 1)
        ]  # fmt: skip
        if "Saturday" in self.pattern:
            end = time(opens + int(self.rng.integers(4, 7)))
            rows.append(Shift(weekday="sat", start=clocks[0], end=end, hands=max(1, self.hands // 2)))
        return rows

    def _days_off(self) -> list[SpecialDay]:
        days = self.rng.integers(7, 7 * self.weeks, int(self.rng.integers(0, 3)))
        return [SpecialDay(day=(self.start + timedelta(days=int(d))).date(), note="closed") for d in sorted(set(days))]

    def _windows(self, shifts: list[Shift], off: list[SpecialDay]) -> Iterator[Window]:
        """Every shift worked within the span; the second shift has other people than the first."""
        zone, closed, spans = ZoneInfo(self.zone), {day.day for day in off}, []
        for number in range(-1, 7 * self.weeks + 2):
            day = (self.start + timedelta(days=number)).astimezone(zone).date()
            for shift in shifts:
                if shift.weekday == WEEKDAYS[day.weekday()] and day not in closed:
                    ends = [datetime.combine(day, clock, zone) - self.start for clock in (shift.start, shift.end)]
                    first = self.hands if shift.shift == 2 else 0
                    names = PEOPLE[first : first + shift.hands]
                    spans.append((round(ends[0].total_seconds()), round(ends[1].total_seconds()), names))
        spans = sorted(s for s in set(spans) if s[0] >= 0 and s[1] <= self.span)
        closes, opens = [0, *[s[1] for s in spans]], [*[s[0] for s in spans], self.span]
        for n, (begin, end, names) in enumerate(spans):
            yield Window(begin, end, names, begin - closes[n], opens[n + 1] - end)

    def _sheets(self) -> list[Sheet]:
        """The print files, one revised and one renamed half-way; some fail far more often than others."""
        pace, spread, risk = self.between(0.86, 1.24), self.between(0.01, 0.06), self.widely(0.008, 0.06)
        middle = self.between(2.5, 8) if "two" in self.pattern else self.between(4, 12)
        spans = np.clip(
            self.rng.lognormal(np.log(middle), self.between(0.5, 1), int(self.rng.integers(6, 24))), 0.5, 40
        )
        sheets: list[Sheet] = []
        for n, hours in enumerate(spans):
            material = self.any(list(self.packs))
            fits = (self.models, self.models, (self.any(self.models),))[n % 3]
            row = PrintFile(
                file=f"{PARTS[n]}-set", revision=1, product=PARTS[n], models=fits, material=material,
                parts=max(1, min(60, round(hours * self.widely(0.2, 3)))), hours=round(float(hours), 2),
                grams=round(min(0.9 * self.packs[material], hours * self.between(8, 28)), 1) + 1,
            )  # fmt: skip
            chances = (self.widely(0.3, 4), min(0.45, risk * self.widely(0.2, 8)), self.widely(0.002, 0.05))
            sheet = Sheet(row, *chances, pace * float(self.rng.lognormal(0, spread)), 0, NEVER)
            sheets += self._revised(sheet, n) if n in (1, 3) else [sheet]
        return sheets

    def _revised(self, old: Sheet, n: int) -> list[Sheet]:
        """A file whose second revision, or new name, is used from some day on, the old card for a day or two more."""
        changed = float(self.span * self.between(0.3, 0.7))
        hours = round(old.row.hours * (self.between(0.85, 1.15) if n == 1 else 1), 2)
        new = {"revision": 2} if n == 1 else {"file": f"{old.row.product}-new"}
        since = self.start + timedelta(seconds=round(changed))
        row = old.row.model_copy(update={**new, "hours": hours, "since": since})
        drawn = (old.popular, old.risk, old.scrap, old.factor)
        return [Sheet(old.row, *drawn, 0, changed + self.between(0, 2) * DAY), Sheet(row, *drawn, changed + 60, NEVER)]

    def _set_up(self, tasks: Iterable[tuple[str, float, float]]) -> Iterator[Row]:
        yield Shop(name="Room of queues", zone=self.zone)
        yield from (Model(model=model, name=model) for model in self.models)
        yield from (Rack(rack=f"R{n + 1}", name=f"Rack {n + 1}") for n in range(self.racks))
        for n, (code, model, rack) in enumerate(self.machines):
            yield Machine(machine=code, model=model, rack=f"R{rack + 1}", place=n + 1)
        yield from (Product(product=part, name=part) for part in PARTS)
        yield from (Material(material=name, name=name, pack=pack) for name, pack in self.packs.items())
        yield from (Spare(spare=spare, name=spare) for spare in SPARES)
        yield from (Person(person=person, name=person) for person in PEOPLE)
        for task, hours, minutes in tasks:
            yield UpkeepTask(task=task, name=task, minutes=round(minutes), every_hours=round(hours))
        for n, (down, scrap) in enumerate(zip((*DOWN, "dont-know"), (*SCRAP, "dont-know"), strict=True)):
            yield Cause(about="down", cause=down, name=down, place=n + 1)
            yield Cause(about="scrap", cause=scrap, name=scrap, place=n + 1)


class _Teller:
    """Turns what people did into what they tapped: late, with slips, and some of it never."""

    def __init__(self, rng: np.random.Generator, start: datetime, plant: Plant) -> None:
        self.rng, self.start, self.plant = rng, start, plant
        self.late, self.delay = float(rng.uniform(0.03, 0.5)), float(rng.uniform(25, 120)) * 60
        self.steps, self.one_tap = rng.choice(["ago", "ago", "half", "hour"]), rng.random()
        self.wrong_file, self.wrong_machine = rng.uniform(0.002, 0.025), rng.uniform(0.001, 0.012)
        self.wrong_scrap, self.rights, self.by_round = rng.uniform(0, 0.05), rng.random(), rng.random() < 0.5
        bounds = {"PrintStarted": (1, 1), "PartsOff": (1.2, 3), "SpoolFitted": (1.5, 5), "Looked": (0.3, 0.9),
                  "WentDown": (0.4, 1.5), "CameBack": (1, 3), "UpkeepDone": (1, 4)}  # fmt: skip
        self.weights = {kind: float(rng.uniform(*pair)) for kind, pair in bounds.items()}
        self.closes = [window.closes for window in plant.windows]
        self.fits = {sheet.row.file: set(sheet.row.models) for sheet in plant.sheets}

    def tell(self, acts: list[Act], missing: float) -> list[AnyEntry]:
        """The entries in the order in which they were tapped."""
        told: list[tuple[list[AnyEntry], float, float]] = []
        within = sorted((act for act in acts if act.at < self.plant.span), key=lambda act: (act.visit, act.at))
        for _, visit in groupby(within, key=lambda act: act.visit):
            told += self._visit(list(visit))
        weights = np.repeat([weight for _, weight, _ in told], [len(group) for group, _, _ in told])
        scale = _scale(weights, missing)
        kept = [entry for group, weight, luck in told if luck >= min(0.97, scale * weight) for entry in group]
        return sorted((entry for entry in kept if entry.noted_at <= END), key=lambda entry: entry.noted_at)

    def _visit(self, acts: list[Act]) -> Iterator[tuple[list[AnyEntry], float, float]]:
        """Each act's entries, how prone it is to be forgotten, and its luck; one visit is tapped at one go."""
        round_id, luck = UUID(bytes=self.rng.bytes(16), version=4), float(self.rng.random())
        delay = float(self.rng.exponential(self.delay)) if self.rng.random() < self.late else 0.0
        times = [self._times(act, delay) for act in acts]
        both = {act.kind: n for n, act in enumerate(acts)}
        together = "PartsOff" in both and "PrintStarted" in both and self.rng.random() < self.one_tap
        if together:
            times[both["PartsOff"]] = times[both["PrintStarted"]]
        for act, (at, noted) in zip(acts, times, strict=True):
            shared = (act.kind == "Looked" and self.by_round) or (together and act.kind in ("PartsOff", "PrintStarted"))
            own = float(self.rng.random())
            more = {"round": round_id} if act.kind == "Looked" else {}
            yield self._entries(act, at, noted, more), self.weights.get(act.kind, 1.0), luck if shared else own

    def _times(self, act: Act, delay: float) -> tuple[int, int]:
        """When somebody says it was, and when it was tapped: before they went home at the latest."""
        lag = float(self.rng.uniform(3, 80))
        place = bisect(self.closes, act.at)
        home = self.closes[place] if place < len(self.closes) else self.plant.span
        noted = round(act.at + lag + (min(delay, max(0.0, home - act.at)) if act.kind != "Looked" else 0))
        back = (noted - act.at) * float(self.rng.lognormal(0, 0.2))
        if back < 8 * 60:
            return noted, noted
        if self.steps == "ago":
            return noted - min((600, 1800, 3600, 7200, 10800, 14400, 21600), key=lambda step: abs(step - back)), noted
        step = 1800 if self.steps == "half" else HOUR
        return min(noted, max(0, round((noted - back) / step) * step)), noted

    def _entries(self, act: Act, at: int, noted: int, more: dict[str, Any]) -> list[AnyEntry]:
        """What is tapped of one act: the truth, or a slip, which some take back and tell anew."""
        says = {"machine": act.machine, **act.says, **more}
        if says.get("scrap"):
            says["scrap_cause"] = str(self.rng.choice((*SCRAP, "dont-know")))
        true = self._entry(act, at, noted, says)
        slip = self._slip(act, says)
        if not slip:
            return [true]
        wrong = self._entry(act, at, noted, {**says, **slip})
        if self.rng.random() > self.rights:
            return [wrong]
        later = noted + int(self.rng.integers(40, 1800))
        void = EntryVoided(id=self._id(), at=self._on(later), noted_at=self._on(later), by=act.by, which=wrong.id,
                           why="wrong tap")  # fmt: skip
        return [wrong, void, true.model_copy(update={"noted_at": self._on(later + 9)})]

    def _slip(self, act: Act, says: dict[str, Any]) -> dict[str, Any]:
        """The wrong file, the machine beside it, or a scrap count that is one off."""
        file, machine, scrap, pick = self.rng.random(4)
        model = next(model for code, model, _ in self.plant.machines if code == act.machine)
        if act.kind == "PrintStarted" and file < self.wrong_file:
            others = [s.row for s in self.plant.sheets if model in s.row.models and s.row.file != says["file"]]
            other = others[int(pick * len(others))] if others else None
            return {"file": other.file, "revision": other.revision} if other else {}
        if machine < self.wrong_machine and act.kind != "Looked":
            near = [code for code, like, _ in self.plant.machines if like == model and code != act.machine]
            return {"machine": near[int(pick * len(near))]} if near else {}
        if act.kind == "PartsOff" and scrap < self.wrong_scrap:
            return {"scrap": says["scrap"] - 1 if says["scrap"] else 1, "scrap_cause": SCRAP[int(pick * 4)]}
        return {}

    def _entry(self, act: Act, at: int, noted: int, says: dict[str, Any]) -> AnyEntry:
        said = {"kind": act.kind, "id": self._id(), "at": self._on(at), "noted_at": self._on(noted), "by": act.by}
        return entry_adapter.validate_python({**said, **says})

    def _id(self) -> UUID:
        return UUID(bytes=self.rng.bytes(16), version=4)

    def _on(self, second: int) -> datetime:
        return self.start + timedelta(seconds=second)


def _scale(weights: np.ndarray, missing: float) -> float:
    """What to multiply the weights by so that this share goes missing on average."""
    low, high = 0.0, 100.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if np.minimum(0.97, middle * weights).mean() < missing else (low, middle)
    return low
