"""The room played forward from this moment, many times over: who visits which machine when, and what that gives.

Discrete events: in every replication the machine that hands come to next is the next event. They take its parts off,
find it broken or start a print on it, and leave; the print ends by itself and waits for hands again (`play_once`). How
long anything takes is drawn from tables of quantiles, so that the laws of a shop, of a queueing formula or of a
"what if" all play alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from core.arrays import Numbers, Rows
from core.plan.laws import STATES, HandsClock, Laws, Now, Preferences, Wanted, Work

#: Replications after which it is told how much is done.
TOLD_EVERY = 25


@dataclass(frozen=True)
class Played:
    """What came off, event by event [events, replications]: `off` (hours from now; infinite: after the end),
    `product` (-1: none) and good `parts`. `hours` [states, replications] are machine-hours from `since` to the end.
    """

    off: Numbers
    product: Rows
    parts: Numbers
    hours: Numbers
    since: float = 0.0

    @property
    def per_print(self) -> Numbers:
        """Machine-hours in each state for every print that came off, on average [states]."""
        prints = ((self.product >= 0) & np.isfinite(self.off) & (self.off >= self.since)).sum()
        return np.asarray(self.hours.sum(axis=1) / max(int(prints), 1))

    def made(self, product: int, until: float) -> Numbers:
        """Good parts of a product that came off by then [replications]."""
        mine = (self.product == product) & (self.off <= until)
        return np.asarray((self.parts * mine).sum(axis=0))


def play(  # noqa: PLR0913, PLR0917 - all that a room is
    now: Now, clock: HandsClock, work: Work, choice: Preferences, laws: Laws, wanted: Wanted, end: float, seed: int,
    since: float = 0.0, tell: Callable[[float], object] | None = None,
) -> Played:  # fmt: skip
    """Play on from now until `end` (hours); machine-hours are accounted for from `since` on.

    `tell` is called with the share done.
    """
    from core.plan.play_once import (  # they take a while to come, and not every question needs them
        play_once,
        room_of,
        rules_of,
    )

    rules, seeds = rules_of(clock, work, choice, laws, wanted, (since, end)), np.random.SeedSequence(seed)
    count, courses = len(now.ends), []
    factor = np.exp(laws.doubt * np.random.default_rng(seeds).standard_normal(count))
    for replication, chances in enumerate(seeds.spawn(count)):
        chance = np.random.default_rng(chances)
        courses.append(
            play_once(tuple(rules), tuple(room_of(now, replication)), replication, factor[replication], chance)
        )
        if tell and replication % TOLD_EVERY == 0:
            tell(replication / count)
    shape = count, max((len(off) for off, *_ in courses), default=0)
    off, product, parts = np.full(shape, np.inf), np.full(shape, -1, np.int64), np.zeros(shape)
    for row, (times, of, good, _) in enumerate(courses):
        off[row, : len(times)], product[row, : len(of)], parts[row, : len(good)] = times, of, good
    hours = np.array([spent for *_, spent in courses]).reshape(count, STATES)
    return Played(off.T, product.T, parts.T, hours.T, since)


def ready_to_play() -> None:
    """Bring what plays a room: half a second, and some seconds more where it is yet to be compiled.

    An empty room is played, told in the same kinds of numbers as any.
    """
    rows, numbers, flags = np.zeros(0, np.int64), np.zeros((1, 0)), np.zeros((1, 0), np.bool_)
    room = Now(rows, numbers, numbers, rows[None], flags, rows[None])
    clock = HandsClock(np.zeros(1), np.zeros(1), np.zeros(1, np.int64), np.zeros(1, np.bool_))
    work = Work(rows, rows, numbers[0], numbers)
    choice = Preferences(np.zeros((1, 0, 1, 0)), np.zeros(1), np.zeros((0, 1, 0)))
    play(room, clock, work, choice, Laws(), Wanted.nothing(0), end=1.0, seed=1)
