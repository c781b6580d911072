"""The room played forward, against the same room told a second time to a general-purpose event simulation (simpy).

Here every machine is a process of its own that queues for hands as people do; the calendar is walked day by day.
Only the tables of the room are shared.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pytest
import simpy
from scipy.stats import gamma, lognorm

from core.plan.forward import play
from core.plan.laws import FINE, HandsClock, Laws, Now, Preferences, Wanted, Work

Numbers = npt.NDArray[np.float64]

# The room. Now is a Monday, 00:00; two people are in from 08:00 to 17:00 on five days a week.
WEEKS, WORKDAYS, OPENS, CLOSES, HANDS = 3, 5, 8, 17, 2
END = 168.0 * WEEKS
#: What a machine may be, in the order of `Played.hours`.
PRINTED, FAILED, WAITED, DOWN, EMPTY = STATES = range(5)

EVEN = (np.arange(200) + 0.5) / 200
RUSH, CALM, IDLE = gamma.ppf(EVEN, 1.5), gamma.ppf(EVEN, 0.8, scale=0.7), gamma.ppf(EVEN, 1, scale=2)
CHANGE, DOWNTIME = lognorm.ppf(EVEN, 0.5, scale=0.9), lognorm.ppf(EVEN, 0.8, scale=12)
RATIO = 0.85 + 0.4 * EVEN
AT_ONCE, STOPS, BREAKS = 0.7, 0.015, (0.03, 0.2)
#: How often a machine that was mended is tried out with each material, which then is loaded.
TRIED = (0.2, 0.5)

#: Product, material, parts and hours on either model of every file.
FILES = [(0, 0, 12, 2.5, 2.2), (0, 1, 30, 7, 6), (1, 0, 8, 4, None), (1, 1, 20, 11, 9.5), (2, 1, 5, None, 16)]
#: Weights of files by model and loaded material, and how much likelier they are in the afternoon.
WEIGHTS = [[(4, 1, 1, 2, 0), (1, 1, 2, 3, 0)], [(1, 2, 0, 1, 1), (1, 3, 0, 1, 3)]]
AFTERNOON, LATE = 13, (0.4, 1, 0.5, 2, 3)
#: How much likelier a product is of which parts are wanted; those wanted now and more every full hour.
WANTED, FROM_NOW, AN_HOUR = 4.0, (200, 20, 0), (0.5, 0.8, 0.05)

#: Model, file (-1: none), whether it comes to parts, end, first visit and loaded material of every machine.
MACHINES = [
    (0, 0, True, 1.0, 8.5, 0), (0, 1, True, -6.0, 8.1, 1), (0, -1, True, -20.0, 9.0, 0), (0, 3, False, 5.0, 8.2, 1),
    (0, 2, True, 9.0, 9.4, 0), (1, 4, True, 12.0, 12.5, 1), (1, -1, True, 30.0, 34.0, 1), (1, 3, True, 7.0, 10.0, 1),
]  # fmt: skip


def opened(moment: float) -> bool:
    day, hour = divmod(moment, 24)
    return day % 7 < WORKDAYS and OPENS <= hour < CLOSES


def later(moment: float, hours: float) -> float:
    """When people were in for so many hours more."""
    while True:
        day, hour = divmod(moment, 24)
        since = max(hour, OPENS)
        if day % 7 < WORKDAYS and since < CLOSES:
            if since + hours < CLOSES:
                return 24 * day + since + hours
            hours -= CLOSES - since
        moment = 24 * (day + 1)


@dataclass
class Machine:
    """What is on it, and what it has been since when."""

    model: int
    file: int
    good: bool
    material: int
    state: int
    since: float = 0


@dataclass
class Shop:
    """One replication."""

    chance: random.Random
    env: simpy.Environment = field(default_factory=simpy.Environment)
    hours: list[float] = field(default_factory=lambda: [0.0 for _ in STATES])
    parts: Numbers = field(default_factory=lambda: np.zeros((len(AN_HOUR), WEEKS)))
    started: list[int] = field(default_factory=lambda: [0] * len(AN_HOUR))

    def run(self) -> list[float]:
        self.hands = simpy.Resource(self.env, HANDS)
        machines = []
        for model, file, good, ends, visit, material in MACHINES:
            state = DOWN if file < 0 else PRINTED if good else FAILED
            machine = Machine(model, file, good, material, state)
            machines.append(machine)
            self.env.process(self.live(machine, max(ends, 0), visit))
        self.env.run(END)
        for machine in machines:
            self.turns(machine, EMPTY)
        return [*self.parts.sum(axis=0), *self.parts.sum(axis=1), *self.hours]

    def turns(self, machine: Machine, state: int) -> None:
        self.hours[machine.state] += self.env.now - machine.since
        machine.state, machine.since = state, self.env.now

    def until(self, moment: float) -> simpy.Event:
        return self.env.timeout(moment - self.env.now)

    def live(self, machine: Machine, ends: float, visit: float) -> Iterator[simpy.Event]:
        while True:
            yield self.until(ends)
            self.turns(machine, EMPTY if machine.file < 0 else WAITED)
            yield self.until(visit)
            with self.hands.request() as turn:
                yield turn
                if machine.file >= 0:
                    product, _, parts, *_ = FILES[machine.file]
                    if machine.good:
                        self.parts[product, int(self.env.now // 168)] += parts
                    else:
                        self.started[product] -= parts
                yield self.until(later(self.env.now, self.chance.choice(CHANGE)))
            if machine.file >= 0 and self.chance.random() < BREAKS[not machine.good]:
                ends = self.mend(machine)
                visit = later(ends, 0 if self.chance.random() < AT_ONCE else self.chance.choice(IDLE))
                continue
            if machine.file >= 0 and self.chance.random() >= AT_ONCE:
                self.turns(machine, EMPTY)
                yield self.until(later(self.env.now, self.chance.choice(IDLE)))
            ends = self.start(machine)
            visit = later(ends, self.chance.choice(CALM if opened(ends) else RUSH))

    def mend(self, machine: Machine) -> float:
        self.turns(machine, DOWN)
        machine.file = -1
        (machine.material,) = self.chance.choices((0, 1, machine.material), (*TRIED, 1 - sum(TRIED)))
        # Nobody is there at night to say that it is back.
        return later(self.env.now + self.chance.choice(DOWNTIME), 0)

    def start(self, machine: Machine) -> float:
        weights = list(WEIGHTS[machine.model][machine.material])
        for file, (product, *_) in enumerate(FILES):
            if self.started[product] < FROM_NOW[product] + AN_HOUR[product] * int(self.env.now):
                weights[file] *= WANTED
            if self.env.now % 24 >= AFTERNOON:
                weights[file] *= LATE[file]
        (machine.file,) = self.chance.choices(range(len(FILES)), weights)
        product, machine.material, parts, *usual = FILES[machine.file]
        self.started[product] += parts
        takes, stops = usual[machine.model] * self.chance.choice(RATIO), self.chance.expovariate(STOPS)
        machine.good = takes <= stops
        self.turns(machine, PRINTED if machine.good else FAILED)
        return self.env.now + min(takes, stops)


def by_events(replications: int) -> Numbers:
    """Good parts of every week and of every product, and hours of every state [figures, replications]."""
    return np.array([Shop(random.Random(seed)).run() for seed in range(replications)]).T


def played(replications: int) -> Numbers:
    """The same of the room played forward."""
    model, file, good, ends, visit, loaded = (np.array(of) for of in zip(*MACHINES, strict=True))
    now = Now(model, *(np.tile(of, (replications, 1)) for of in (ends, visit, file, good, loaded)))
    product, material, parts, *usual = (np.array(of, float) for of in zip(*FILES, strict=True))
    work = Work(product.astype(np.int64), material.astype(np.int64), parts, np.array(usual))
    known = np.array(WEIGHTS, float)
    late = np.arange(int(END) * FINE) / FINE % 24 >= AFTERNOON
    suits = np.where(late[:, None], LATE, 1.0)
    choice = Preferences(np.append(known, known[:, :1], axis=1)[None], np.array([WANTED]), np.stack([suits, suits]))
    laws = Laws(RUSH, CALM, IDLE, CHANGE, DOWNTIME, RATIO, AT_ONCE, STOPS, BREAKS, np.array(TRIED))
    wanted = Wanted(np.array(FROM_NOW, float), np.arange(END)[None, :, None] * AN_HOUR)
    room = play(now, clock(), work, choice, laws, wanted, END, seed=1)
    made = np.array([[room.made(product, 168.0 * week) for week in range(WEEKS + 1)] for product in range(3)])
    return np.concatenate([np.diff(made.sum(axis=0), axis=0), made[:, -1], room.hours])


def clock() -> HandsClock:
    days = np.arange(7 * WEEKS)[:, None]
    at = np.append((24 * days + [0, OPENS, CLOSES]).ravel(), END).astype(float)
    staffed = np.append(np.where(days % 7 < WORKDAYS, [0, 1, 0], 0).ravel(), 0)
    worked = np.append(0, np.cumsum(np.diff(at) * staffed[:-1]))
    fine = np.array([opened(moment / FINE) for moment in range(int(END) * FINE)])
    return HandsClock(at, worked, fine * HANDS, ~fine)


#: Standard errors of the difference that the means may lie apart, and how large one may be of the mean.
ERRORS = 4
FIGURES = {
    "good parts of week 1": 0.005, "of week 2": 0.005, "of week 3": 0.005,
    "of product 0": 0.005, "of product 1": 0.01, "of product 2": 0.01,
    "printed": 0.005, "failed": 0.02, "waited": 0.005, "down": 0.02, "empty": 0.012,
}  # fmt: skip


@pytest.fixture(scope="module")
def both() -> tuple[Numbers, Numbers]:
    return by_events(900), played(8000)


@pytest.mark.parametrize("figure", FIGURES)
def test_both_rooms_agree(both: tuple[Numbers, Numbers], figure: str) -> None:
    told, found = (room[list(FIGURES).index(figure)] for room in both)
    error = (told.var(ddof=1) / len(told) + found.var(ddof=1) / len(found)) ** 0.5
    assert error < FIGURES[figure] * told.mean(), "too few replications to tell"
    assert found.mean() == pytest.approx(told.mean(), abs=ERRORS * error)
