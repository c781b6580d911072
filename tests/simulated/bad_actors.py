"""How soon a bad machine is named and how often a good one is: rooms of 40 machines over a year, looked at each week.

`python -m tests.simulated.bad_actors [ROOMS]` prints the measurement. Beside it stands what nothing can do better: one
single look after 12 weeks with all false alarms spent on it, the true rate known (no test of one count against another
has more power, by Neyman and Pearson).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from scipy.stats import poisson

from core.statistics.bad_actor import stands_out
from core.upkeep.standing_out import DIFFER

MACHINES, WEEKS, HOURS, WITHIN = 40, 52, 85.0, 12
FALSE_ALARMS = 0.05
#: Plates of a machine in a week that are not of the file it keeps to, each of a file drawn anew.
DRAWN = 5


@dataclass(frozen=True)
class Room:
    """A failure in so many hours `between` (or anything in that range), one machine `worse` so many times from week
    `since` on. Rates of like machines `differ` by such a coefficient of variation (gamma), `held` is what is said of
    it; hours of a week differ by a sixth.

    `files` are printed, not all equally much, and so many `risky` ones fail `riskier` times as often as the others
    (anything in that range). Every machine has a file of its own that it `keeps` to in this share of its hours. `told`:
    who looks knows what was printed.
    """

    between: tuple[float, float] = (150.0, 250.0)
    worse: float = 1.0
    since: int = 0
    differ: float = 0.0
    held: float = 0.0
    files: int = 1
    risky: int = 0
    riskier: tuple[float, float] = (3.0, 10.0)
    keeps: float = 0.0
    told: bool = True


def drawn(room: Room, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """The hours of a room, and the failures to be expected in them if no machine is bad [weeks, machines, files]."""
    draw = np.random.default_rng([seed, 2026])
    rates = np.full(MACHINES, 1 / draw.uniform(*room.between))
    if room.differ:
        rates *= draw.gamma(room.differ**-2, room.differ**2, MACHINES)
    hours = np.clip(draw.normal(HOURS, HOURS / 6, (WEEKS, MACHINES)), 0, 168)[:, :, None] * printed(room, draw)
    risks = np.ones(room.files)
    risks[: room.risky] = draw.uniform(*room.riskier, room.risky)
    risks *= hours.sum() / (hours.sum(axis=(0, 1)) @ risks)
    return hours, hours * risks * rates[:, None]


def named(room: Room, seed: int) -> tuple[int | None, int | None]:
    """The week in which the bad machine, which is the first one, is named, and in which any other is."""
    hours, expected = drawn(room, seed)
    expected[room.since :, 0] *= room.worse
    failed = np.random.default_rng([seed, 2027]).poisson(expected)
    seen = (failed, hours) if room.told else (failed.sum(axis=2), hours.sum(axis=2))
    looks = [one.named_at for one in stands_out(*seen, differ=room.held)]
    others = looks[1:] if room.worse > 1 else looks
    return looks[0], min((at for at in others if at is not None), default=None)


def printed(room: Room, draw: np.random.Generator) -> np.ndarray:
    """The share of its hours that each machine gave each file [weeks, machines, files]."""
    asked = draw.dirichlet(np.ones(room.files))
    own = np.eye(room.files)[draw.choice(room.files, MACHINES, p=asked)]
    return np.asarray(room.keeps * own + (1 - room.keeps) * draw.multinomial(DRAWN, asked, (WEEKS, MACHINES)) / DRAWN)


@dataclass(frozen=True)
class Measured:
    """Shares of rooms: the bad machine named within 12, 26 and all weeks of its being bad, another one ever accused."""

    soon: float
    half: float
    ever: float
    other: float


def measured(room: Room, rooms: int) -> Measured:
    """What came of so many rooms."""
    found = [named(room, seed) for seed in range(rooms)]
    after = np.array([np.inf if bad is None else bad - room.since for bad, _ in found])
    soon, half, ever = (float(((after > 0) & (after <= weeks)).mean()) for weeks in (WITHIN, 26, WEEKS))
    return Measured(soon, half, ever, float(np.mean([other is not None for _, other in found])))


def most_power(room: Room, rooms: int = 200) -> float:
    """The share of bad machines that one look after `WITHIN` weeks can find at best, every file's true rate known."""
    return float(np.mean([_power(drawn(room, seed)[1][:WITHIN, 0].sum(), room.worse) for seed in range(rooms)]))


