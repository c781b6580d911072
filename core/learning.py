"""The habits of a shop learned from its entries: replay the time between them, count what happened, begin again.

Each round is a step of the EM algorithm: the replays weigh what can have happened between facts by the
habits so far, and what happened in them on average gives the next ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers
from core.epoch import DAY, FAR
from core.estimate import NINETY
from core.habits.habits import AT_ONCE, NEITHER_NOTED, Habits, first_guess
from core.habits.learned import ENOUGH, Learned, usual_by_hours_left, with_patience
from core.habits.pace import Pace, Presence, learn_pace, paced, quiet_of, taking_off
from core.habits.print_times import PrintTimes, ended_prints, learn_times
from core.habits.quiet import WORKED, Quiet
from core.hours.attention import worked_through
from core.hours.law import Law
from core.hours.replays import Replays, Waits, replay_all
from core.numbering import numbering_of
from core.setup import Setup
from core.spools.spools import learn_usage
from core.staffed import Staffed
from core.statistics.hazard import AGES, Hazard, lasted, step_of
from core.timeline.facts import facts
from core.timeline.gaps import find_gaps
from core.timeline.silence import learn_silences
from core.timeline.spans import ANY, CLEAR, EMPTY, Spans, certain, spans

#: How a shop works is learned from the prints of so many days before the moment asked about.
PACE_DAYS = 60
#: Rounds of learning, and replays of a span with one story and with many.
ROUNDS, FEW, MANY = 3, 24, 128
#: The newest spans say as much of habits as a shop needs, and keep the learning quick.
NEWEST = 1500
#: That neither tap of a visit was noted is drawn toward its usual share by so many such visits.
NEITHER_STEADY = 5.0
#: The speed of hands on a weekday is drawn toward the usual by so many removals.
STEADY = 10.0


@dataclass(frozen=True)
class Counted:
    """What happened on average: ends of waits and hours waited by law and step of age, restarts at a visit, visits.

    `expected` and `removed`: removals by weekday, as the law has it at the usual speed, and counted;
    `off_unnoted` and `start_unnoted`: removals and starts that nobody noted; `neither`: visits that left no tap at all;
    `clocks`: hours that prints waited by the clock of hands, and by that of shifts.
    """

    ended: Numbers
    waited: Numbers
    restarted: float
    visits: float
    expected: Numbers
    removed: Numbers
    off_unnoted: float
    start_unnoted: float
    neither: float
    clocks: Numbers

    def __add__(self, other: Counted) -> Counted:
        return Counted(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))


def learn(entries: pl.DataFrame, setup: Setup, staffed: Staffed, known_at: int) -> Learned:
    """How work goes in a shop, from its `entries` known at a moment (microseconds).

    First what prints take, from gaps that take the files as they state; with these the gaps are found
    again, and the habits of hands are learned from them.
    """
    told = facts(entries, setup, Learned())
    usual = usual_by_hours_left(told, staffed)
    gaps = find_gaps(told, staffed, Learned(usual=usual))
    seen = Presence.of(entries, _begun(entries, known_at), known_at)
    pace = learn_pace(seen, staffed, setup.zone)
    hands = paced(staffed, pace, setup.zone, seen)
    prints = _sightings(gaps, setup)
    times = learn_times(prints, setup, hands, taking_off(entries))
    if len(prints) < ENOUGH:
        return Learned(usual=usual, seen=sum(times.seen))
    learned = with_patience(_with_times(Learned(usual=usual, pace=pace), times), gaps, staffed)
    told = facts(entries, setup, learned)
    gaps = find_gaps(told, staffed, learned)
    mine = spans(gaps, learned, numbering_of(setup), known_at)
    habits = first_guess(told, gaps, numbering_of(setup), staffed)
    clocks = _Clocks(staffed, setup.zone, seen, pace)
    law, worked, quick, busy = _learn_law(mine, Law(staffed, hands, habits, times.spread, unseen=pace.unseen), clocks)
    fitted = entries.filter(pl.col("kind") == "SpoolFitted")
    silences = learn_silences(gaps, staffed, law.habits.forgets, known_at)
    usage = learn_usage(gaps, fitted, setup, known_at)
    return replace(
        learned,
        habits=law.habits,
        quick=quick,
        busy=busy,
        usage=usage,
        silences=silences,
        quiet=law.quiet,
        worked=worked,
    )


def _begun(entries: pl.DataFrame, known_at: int) -> int:
    """When the time began that is learned from: before its first entry a shop was not quiet, but did not tell yet."""
    first = entries["at"].dt.epoch("us").to_numpy().min(initial=known_at)
    return int(max(known_at - PACE_DAYS * DAY, first))


@dataclass(frozen=True)
class _Clocks:
    """What the clocks of hands are made from."""

    staffed: Staffed
    zone: ZoneInfo
    seen: Presence
    pace: Pace

    @cached_property
    def weekdays(self) -> Micros:
        return self.staffed.weekdays(self.zone)

    @cached_property
    def quiet(self) -> Micros:
        """The quiet stretches: from, to."""
        return quiet_of(self.staffed, self.seen)

    def law(self, law: Law, quiet: Quiet, quick: Numbers) -> Law:
        """The law with these chances that people worked in quiet stretches, and speeds by weekday."""
        hands = paced(self.staffed, self.pace, self.zone, self.seen, quiet)
        return replace(law, quiet=quiet, hands=hands.at_speeds(quick[hands.weekdays(self.zone)]))


def _sightings(gaps: pl.DataFrame, setup: Setup) -> pl.DataFrame:
    """What was seen of prints as it happened, or where that is too little, told from memory as well."""
    prints = ended_prints(gaps, setup)
    return prints if len(prints) >= ENOUGH else ended_prints(gaps, setup, from_memory=True)


def _with_times(learned: Learned, times: PrintTimes) -> Learned:
    best, doubt = math.exp(times.shop_log), float(np.sqrt(np.diag(times.covariance)).mean()) if times.kinds else 0.05
    reach = NINETY * math.hypot(times.spread, doubt)
    return replace(
        learned, best=best, low=best * math.exp(-reach), high=best * math.exp(reach), seen=sum(times.seen), times=times
    )


def _learn_law(mine: Spans, law: Law, clocks: _Clocks) -> tuple[Law, float, tuple[float, ...], float]:
    """The law, the share of quiet stretches in which people worked, the speed of hands by weekday, and while prints
    wait, from the spans of a shop and a first guess.

    Moments told from memory say little of how long anything waits: spans that begin or end by one are left out where
    there are others.
    """
    at_once = mine.of(mine.blur == 0)
    mine = at_once if len(at_once) >= ENOUGH else mine
    quick, busy = np.ones(7), 1.0
    law, worked = _attended(mine, law, clocks, quick)
    habits = law.habits
    sure = certain(mine, habits.menu.shortest)
    since = np.sort(mine.end[~sure])[-NEWEST:].min(initial=FAR)
    plain = _plain(mine.of(sure & (mine.end >= since)), law.hands)
    doubtful = mine.of(~sure & (mine.end >= since))
    offs = float((mine.removed & (mine.end >= since)).sum())
    begun = float(((mine.found == CLEAR) & (mine.end >= since)).sum())
    for _ in range(ROUNDS if len(doubtful) else 0):
        counted = plain
        for replays in replay_all(doubtful, law, FEW, MANY):
            counted += _counted(replays, law, clocks.weekdays, quick)
        quick, busy = _speeds(counted), float((counted.clocks[0] + 1.0) / (counted.clocks[1] + 1.0))
        off, start = counted.off_unnoted + offs + 10, counted.start_unnoted + begun + 10
        by_chance = counted.off_unnoted * counted.start_unnoted / start
        habits = replace(
            _habits(law.habits, counted),
            forgets_off=(counted.off_unnoted + 0.5) / off,
            forgets_start=(counted.start_unnoted + 0.5) / start,
            neither=(counted.neither + NEITHER_STEADY * NEITHER_NOTED) / (by_chance + NEITHER_STEADY),
        )
        law = clocks.law(replace(law, habits=habits), law.quiet, quick)
    law, worked = _attended(mine, law, clocks, quick)
    return law, worked, tuple(float(speed) for speed in quick), busy


def _attended(mine: Spans, law: Law, clocks: _Clocks, quick: Numbers) -> tuple[Law, float]:
    """The law with what is found of its quiet stretches, and the share of them in which people worked."""
    edges = clocks.quiet
    if not len(edges):
        return law, WORKED
    absent, at_work = (
        clocks.law(law, Quiet(edges[:, 0], edges[:, 1], np.full(len(edges), worked)), quick) for worked in (0.0, 1.0)
    )
    quiet, worked = worked_through(edges, mine, absent, at_work)
    return clocks.law(law, quiet, quick), worked


def _speeds(counted: Counted) -> Numbers:
    """The speed of hands by weekday against the usual: how fast they are on the whole is for the hazards to say."""
    usual = counted.removed.sum() / max(counted.expected.sum(), 1e-9)
    return np.asarray((counted.removed + STEADY) / (counted.expected * usual + STEADY))


def _habits(old: Habits, counted: Counted) -> Habits:
    inside, outside, idle = zip(counted.ended, counted.waited, strict=True)
    return replace(
        old,
        inside=Hazard.rising(*inside),
        outside=Hazard.rising(*outside),
        idle=Hazard.fitted(*idle),
        at_once=(counted.restarted + 9.0) / (counted.visits + 10.0),
    )


def _plain(sure: Spans, staffed: Staffed) -> Counted:
    """What certain spans tell: machines cleared and started again, at once or after a short while."""
    again = sure.of(sure.hand & (sure.left == EMPTY) & (sure.found == CLEAR))
    idle = staffed.hours(again.start, again.end)
    short = idle[idle >= AT_ONCE]
    ended, waited = np.zeros((3, len(AGES) - 1)), np.zeros((3, len(AGES) - 1))
    np.add.at(ended[2], step_of(short), 1.0)
    waited[2] = lasted(np.zeros(len(short)), short).sum(axis=0)
    return Counted(
        ended,
        waited,
        float((idle < AT_ONCE).sum()),
        float(len(idle)),
        np.zeros(7),
        np.zeros(7),
        0.0,
        0.0,
        0.0,
        np.zeros(2),
    )


def _counted(replays: Replays, law: Law, weekdays: Micros, quick: Numbers) -> Counted:
    weights = replays.weights.ravel()
    ended, waited = np.zeros((3, len(AGES) - 1)), np.zeros((3, len(AGES) - 1))
    expected, removed, clocks = np.zeros(7), np.zeros(7), np.zeros(2)
    for wait in replays.waits:
        weight = weights[wait.rows]
        hours = lasted(wait.begin, wait.end) * weight[:, None]
        for number in range(3):
            waited[number] += hours[wait.law == number].sum(axis=0)
        over = wait.ended
        np.add.at(ended, (wait.law[over], step_of(wait.end[over])), weight[over])
        _expect(expected, wait, weight, law, weekdays)
        off, lasted_by = over & (wait.law < 2), np.where(wait.law < 2, weight, 0.0)
        clocks += [lasted_by @ clock.hours(wait.since, wait.until) for clock in (law.hands, law.staffed)]
        np.add.at(removed, weekdays[law.staffed.spell_of(wait.until[off] - 1)], weight[off])
    last = np.flatnonzero(replays.ended)
    np.add.at(ended, (replays.law[last], step_of(replays.age[last])), weights[last])
    gone = last[replays.law[last] < 2]
    spell = law.staffed.spell_of(replays.spans.end[gone // replays.count] - 1)
    np.add.at(removed, weekdays[spell], weights[gone])
    restarted = sum(float((weights[rows] * again).sum()) for rows, again in replays.restarts)
    visits = sum(float(weights[rows].sum()) for rows, _ in replays.restarts)
    forgotten = [weights[w.rows] * w.ended * (1 - law.quiet.unnoted(w.until, law.unseen)) for w in replays.waits]
    unseen, idle = (
        sum(float(hidden[(w.law == 2) == last].sum()) for w, hidden in zip(replays.waits, forgotten, strict=True))
        for last in (False, True)
    )
    whole = sum(float((weights[w.rows] * w.ended)[w.law < 2].sum()) for w in replays.waits)
    begun = restarted * unseen / max(whole, 1e-9) + idle
    swapped = (replays.law < 2) & np.isin(np.repeat(replays.spans.found, replays.count), (CLEAR, ANY))
    unnoted = unseen + float(weights[swapped].sum())
    return Counted(ended, waited, restarted, visits, expected / quick, removed, unnoted, begun, unseen, clocks)


def _expect(expected: Numbers, wait: Waits, weight: Numbers, law: Law, weekdays: Micros) -> None:
    """Add the removals that the law expects of these waits to the weekdays they lasted over."""
    for number, hazard in enumerate((law.habits.inside, law.habits.outside)):
        mine = wait.law == number
        since, until, begin = wait.since[mine], wait.until[mine], wait.begin[mine]
        first, last = law.staffed.spell_of(since), law.staffed.spell_of(until)
        for step in range(int((last - first).max(initial=-1)) + 1):
            spell = np.minimum(first + step, last)
            opens, closes = (np.clip(edge, since, until) for edge in law.staffed.spell_ends(spell))
            age_at = [begin + law.hands.hours(since, moment) for moment in (opens, closes)]
            coming = np.where(first + step <= last, hazard.gathered(age_at[1]) - hazard.gathered(age_at[0]), 0.0)
            np.add.at(expected, weekdays[spell], weight[mine] * coming)
