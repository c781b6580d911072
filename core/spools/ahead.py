"""What lies ahead of every machine, played on from this moment many times over, and which spools run out on the way.

The future is replayed by the same law as the past (`core.hours.replays`): what is on a machine ends, waits for
hands, the next print is one that this shop starts at such a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.constants import golden

from core.arrays import Flags, Micros, Numbers
from core.epoch import FAR, HOUR
from core.estimate import BEST, HIGH, LOW
from core.habits.learned import Learned
from core.habits.usage import Usage
from core.hours.law import Law
from core.hours.replays import Replays, replay
from core.numbering import numbering_of
from core.setup import Setup
from core.spools.book import Spool, grams_left
from core.spools.uses import grams_an_hour
from core.staffed import Staffed
from core.timeline.spans import OPEN, PRINTING, spans

#: Futures of a machine.
FUTURES = 200
#: A spool is announced that runs out so likely, or in the print that runs now. From invented shops and families of
#: rooms (`python -m tests.simulated.run_outs`): where these are lower, more is announced in vain, and where they are
#: higher, too little.
ANNOUNCED, STARVES = 0.65, 0.55
#: Steps of a sequence that fills the unit interval evenly: the golden ratio.
_STEP = golden - 1


@dataclass(frozen=True, slots=True)
class RunOut:
    """A spool that may run out in a print: by the end of the time looked at with that `chance`.

    If it does, then between `low` and `high` nine times in ten, most likely about `best` (microseconds).
    `this`: the chance that it does so in the print that runs now.
    """

    machine: str
    chance: float
    this: float
    low: int
    best: int
    high: int

    @property
    def announced(self) -> bool:
        """Whether people are told: likely enough, or a print at stake."""
        return self.chance >= ANNOUNCED or self.this >= STARVES


def ahead(gaps: pl.DataFrame, setup: Setup, staffed: Staffed, learned: Learned, at: int, until: int) -> Replays | None:
    """Every machine that may run, from its last fact to `until`; None where no habits are learned yet.

    `gaps` are those known at `at` (both microseconds); `staffed` must reach to `until`.
    """
    if (law := Law.of(learned, staffed, setup.zone, at)) is None:
        return None
    mine = spans(gaps, learned, numbering_of(setup), until)
    return replay(mine.of(mine.found == OPEN), law, FUTURES)


def run_outs(spools: Sequence[Spool], future: Replays, setup: Setup, usage: Usage, at: int) -> list[RunOut]:
    """For every machine with a noted spool: when it runs out if nobody changes it."""
    told = {spool.machine: spool for spool in spools if spool.lines}
    mine = future.of(np.array([machine in told for machine in future.spans.machine], dtype=bool))
    held = [told[machine] for machine in mine.spans.machine]
    if not held:
        return []
    empty_at, this = _emptied(mine, held, usage.factor * grams_an_hour(setup), usage, at)
    return [
        _run_out(spool.machine, mine.weights[place], empty_at[place], this[place]) for place, spool in enumerate(held)
    ]


def _emptied(future: Replays, held: Sequence[Spool], rates: Numbers, usage: Usage, at: int) -> tuple[Micros, Flags]:
    """When each spool is empty in each future (FAR: never), and whether that is in the print that runs now."""
    count, spans = future.count, future.spans
    shares = (0.5 + _STEP * np.arange(count)) % 1.0
    ranked = [np.array(grams_left(spool.lines, usage, (np.arange(20) + 0.5) / 20)) for spool in held]
    left = np.concatenate([grams[(shares * 20).astype(int)] for grams in ranked])
    first_rate = np.array([_running_rate(spool, usage) for spool in held])
    size = len(spans) * count
    used, gone = np.zeros(size), np.zeros(size, dtype=bool)
    empty_at, this = np.full(size, FAR, dtype=np.int64), np.zeros(size, dtype=bool)
    for turn in future.turns:
        prints = turn.state == PRINTING
        rows, first, material = turn.rows[prints], turn.first[prints], turn.material[prints]
        loaded = spans.loaded[rows // count]
        gone[rows] |= ~first & (loaded >= 0) & (material != loaded)
        begin, end = np.maximum(turn.start[prints], at), turn.end[prints]
        rate = np.where(first & (first_rate[rows // count] > 0), first_rate[rows // count], rates[material])
        need = rate * np.maximum(end - begin, 0) / HOUR
        out = ~gone[rows] & (need > 0) & (used[rows] + need > left[rows])
        over = rows[out]
        empty_at[over] = begin[out] + ((left[over] - used[over]) / rate[out] * HOUR).astype(np.int64)
        this[over] = first[out]
        gone[over] = True
        used[rows] += need
    return empty_at.reshape(-1, count), this.reshape(-1, count)


def _running_rate(spool: Spool, usage: Usage) -> float:
    """Grams an hour of the print that runs now, 0 where none is known."""
    return spool.running.grams * usage.factor / spool.running.takes * HOUR if spool.running else 0.0


def _run_out(machine: str, weights: Numbers, empty_at: Micros, this: Flags) -> RunOut:
    out = empty_at < FAR
    order = np.argsort(empty_at[out])
    moments, gathered = empty_at[out][order], np.cumsum(weights[out][order])
    chance = float(gathered[-1]) if len(gathered) else 0.0
    if chance <= 0:
        return RunOut(machine, 0.0, 0.0, FAR, FAR, FAR)
    low, best, high = (int(moments[np.searchsorted(gathered, share * chance)]) for share in (LOW, BEST, HIGH))
    return RunOut(machine, chance, float(weights[out & this].sum()), low, best, high)
