"""Rooms kept by a crew: three to six people of unlike habits, in shifts that overlap, or round the clock, or in one.

Each person notices in his own time what a machine needs: one hears a print end, another sees it when he gets up next;
what ends while nobody is in waits for whoever comes. Some make a round at their start, past the racks they care about.
People take one thing at a time, start what there is work for (it comes and goes by the week), mend or only report.
Machines fail by printing hours, files by a risk of their own, spools run out under those who do not look. A failure is
"stopped" until it is found, then "down" if the machine broke; some faults are mended on the spot and never told.
People tell at once, at breaks, or at the end of a shift from memory: times are rounded, visits change places. Entries
go missing by person and kind, whole visits and rounds at a time: one forgets half of what he does, another little.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from core.setup import DONT_KNOW, Machine
from demo.rooms.crews_people import AFTER, DAY, HOUR, TICK, Deed, Place, Plate, Telling, Ways, Worker, place
from demo.rooms.told import Fault, Run, Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
NOT_YET: int | None = None


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One room of the family: the same life at every `missing`, the share of the entries that never reach the log."""
    here = place(seed, Random(f"crews place {seed}"), END - timedelta(weeks=weeks), END)
    life = Life(here, Random(f"crews life {seed}"))
    life.play()
    telling = Telling(here, life.deeds, Random(f"crews telling {seed}"))
    turns = {b.code: [(here.when(at), state) for at, state in b.turns if at < here.seconds] for b in life.benches}
    runs = sorted((run for b in life.benches for run in b.told_runs(here)), key=lambda r: (r.started, r.machine))
    failed = [(b.code, fault) for b in life.benches for fault in b.faults if fault[0] < here.seconds]
    faults = [Fault(code, here.when(at), here.within(back), died) for code, (at, back, died) in failed]
    entries = telling.reached(missing, Random(f"crews missing {seed}"))
    known = (seed, here.pattern, here.start, here.end, here.rows)
    return Told("crews", *known, entries, turns, runs, faults, life.ways.bad)


class Print:
    """A print under way; `mishaps` says after how many seconds of printing what befalls it."""

    def __init__(self, now: int, bench: Bench, plate: Plate, proving: bool, ways: Ways, chance: Random) -> None:
        self.plate, self.started, self.resumed, self.proving = plate, now, now, proving
        model, since, change = ways.firmware
        self.whole = plate.stated * plate.factor * ways.model_factor[bench.model]
        self.whole *= change if bench.model == model and now >= since else 1.0
        self.length = max(600, int(HOUR * self.whole * chance.gauss(1.0, ways.run_spread)))
        self.grams = plate.grams * ways.use * chance.gauss(1.0, 0.008)
        self.mishaps = {"end": self.length, "fault": max(1, int(bench.fault_in * HOUR))}
        if chance.random() < min(0.6, plate.risk * (0.85 + 0.15 * bench.frail)):
            what = "ruin" if chance.random() < ways.run_on else "stop"
            self.mishaps[what] = max(60, int(self.length * chance.betavariate(0.8, 1.6)))
        self.progress, self.scrap, self.by_itself, self.ruined = 0, 0, True, False
        self.starved, self.ended, self.off = NOT_YET, NOT_YET, NOT_YET


