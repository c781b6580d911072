"""The life of a room that is worked on rounds: machines that go on by themselves, and who comes past them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from core.setup import Cause, Machine, PrintFile, UpkeepTask
from demo.rooms.told import Fault, Run

if TYPE_CHECKING:
    from demo.rooms.rounds import House


@dataclass(frozen=True, slots=True)
class Fact:
    """Something a person did or saw: when, at which machine of which rack, on which round."""

    at: datetime
    by: str
    machine: Machine
    round: int
    kind: str
    fields: dict[str, object]
    worked: bool = False


@dataclass(slots=True)
class Print:
    """A print on a platform. `fates` are what would end or pause it, after so many hours of printing, soonest first."""

    file: PrintFile
    started: datetime
    resumed: datetime
    total: float
    whole: float
    grams: float
    fates: list[tuple[float, str]]
    spoilt: float | None
    proving: bool
    hours: float = 0.0
    how: str = ""
    ended: datetime | None = None
    starved: datetime | None = None


@dataclass(slots=True)
class Trouble:
    """A fault that was found: what it is, when it could be mended, and whether anybody tells of it."""

    failed: datetime
    cause: Cause
    ready: datetime
    told: bool
    in_print: bool
    named: bool
    waits: bool


@dataclass(slots=True)
class Unit:
    """One machine as it truly is."""

    row: Machine
    turns: list[tuple[datetime, str]]
    fault_in: float
    material: str
    grams: float
    usual: str = ""
    print: Print | None = None
    trouble: Trouble | None = None
    task: UpkeepTask | None = None
    till: datetime | None = None
    since_upkeep: float = 0.0
    to_prove: bool = False
    runs: list[Run] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def turn(self, at: datetime, state: str) -> None:
        """From `at` on it is in that state."""
        if self.turns[-1][0] == at:
            self.turns.pop()
        if not self.turns or self.turns[-1][1] != state:
            self.turns.append((at, state))

    def go(self, at: datetime) -> None:
        """The print on it prints, anew or on."""
        if self.print:
            self.print.resumed, self.print.how = at, ""
            self.turn(at, "proving" if self.print.proving else "printing")

    def advance(self, now: datetime) -> None:
        """What the machine did by itself up to `now`."""
        it = self.print
        if it is None or it.how:
            return
        hours, fate = it.fates[0]
        when = after(it.resumed, 60 * (hours - it.hours))
        if when <= now:
            it.fates.pop(0)
            self.halt(when, fate)

    def halt(self, at: datetime, how: str) -> None:
        """The print on it prints no longer; what it took is gone from the spool and from the machine's life."""
        it = self.print
        assert it
        ran = (at - it.resumed).total_seconds() / 3600
        it.hours, it.how, it.ended = it.hours + ran, how, at
        it.starved = at if how == "starved" else it.starved
        self.grams = max(0.0, self.grams - it.grams * ran / it.total)
        self.fault_in -= ran
        self.since_upkeep += ran
        self.turn(at, "done" if how == "itself" else "stopped")

    def clear(self, at: datetime | None, scrap: int) -> None:
        """The print is off the platform at `at`, or the span is over."""
        it = self.print
        assert it
        assert it.ended
        run = Run(
            machine=self.row.machine, file=it.file.file, revision=it.file.revision, started=it.started, ended=it.ended,
            off=at, hours=it.hours, whole=it.whole, by_itself=it.how == "itself", parts=it.file.parts, scrap=scrap,
            starved=it.starved,
        )  # fmt: skip
        self.runs.append(run)
        self.print = None

    def finish(self, end: datetime) -> None:
        """The span is over: a print still on it is told as it would have ended, with nobody taking its parts off."""
        self.advance(end)
        it = self.print
        if it and it.how in ("", "starved"):
            last = next(fate for fate in it.fates if fate[1] != "starved")
            it.ended = after(end if it.how else it.resumed, 60 * (last[0] - it.hours))
            it.hours, it.how = last
        if it:
            self.clear(None, 0)
        if self.trouble:
            self.faults.append(Fault(self.row.machine, self.trouble.failed, None, self.trouble.in_print))


