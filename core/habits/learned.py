"""How work goes in this shop: what its prints take, how its hands work, what is left unnoted.

All that the reckoning knows of a shop besides its entries and its set-up; learned by `learning`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from core.epoch import FAR, HOUR
from core.habits.habits import HOURS_LEFT, Habits
from core.habits.pace import NOBODY_SEEN, Pace, Presence, paced, quiet_of
from core.habits.print_times import PrintTimes
from core.habits.quiet import NEVER_QUIET, WORKED, Quiet
from core.habits.silences import Silences
from core.habits.usage import Usage
from core.staffed import Staffed

#: With fewer sightings than this the files are believed, with ten per cent either way; so with waits and starts.
ENOUGH = 30
#: Longer than any wait.
NEVER = 10_000.0


@dataclass(frozen=True)
class Learned:
    """How prints and hands go in this shop, learned from `seen` sightings.

    The ratio true / stated of the shop's prints: `best`, and `low` to `high` for nine prints in ten; `times`
    has it file by file. `wait` is how many staffed hours a finished print waits on average, `patience` how
    many at most: beyond it, that both taps of a change were forgotten is likelier than such a wait. `usual`
    has the stated hours of the last print of a shift by the whole hours of it that were left when it began
    (people load long prints before they leave): what a print nobody announced is taken to need. `habits` are
    what replays go by, `quick` how fast hands were on each weekday, `busy` while prints waited. `usage`
    is how prints use spools, `pace` how hands come past, `silences` how likely silent machines were down,
    `quiet` the stretches in which nobody tapped anything at any machine, `worked` the share in which people worked.
    """

    best: float = 1.0
    low: float = 0.9
    high: float = 1.1
    wait: float = 1.0
    patience: float = NEVER
    seen: int = 0
    usual: tuple[float, ...] = (6.0,) * HOURS_LEFT
    times: PrintTimes = field(default_factory=PrintTimes, compare=False)
    habits: Habits | None = field(default=None, compare=False)
    quick: tuple[float, ...] = (1.0,) * 7
    busy: float = 1.0
    usage: Usage = field(default_factory=Usage, compare=False)
    pace: Pace = field(default_factory=Pace, compare=False)
    silences: Silences = field(default_factory=Silences, compare=False)
    quiet: Quiet = field(default=NEVER_QUIET, compare=False)
    worked: float = WORKED

    def ratio(self, file: str, revision: int, model: str) -> float:
        """True / stated time of this print; the shop's where nothing is known of it."""
        return self.times.ratios.get((file, revision, model), (self.best, 0.0))[0]

    def quiet_in(self, staffed: Staffed, seen: Presence) -> Quiet:
        """The quiet stretches of the time in which hands were `seen`, with what was learned of them."""
        if not len(seen.visits):
            return NEVER_QUIET
        edges = quiet_of(staffed, seen)
        worked = self.quiet.at(edges.mean(axis=1).astype(np.int64))
        return Quiet(edges[:, 0], edges[:, 1], np.where(worked > 0, worked, self.worked))

    def hands(
        self, staffed: Staffed, zone: ZoneInfo, seen: Presence = NOBODY_SEEN, quiet: Quiet = NEVER_QUIET
    ) -> Staffed:
        """The staffed clock at the speed of hands: as they were `seen`, or where nobody was, as while prints wait."""
        clock, busy = (paced(staffed, self.pace, zone, seen, quiet), 1.0) if len(seen.visits) else (staffed, self.busy)
        return clock.at_speeds(busy * np.array(self.quick)[clock.weekdays(zone)])


def usual_by_hours_left(told: pl.DataFrame, staffed: Staffed) -> tuple[float, ...]:
    """The mean stated hours of announced prints begun with about so many whole hours of the shift left.

    Of the facts `told` (with nothing learned), the last start of each shift at each machine counts: a print
    that nobody announced shows itself where no other came after it. Hours with few starts take in their
    neighbours; without any starts `Learned().usual` stays.
    """
    begun = told.filter(pl.col("takes").is_not_null())
    _, closes = staffed.spell_at(begun["t"].to_numpy())
    following = pl.col("t").shift(-1).over("machine").fill_null(FAR)
    last = begun.filter(following > pl.Series(closes))
    left, stated = staffed.hours_left(last["t"].to_numpy()), (last["takes"] / HOUR).to_numpy()
    if not len(stated):
        return Learned().usual
    means = []
    for hours in range(HOURS_LEFT):
        order = np.argsort(np.abs(left - hours), kind="stable")
        close = np.abs(left - hours) <= max(1, abs(int(left[order[min(ENOUGH, len(order)) - 1]]) - hours))
        means.append(float(stated[close].mean()))
    return tuple(means)


def with_patience(learned: Learned, gaps: pl.DataFrame, staffed: Staffed) -> Learned:
    """The same with `wait` and `patience` learned from the gaps (found without).

    Waits are taken to be exponential; their median is not moved by the few that hide a forgotten change.
    A change goes unseen when both its taps are forgotten: the share of removals never noted times that of
    starts never noted. A wait of w has the chance exp(-w / wait), which falls below that share at `patience`.
    """
    ended = gaps.filter(
        (pl.col("leaves") == "printing") & (pl.col("next_found") == "done") & pl.col("print").is_not_null()
    )
    due = (ended["began"] + ended["takes"] * learned.best).cast(pl.Int64).to_numpy()
    waited = staffed.hours(due, np.maximum(ended["until"].to_numpy(), due))
    if len(waited) < ENOUGH:
        return learned
    wait = max(float(np.median(waited)) / math.log(2), 0.05)
    started = gaps.filter(pl.col("kind") == "PrintStarted").height
    not_off = gaps.filter((pl.col("leaves") == "printing") & (pl.col("next_found").is_in(["clear", "empty"]))).height
    not_started = gaps.filter(pl.col("shape").str.starts_with("unseen")).height
    both = not_off / started * not_started / (started + not_started)
    patience = wait * -math.log(both) if both else NEVER
    return replace(learned, wait=wait, patience=patience)
