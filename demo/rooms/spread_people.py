"""The true life of a widely drawn room: machines that print and fail, and people who answer to what they see."""

from __future__ import annotations

import heapq
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

import numpy as np

from core.setup import PrintFile
from demo.rooms.spread_floor import DAY, HOUR, MINUTE, WEEK, Bench, Breakdown, Fact, Floor, Print, Spans

NEVER = 10**12
#: How a state looks to somebody who passes.
LOOKS = {"proving": "printing", "waiting": "down", "aside": "empty"}

T = TypeVar("T")


def joined(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans of time, in order, with those that meet made one."""
    whole: list[tuple[int, int]] = []
    for a, b in sorted(spans):
        if whole and a <= whole[-1][1]:
            whole[-1] = (whole[-1][0], max(b, whole[-1][1]))
        else:
            whole.append((a, b))
    return whole


def inside(spans: Spans, t: int) -> bool:
    """Whether a moment is in one of the spans."""
    at = bisect_right(spans, t, key=lambda span: span[1])
    return at < len(spans) and spans[at][0] <= t


class Life:
    """Plays a room from its start to its end; afterwards `facts` and the benches hold all of it."""

    def __init__(self, floor: Floor, habits: Mapping[str, float], rng: np.random.Generator) -> None:
        self.floor, self.habits, self.rng = floor, habits, rng
        self.facts: list[Fact] = []
        self.busy = dict.fromkeys(floor.people, 0)
        self.staffed = joined(span for spans in floor.people.values() for span in spans)
        self.demand = [habits["demand"] * rng.uniform(0.75, 1.2) for _ in range(floor.span // WEEK + 1)]
        self._heap: list[tuple[int, int, Callable[[Bench, int], None], Bench, int | None]] = []
        self._count = 0

    def live(self) -> None:
        """Play everything until the span is over."""
        for bench in self.floor.benches:
            bench.material, bench.grams = self.pick(self.floor.files(0)).material, self.rng.uniform(100, 900)
            self.call(bench, 0, 0.3)
        for a, b in self.staffed:
            for _ in range(int(self.habits["rounds"])):
                self.push(int(self.rng.uniform(a, b)), self.round, self.floor.benches[0])
        while self._heap:
            t, _, happens, bench, token = heapq.heappop(self._heap)
            if t < self.floor.span and token in (None, bench.token):
                happens(bench, t)

    def push(self, t: int, happens: Callable[[Bench, int], None], bench: Bench, token: int | None = None) -> None:
        """Let something happen later; with a token only if the machine has not turned until then."""
        self._count += 1
        heapq.heappush(self._heap, (t, self._count, happens, bench, token))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def pick(self, things: Sequence[T]) -> T:
        return things[int(self.rng.integers(len(things)))]

    def later(self, t: int, seconds: float) -> int:
        """The moment after so many seconds of staffed time."""
        first = bisect_right(self.staffed, t, key=lambda span: span[1])
        for a, b in self.staffed[first:]:
            here = b - max(a, t)
            if seconds < here:
                return int(max(a, t) + seconds)
            seconds -= here
        return NEVER

    def wait(self, median_hours: float, spread: float) -> float:
        return float(self.rng.lognormal(np.log(median_hours * HOUR), spread))

    def call(self, bench: Bench, t: int, share: float = 1.0) -> None:
        """Somebody will come to a machine after the room's usual wait."""
        if not bench.called:
            bench.called = True
            self.push(
                self.later(t, self.wait(self.habits["wait"] * share, self.habits["wait_spread"])), self.visit, bench
            )

    def hand(self, t: int) -> str | None:
        """Somebody who is in and has nothing in their hands."""
        free = [p for p, spans in self.floor.people.items() if self.busy[p] <= t and inside(spans, t)]
        return self.pick(free) if free else None

    def next_hand(self, t: int) -> int:
        """When somebody is in and free next."""
        free = ((max(t, self.busy[p]) + 1, spans) for p, spans in self.floor.people.items())
        return min((max(a, m) for m, spans in free for a, b in spans if b > m), default=NEVER)

    def tell(self, at: int, by: str, kind: str, bench: Bench, **more: object) -> None:
        self.facts.append(Fact(at, by, kind, bench.code, more))

    # What people do.

    def visit(self, bench: Bench, t: int) -> None:
        """Somebody comes to a machine and deals with what is there."""
        who = self.hand(t)
        if who is None:
            self.push(self.next_hand(t), self.visit, bench)
            return
        bench.called = False
        if bench.turns[-1][0] > t or bench.turns[-1][1] not in ("done", "stopped", "empty"):
            return
        self.busy[who] = t + int(self.rng.uniform(1, 5) * MINUTE)
        if bench.turns[-1][1] != "empty":
            self.clear(bench, t, who)
        elif self.busy[who] > t:
            self.fill(bench, t, who)
        if self.chance(self.habits["passing"]):
            self.look(self.pick(self.floor.benches), t + 5, who, None)

    def clear(self, bench: Bench, t: int, who: str) -> None:
        """Take off what lies there, or let a starved print go on with a new spool."""
        run = bench.prints[-1]
        if run.ended is None:
            if run.starved is None or not self.chance(self.habits["give_up"]):
                if run.starved is not None and bench.grams <= 0:
                    self.fit(bench, t, who, run.file.material)
                self.go(bench, t + 90)
                return
            run.ended = t
        self.take_off(bench, t, who)
        if bench.broken:
            self.down(bench, t + 30, who)
        elif self.chance(self.habits["at_once"]) or bench.again:
            self.fill(bench, t + int(self.rng.uniform(1, 6) * MINUTE), who)
        else:
            self.call(bench, t)

    def take_off(self, bench: Bench, t: int, who: str) -> None:
        """Parts off; after a failure the same may be started again at once, now and then with no removal told."""
        run, habits = bench.prints[-1], self.habits
        bench.turn(t, "empty")
        run.off, parts = t, run.file.parts
        lost = int(self.rng.binomial(parts, habits["odd_scrap"]))
        run.scrap = lost if run.by_itself and not run.spoiled else max(1, round(parts * self.rng.uniform(0.7, 1.0)))
        if not run.by_itself and not bench.broken and not run.proving and self.chance(habits["again"]):
            bench.again = run.file
            if self.chance(habits["silent_again"]):
                return
        cause = self.pick(self.floor.scrap_causes) if run.scrap else None
        ended = "itself" if run.by_itself else "stopped"
        self.tell(t, who, "PartsOff", bench, scrap=run.scrap, scrap_cause=cause, ended=ended)

    def fill(self, bench: Bench, t: int, who: str) -> None:
        """Start something on an empty machine, unless there is other work on it or none for it."""
        if self.chance(0.004 * self.habits["aside"]):
            self.set_aside(bench, t, who)
        elif bench.upkeep_in <= 0 and self.chance(0.6):
            self.upkeep(bench, t, who)
        elif not bench.again and self.printing(t) >= self.demand[t // WEEK] * len(self.floor.benches):
            self.call(bench, t + 10 * MINUTE, 2.0)
        else:
            file, bench.again = bench.again or self.choose(bench, t), None
            self.start(bench, t, who, file)

    def printing(self, t: int) -> int:
        return sum(bench.seen(t) in ("printing", "proving") for bench in self.floor.benches)

    def choose(self, bench: Bench, t: int) -> PrintFile:
        """A file for this machine; who looks ahead starts a long one before everybody leaves."""
        fit = [file for file in self.floor.files(t) if bench.model in file.models]
        if bench.prove:
            return min(fit, key=lambda file: file.hours)
        some = [self.pick(fit) for _ in range(4)]
        evening = self.later(t, 2 * HOUR) - t > 4 * HOUR
        return max(some, key=lambda f: f.hours) if evening and self.chance(self.habits["look_ahead"]) else some[0]

    def start(self, bench: Bench, t: int, who: str, file: PrintFile) -> None:
        """Start a print: what will become of it is drawn here."""
        if self.chance(0.02 * bench.frailty * 100 / self.habits["life"]):
            bench.faults.append(Breakdown(t, in_print=False))
            self.down(bench, t, who)
            return
        need = file.grams * self.habits["use"] * self.rng.uniform(0.99, 1.01)
        short = bench.grams < need and self.chance(self.habits["check_spool"])
        if short or bench.material != file.material or bench.grams <= 5:
            self.fit(bench, t, who, file.material)
            t += 3 * MINUTE
        whole = self.floor.whole(file, bench.model, t)
        hours = whole * float(self.rng.normal(1, self.habits["noise"]))
        run = Print(file, bench.prove, t, hours, whole, self.fate(bench, file, hours, need))
        bench.prove = False
        bench.prints.append(run)
        self.tell(t, who, "PrintStarted", bench, file=file.file, revision=file.revision, proving=run.proving)
        bench.grams -= need
        self.go(bench, t)

    def fate(self, bench: Bench, file: PrintFile, hours: float, need: float) -> list[tuple[int, str]]:
        """What happens to a print, by the seconds printed until then."""
        whole, draw = int(hours * HOUR), self.rng
        ahead = [(whole, "end")]
        ahead.append((int(draw.exponential(self.habits["life"] / bench.frailty) * HOUR), "fault"))
        ahead.append((int(draw.exponential(1 / self.floor.risk[file.file]) * HOUR), "fail"))
        if bench.grams < need:
            ahead.append((int(whole * bench.grams / need), "starve"))
        if self.chance(self.habits["abort"]):
            ahead.append((int(draw.uniform(3, 40) * MINUTE), "abort"))
        if self.chance(self.habits["pause"]):
            ahead.append((int(draw.uniform(0.05, 0.95) * whole), "pause"))
        return sorted((max(60, x), what) for x, what in ahead if x <= whole)

    def fit(self, bench: Bench, t: int, who: str, material: str) -> None:
        """A spool goes on: a full one, or one begun of which somebody tells about what is left."""
        full = self.floor.pack[material]
        begun = bench.material != material and self.chance(0.4)
        told = full * self.rng.uniform(0.3, 0.9) if begun else full
        bench.material = material
        bench.grams = told * self.rng.normal(1, 0.06) if begun else full * self.rng.uniform(0.99, 1.02)
        grams = round(told, -1) if begun or self.chance(self.habits["fit_exact"]) else round(full * 1.1, -1)
        run = bench.prints[-1] if bench.prints else None
        if run and run.ended is None:
            bench.grams -= run.file.grams * self.habits["use"] * max(0.0, 1 - run.printed / (run.hours * HOUR))
        self.tell(t, who, "SpoolFitted", bench, material=material, grams=grams)

    def down(self, bench: Bench, t: int, who: str) -> None:
        """A fault is found: mended after a while, or after the spare has come; some are never told."""
        cause, spare = self.pick(self.floor.causes)
        told, waits = not self.chance(self.habits["untold"]), bool(spare) and self.chance(self.habits["no_spare"])
        back = self.later(t, self.wait(self.habits["repair"], 1.1))
        bench.turn(t, "down")
        if waits:
            comes = t + int(self.rng.lognormal(np.log(5 * DAY), 0.7))
            bench.turn(t, "waiting")
            back = self.later(comes, self.wait(self.habits["repair"], 0.6))
            self.push(comes, lambda b, at: b.turn(at, "down"), bench)
        if told:
            self.tell(t, who, "WentDown", bench, cause=cause, spare=spare if waits else None)
        spares = (spare,) if spare and told and (waits or self.chance(0.5)) else ()
        self.push(back, lambda b, at: self.mended(b, at, told, spares), bench)

    def mended(self, bench: Bench, t: int, told: bool, spares: tuple[str, ...]) -> None:
        """A machine can run again."""
        who = self.hand(t)
        if who is None:
            self.push(self.next_hand(t), lambda b, at: self.mended(b, at, told, spares), bench)
            return
        bench.broken, bench.faults[-1].back = False, t
        bench.prove = self.chance(self.habits["proves"])
        bench.turn(t, "empty")
        if told:
            self.tell(t, who, "CameBack", bench, spares=spares)
        self.call(bench, t)

    def upkeep(self, bench: Bench, t: int, who: str) -> None:
        """Planned work, at times overnight on the bench; its minutes are told as the whole of it."""
        ends = t + int(self.rng.uniform(0.6, 1.6) * self.habits["upkeep_minutes"] * MINUTE)
        if self.chance(self.habits["overnight"]):
            ends = self.later(t, self.rng.uniform(4, 12) * HOUR)
        bench.turn(t, "upkeep")
        bench.upkeep_in = self.habits["upkeep_hours"] * self.rng.uniform(0.7, 1.3)
        self.busy[who] = min(ends, t + int(2 * self.habits["upkeep_minutes"] * MINUTE))
        self.push(ends, lambda b, at: self.upkept(b, at, t), bench)

    def upkept(self, bench: Bench, t: int, began: int) -> None:
        who = self.hand(t)
        if who is None:
            self.push(self.next_hand(t), lambda b, at: self.upkept(b, at, began), bench)
            return
        bench.turn(t, "empty")
        minutes = min(round((t - began) / MINUTE), 7 * 24 * 60)
        self.tell(t, who, "UpkeepDone", bench, task=self.pick(self.floor.tasks), minutes=minutes)
        self.call(bench, t)

    def set_aside(self, bench: Bench, t: int, who: str) -> None:
        bench.turn(t, "aside")
        self.tell(t, who, "SetAside", bench)
        self.push(
            self.later(t + int(self.rng.uniform(1, 18) * DAY), self.rng.uniform(0, 6 * HOUR)), self.put_back, bench
        )

    def put_back(self, bench: Bench, t: int) -> None:
        who = self.hand(t)
        if who is None:
            self.push(self.next_hand(t), self.put_back, bench)
            return
        bench.turn(t, "empty")
        self.tell(t, who, "PutBack", bench)
        self.call(bench, t)

    def round(self, bench: Bench, t: int) -> None:
        """A walk past all racks or one; what wants a hand may get it right after."""
        who = self.hand(t)
        if who is None:
            return
        racks = sorted({b.rack for b in self.floor.benches})
        chosen = racks if self.habits["all_racks"] else [self.pick(racks)]
        name, at = self.rng.bytes(16).hex(), t
        for seen in (b for b in self.floor.benches if b.rack in chosen):
            at += int(self.rng.integers(6, 25))
            self.look(seen, at, who, name)
        self.busy[who] = at

    def look(self, bench: Bench, at: int, who: str, name: str | None) -> None:
        """Somebody sees a machine; a print that has gone wrong may be seen too and is taken off."""
        self.push(at, lambda b, t: self.looked(b, t, who, name), bench)

    def looked(self, bench: Bench, t: int, who: str, name: str | None) -> None:
        state = bench.seen(t)
        self.tell(t, who, "Looked", bench, saw=LOOKS.get(state, state), round=name)
        run = bench.prints[-1] if bench.prints else None
        if state == "printing" and run and run.spoiled and self.chance(self.habits["spots"]):
            run.printed, run.since, run.ended = run.lasted(t + 20), None, t + 20
            self.leave(bench, run)
            bench.turn(t + 20, "stopped")
            self.call(bench, t + 20, 0.1)

    # What machines do.

    def go(self, bench: Bench, t: int) -> None:
        """Print until the next thing happens."""
        run = bench.prints[-1]
        bench.turn(t, "proving" if run.proving else "printing")
        run.since = t
        x, what = run.ahead.pop(0)
        lasts = max(0, x - run.printed)
        self.push(t + max(1, lasts), lambda b, at: self.happens(b, at, x, what), bench, bench.token)

    def happens(self, bench: Bench, t: int, x: int, what: str) -> None:
        run = bench.prints[-1]
        run.printed, run.since = x, None
        if what == "fail" and self.chance(self.habits["runs_on"]):
            run.spoiled = True
        elif what == "abort":
            if (who := self.hand(t)) is not None:
                self.abort(bench, t, who)
                return
        elif what != "pause" or self.hand(t) is not None:
            self.stands(bench, t, what)
            return
        self.go(bench, t)

    def stands(self, bench: Bench, t: int, what: str) -> None:
        """A print comes to a stand: done, failed, without material, or held by somebody."""
        run = bench.prints[-1]
        bench.turn(t, "done" if what == "end" else "stopped")
        if what == "starve":
            run.starved, bench.grams = t, 0.0
        elif what != "pause":
            run.ended, run.by_itself = t, what == "end"
            self.leave(bench, run)
        if what == "fault":
            bench.broken = True
            bench.faults.append(Breakdown(t, in_print=True))
        self.call(bench, t)

    def leave(self, bench: Bench, run: Print) -> None:
        """A print is over: the material that it did not use is still on the spool."""
        bench.upkeep_in -= run.printed / HOUR
        bench.grams += run.file.grams * self.habits["use"] * max(0.0, 1 - run.printed / (run.hours * HOUR))

    def abort(self, bench: Bench, t: int, who: str) -> None:
        """Somebody stops a print soon after its start and starts it again, here or on another machine."""
        run = bench.prints[-1]
        run.ended = run.off = t
        run.scrap = run.file.parts
        self.leave(bench, run)
        bench.turn(t, "empty")
        self.tell(t, who, "PartsOff", bench, scrap=run.scrap, scrap_cause="dont-know", ended="stopped")
        alike = [b for b in self.floor.benches if b.model == bench.model and b is not bench]
        others = [b for b in alike if b.turns[-1][1] == "empty" and b.turns[-1][0] < t]
        to = self.pick(others) if others and self.chance(self.habits["move"]) else bench
        self.start(to, t + int(self.rng.uniform(1, 8) * MINUTE), who, run.file)
        if to is not bench:
            self.call(bench, t)
