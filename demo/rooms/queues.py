"""A family of invented rooms by the minute: hands work through a queue of what waits for them.

Machines run alone: a print ends, halts, runs on as scrap, starves in its middle, or the machine fails under it after
exponential printing hours (on one machine in a third of the rooms 3 to 5 times as often). Then it waits until somebody
is in and has noticed. At opening all that ended overnight waits at once, one to three hours of work for those who are
in; later hands follow as busy as they are, for finishing and packing takes them away for half an hour to hours. What is
next is drawn by room: first come first served, nearest, longest file, or most urgent. Nobody is in at night; in some
rooms people choose what runs until morning before they close. Only as many machines run as there is work for in that
week. A machine that failed is `stopped` until it is found, `down` from then, `waiting` while a spare is. A print that
still runs or starves when the span ends is told as ended there, not by itself. Entries go missing by kind: removals,
spools, upkeep and returns more often than starts, looks less (in some rooms a round at a time).
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import count, groupby
from math import log
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from core import setup as tables
from core.entries import AnyEntry, entry_adapter
from core.setup import WEEKDAYS, PrintFile, Row, Shift, SpecialDay
from demo.rooms.queues_people import DAY, DOWN, HOUR, NEVER, SPARES, Act, Life, Print, Unit
from demo.rooms.told import Fault, Run, Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
ZONES = ("Europe/Dublin", "Europe/Madrid", "Europe/Helsinki", "America/Toronto", "America/Denver", "America/Santiago")
WORKDAYS: tuple[Literal["mon", "tue", "wed", "thu", "fri"], ...] = ("mon", "tue", "wed", "thu", "fri")
PATTERNS = ("one shift", "two shifts", "one shift and Saturday", "two shifts and Saturday")
PEOPLE = ("AM", "BK", "CS", "DO", "EV", "FT", "GL", "HN", "IR", "JP", "KW", "LZ")
PARTS = ("hook", "tray", "hinge", "knob", "clip", "bracket", "spacer", "foot", "cover", "handle", "wedge", "guide",
         "cap", "frame", "latch", "stand", "sleeve", "plug", "ring", "grip", "bezel", "funnel", "peg")  # fmt: skip
MATERIALS = ("petg-black", "pla-grey", "asa-white", "pla-red")
SCRAP = ("lifted", "stringy", "shifted", "gaps")


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One invented room; the same seed lives the same life whatever share of entries is missing."""
    start = END - timedelta(weeks=weeks)
    life = _life(seed, start, weeks)
    plant = life.plant
    entries = _Teller(np.random.default_rng([seed, 2]), start, plant).tell(life.acts, missing)

    def when(second: int | None) -> datetime | None:
        return None if second is None or second >= plant.span else start + timedelta(seconds=second)

    runs = [
        Run(code, r.sheet.row.file, r.sheet.row.revision, when(r.started) or END, when(r.ended) or END, when(r.off),
            r.hours, r.whole, r.by_itself, r.sheet.row.parts, r.scrap, when(r.starved))
        for code, r in life.runs if r.started < plant.span
    ]  # fmt: skip
    faults = [Fault(code, when(t.failed) or END, when(t.back), t.in_print) for code, t in life.troubles]
    turns = {unit.code: list(_steps(unit.turns, plant)) for unit in life.units}
    rows = list(plant.set_up())
    return Told("queues", seed, plant.pattern, start, END, rows, entries, turns, runs, faults, plant.bad)


def _life(seed: int, start: datetime, weeks: int) -> Life:
    """The life of the first room drawn whose machines print between 25 and 85 % of the time."""
    for draw in count():
        life = Life(Plant(np.random.default_rng([seed, 1, draw]), start, weeks))
        life.live()
        if 0.25 < sum(run.hours for _, run in life.runs) / (len(life.units) * life.plant.span / HOUR) < 0.85:
            break
    return life


def _steps(turns: list[tuple[int, str]], plant: Plant) -> Iterator[tuple[datetime, str]]:
    """The turns within the span, without those that took no time and those that changed nothing."""
    last = ""
    for (at, state), (until, _) in zip(turns, [*turns[1:], (plant.span, "")], strict=True):
        if at < plant.span and until > at and state != last:
            yield plant.start + timedelta(seconds=at), state
            last = state