def after(moment: datetime, minutes: float) -> datetime:
    """So many minutes later, to the second."""
    return moment + timedelta(seconds=round(60 * minutes))


class Walker:
    """Whoever is on a round: a clock that only goes on, and what there is to do at each machine they come to."""

    def __init__(self, house: House, rng: np.random.Generator) -> None:
        self.house, self.rng = house, rng
        self.facts: list[Fact] = []
        self.carried: PrintFile | None = None
        self.by, self.round, self.last, self.mood = "", 0, False, 1.0
        self.clock, self.acted = datetime.min.replace(tzinfo=UTC), False
        self._ways: dict[str, Callable[[Unit], None]] = {
            "printing": self._printing, "proving": self._printing, "done": self._ended, "stopped": self._ended,
            "empty": self._empty, "down": self._out, "waiting": self._out, "upkeep": self._bench, "aside": self._aside,
        }  # fmt: skip

    def visit(self, unit: Unit) -> None:
        """Come to a machine, do there what there is to do, and go on."""
        self._spend(self.house.walk_seconds / 60)
        unit.advance(self.clock)
        saw, came, before, self.acted = unit.turns[-1][1], self.clock, len(self.facts), False
        hushed = unit.trouble is not None and not unit.trouble.told
        self._ways[saw](unit)
        if saw != "aside" and not hushed:
            look: dict[str, object] = {"saw": {"proving": "printing", "waiting": "down"}.get(saw, saw)}
            self.facts.insert(before, Fact(came, self.by, unit.row, self.round, "Looked", look, self.acted))

    def _chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def _spend(self, minutes: float) -> None:
        self.clock = after(self.clock, minutes * float(self.rng.lognormal(0, 0.35)))

    def _say(self, unit: Unit, kind: str, **fields: object) -> None:
        self.acted = True
        self.facts.append(Fact(self.clock, self.by, unit.row, self.round, kind, fields))

    def _printing(self, unit: Unit) -> None:
        it = unit.print
        assert it
        hours = it.hours + (self.clock - it.resumed).total_seconds() / 3600
        if it.spoilt is not None and hours > it.spoilt and self._chance(self.house.eye):
            unit.halt(self.clock, "stopped")
            self._take_off(unit)
            self._empty(unit)

    def _ended(self, unit: Unit) -> None:
        it = unit.print
        assert it
        if it.how == "itself" and self._chance(self.house.hurried):
            return
        if it.how == "starved" and self._chance(0.95):
            self._fit(unit, it.file.material)
            unit.go(self.clock)
            return
        self._take_off(unit)
        if it.how == "fault" and it.ended:
            self._found(unit, it.ended, in_print=True)
        else:
            self._empty(unit)

    def _take_off(self, unit: Unit) -> None:
        it = unit.print
        assert it
        self._spend(self.house.off_minutes)
        scrap = self._scrap(it)
        cause = str(self.rng.choice(list(self.house.scrap_causes))) if scrap else None
        unit.clear(self.clock, scrap)
        unit.turn(self.clock, "empty")
        self._say(unit, "PartsOff", scrap=scrap, scrap_cause=cause, ended="itself" if it.how == "itself" else "stopped")

    def _scrap(self, it: Print) -> int:
        if it.how != "itself" or it.spoilt is not None:
            return it.file.parts if self._chance(0.8) else int(self.rng.integers(1, it.file.parts + 1))
        return int(self.rng.binomial(it.file.parts, self.house.odd_scrap))

    def _empty(self, unit: Unit) -> None:
        """A clear machine: upkeep that is due, a fault that shows at the start, or the next print if there is work."""
        if self._upkeep(unit) or self._set_aside(unit):
            return
        carried, self.carried = self.carried, None
        wanted = carried if carried and unit.row.model in carried.models else None
        if wanted or self._chance(self.house.load * self.mood):
            if self._chance(0.02 * min(1.0, 150 / self.house.fault_hours)):
                self._found(unit, self.clock, in_print=False)
            else:
                self._start(unit, wanted or self._choose(unit))

    def _choose(self, unit: Unit) -> PrintFile:
        newest = {file.file: file for file in self.house.files if file.since <= self.clock}
        fit = [f for f in newest.values() if unit.row.model in f.models and f"{f.file}-new" not in newest]
        if unit.to_prove:
            return min(fit, key=lambda f: f.hours)
        same = [f for f in fit if f.file == unit.usual]
        night = self.house.night * self.last
        if same and self._chance(self.house.sticky * (1 - 0.8 * night)):
            return same[0]
        weights = np.array([f.hours ** (4 * night) for f in fit])
        return fit[int(self.rng.choice(len(fit), p=weights / weights.sum()))]

    def _start(self, unit: Unit, file: PrintFile) -> None:
        other = unit.material != file.material
        if other or (
            unit.grams < 1.02 * file.grams * self.house.usage[file.file] and self._chance(self.house.checks_spool)
        ):
            self._fit(unit, file.material, part=other)
        self._spend(self.house.start_minutes)
        it = self._print_of(unit, file)
        unit.print, unit.usual, unit.to_prove = it, file.file, False
        unit.go(self.clock)
        self._say(unit, "PrintStarted", file=file.file, revision=file.revision, proving=it.proving)
        if self._chance(self.house.watches * 0.05):
            self._abort(unit, file)

    def _abort(self, unit: Unit, file: PrintFile) -> None:
        """The first layers went wrong under their eyes: off with it, and again, here or on the next machine."""
        soon = after(self.clock, float(self.rng.uniform(2, 6)))
        unit.advance(soon)
        if unit.print and not unit.print.how:
            self.clock = soon
            unit.halt(self.clock, "stopped")
            self._take_off(unit)
            if self._chance(0.2):
                self.carried = file
            else:
                self._start(unit, file)

    def _print_of(self, unit: Unit, file: PrintFile) -> Print:
        house, rng = self.house, self.rng
        whole = file.hours * house.pace[file.file] * house.model_pace[unit.row.model]
        if house.firmware and house.firmware[0] == unit.row.model and self.clock >= house.firmware[1]:
            whole *= house.firmware[2]
        total = whole * max(0.8, float(rng.normal(1, house.run_spread)))
        grams = file.grams * house.usage[file.file] * float(rng.normal(1, 0.005))
        fates, spoilt = [(total, "itself"), (max(unit.fault_in, 0.01), "fault")], None
        if self._chance(house.risk[file.file]):
            wrong = total * float(rng.beta(0.8, 1.4))
            spoilt = wrong if self._chance(house.runs_on) else None
            fates += [(wrong, "stopped")] if spoilt is None else []
        if unit.grams < grams:
            fates.append((max(0.005, total * unit.grams / grams), "starved"))
        return Print(file, self.clock, self.clock, total, whole, grams, sorted(fates), spoilt, unit.to_prove)

    def _fit(self, unit: Unit, material: str, *, part: bool = False) -> None:
        """A spool is fitted: a full one, or one that was begun and is weighed."""
        self._spend(2.5)
        left = round(unit.grams, -1) if self._chance(0.15) and unit.grams > 1 else None
        begun = part and self._chance(0.3)
        told = float(round(self.rng.uniform(0.3, 0.95) * self.house.pack, -1)) if begun else self.house.pack
        unit.material, unit.grams = material, told * float(self.rng.normal(1.005, 0.008))
        self._say(unit, "SpoolFitted", material=material, grams=told, left_grams=left)

    def _found(self, unit: Unit, failed: datetime, *, in_print: bool) -> None:
        """A fault is found: mended at once if it is a small one, or left until there is time, or a spare."""
        house, rng = self.house, self.rng
        cause = house.causes[int(rng.integers(len(house.causes)))]
        told, named = not self._chance(house.hush), self._chance(0.75)
        hours = house.repair_hours * float(rng.lognormal(0, 1.3))
        waits = bool(cause.spare) and self._chance(0.35)
        days = house.spare_days * float(rng.lognormal(0, 0.5)) if waits else 0.0
        quick = not waits and self._chance(house.mends_at_once)
        ready = self.clock if quick else after(self.clock, min(60 * hours + 1440 * days, 45 * 1440))
        unit.trouble = Trouble(failed, cause, ready, told, in_print, named, waits)
        self._tell_down(unit, unit.trouble)
        if quick:
            self._mend(unit, unit.trouble)

    def _tell_down(self, unit: Unit, trouble: Trouble) -> None:
        waits = trouble.waits and trouble.named
        unit.turn(self.clock, "waiting" if waits else "down")
        self.acted = True
        if trouble.told:
            cause = trouble.cause.cause if trouble.named else "dont-know"
            self._say(unit, "WentDown", cause=cause, spare=trouble.cause.spare if waits else None)

    def _out(self, unit: Unit) -> None:
        """A machine that is down: mended when it can be and somebody is here, or its cause is found out."""
        trouble = unit.trouble
        assert trouble
        if trouble.ready <= self.clock and self._chance(0.9):
            self._mend(unit, trouble)
        elif not trouble.named and self._chance(0.4):
            self._spend(6)
            trouble.named = True
            self._tell_down(unit, trouble)

    def _mend(self, unit: Unit, trouble: Trouble) -> None:
        unit.turn(self.clock, "down")
        self._spend(float(self.rng.lognormal(np.log(14), 0.6)))
        spares = (trouble.cause.spare,) if trouble.cause.spare and (trouble.waits or self._chance(0.3)) else ()
        if trouble.told:
            self._say(unit, "CameBack", spares=spares)
        self.acted = True
        unit.faults.append(Fault(unit.row.machine, trouble.failed, self.clock, trouble.in_print))
        unit.trouble, unit.fault_in = None, self.next_fault(unit.row)
        unit.to_prove = self._chance(self.house.proves)
        unit.turn(self.clock, "empty")
        self._empty(unit)

    def next_fault(self, machine: Machine) -> float:
        """Printing hours until the machine fails next; some are mended badly and fail again early."""
        mean = self.house.fault_hours / (self.house.worse if machine.machine == self.house.bad else 1)
        return mean * float(self.rng.weibull(0.85)) * 0.92

    def _upkeep(self, unit: Unit) -> bool:
        """Whether upkeep that is due takes the machine beyond this visit."""
        task = self.house.tasks[int(self.rng.integers(len(self.house.tasks)))]
        if unit.since_upkeep < (task.every_hours or 1e9) or not self._chance(0.5):
            return False
        unit.turn(self.clock, "upkeep")
        unit.task, unit.till, unit.since_upkeep = task, self.clock, 0.0
        overnight, self.acted = self.last and self._chance(0.15), True
        if not overnight:
            self._spend(task.minutes)
            self._upkept(unit)
        return overnight

    def _upkept(self, unit: Unit) -> None:
        assert unit.task
        minutes = min((self.clock - (unit.till or self.clock)).total_seconds() / 60, 7 * 1440)
        unit.turn(self.clock, "empty")
        self._say(unit, "UpkeepDone", task=unit.task.task, minutes=float(round(minutes)))
        unit.task = unit.till = None

    def _bench(self, unit: Unit) -> None:
        self._upkept(unit)
        self._empty(unit)

    def _set_aside(self, unit: Unit) -> bool:
        if self._chance(1 - self.house.aside):
            return False
        unit.till = after(self.clock, 60 * 24 * float(self.rng.uniform(1, 14)))
        unit.turn(self.clock, "aside")
        self._say(unit, "SetAside")
        return True

    def _aside(self, unit: Unit) -> None:
        if unit.till and unit.till <= self.clock:
            unit.till = None
            unit.turn(self.clock, "empty")
            self._say(unit, "PutBack")
            self._empty(unit)