class Bench:
    """A machine as it truly is; `token` changes with everything that makes an old notice void."""

    def __init__(self, row: Machine, ways: Ways, packs: Mapping[str, float], chance: Random) -> None:
        self.code, self.model, self.rack = row.machine, row.model, row.rack
        self.frail = ways.badness if self.code == ways.bad else chance.lognormvariate(0, 0.25)
        self.fault_in = chance.expovariate(self.frail / ways.mean_fault)
        self.material = chance.choice(list(packs))
        self.grams, self.liking = chance.random() * packs[self.material], chance.lognormvariate(0, 0.5)
        self.turns, self.prints = [(0, "empty")], list[Print]()
        self.faults, self.upkept = list[tuple[int, int | None, bool]](), dict[str, tuple[int, float]]()
        self.token, self.need, self.broken, self.prove_next = 0, "", False, False
        self.work, self.printed, self.cause, self.said = 0.0, 0.0, DONT_KNOW, DONT_KNOW

    def state_at(self, moment: int) -> str:
        """What the machine does at a moment that is not long ago."""
        return next((state for since, state in reversed(self.turns) if since <= moment), "empty")

    def turn(self, moment: int, state: str) -> None:
        """The machine goes over to a state; a state of no length was none."""
        while self.turns and self.turns[-1][0] >= moment:
            self.turns.pop()
        if not self.turns or self.turns[-1][1] != state:
            self.turns.append((moment, state))

    def idle(self, now: int) -> bool:
        """Whether it stands empty and nobody is about to do anything at it."""
        return self.turns[-1][1] == "empty" and self.turns[-1][0] <= now and not self.need and not self.broken

    def told_runs(self, here: Place) -> Iterator[Run]:
        """Its prints that began within the span."""
        for run in (run for run in self.prints if run.started < here.seconds):
            over, hours = run.ended or run.started + run.length, (run.progress if run.ended else run.length) / HOUR
            file, times = run.plate, (here.when(run.started), here.when(over), here.within(run.off), hours, run.whole)
            outcome, starved = (run.by_itself, file.parts, run.scrap), here.within(run.starved)
            yield Run(self.code, file.file, file.revision, *times, *outcome, starved)