def _power(mean: float, worse: float) -> float:
    chance = 1 - (1 - FALSE_ALARMS) ** (1 / MACHINES)
    sure = int(poisson.isf(chance, mean)) + 1
    by_lot = (chance - poisson.sf(sure - 1, mean)) / poisson.pmf(sure - 1, mean)
    return float(poisson.sf(sure - 1, worse * mean) + by_lot * poisson.pmf(sure - 1, worse * mean))


def doubt(share: float, rooms: int) -> float:
    """Half the width of the 90 % range of a share of so many rooms."""
    return NormalDist().inv_cdf(0.95) * float(np.sqrt(max(share * (1 - share), 1 / rooms) / rooms))


def lines(rooms: int) -> Iterable[str]:
    """The measurement, a line at a time."""
    for differ, held in ((0.0, 0.0), (0.1, 0.0), (0.2, 0.0), (0.1, 0.1), (0.2, 0.2)):
        false = measured(Room(differ=differ, held=held), rooms).other
        yield (
            f"no bad machine, rates differ by {differ:.0%} and are held to by {held:.0%}: "
            f"accused {false:.1%} +- {doubt(false, rooms):.1%}"
        )
    for between in ((150.0, 250.0), (100.0, 100.0), (125.0, 125.0), (150.0, 150.0), (200.0, 200.0), (250.0, 250.0)):
        best = most_power(Room(between, worse=3.0))
        told = told_of(measured(Room(between, worse=3.0), rooms), rooms)
        yield f"3 times worse, {between[0]:.0f}-{between[1]:.0f} h (at best {best:.1%} in {WITHIN} weeks): {told}"
    for worse in (2.0, 4.0):
        yield f"{worse:.0f} times worse: {told_of(measured(Room(worse=worse), rooms), rooms)}"
    for differ in (0.1, 0.2):
        found = measured(Room(worse=3.0, differ=differ, held=differ), rooms)
        yield f"3 times worse, rates differ and are held to by {differ:.0%}: {told_of(found, rooms)}"
    # What the room's page does: faults and prints that stopped, as in the invented shop, and machines that differ.
    page = Room((100.0, 130.0), worse=3.0, held=DIFFER)
    yield f"as on the page, a fault or stopped print in 100-130 h: {told_of(measured(page, rooms), rooms)}"
    false = measured(Room((100.0, 130.0), differ=0.1, held=DIFFER), rooms).other
    yield f"the same without a bad machine, rates differ by 10%: accused {false:.1%} +- {doubt(false, rooms):.1%}"
    yield from _unlike(rooms)
    late = Room((100.0, 130.0), worse=3.0, since=20, held=DIFFER)
    yield f"as on the page, 3 times worse from week 21 on: {told_of(measured(late, rooms), rooms)}"
    yield f"3 times worse from week 21 on, 150-250 h: {told_of(measured(Room(worse=3.0, since=20), rooms), rooms)}"


def _unlike(rooms: int) -> Iterable[str]:
    """As on the page, in rooms of 20 files of which three fail 3 to 10 times as often as the others."""
    for keeps in (0.5, 0.0, 0.8):
        room = Room((100.0, 130.0), held=DIFFER, files=20, risky=3, keeps=keeps)
        alike = replace(room, differ=0.1)
        false, blind = measured(alike, rooms).other, measured(replace(alike, told=False), rooms).other
        bad = replace(room, worse=3.0)
        yield (
            f"unlike files, machines keep to one in {keeps:.0%} of their hours, rates differ by 10%: "
            f"accused {false:.1%} +- {doubt(false, rooms):.1%}, files not told {blind:.1%}"
        )
        yield f"the same, 3 times worse (at best {most_power(bad):.1%}): {told_of(measured(bad, rooms), rooms)}"


def told_of(found: Measured, rooms: int) -> str:
    """A line's end: how soon the bad machine was named."""
    return (
        f"named in {WITHIN} weeks {found.soon:.1%} +- {doubt(found.soon, rooms):.1%}, in 26 {found.half:.1%}, "
        f"in the year {found.ever:.1%}; another accused {found.other:.1%}"
    )


if __name__ == "__main__":
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 400):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
