"""A lone owner's room, with a helper for half of some days: an event simulation in continuous time.

Machines: prints fail by their file's risk (some halt, some run on as scrap unless somebody passes by), machines by the
hours they print (in a third of the rooms one 3 to 5 times as often). Some faults show only when a print ends or starts;
some are never told of. Spools run out in the middle of a print where nobody looks before a start. In a third of the
rooms spools truly hold 2.5 or 3 kg, are tapped with the set-up's 1 kg, and nobody ever looks.
People: the owner is in 0-40 minutes off the shifts, runs errands, stays away on some days, in some rooms comes by at
night. What waits is noticed after a heavy-tailed time of presence, or forgotten until the next morning. Each does one
thing at a time; only the owner mends. Work is not always at hand: an empty machine may wait for hours or days.
Telling: at once, or late from memory; slips, some put right; whole half days on which nearly nothing is tapped.
A print that still runs at `end` has `ended` = `end` and did not end by itself; every machine is empty at `start`.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from random import Random
from typing import Any
from uuid import UUID

from core import entries
from demo.rooms import lone_people as drawn
from demo.rooms.lone_people import OWNER, Bench, Fact, House, Job, Presence, Print, moment
from demo.rooms.told import Fault, Run, Told

END = datetime(2026, 5, 31, 23, tzinfo=UTC)
#: The ways of a room, drawn within these bounds. Times are in hours; shares are chances each time.
WAYS = {
    "spread": (0.7, 1.7), "forgets": (0.01, 0.12), "no work": (-0.1, 0.5), "idle": (0.3, 12.0), "usage": (0.95, 1.1),
    "pace": (0.85, 1.25), "noise": (0.003, 0.03), "halts": (0.2, 0.8), "spots": (0.5, 8.0), "mends": (0.2, 8.0),
    "spares": (0.3, 0.95), "lead": (2.0, 10.0), "untold": (-0.2, 0.25), "aborts": (0.002, 0.02), "glances": (2.0, 30.0),
    "sticks": (0.2, 0.9), "shelf": (0.0, 0.7), "weighs": (-0.5, 0.5), "upkeep": (-0.2, 0.8), "last check": (-0.4, 0.9),
    "round": (-0.6, 0.3), "long last": (0, 2), "proves": (0, 0.3), "hidden": (0.1, 0.4), "recolours": (0, 0.4),
}  # fmt: skip
SEEN = {"proving": "printing", "waiting": "down", "aside": "empty"}


class Life:
    """What truly happens in one room. All times are hours since its start."""

    def __init__(self, dice: Random, start: datetime, people: dict[str, Presence], house: House) -> None:
        self.dice, self.start, self.people, self.house = dice, start, people, house
        self.hours = (END - start) / timedelta(hours=1)
        self.anybody = Presence(spell for who in people.values() for spell in zip(who.begins, who.ends, strict=True))
        self.ways = {name: dice.uniform(*bounds) for name, bounds in WAYS.items()}
        self.notices = dice.lognormvariate(math.log(0.12), 0.7)
        self.spool = dice.choice([2500.0, 3000.0]) if dice.random() < 1 / 3 else drawn.FULL
        self.looks = 0.0 if self.spool > drawn.FULL else dice.choice([0.0, dice.uniform(0.6, 0.95), 1.0])
        self.benches = house.benches(dice, self.hours, self.spool)
        self.free = dict.fromkeys(people, 0.0)
        self.coming: list[tuple[float, int, Callable[[float], None]]] = []
        self.waiting: list[tuple[Bench, int]] = []
        self.facts: list[Fact] = []
        self.runs: list[Run] = []
        self.faults: list[Fault] = []
        self.shelf: dict[str, list[float]] = {}
        self.count = self.visit = 0

    def at(self, t: float, do: Callable[[float], None]) -> None:
        if t < self.hours:
            self.count += 1
            heapq.heappush(self.coming, (t, self.count, do))

    def play(self) -> None:
        for bench in self.benches:
            self.waits(bench, 0.0)
        for who, presence in self.people.items():
            for begin in presence.begins:
                self.at(begin, lambda t: None)
            self.at(presence.after(0, self._some("glances")), partial(self.glance, who))
        for leaving in self.anybody.leavings if self.ways["last check"] > 0 else ():
            self.at(leaving - self.dice.uniform(0.2, 0.8), self.last_check)
        for morning in self.people[OWNER].mornings if self.ways["round"] > 0 else ():
            if moment(self.start, morning).astimezone(self.house.zone).weekday() == 0:
                each = UUID(int=self.dice.getrandbits(128), version=4)
                self.at(morning + self.dice.uniform(0.1, 1), partial(self.walk, OWNER, self.benches, each))
        while self.coming:
            t, _, do = heapq.heappop(self.coming)
            do(t)
            for who in self.people:
                self.serve(who, t)
        for bench in self.benches:
            self.close(bench)

    def waits(self, bench: Bench, t: float) -> None:
        """Something on a machine waits for a hand from `t` on; it is noticed, sooner or later."""
        since = self.anybody.next_morning(t) if self._chance("forgets") else t
        self.queue(bench, self.anybody.after(since, self.notices * self.dice.lognormvariate(0, self.ways["spread"])))

    def queue(self, bench: Bench, t: float) -> None:
        """Somebody means to see to a machine from `t` on, if nothing befell it before."""
        step = bench.step
        self.at(t, lambda now: self.waiting.append((bench, step)))

    def serve(self, who: str, t: float) -> None:
        """Whoever is in and free takes what waits longest; only the owner mends."""
        if self.free[who] > t or not self.people[who].inside(t):
            return
        self.waiting = [(bench, step) for bench, step in self.waiting if bench.step == step]
        for bench, _ in self.waiting:
            state = bench.turns[-1][1]
            if who == OWNER or state != "down":
                self.visit += 1
                does = {"down": self.mend, "empty": self.occupy, "aside": self.occupy}.get(state, self.clear)
                self.free[who] = does(who, bench, t)
                self.at(self.free[who], lambda now: None)
                return

    def _chance(self, way: str) -> bool:
        return self.dice.random() < self.ways[way]

    def _some(self, way: str) -> float:
        return self.dice.expovariate(1 / self.ways[way])

    def _work(self, minutes: float) -> float:
        return minutes / 60 * self.dice.lognormvariate(0, 0.5)

    def _note(self, t: float, who: str, bench: Bench, kind: type[entries.AtMachine], **says: Any) -> None:
        parts = bench.on.job.row.parts if bench.on else 0
        self.facts.append(Fact(t, who, self.visit, kind, bench.row.machine, says, parts))

    def resume(self, bench: Bench, t: float) -> None:
        on = bench.print
        bench.turn(t, "proving" if on.proving else "printing")
        bench.resumed = t
        ahead = [(on.hours - on.done, "end"), (bench.spool * on.hours / on.grams, "starved"), (bench.to_fault, "fault")]
        if on.halts:
            ahead.append((on.fails - on.done, "halt"))
        after, what = min(ahead)
        self.at(t + after, partial(self.stops, bench, bench.step, what))

    def stops(self, bench: Bench, step: int, what: str, t: float) -> None:
        """It comes to what stops it, unless somebody was first. A fault may go unseen to the end, or the next start."""
        if bench.step != step:
            return
        bench.wear(t)
        if what == "fault" and self._chance("hidden"):
            bench.flaw, bench.to_fault = self.dice.choice(["end", "start"]), math.inf
            self.resume(bench, t)
            return
        if what == "fault" or (what == "end" and bench.flaw == "end"):
            bench.flaw, bench.broke = "", (t, what == "fault")
        if what == "starved":
            bench.print.starved, bench.spool = bench.print.starved or t, 0.0
        else:
            bench.print.ended, bench.print.by_itself = t, what == "end"
        bench.turn(t, "done" if what == "end" else "stopped")
        self.waits(bench, t)

    def clear(self, who: str, bench: Bench, t: float) -> float:
        """A new spool where it ran out, else parts are taken off and more is begun."""
        on = bench.print
        if bench.turns[-1][1] == "stopped" and on.ended is None:
            self._note(t, who, bench, entries.Looked, saw="stopped")
            t = self.fit(who, bench, t, on.job.row.material)
            self.resume(bench, t)
            return t
        if on.ended is None:  # it ran on as scrap
            bench.wear(t)
            on.ended = t
            bench.turn(t, "stopped")
        t += self._work(2.5)
        self.parts_off(who, bench, t, self.scrap(bench))
        return self.go_down(who, bench, t) if bench.broke else self.occupy(who, bench, t + self._work(1))

    def scrap(self, bench: Bench) -> int:
        on, parts = bench.print, bench.print.job.row.parts
        if on.by_itself and on.fails >= on.hours and not bench.broke:
            return sum(self.dice.random() < on.job.scrap for _ in range(parts))
        return self.dice.randint((parts + 1) // 2, parts) if on.by_itself else parts

    def parts_off(self, who: str, bench: Bench, t: float, scrap: int) -> None:
        cause = self.dice.choice(drawn.WRONG["scrap"]) if scrap else None
        ended = "itself" if bench.print.by_itself else "stopped"
        self._note(t, who, bench, entries.PartsOff, scrap=scrap, scrap_cause=cause, ended=ended)
        self.runs.append(self.run(bench, t, scrap))
        bench.on = None
        bench.turn(t, "empty")

    def run(self, bench: Bench, off: float, scrap: int) -> Run:
        on, row = bench.print, bench.print.job.row
        ended, starved = min(math.inf if on.ended is None else on.ended, self.hours), on.starved
        times = [None if t is None or t > self.hours else moment(self.start, t) for t in (off, starved)]
        return Run(bench.row.machine, row.file, row.revision, moment(self.start, on.started), moment(self.start, ended),
                   times[0], on.done, on.whole, on.by_itself, row.parts, scrap, times[1])  # fmt: skip

    def occupy(self, who: str, bench: Bench, t: float) -> float:
        if bench.turns[-1][1] == "aside":
            self._note(t, who, bench, entries.PutBack)
            bench.turn(t, "empty")
        if bench.upkeep > drawn.UPKEEP_HOURS and self._chance("upkeep"):
            bench.upkeep, hours = 0.0, self._work(25)
            bench.turn(t, "upkeep")
            t += hours
            bench.turn(t, "empty")
            self._note(t, who, bench, entries.UpkeepDone, task=drawn.TASK, minutes=max(5 * round(hours * 12), 5))
        if aside := bench.aside[0] <= t < bench.aside[1]:
            self._note(t, who, bench, entries.SetAside)
            bench.turn(t, "aside")
        if aside or self._chance("no work"):
            bench.step += 1
            self.queue(bench, self.anybody.after(bench.aside[1] if aside else t, self._some("idle")))
            return t
        return self.begin(who, bench, t, self.choose(bench, t))

    def choose(self, bench: Bench, t: float) -> Job:
        """The next file: often the same again; in some rooms rather a long one when they soon go home."""
        fit = [job for job in self.house.jobs if bench.row.model in job.row.models and job.used[0] <= t < job.used[1]]
        late = any(0 <= leaving - t < 2 for leaving in self.anybody.leavings)
        if bench.last in fit and not late and self._chance("sticks"):
            return bench.last
        long, other = self.ways["long last"] if late else 0.0, self.ways["recolours"]
        same = [1 if job.row.material == bench.material else other for job in fit]
        likes = [job.wanted * job.row.hours**long * again for job, again in zip(fit, same, strict=True)]
        return self.dice.choices(fit, likes)[0]

    def begin(self, who: str, bench: Bench, t: float, job: Job, *, proving: bool = False) -> float:
        """A print is started, on a spool that will do if somebody looked; or the machine turns out to be broken."""
        t += self._work(3)
        if bench.flaw == "start":
            bench.flaw, bench.broke = "", (t, False)
            return self.go_down(who, bench, t)
        on = self.to_print(bench, job, t, proving=proving)
        short = bench.spool < on.grams * 1.03 and self.dice.random() < self.looks
        if bench.material != job.row.material or short or bench.spool < 5:
            t = on.started = self.fit(who, bench, t, job.row.material)
        bench.on, bench.last = on, job
        self._note(t, who, bench, entries.PrintStarted, file=job.row.file, revision=job.row.revision, proving=proving)
        self.resume(bench, t)
        if self._chance("aborts"):
            return self.begin_again(who, bench, t + self.dice.uniform(0.02, 0.15))
        if not on.halts:
            self.queue(bench, self.anybody.after(t + on.fails, self._some("spots")))
        return t

    def to_print(self, bench: Bench, job: Job, t: float, *, proving: bool) -> Print:
        """What this print will truly take, and whether it will go wrong: often soon after its start."""
        whole = self.ways["pace"] * job.pace * job.row.hours * self.house.pace(bench.row.model, t)
        hours = whole * self.dice.lognormvariate(0, self.ways["noise"])
        on = Print(job, t, whole, hours, job.row.grams * self.ways["usage"], proving)
        if self.dice.random() < 1 - math.exp(-job.risk * hours):
            on.fails, on.halts = hours * self.dice.uniform(0, self.dice.choice([0.15, 1.0])), self._chance("halts")
        return on

    def begin_again(self, who: str, bench: Bench, t: float) -> float:
        on, bench.to_fault = bench.print, max(bench.to_fault, 1.0)
        bench.wear(t)
        on.ended = t
        bench.turn(t, "stopped")
        if (told := self.dice.random()) < 0.35:
            self.facts[-1] = replace(self.facts[-1], undone=t)
        self.parts_off(who, bench, t + 0.02, on.job.row.parts)
        if told < 0.5:
            self.facts.pop()
        same = [b for b in self.benches if b.row.model == bench.row.model and b is not bench]
        idle = [b for b in same if b.turns[-1][0] <= t and b.turns[-1][1] == "empty"]
        if idle and self.dice.random() < 0.5:
            self.waits(bench, t + 0.02)
            bench = self.dice.choice(idle)
        return self.begin(who, bench, t + 0.03, on.job)

    def fit(self, who: str, bench: Bench, t: float, material: str) -> float:
        t += self._work(4)
        told, true = drawn.FULL, self.spool * self.dice.uniform(0.99, 1.02)
        kept = sorted(self.shelf.get(material, []))
        if kept and self._chance("shelf"):
            true, self.shelf[material] = kept[-1], kept[:-1]
            if self.spool == drawn.FULL:
                told = max(50.0 * round(true * self.dice.uniform(0.85, 1.15) / 50), 50.0)
        left = float(round(bench.spool)) if bench.spool > 20 and self._chance("weighs") else None
        if bench.spool > 150:
            self.shelf.setdefault(bench.material, []).append(bench.spool)
        bench.material, bench.spool = material, true
        self._note(t, who, bench, entries.SpoolFitted, material=material, grams=told, left_grams=left)
        return t

    def go_down(self, who: str, bench: Bench, t: float) -> float:
        """A fault is seen: it waits for a spare, or for the owner to come round to it."""
        cause = self.dice.choice(drawn.WRONG["down"])
        bench.told = not self._chance("untold")
        bench.spare = drawn.SPARES.get(cause) if self.dice.random() < 0.5 else None
        lacking = bench.spare if bench.spare and not self._chance("spares") else None
        if bench.told:
            self._note(t, who, bench, entries.WentDown, cause=cause, spare=lacking)
        if lacking:
            bench.turn(t, "waiting")
            lead = 24 * self.ways["lead"] * self.dice.lognormvariate(0, 0.5)
            self.at(self.anybody.after(t + lead, 0.01), partial(self.may_mend, bench))
        else:
            self.may_mend(bench, t)
        return t + self._work(3)

    def may_mend(self, bench: Bench, t: float) -> None:
        bench.turn(t, "down")
        self.queue(bench, self.people[OWNER].after(t, self.ways["mends"] * self.dice.lognormvariate(0, 1.5)))

    def mend(self, who: str, bench: Bench, t: float) -> float:
        t += self._work(25)
        if bench.told:
            self._note(t, who, bench, entries.CameBack, spares=(bench.spare,) if bench.spare else ())
        self.faults += self.fault(bench, t)
        bench.broke, bench.to_fault = None, self.dice.expovariate(1 / bench.mean)
        bench.turn(t, "empty")
        if self._chance("proves"):
            return self.begin(who, bench, t, self.choose(bench, t), proving=True)
        return self.occupy(who, bench, t)

    def fault(self, bench: Bench, back: float) -> list[Fault]:
        if bench.broke is None or bench.broke[0] >= self.hours:
            return []
        mended = moment(self.start, back) if back < self.hours else None
        return [Fault(bench.row.machine, moment(self.start, bench.broke[0]), mended, bench.broke[1])]

    def glance(self, who: str, t: float) -> None:
        first = self.dice.randrange(len(self.benches))
        if self.free[who] <= t and self.people[who].inside(t):
            self.walk(who, self.benches[first : first + self.dice.randint(1, 4)], None, t)
        self.at(self.people[who].after(t, self._some("glances")), partial(self.glance, who))

    def walk(self, who: str, benches: Sequence[Bench], each: UUID | None, t: float) -> None:
        t = max(t, self.free[who])
        for place, bench in enumerate(benches):
            self.at(t + place / 400, partial(self.look, who, bench, each))
        self.free[who] = t + len(benches) / 400
        self.at(self.free[who], lambda now: None)

    def look(self, who: str, bench: Bench, each: UUID | None, t: float) -> None:
        """What is seen is tapped; what waits is most often seen to next."""
        state = bench.state(t)
        self.visit += 1
        self._note(t, who, bench, entries.Looked, saw=SEEN.get(state, state), round=each)
        waits = bench.turns[-1][0] <= t and (state in {"done", "stopped"} or bench.spoils(t))
        if waits and self.dice.random() < 0.7:
            self.waiting.append((bench, bench.step))

    def last_check(self, t: float) -> None:
        self.waiting += [(b, b.step) for b in self.benches if b.turns[-1][1] in {"done", "stopped"}]

    def close(self, bench: Bench) -> None:
        self.faults += self.fault(bench, math.inf)
        if bench.on:
            if bench.turns[-1][1] in {"printing", "proving"}:
                bench.wear(max(self.hours, bench.resumed))
            self.runs.append(self.run(bench, math.inf, 0))


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """The room of a seed, with that share of its entries missing; what truly happened does not depend on it."""
    start = END - timedelta(weeks=weeks)
    return next(told for told in (_lived(seed, attempt, missing, start) for attempt in count()) if told is not None)


def _lived(seed: int, attempt: int, missing: float, start: datetime) -> Told | None:
    dice = Random(f"lone {seed} {attempt} life")
    house = drawn.House(dice, (END - start) / timedelta(hours=1))
    pattern, owner, helper = drawn.stated_hours(dice, seed)
    ways = {name: dice.uniform(*bounds) for name, bounds in drawn.COMING.items()}
    people = {OWNER: drawn.truly_in(dice, owner, ways, (start, END), house.zone, owner=True)}
    if helper:
        people[drawn.HELPER] = drawn.truly_in(dice, helper, ways, (start, END), house.zone, owner=False)
    life = Life(dice, start, people, house)
    life.play()
    turns = {bench.row.machine: _turns(bench, life) for bench in life.benches}
    least = 0.25 + Random(f"lone {seed} busy").uniform(0, 0.4) * 0.9**attempt  # or nearly all rooms would idle
    if not least < sum(run.hours for run in life.runs) / len(turns) / life.hours < 0.85:
        return None
    rows = house.rows(start, drawn.stated_days(owner, helper, int(ways["off"])), life.ways["lead"])
    teller = drawn.Teller(Random(f"lone {seed} telling"), people, house, start, life.hours)
    told = drawn.heard(Random(f"lone {seed} silence"), teller.tell(life.facts), missing, house.zone)
    runs = sorted((run for run in life.runs if run.started < END), key=lambda run: (run.machine, run.started))
    faults = sorted(life.faults, key=lambda fault: (fault.failed, fault.machine))
    return Told("lone", seed, pattern, start, END, rows, told, turns, runs, faults, house.bad)


def _turns(bench: Bench, life: Life) -> list[tuple[datetime, str]]:
    """A machine's steps to the second, without those that took none or changed nothing."""
    steps: list[tuple[datetime, str]] = []
    for at, state in [(moment(life.start, t), state) for t, state in bench.turns if t < life.hours]:
        if steps and steps[-1][0] == at:
            steps.pop()
        if not steps or steps[-1][1] != state:
            steps.append((at, state))
    return steps