class Life:
    """Plays a room: `benches` then hold what was, `deeds` what people did and saw."""

    def __init__(self, here: Place, chance: Random) -> None:
        self.here, self.chance, self.ways = here, chance, Ways(here, chance)
        self.benches = [Bench(row, self.ways, here.packs, chance) for row in here.machines]
        self.deeds: list[Deed] = []
        self._queues: dict[Worker, list[tuple[Bench, int]]] = {worker: [] for worker in here.crew}
        self._events: list[tuple[int, int, str, tuple[Any, ...]]] = []
        self._count = self._visit = 0
        self._backlog, self._wave = 0.0, 1.0
        self._usual = sum(p.stated * p.factor * p.weight for p in here.plates) / sum(p.weight for p in here.plates)

    def play(self) -> None:
        """Everything that happens, in order."""
        for worker in self.here.crew:
            for came, went in worker.shifts:
                self._later(came, self._come, worker, went)
        self._later(TICK, self._tick)
        while (event := heapq.heappop(self._events))[0] < self.here.seconds + AFTER:
            getattr(self, event[2])(event[0], *event[3])

    def _later(self, moment: float, what: Any, *about: Any) -> None:
        self._count += 1
        heapq.heappush(self._events, (int(moment), self._count, what.__name__, about))

    def _come(self, now: int, worker: Worker, went: int) -> None:
        worker.present_until, self._queues[worker] = went, []
        worker.busy_until = now + int(self.chance.expovariate(1 / 240))
        if worker.rounds and self.chance.random() < 0.92:
            self._visit += 1
            path = [bench for bench in self.benches if bench.rack in worker.round_racks]
            self._look(worker.busy_until, worker, path, self._visit)
        self._later(worker.busy_until, self._free, worker)
        for bench in self.benches:
            self._tell(now, worker, bench)

    def _look(self, now: int, worker: Worker, path: list[Bench], visit: int) -> None:
        """One machine of a round; the next a few steps on."""
        if not path:
            self._free(now, worker)
            return
        bench, saw = path[0], path[0].state_at(now)
        saw = {"proving": "printing", "waiting": "down"}.get(saw, saw)
        if saw != "aside":
            self.deeds.append(Deed(now, worker, "Looked", bench.code, visit, {"saw": saw}))
        if bench.need and (bench.need != "mend" or worker.mends):
            self._queues[worker].append((bench, bench.token))
        worker.busy_until = now + self.chance.randint(8, 45)
        self._later(worker.busy_until, self._look, worker, path[1:], visit)

    def _tell(self, now: int, worker: Worker, bench: Bench) -> None:
        """When a person will notice what a machine needs: by ear, when he gets up next, or never."""
        if not bench.need or (bench.need == "mend" and not worker.mends):
            return
        delay = self.chance.uniform(0, 2 * max(300.0, worker.react))
        if bench.need == "mend":
            delay = self.chance.expovariate(1 / worker.mend_delay)
        elif worker.hears and bench.need in ("off", "spool"):
            delay = self.chance.expovariate(1 / worker.react)
        self._later(now + delay, self._notice, worker, bench, bench.token)

    def _notice(self, now: int, worker: Worker, bench: Bench, token: int) -> None:
        if token == bench.token and now < worker.present_until:
            self._queues[worker].append((bench, token))
            self._free(now, worker)

    def _raise(self, now: int, bench: Bench, need: str) -> None:
        bench.need, bench.token = need, bench.token + 1
        bench.turn(now, "down" if need == "mend" else bench.turns[-1][1])
        for worker in self.here.crew:
            if now < worker.present_until:
                self._tell(now, worker, bench)

    def _free(self, now: int, worker: Worker) -> None:
        queue = self._queues[worker]
        while queue and worker.busy_until <= now < worker.present_until:
            bench, token = queue.pop(0)
            if token == bench.token:
                worker.busy_until = self._act(now, worker, bench)
                self._later(worker.busy_until, self._free, worker)

    def _act(self, now: int, worker: Worker, bench: Bench) -> int:
        """Do what a machine needs; when it is done. Until then nobody else sees to this machine."""
        need, bench.need, bench.token = bench.need, "", bench.token + 1
        self._visit += 1
        if need == "mend":
            return self._mend(now + self._span(worker, 20, 300), worker, bench)
        now += self._span(worker, 10, 60)
        if need == "spool":
            self._run(now := self._fit(now, worker, bench, bench.material), bench)
            return now + 20
        if need in ("SetAside", "PutBack"):
            self._do(now, worker, need, bench)
            bench.turn(now, "aside" if need == "SetAside" else "empty")
        if need == "SetAside":
            self._later(now + self.chance.uniform(2, 25) * DAY, self._raise, bench, "PutBack")
            return now + 10
        return self._clear_and_start(now, worker, bench, must=need == "start")

    def _span(self, worker: Worker, least: float, most: float) -> int:
        return 1 + int(worker.pace * self.chance.uniform(least, most))

    def _do(self, at: int, worker: Worker, kind: str, bench: Bench, hushed: bool = False, **said: Any) -> None:
        self.deeds.append(Deed(at, worker, kind, bench.code, self._visit, said, hushed))

    def _clear_and_start(self, now: int, worker: Worker, bench: Bench, must: bool) -> int:
        if bench.state_at(now) != "empty":
            now = self._take_off(now, worker, bench, self._span(worker, 40, 300))
        if not bench.broken and self.chance.random() < self.ways.idle_fault * bench.frail:
            self._break(now, bench, in_print=False)
        if bench.broken:
            now = self._find_fault(now, worker, bench)
        return now if bench.broken else self._use(now, worker, bench, must)

    def _use(self, now: int, worker: Worker, bench: Bench, must: bool) -> int:
        for task, (hours, days, minutes) in self.here.tasks.items():
            done, printed = bench.upkept.setdefault(task, (-int(self.chance.random() * days * DAY) % (30 * DAY), 0.0))
            due = bench.printed - printed > hours or now - done > days * DAY
            if due and self.chance.random() < worker.upkeep:
                bench.turn(now, "upkeep")
                now += 60 + int(60 * minutes * self.chance.uniform(0.6, 1.6))
                bench.turn(now, "empty")
                bench.upkept[task] = (now, bench.printed)
                self._do(now, worker, "UpkeepDone", bench, task=task, minutes=minutes)
        if self._backlog > 0 and (must or self.chance.random() < worker.chains):
            return self._start(now, worker, bench)
        bench.token += 1
        return now

    def _take_off(self, now: int, worker: Worker, bench: Bench, spent: int, hushed: bool = False) -> int:
        run = bench.prints[-1]
        if run.ended is None:
            self._end(now, bench, by_itself=False)
            bench.turn(now, "stopped")
        run.off = now + spent
        bench.turn(run.off, "empty")
        ended = "itself" if run.by_itself else "stopped"
        self._do(run.off, worker, "PartsOff", bench, hushed, scrap=run.scrap, ended=ended, parts=run.plate.parts)
        return run.off

    def _start(self, now: int, worker: Worker, bench: Bench) -> int:
        plate = self._choose(now, worker, bench)
        short = bench.grams < 20 or (bench.grams < 1.03 * plate.grams and self.chance.random() < worker.checks_spool)
        if short or plate.material != bench.material:
            now = self._fit(now, worker, bench, plate.material)
        proving, bench.prove_next = bench.prove_next and self.chance.random() < worker.proves, False
        self._begin(now := now + self._span(worker, 40, 240), worker, bench, (plate, proving))
        luck = self.chance.random()
        again = luck < self.ways.abort + self.ways.move
        return self._restart(now, worker, bench, luck < self.ways.move) if again else now + 15

    def _restart(self, now: int, worker: Worker, bench: Bench, moves: bool) -> int:
        """The first layer does not hold: off again, and once more there or on another machine; often half told."""
        run, seen = bench.prints[-1], now + self._span(worker, 150, 900)
        if min(run.mishaps.values()) <= seen - now:
            return now + 15
        hush, bench.token = self.chance.random() < self.ways.hush, bench.token + 1
        now = self._take_off(seen, worker, bench, self._span(worker, 40, 150), hush)
        free = [b for b in self.benches if b.idle(now) and b.model == bench.model and b.material == bench.material]
        other = self.chance.choice([b for b in free if b is not bench] or [bench]) if moves else bench
        self._begin(
            now := now + self._span(worker, 40, 200), worker, other, (run.plate, run.proving), hush and not moves
        )
        return now + 15

    def _choose(self, now: int, worker: Worker, bench: Bench) -> Plate:
        fit = [p for p in self.here.plates if bench.model in p.models and p.since <= now < p.until]
        last = bench.prints[-1].plate.file if bench.prints else ""
        late = worker.plans_nights and worker.present_until - now < 3 * HOUR
        weights = [p.weight * (p.stated**2 if late else 1) * (5 if p.file == last else 1) for p in fit]
        return self.chance.choices(fit, weights)[0]

    def _fit(self, now: int, worker: Worker, bench: Bench, material: str) -> int:
        """Another spool: a full one, or one begun, of which people say what they guess or weigh."""
        pack, now = self.here.packs[material], now + self._span(worker, 60, 360)
        told, true = pack, pack * self.chance.uniform(0.99, 1.015)
        if self.chance.random() < self.ways.part_spools + 0.4 * (material != bench.material):
            true = pack * self.chance.uniform(0.15, 0.85)
            told = round(true) if worker.weighs else max(100.0, round(true * self.chance.gauss(1, 0.15) / 50) * 50.0)
        left = float(round(bench.grams)) if worker.weighs else None
        self._do(now, worker, "SpoolFitted", bench, material=material, grams=told, left_grams=left)
        bench.grams, bench.material = true, material
        return now

    def _begin(self, now: int, worker: Worker, bench: Bench, what: tuple[Plate, bool], hushed: bool = False) -> None:
        bench.prints.append(run := Print(now, bench, *what, self.ways, self.chance))
        self._backlog -= run.length / HOUR
        said = {"file": run.plate.file, "revision": run.plate.revision, "proving": run.proving}
        self._do(now, worker, "PrintStarted", bench, hushed, **said)
        self._run(now, bench)

    def _run(self, now: int, bench: Bench) -> None:
        """It prints, from its beginning or on, till its spool runs out or something else befalls it."""
        run = bench.prints[-1]
        run.resumed, bench.token = now, bench.token + 1
        if bench.grams < run.grams * (1 - run.progress / run.length):
            run.mishaps["starve"] = run.progress + max(1, int(run.length * bench.grams / run.grams))
        bench.turn(now, "proving" if run.proving else "printing")
        moment, what = min((at, what) for what, at in run.mishaps.items())
        self._later(now + max(0, moment - run.progress), self._befall, bench, bench.token, what)

    def _befall(self, now: int, bench: Bench, token: int, what: str) -> None:
        if token != bench.token:
            return
        run = self._count_hours(now, bench)
        del run.mishaps[what]
        if what == "ruin":
            run.ruined = True
            self._run(now, bench)
            for worker in (w for w in self.here.crew if now < w.present_until):
                self._later(now + self.chance.expovariate(1 / worker.spots), self._notice, worker, bench, bench.token)
        elif what == "starve":
            run.starved, bench.grams = run.starved or now, 0.0
            bench.turn(now, "stopped")
            self._raise(now, bench, "spool")
        else:
            self._end(now, bench, by_itself=what == "end")
            if what == "fault":
                self._break(now, bench, in_print=True)
            bench.turn(now, "done" if what == "end" else "stopped")
            self._raise(now, bench, "off")

    @staticmethod
    def _count_hours(now: int, bench: Bench) -> Print:
        run = bench.prints[-1]
        spent, run.resumed = now - run.resumed, now
        run.progress += spent
        bench.printed, bench.fault_in = bench.printed + spent / HOUR, bench.fault_in - spent / HOUR
        bench.grams = max(0.0, bench.grams - run.grams * spent / run.length)
        return run

    def _end(self, now: int, bench: Bench, by_itself: bool) -> None:
        run = self._count_hours(now, bench)
        run.ended, run.by_itself = now, by_itself
        lost = sum(self.chance.random() < run.plate.scrap for _ in range(run.plate.parts))
        run.scrap = run.plate.parts if run.ruined or not by_itself else lost

    def _break(self, now: int, bench: Bench, in_print: bool) -> None:
        bench.broken, bench.cause = True, self.chance.choice(list(self.here.spares))
        bench.faults.append((now, None, in_print))
        bench.fault_in = self.chance.expovariate(bench.frail / self.ways.mean_fault)

    def _find_fault(self, now: int, worker: Worker, bench: Bench) -> int:
        """Mended on the spot with no word of it, or told: then it waits for a spare, for long, or for a mender."""
        chance, ways, spare = self.chance, self.ways, self.here.spares[bench.cause]
        bench.work = HOUR * ways.work_hours * chance.lognormvariate(0, 0.7)
        if chance.random() < ways.untold:
            bench.turn(now, "down")
            return self._mended(now + int(min(bench.work, HOUR)), bench)
        waits = spare is not None and chance.random() < ways.spare_share
        long = chance.uniform(1, 16) * (chance.random() < ways.long_share)
        days = chance.lognormvariate(0, 0.5) * ways.spare_days if waits else long
        bench.said = bench.cause if waits or chance.random() < worker.knows else DONT_KNOW
        bench.turn(now, "waiting" if waits else "down")
        self._do(now, worker, "WentDown", bench, cause=bench.said, spare=spare if waits else None)
        self._later(now + 60 + days * DAY, self._raise, bench, "mend")
        return now + 60

    def _mended(self, now: int, bench: Bench) -> int:
        bench.faults[-1] = (bench.faults[-1][0], now, bench.faults[-1][2])
        bench.broken = False
        bench.turn(now, "empty")
        return now

    def _mend(self, now: int, worker: Worker, bench: Bench) -> int:
        """Work at it till it runs or the shift is over."""
        if bench.said == DONT_KNOW and self.chance.random() < worker.knows:
            bench.said = bench.cause
            self._do(now, worker, "WentDown", bench, cause=bench.cause, spare=None)
        spent = int(min(bench.work, max(1200, worker.present_until - now)))
        bench.work, now = bench.work - spent, now + spent
        if bench.work >= 1:
            self._later(now + 60, self._raise, bench, "mend")
            return now
        spare, bench.prove_next = self.here.spares[bench.cause], True
        self._do(now, worker, "CameBack", bench, spares=(spare,) if spare and self.chance.random() < 0.6 else ())
        return self._use(self._mended(now, bench), worker, bench, must=False)

    def _tick(self, now: int) -> None:
        """Work comes in; machines that stand empty are wanted for it."""
        self._later(now + TICK, self._tick)
        if now // (7 * DAY) != (now - TICK) // (7 * DAY):
            self._wave = self.chance.lognormvariate(0, self.ways.waves)
        more = self.ways.demand * len(self.benches) * self._wave * TICK / HOUR
        self._backlog = min(self._backlog + more, len(self.benches) * 30.0)
        wanted = int(self._backlog / self._usual) - sum(bench.need == "start" for bench in self.benches)
        idle = [bench for bench in self.benches if bench.idle(now)]
        for bench in sorted(idle, key=lambda b: self.chance.random() / b.liking)[: max(0, wanted)]:
            self._raise(now, bench, "start")
        if idle and self.chance.random() < self.ways.asides:
            self._raise(now, self.chance.choice(idle), "SetAside")