@dataclass(frozen=True, slots=True)
class Sheet:
    """One revision of a print file as it truly is, and from when to when (seconds into the span) it is used."""

    row: PrintFile
    popular: float
    risk: float
    scrap: float
    factor: float
    begins: float
    ceases: float


@dataclass(frozen=True, slots=True)
class Window:
    """One shift that was worked (seconds into the span), who was in, and how long nobody is before and after it."""

    opens: int
    closes: int
    people: tuple[str, ...]
    before: int
    after: int


class Plant:
    """Draws a room: its set-up, what its machines and people are like (`do`), and what goes wrong.

    A keen room has long files and much work for its machines, and minds that they run.
    """

    def __init__(self, rng: np.random.Generator, start: datetime, weeks: int) -> None:
        self.rng, self.start, self.weeks, self.span = rng, start, weeks, weeks * 7 * DAY
        self.pattern, self.zone, self.keen = self.any(PATTERNS), self.any(ZONES), self.between(0, 1)
        self.models = ("Alder", "Birch", "Cedar")[: int(rng.integers(1, 4))]
        self.racks, self.count = int(rng.integers(2, 4)), int(rng.integers(10, 46))
        self.packs = {name: self.any((750.0, 1000.0, 1000.0)) for name in MATERIALS[: int(rng.integers(1, 5))]}
        self.machines = tuple(
            (f"Q{n + 1:02}", self.models[n * len(self.models) // self.count], n * self.racks // self.count)
            for n in range(self.count)
        )
        queue = float(rng.uniform(45, 140 - 40 * self.keen)) / (0.65 * self.count)  # minutes of a hand a machine
        self.hands = max(1, round(float(rng.uniform(6, 14)) / queue))
        self.visit = min(22.0, max(4.0, queue * self.hands))
        self.second = max(1, round(self.hands * self.between(0.4, 1)))
        self.shifts, self.days, self.sheets = self._shifts(), self._days_off(), self._sheets()
        self.windows = list(self._windows())
        self.tasks = (("clean", self.between(80, 350), self.between(8, 40)), ("grease", self.between(300, 900), 45.0))
        self.bad = self.any(self.machines)[0] if rng.random() < 0.35 else None
        hours, times, demand = self.widely(60, 600), self.between(3, 5), self.between(0.4, 0.8) + self.keen
        self.often = {code: (times if code == self.bad else 1) / hours for code, _, _ in self.machines}
        self.demand = [demand * float(rng.lognormal(0, 0.12)) for _ in range(weeks)]
        self.pace = {model: self.between(0.93, 1.07) for model in self.models}
        self.changed, self.change = int(self.span * self.between(0.35, 0.65)), self.between(0.03, 0.08)
        self.change *= self.any((-1, 1)) * (rng.random() < 0.35)
        self.order = self.any(("fcfs", "nearest", "longest", "urgent"))
        self.rounds = self.any(((0.0,), (0.0,), (0.0, 0.5), (0.0, 0.9), (0.5,), ()))
        self.do = self._habits()

    def any(self, values: Sequence[Any]) -> Any:
        return values[int(self.rng.integers(len(values)))]

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def widely(self, low: float, high: float) -> float:
        """Between two bounds, as likely in each doubling."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def whole(self, sheet: Sheet, model: str, at: float) -> float:
        """The hours that a file takes on a model at that time, on average; new firmware changes them on the first."""
        change = self.change if model == self.models[0] and at >= self.changed else 0
        return sheet.row.hours * sheet.factor * self.pace[model] * (1 + change)

    def fitting(self, model: str, at: float) -> list[Sheet]:
        """The print files that are used on a model at that time."""
        return [s for s in self.sheets if model in s.row.models and s.begins <= at < s.ceases]

    def lasts(self, code: str) -> float:
        """The printing hours until a machine fails next."""
        return float(self.rng.exponential(1 / self.often[code]))

    def unit(self, place: int, code: str, model: str, rack: int) -> Unit:
        """A machine as it stands there when the span begins: empty, with a spool begun."""
        first = self.pick(model, 0, None)
        left = self.packs[first.row.material] * self.between(0.2, 1)
        printed = {task: hours * self.between(0, 1) for task, hours, _ in self.tasks}
        none = Print(first, 0, 1.0, 1.0, NEVER, NEVER, 1.0, ended=0, off=0)
        return Unit(code, model, rack, place, first.row.material, left, self.lasts(code), first, none, printed=printed)

    def choose(self, unit: Unit, window: Window, at: int) -> Sheet:
        """What was planned next; what runs through the night where people think of it before they go home."""
        fitting = self.fitting(unit.model, at)
        if unit.proving:
            return min(fitting, key=lambda sheet: sheet.row.hours)
        if window.after > HOUR and at > window.closes - 60 * self.do["closing_minutes"]:
            aim = (window.closes + window.after - at) / HOUR * self.between(0.7, 1.1)
            return min(fitting, key=lambda sheet: abs(log(sheet.row.hours / aim)))
        return unit.plan if unit.plan in fitting else self.pick(unit.model, at, None)

    def pick(self, model: str, at: float, last: Sheet | None) -> Sheet:
        """What is wanted next: often the same again, rather of the same material."""
        fitting = self.fitting(model, at)
        if last in fitting and self.rng.random() < self.do["sticky"]:
            return last
        weights = np.array([s.popular * (9 if last and s.row.material == last.row.material else 1) for s in fitting])
        return fitting[int(self.rng.choice(len(fitting), p=weights / weights.sum()))]

    def _habits(self) -> dict[str, float]:
        """How often, how long: what differs between rooms."""
        u, parts = self.between, sum(s.row.parts / s.row.hours for s in self.sheets) / len(self.sheets)
        finishing = u(0.1, 0.4) * 480 * self.hands / (self.count * 12 * parts)
        return {
            "visit_minutes": self.visit, "lag_minutes": self.widely(3, 45 - 30 * self.keen),
            "restart": u(0.5, 1) ** (1 - self.keen), "sticky": u(0.1, 0.8), "checks_spool": self.any((0.0, 0.85, 1.0)),
            "closing_minutes": u(90, 480) if self.keen > 0.7 else self.any((0, 0, u(30, 90), u(60, 240))),
            "leftovers": u(0, 0.7), "rack_seen": u(0.6, 1),
            "pack_first": self.any((0.001, 0.01)), "pack_hour": u(2, 7), "finish_minutes": finishing,
            "spots": u(0, 0.9), "clears_first": u(0.2, 1), "quick": u(0.6, 0.95), "patience_hours": self.widely(2, 30),
            "spare_days": self.widely(0.5, 6), "silent": u(0, 0.3), "holds": u(0.8, 1), "proves": u(0, 0.4),
            "aborts": u(0, 0.04), "upkeep": u(0.05, 0.8), "aside": self.any((0, 0.001, 0.003)),
            "use": u(0.95, 1.1), "run_spread": self.widely(0.003, 0.03),
        }  # fmt: skip

    def _shifts(self) -> list[Shift]:
        """Shifts a weekday; nobody comes at night."""
        two, opens = "two" in self.pattern, int(self.rng.integers(5, 8 if "two" in self.pattern else 10))
        long = 8 * 60 if two else int(self.rng.integers(15, 20)) * 30
        ends = [opens * 60, opens * 60 + long, opens * 60 + 2 * long]
        clocks = [time(minute // 60, minute % 60) for minute in ends[: 3 if two else 2]]
        rows = [
            Shift(weekday=day, shift=n + 1, start=clocks[n], end=clocks[n + 1], hands=(self.hands, self.second)[n])
            for day in WORKDAYS for n in range(len(clocks) - 1)
        ]  # fmt: skip
        if "Saturday" in self.pattern:
            end = time(opens + int(self.rng.integers(4, 7)))
            rows.append(Shift(weekday="sat", start=clocks[0], end=end, hands=max(1, self.hands // 2)))
        return rows

    def _days_off(self) -> list[SpecialDay]:
        days = self.rng.integers(7, 7 * self.weeks, int(self.rng.integers(0, 3)))
        return [SpecialDay(day=(self.start + timedelta(days=int(d))).date(), note="closed") for d in sorted(set(days))]

    def _windows(self) -> Iterator[Window]:
        """Every shift worked within the span; the second shift has other people than the first."""
        zone, closed, spans = ZoneInfo(self.zone), {day.day for day in self.days}, []
        for number in range(-1, 7 * self.weeks + 2):
            day = (self.start + timedelta(days=number)).astimezone(zone).date()
            for shift in self.shifts:
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
        pace, spread, risk = self.between(0.86, 1.24), self.between(0.01, 0.06), self.widely(0.005, 0.045)
        middle = (4 if "two" in self.pattern else 7) * self.widely(0.85, 1.3) * 7**self.keen
        number, width = int(self.rng.integers(6, 24)), self.between(0.4, 0.9)
        spans = np.clip(self.rng.lognormal(np.log(middle), width, number), 0.5, 40)
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

    def set_up(self) -> Iterator[Row]:
        """What the shop says that it consists of."""
        yield tables.Shop(name="Room of queues", zone=self.zone)
        yield from (tables.Model(model=model, name=model) for model in self.models)
        yield from (tables.Rack(rack=f"R{n + 1}", name=f"Rack {n + 1}") for n in range(self.racks))
        for n, (code, model, rack) in enumerate(self.machines):
            yield tables.Machine(machine=code, model=model, rack=f"R{rack + 1}", place=n + 1)
        yield from (tables.Product(product=part, name=part) for part in PARTS)
        yield from (tables.Material(material=name, name=name, pack=pack) for name, pack in self.packs.items())
        yield from (tables.Spare(spare=spare, name=spare) for spare in SPARES)
        yield from (tables.Person(person=person, name=person) for person in PEOPLE)
        for task, hours, minutes in self.tasks:
            yield tables.UpkeepTask(task=task, name=task, minutes=round(minutes), every_hours=round(hours))
        for n, (down, scrap) in enumerate(zip(DOWN, (*SCRAP, "dont-know"), strict=True)):
            yield tables.Cause(about="down", cause=down, name=down, place=n + 1)
            yield tables.Cause(about="scrap", cause=scrap, name=scrap, place=n + 1)
        yield from (*self.shifts, *self.days, *(sheet.row for sheet in self.sheets))


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
        self.opens, self.closes = [w.opens for w in plant.windows], [w.closes for w in plant.windows]

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
        lag = int(self.rng.integers(3, 80))
        times = [self._times(act, lag, delay) for act in acts]
        both = {act.kind: n for n, act in enumerate(acts)}
        together = "PartsOff" in both and "PrintStarted" in both and self.rng.random() < self.one_tap
        if together:
            times[both["PartsOff"]] = times[both["PrintStarted"]]
        for act, (at, noted) in zip(acts, times, strict=True):
            shared = (act.kind == "Looked" and self.by_round) or (together and act.kind in ("PartsOff", "PrintStarted"))
            own = float(self.rng.random())
            more = {"round": round_id} if act.kind == "Looked" else {}
            yield self._entries(act, at, noted, more), self.weights.get(act.kind, 1.0), luck if shared else own

    def _times(self, act: Act, lag: int, delay: float) -> tuple[int, int]:
        """When somebody says it was, and when it was tapped: before they went home at the latest."""
        home = self.closes[bisect(self.opens, act.at) - 1]
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
        slip = self._slip(act, says)
        told = self._entry(act, at, noted, {**says, **slip})
        if not slip or self.rng.random() > self.rights:
            return [told]
        later = noted + int(self.rng.integers(40, 1200))
        void = self._entry(act._replace(kind="EntryVoided"), later, later, {"which": told.id, "why": "wrong tap"})
        return [told, void, self._entry(act, at, later + 9, says)]

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
        times = {"at": self.start + timedelta(seconds=at), "noted_at": self.start + timedelta(seconds=noted)}
        made = {"kind": act.kind, "id": UUID(bytes=self.rng.bytes(16), version=4), "by": act.by}
        return entry_adapter.validate_python({**made, **times, **says})


def _scale(weights: np.ndarray, missing: float) -> float:
    """What to multiply the weights by so that this share goes missing on average."""
    low, high = 0.0, 100.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if np.minimum(0.97, middle * weights).mean() < missing else (low, middle)
    return low
