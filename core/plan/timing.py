"""What a machine's time is worth, and so when which print is the right one: the clock on the wall decides as much as
the machine.

A print that ends minutes after closing leaves its machine standing until somebody is back. Whoever starts the right
print each time gets the most out of a machine: by backward induction over the moments to come (dynamic programming:
Bellman, Dynamic Programming (1957)), the hours of printing it can still give are known for every moment at which hands
stand before it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.constants import golden

from core.arrays import Numbers
from core.habits.usage import LASTS, SPOOL_MINUTES
from core.plan.best_loading import NEVER, Left, Load
from core.plan.laws import FINE, HandsClock, Laws, drawn

#: Hours of printing that a new spool must be worth: nobody takes a good spool off for nothing.
SPOOL_HOURS = 2.0
#: Of the time before hands leave they have this share for loading: the rest goes to rounds, mending and finding out.
BUSY = 0.6
#: Steps of a sequence that fills the unit interval evenly: the golden ratio.
_STEP = golden - 1


@dataclass(frozen=True)
class ModelTimes:
    """The prints that one model can run [files]: `hours` each usually takes, and the hours of printing that its good
    parts are usually `worth`.

    What truly happens is one of some equally likely cases [cases]: a print takes `ratio` times its hours, and hands
    come after so many hours of theirs, `rush` if it ended before they came in and `calm` if not.
    """

    hours: Numbers
    worth: Numbers
    ratio: Numbers
    rush: Numbers
    calm: Numbers

    def free(self, at: Numbers, clock: HandsClock) -> Numbers:
        """When hands stand before the machine again after each file begun at moments [moments, files, cases]."""
        return self.cleared(np.reshape(at, (-1, 1, 1)) + self.hours[:, None] * self.ratio, clock)

    def cleared(self, ends: Numbers, clock: HandsClock) -> Numbers:
        """When hands come to prints that end so [..., cases]."""
        return clock.after(ends, np.where(clock.rush[clock.when(ends)], self.rush, self.calm))


def cases(laws: Laws, count: int = 16) -> tuple[Numbers, Numbers, Numbers]:
    """Ratio, rush and calm of so many cases: the quantiles of each, shuffled so that none goes with another."""
    even = (np.arange(count) + 0.5) / count
    shuffled = even[np.argsort(_STEP * np.arange(count) % 1.0)]
    return drawn(laws.ratio, even), drawn(laws.rush, shuffled), drawn(laws.calm, shuffled)


def time_worth(times: ModelTimes, clock: HandsClock, end: float) -> Numbers:
    """Hours of printing that a machine gives until `end` (hours from now), by the moment at which hands stand before
    it, with the best file each time: [moments, every `1 / FINE` hours from now to the end].

    A print that would run on beyond the end counts for its share before it.
    """
    at = np.arange(round(end * FINE)) / FINE
    then = _place(times.free(at, clock), len(at))
    own = times.worth * np.clip((end - at)[:, None] / times.hours, 0.0, 1.0)
    staffed = clock.hands[clock.when(at)] > 0
    worth = np.zeros(len(at) + 1)
    for now in range(len(at) - 1, -1, -1):
        # Hands may also leave it alone for a moment, and nobody starts anything while none are in.
        best = (own[now] + worth[then[now]].mean(axis=-1)).max(initial=0.0) if staffed[now] else 0.0
        worth[now] = max(worth[now + 1], best)
    return worth


def _place(moments: Numbers, last: int) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """The place of each moment among those of `time_worth`, the next one if it lies between two."""
    return np.minimum(np.ceil(moments * FINE - 1e-6), last).astype(np.int64)


@dataclass(frozen=True)
class Free:
    """A machine that hands can load `at` some hours from now; `lasts` is the chance that the spool on it feeds each
    file [files], 0 where it is of another material.
    """

    machine: str
    model: int
    at: float
    lasts: Numbers


@dataclass(frozen=True)
class Loadable:
    """What can be loaded [files]: codes, products, good `parts` to expect, and of every model its `times` over the
    files it can print (`fits`, their places) and its `time_worth`; and the `material` of each file.
    """

    files: Sequence[str]
    products: Sequence[str]
    parts: Numbers
    fits: Sequence[Sequence[int]]
    times: Sequence[ModelTimes]
    worth: Sequence[Numbers]
    material: Sequence[str]


def loads(
    free: Sequence[Free], menu: Loadable, clock: HandsClock, leave: tuple[float, float], change: float
) -> Iterator[Load]:
    """All that hands can load at each machine, a change taking so many minutes.

    They `leave`, and are back, so many hours from now: what is left alone is free again then.
    """
    closes, back = leave
    for one in free:
        times, worth = menu.times[one.model], menu.worth[one.model]
        last = len(worth) - 1
        alone = float(worth[_place(clock.after(np.full(len(times.rush), back), times.rush), last)].mean())
        then = worth[_place(times.free(np.array([one.at]), clock)[0], last)].mean(axis=-1) - alone
        for file, ends, later in zip(menu.fits[one.model], one.at + times.hours, then.tolist(), strict=True):
            again = (float(ends), change) if ends < closes else (NEVER, 0.0)
            told, parts = (one.machine, menu.files[file], menu.products[file]), float(menu.parts[file])
            if one.lasts[file] >= LASTS:
                yield Load(*told, parts * float(one.lasts[file]), later, change, None, one.at, *again)
            else:
                spool = later - SPOOL_HOURS, change + SPOOL_MINUTES, menu.material[file]
                yield Load(*told, parts, *spool, one.at, *again)


def left(clock: HandsClock, closes: float) -> list[Left]:
    """The minutes of hands from now, and from every half hour on, until they leave."""
    steps = np.arange(0, round(closes * FINE), FINE // 2)
    hands = clock.hands[: round(closes * FINE)]
    return [Left(step / FINE, BUSY * 60.0 * float(hands[step:].sum()) / FINE) for step in steps.tolist()]
