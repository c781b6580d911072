"""The true life of a room of queues: machines to the second, hands that take what waits, one thing at a time."""

from __future__ import annotations

from collections import namedtuple
from dataclasses import dataclass, field
from math import inf
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the room is drawn there, and lives here
    from demo.rooms.queues import Plant, Sheet, Window

HOUR, DAY, NEVER = 3600, 86400, inf
SPARES = ("nozzle", "belt", "fan", "heater")
DOWN = ("clogged", "axis", "cold-bed", "no-feed", "dont-know")
#: Who answers to what first where the most urgent goes first.
URGENCY = {"stopped": 0, "printing": 0, "proving": 0, "done": 1, "empty": 2, "aside": 2, "waiting": 3, "down": 3}

#: Something a person did or saw, in truth: what would be tapped, by whom, and on which visit.
Act = namedtuple("Act", "at kind machine by visit says")


@dataclass(slots=True)
class Print:
    """A run in the making; hours are of printing."""

    sheet: Sheet
    started: int
    whole: float
    needs: float
    halts: float
    doomed: float
    grams_an_hour: float
    resumed: int = 0
    hours: float = 0.0
    ended: int | None = None
    off: int | None = None
    by_itself: bool = False
    scrap: int = 0
    starved: int | None = None


@dataclass(slots=True)
class Trouble:
    """A fault: what sort of mending it takes, and whether anybody ever tells of it."""

    failed: int
    in_print: bool
    sort: str
    silent: bool
    spare: str | None
    cause: str
    back: int | None = None


@dataclass(slots=True)
class Unit:
    """A machine. `due` is its next step by itself, `seen` when somebody has noticed that it waits for a hand."""

    code: str
    model: str
    rack: int
    place: int
    material: str
    grams: float
    fault_left: float
    plan: Sheet
    run: Print
    turns: list[tuple[int, str]] = field(default_factory=lambda: [(0, "empty")])
    due: float = NEVER
    event: str = ""
    seen: float = 0.0
    trouble: Trouble | None = None
    proving: bool = False
    printed: dict[str, float] = field(default_factory=dict)

    @property
    def state(self) -> str:
        return self.turns[-1][1]

    def turn(self, at: int, state: str) -> None:
        self.turns.append((max(at, self.turns[-1][0]), state))


@dataclass(slots=True)
class Hand:
    """A person while in: from when free, when to lunch, and where last."""

    name: str
    free: float
    lunch: float
    place: int = 0


class Life:
    def __init__(self, plant: Plant) -> None:
        self.plant, self.do, self.rng = plant, plant.do, plant.rng
        self.acts: list[Act] = []
        self.runs: list[tuple[str, Print]] = []
        self.troubles: list[tuple[str, Trouble]] = []
        self.shelf: dict[str, list[float]] = {material: [] for material in plant.packs}
        self.backlog, self.visit, self.window = 0.0, 0, plant.windows[0]
        self.units = [plant.unit(place, *machine) for place, machine in enumerate(plant.machines)]

    def _chance(self, habit: str) -> bool:
        return bool(self.rng.random() < self.do[habit])

    def _minutes(self, middle: float, spread: float = 0.35) -> int:
        return max(20, round(60 * middle * float(self.rng.lognormal(0, spread))))

    def live(self) -> None:
        """Every shift, minute by minute; between shifts the machines go on alone."""
        for window in self.plant.windows:
            self.window = window
            hands = self._come_in(window)
            for now in range(window.opens, window.closes - 300, 60):
                for unit in self.units:
                    self._advance(unit, now)
                for hand in hands:
                    if hand.free <= now:
                        self._next(hand, now)
        for unit in self.units:
            self._advance(unit, self.plant.span)
            if unit.due < NEVER:
                self._book(unit, self.plant.span)

    def _come_in(self, window: Window) -> list[Hand]:
        """Whoever comes in, one of them to walk the rounds; at one before anything is touched the others wait."""
        for unit in self.units:
            self._advance(unit, window.opens - 1)
        free = window.opens + self.rng.exponential(240, len(window.people))
        length = window.closes - window.opens
        hands = [Hand(name, t, window.opens + length / 2) for name, t in zip(window.people, free, strict=True)]
        self.rounds = [window.opens + share * length for share in self.plant.rounds if share or window.before > HOUR]
        if self.rounds and self.rounds[0] == window.opens:
            self.rounds.pop(0)
            self._walk(hands[0], int(hands[0].free) + 60)
            for hand in hands[1:]:
                hand.free = max(hand.free, hands[0].free)
        return hands

    def _walk(self, hand: Hand, at: int) -> None:
        """A round past some or all racks; what is seen there is as it truly stands at that second."""
        self.visit += 1
        seen = self.rng.random(9) < self.do["rack_seen"]
        for unit in (unit for unit in self.units if seen[unit.rack]):
            at += int(self.rng.integers(6, 26))
            self._advance(unit, at)
            state = next(state for since, state in reversed(unit.turns) if since <= at)
            if state != "aside":
                bare = "stopped" if unit.run.off is None else "empty"
                silent = state == "down" and unit.trouble and unit.trouble.silent
                saw = bare if silent else {"proving": "printing", "waiting": "down"}.get(state, state)
                self._act(at, "Looked", unit, hand.name, saw=saw)
        hand.free = at + 30

    def _act(self, at: int, kind: str, unit: Unit, by: str, **says: object) -> None:
        self.acts.append(Act(at, kind, unit.code, by, self.visit, says))

    def _advance(self, unit: Unit, now: float) -> None:
        while unit.due <= now:
            at, run = int(unit.due), unit.run
            self._book(unit, at)
            run.ended, run.by_itself = at, unit.event == "ended"
            if unit.event == "starved":
                run.ended, run.starved = None, run.starved or at
            if unit.event == "fault":
                self._fails(unit, at, in_print=True)
            unit.turn(at, "done" if run.by_itself else "stopped")
            inside = self.window.opens <= at < self.window.closes
            unit.seen = at + (float(self.rng.exponential(60 * self.do["lag_minutes"])) if inside else 0)

    def _book(self, unit: Unit, at: int) -> None:
        run, hours = unit.run, (at - unit.run.resumed) / HOUR
        run.hours += hours
        unit.grams -= hours * run.grams_an_hour
        unit.fault_left -= hours
        unit.printed = {task: so_far + hours for task, so_far in unit.printed.items()}
        unit.due, unit.seen = NEVER, NEVER

    def _go(self, unit: Unit, at: int) -> None:
        """The print goes on by itself until the first of what may end it."""
        run = unit.run
        run.resumed = at
        left = {"ended": run.needs - run.hours, "halted": run.halts - run.hours, "fault": unit.fault_left}
        left["starved"] = max(0.0, unit.grams) / run.grams_an_hour
        unit.event = min(left, key=left.__getitem__)
        unit.due = at + max(1, round(HOUR * left[unit.event]))
        unit.turn(at, "proving" if unit.proving else "printing")
        unit.seen = max(run.doomed, at) if run.doomed < unit.due else NEVER

    def _fails(self, unit: Unit, at: int, *, in_print: bool) -> Trouble:
        sort = "quick" if self._chance("quick") else str(self.rng.choice(["slow", "spare", "diagnose"]))
        spare = str(self.rng.choice(SPARES)) if sort in ("spare", "diagnose") else None
        silent = self._chance("silent") and spare is None
        unit.trouble = trouble = Trouble(at, in_print, sort, silent, spare, str(self.rng.choice(DOWN)))
        self.troubles.append((unit.code, trouble))
        return trouble

    def _next(self, hand: Hand, now: int) -> None:
        if now >= hand.lunch:
            hand.free, hand.lunch = now + self._minutes(30, 0.1), NEVER
            return
        if self.rounds and now >= self.rounds[0]:
            self.rounds.pop(0)
            self._walk(hand, now)
            return
        waiting = [unit for unit in self.units if unit.seen <= now]
        if any(unit.state == "empty" for unit in waiting) and not self._work_to_do(now):
            waiting = [unit for unit in waiting if unit.state != "empty"]
        if self._goes_finishing(hand, now, busy=bool(waiting)):
            return
        if waiting:
            self._deal(hand, min(waiting, key=lambda unit: self._before(hand, unit)), now)

    def _work_to_do(self, now: int) -> bool:
        demand = self.plant.demand[min(now // (7 * DAY), len(self.plant.demand) - 1)]
        return sum(unit.state in ("printing", "proving") for unit in self.units) < demand * len(self.units)

    def _before(self, hand: Hand, unit: Unit) -> tuple[float, float]:
        near = abs(unit.place - hand.place) + 6 * (unit.rack != self.units[hand.place].rack)
        long = -unit.plan.row.hours if unit.trouble is None else 0
        first = {"nearest": near, "longest": long, "urgent": URGENCY.get(unit.state, 4)}.get(self.plant.order, 0)
        return (first, unit.turns[-1][0])

    def _goes_finishing(self, hand: Hand, now: int, *, busy: bool) -> bool:
        """Finishing and packing take a hand away for half an hour to hours."""
        since = now - self.window.opens - self.do["pack_hour"] * HOUR
        courier = hand.name == self.window.people[-1] and 0 <= since < 60
        chance = (self.do["pack_first"] if busy else 0.06) * self.backlog / 120
        if self.backlog < 30 or not (courier or self.rng.random() < chance):
            return False
        minutes = min(self.backlog, float(self.rng.uniform(30, 210)))
        self.backlog -= minutes
        hand.free = now + round(60 * minutes)
        return True

    def _deal(self, hand: Hand, unit: Unit, now: int) -> None:
        self.visit += 1
        at = now + int(self.rng.integers(5, 90))
        self._advance(unit, at)
        unit.seen = NEVER
        hand.place, run = unit.place, unit.run
        if unit.state == "aside":
            unit.turn(at, "empty")
            self._act(at, "PutBack", unit, hand.name)
        if unit.state == "empty":
            hand.free = self._start(hand, unit, at)
        elif unit.trouble and unit.state in ("down", "waiting"):
            hand.free = self._mend(hand, unit, at, unit.trouble)
        elif unit.state == "stopped" and run.ended is None:  # it starved: it gets another spool and goes on
            at += self._minutes(self.do["visit_minutes"] * 0.4)
            self._fit(hand, unit, at, run.sheet.row.material, run.sheet.row.grams * (1 - run.hours / run.needs))
            self._go(unit, at)
            hand.free = at
        elif unit.trouble and unit.state == "stopped":
            hand.free = self._found_down(hand, unit, at, unit.trouble)
        else:
            hand.free = self._after(hand, unit, self._clear(hand, unit, at, "empty"))

    def _fit(self, hand: Hand, unit: Unit, at: int, material: str, need: float) -> None:
        if unit.grams > 80:
            self.shelf[unit.material].append(unit.grams)
        begun = [grams for grams in self.shelf[material] if grams > need]
        told = pack = self.plant.packs[material]
        unit.material, unit.grams = material, float(pack * self.rng.normal(1.005, 0.008))
        if begun and self._chance("leftovers"):
            unit.grams = min(begun)
            self.shelf[material].remove(unit.grams)
            told = max(20.0, round(unit.grams / 10) * 10.0)
        self._act(at, "SpoolFitted", unit, hand.name, material=material, grams=told)

    def _clear(self, hand: Hand, unit: Unit, at: int, then: str) -> int:
        """Parts come off; a print that still runs is stopped first."""
        run = unit.run
        if run.ended is None:
            self._book(unit, at)
            run.ended = at
            unit.turn(at, "stopped")
        at += self._minutes(self.do["visit_minutes"] * 0.4)
        lost = not run.by_itself or run.doomed < NEVER
        share = (1.0 if self.rng.random() < 0.85 else 0.6) if lost else run.sheet.scrap
        run.off, run.scrap = at, int(self.rng.binomial(run.sheet.row.parts, share))
        self.backlog += (run.sheet.row.parts - run.scrap) * self.do["finish_minutes"]
        unit.turn(at, then)
        self._act(at, "PartsOff", unit, hand.name, scrap=run.scrap, ended="itself" if run.by_itself else "stopped")
        return at

    def _after(self, hand: Hand, unit: Unit, at: int) -> int:
        """What follows on an empty platform: upkeep, setting aside, the next print, or nothing yet."""
        for task, hours, minutes in self.plant.tasks:
            if unit.printed[task] > hours and at < self.window.closes - HOUR and self._chance("upkeep"):
                unit.turn(at, "upkeep")
                took = self._minutes(minutes, 0.3)
                at, unit.printed[task] = at + took, 0.0
                unit.turn(at, "empty")
                self._act(at, "UpkeepDone", unit, hand.name, task=task, minutes=max(5.0, round(took / 300) * 5.0))
        if self._chance("aside"):
            unit.turn(at, "aside")
            unit.seen = at + float(self.rng.exponential(5 * DAY))
            self._act(at, "SetAside", unit, hand.name)
            return at
        if at < self.window.closes and self._work_to_do(at) and self._chance("restart"):
            return self._start(hand, unit, at)
        unit.seen = at + float(self.rng.exponential(25 * 60))
        return at

    def _start(self, hand: Hand, unit: Unit, at: int) -> int:
        sheet = self.plant.choose(unit, self.window, at)
        if self.rng.random() < 0.2 * sheet.row.hours * self.plant.often[unit.code]:
            return self._found_down(hand, unit, at, self._fails(unit, at, in_print=False))
        if sheet.row.material != unit.material or (unit.grams < sheet.row.grams and self._chance("checks_spool")):
            at += self._minutes(self.do["visit_minutes"] * 0.3)
            self._fit(hand, unit, at, sheet.row.material, sheet.row.grams)
        at = self._begin(hand, unit, at, sheet)
        if self._chance("aborts"):
            stop = at + int(self.rng.integers(120, 900))
            self._advance(unit, stop)
            if unit.state in ("printing", "proving"):
                at = self._clear(hand, unit, stop, "empty")
                at = self._begin(hand, self._other(unit, at), at, sheet)
        return at

    def _other(self, unit: Unit, at: int) -> Unit:
        """The machine on which a print that was aborted is started again: mostly the same."""
        like = (unit.model, unit.material, "empty")
        free = [u for u in self.units if (u.model, u.material, u.state) == like and u.seen <= at]
        if not free or self.rng.random() < 0.7:
            return unit
        unit.seen = at + 600.0
        return free[0]

    def _begin(self, hand: Hand, unit: Unit, at: int, sheet: Sheet) -> int:
        at += self._minutes(self.do["visit_minutes"] * 0.6)
        whole = self.plant.whole(sheet, unit.model, at)
        needs = whole * float(self.rng.lognormal(0, self.do["run_spread"]))
        halts = doomed = NEVER
        if self.rng.random() < sheet.risk:
            halts = needs * float(self.rng.beta(0.8, 1.4))
            if self.rng.random() < 0.5:  # it runs on as scrap, until somebody sees it
                seen = float(self.rng.exponential(3 * HOUR)) if self._chance("spots") else 1e12
                halts, doomed = NEVER, at + HOUR * halts + seen
        unit.run = Print(sheet, at, whole, needs, halts, doomed, sheet.row.grams * self.do["use"] / needs)
        self.runs.append((unit.code, unit.run))
        says = {"file": sheet.row.file, "revision": sheet.row.revision, "proving": unit.proving}
        self._act(at, "PrintStarted", unit, hand.name, **says)
        self._go(unit, at)
        unit.proving = False
        unit.plan = self.plant.pick(unit.model, at, sheet)
        return at

    def _found_down(self, hand: Hand, unit: Unit, at: int, trouble: Trouble) -> int:
        unit.turn(at, "down")
        if unit.run.off is None and (self._chance("clears_first") or trouble.silent):
            at = self._clear(hand, unit, at, "down")
        if trouble.sort == "spare":
            unit.turn(at, "waiting")
        if not trouble.silent:
            spare = trouble.spare if trouble.sort == "spare" else None
            self._act(at, "WentDown", unit, hand.name, cause=trouble.cause, spare=spare)
        if trouble.sort == "quick" and self.rng.random() < 0.6:
            return self._mend(hand, unit, at, trouble)
        hours = {"quick": 2.0, "spare": 24 * self.do["spare_days"]}.get(trouble.sort, self.do["patience_hours"])
        unit.seen = at + self._minutes(60 * hours, 0.9)
        return at

    def _mend(self, hand: Hand, unit: Unit, at: int, trouble: Trouble) -> int:
        work = min(3 * HOUR, self._minutes({"quick": 12, "diagnose": 20}.get(trouble.sort, 50), 0.6))
        if at + work > self.window.closes + 600:  # not today
            unit.seen = float(self.window.closes)
            return at
        if trouble.sort == "diagnose":
            trouble.sort = "spare"
            unit.turn(at + work, "waiting")
            self._act(at + work, "WentDown", unit, hand.name, cause=trouble.cause, spare=trouble.spare)
            unit.seen = at + work + self._minutes(60 * 24 * self.do["spare_days"], 0.7)
            return at + work
        unit.turn(at, "down")
        if unit.run.off is None:
            at = self._clear(hand, unit, at, "down")
        at += work
        unit.turn(at, "empty")
        trouble.back, unit.trouble = at, None
        unit.fault_left = self.plant.lasts(unit.code) if self._chance("holds") else float(self.rng.uniform(1, 9))
        unit.proving = self._chance("proves")
        if not trouble.silent:
            spares = (trouble.spare,) if trouble.spare and self.rng.random() < 0.6 else ()
            self._act(at, "CameBack", unit, hand.name, spares=spares)
        unit.seen = float(at)
        return at
