"""One read of the log for one window, and what it comes to: the ground every answer stands on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from functools import cached_property
from typing import Any

import polars as pl

from core.entries import QuestionClosed, SpoolFitted
from core.epoch import instant, micros
from core.estimate import NINETY, Estimate
from core.habits import unnoted
from core.habits.learned import Learned
from core.habits.pace import Presence
from core.hours.replays import Replays
from core.hours.state_hours import replayed, state_hours
from core.hours.state_rows import StateHours
from core.learning import PACE_DAYS, learn
from core.log.store import Log
from core.reading.types import (
    AnswerChoice,
    Due,
    MachineNow,
    Mending,
    NeedsHand,
    PartSpoolNow,
    PrintTime,
    Question,
    RunsOut,
    SpoolEnds,
    SpoolNow,
    StaffedTime,
    StopRate,
    Tally,
    Unnoted,
)
from core.setup import Machine, PrintFile, Setup
from core.spools.ahead import RunOut, ahead, run_outs
from core.spools.book import (
    PartSpool,
    Spool,
    lasts,
    left,
)
from core.spools.spools import spools
from core.staffed import Staffed, staffed_spells
from core.statistics.ranges import wilson
from core.timeline import downtime_lengths, questions, standing, stops
from core.timeline.facts import facts
from core.timeline.faults import Fault, around, faults
from core.timeline.gaps import find_gaps
from core.timeline.reckon import Reckoned, reckon
from core.window import Window, midnight

#: Older questions are not asked any more.
QUESTION_DAYS = 7
#: A shop closed for longer is taken to have no next day.
CLOSED_AT_MOST = timedelta(weeks=2)


class Reading:
    """One read of the log for one window: entries, set-up, staffed clock, what was learned, and what is reckoned.

    The window ends at or before `at`, the moment whose knowledge counts. It is of all machines, or those named.
    How the shop works is learned from the window's own time, unless it is given.
    """

    def __init__(
        self,
        log: Log,
        window: Window,
        at: datetime,
        learned: Learned | None = None,
        machines: Sequence[str] | None = None,
    ) -> None:
        self.log = log
        self.window = window
        self.at = at
        self.setup = log.setup()
        self.setup.shop(at)
        self.staffed = Staffed.of(self.setup, window)
        self.entries = log.machine_entries(window, at, machines)
        self.learned = learned or learned_at(log, at, window.end)

    @cached_property
    def reckoned(self) -> Reckoned:
        """Every machine's stretches in the window, and its gaps."""
        return reckon(self.entries, self.setup, self.window, self.staffed, self.learned)

    def state_hours(self, windows: Sequence[Window]) -> StateHours:
        """The hours of every state in consecutive windows within this one, with their doubts."""
        return state_hours(self.reckoned, self._replays, self.learned, windows, self.staffed)

    @cached_property
    def _replays(self) -> list[Replays]:
        now = micros(self.at)
        return replayed(self.reckoned, self.setup, self.staffed, self.learned, self.window, now, self._seen)

    @property
    def _seen(self) -> Presence:
        """When hands came past any machine in the time of the entries, by whole days so that windows agree."""
        zone, first = self.setup.zone, self.entries["at"].min()
        since = min(self.window.start, first) if isinstance(first, datetime) else self.window.start
        window = Window(midnight(since.astimezone(zone).date() - timedelta(days=1), zone), self.at)
        return Presence.of(self.log.taps(window, self.at), micros(window.start), micros(window.end))

    @cached_property
    def standing(self) -> pl.DataFrame:
        """Where every machine stands at the window's end (see `core.timeline.standing`)."""
        return standing.standing(self.reckoned)

    def machines_now(self) -> list[MachineNow]:
        """The machines in service, by rack and place."""
        rows = {row["machine"]: row for row in self.standing.iter_rows(named=True)}
        told = self.entries.filter(pl.col("at") <= self.at).group_by("machine").agg(pl.col("at").max())
        heard = dict(told.iter_rows())
        return [
            _machine_now(m, rows[m.machine], self.setup, heard.get(m.machine))
            for m in self.setup.machines(self.at)
            if m.machine in rows
        ]

    def needs(self) -> list[NeedsHand]:
        """What needs a hand, most urgent first."""
        racks = {m.machine: m.rack for m in self.setup.machines(self.at)}
        rows = self.standing.filter(pl.col("machine").is_in(list(racks)))
        return [
            NeedsHand(
                level=need.level,  # type: ignore[arg-type]
                state=need.state,
                rack=need.rack,
                machines=list(need.machines),
                since=instant(need.since),
                waited_hours=need.waited_hours,
                cause=need.cause,
                spare=need.spare,
            )
            for need in standing.needs(rows, racks, micros(self.at))
        ]

    @cached_property
    def faults(self) -> list[Fault]:
        """The faults that reach into the window, oldest first."""
        return _within(faults(self.reckoned.gaps, micros(self.at)), self.window)

    def print_times(self) -> list[PrintTime]:
        """What the newest files truly take, as far as sightings tell; those furthest from what they state first."""
        times = self.learned.times
        newest = {(file.file, file.revision): file for file in self.setup.newest_files(self.at)}
        told = []
        for (name, revision, model), seen in zip(times.kinds, times.seen, strict=True):
            file = newest.get((name, revision))
            if file is None or not seen:
                continue
            ratio, doubt = times.ratios[name, revision, model]
            low, high = (ratio * math.exp(side * NINETY * doubt) for side in (-1, 1))
            takes = Estimate(low=low, best=ratio, high=high).scaled(file.hours)
            told.append(PrintTime(file=name, revision=revision, model=model, product=file.product,
                                  stated=file.hours, takes=takes, seen=seen))  # fmt: skip
        return sorted(told, key=lambda t: (-abs(math.log(t.takes.best / t.stated)), t.file, t.model))

    @cached_property
    def visits(self) -> pl.DataFrame:
        """Starts and removals in the window that the other one of their visit gives away (`unnoted.visits`)."""
        habits = self.learned.habits
        files = [file.hours for file in self.setup.newest_files(self.at)]
        shortest = habits.menu.shortest if habits else min(files, default=0.0)
        seen = unnoted.visits(self.reckoned.gaps, shortest)
        return seen.filter(pl.col("t").is_between(micros(self.window.start), micros(self.window.end)))

    def unnoted(self, what: str) -> Tally:
        """How many of the starts or removals ("start", "removal") nobody noted, as far as the other tap tells."""
        mine = self.visits.filter(pl.col("what") == what)
        return tally(mine.filter(~pl.col("noted")).height, mine.height)

    def unnoted_by_rack_and_shift(self) -> list[Unnoted]:
        """The same for every rack and shift."""
        racks = {m.machine: m.rack for m in self.setup.machines(self.at)}
        counted = unnoted.by_rack_and_shift(self.visits, racks, staffed_spells(self.setup, self.window))
        found: dict[tuple[str, int], dict[str, Tally]] = {}
        for rack, shift, what, missed, of in counted.iter_rows():
            found.setdefault((rack, shift), {})[what] = tally(missed, of)
        none = tally(0, 0)
        return [
            Unnoted(rack=rack, shift=shift, starts=told.get("start", none), removals=told.get("removal", none))
            for (rack, shift), told in found.items()
        ]

    def looks_right(self) -> Tally:
        """Of the looks at an open question in the window: those at which the reckoning held what was seen."""
        asked = self.entries.filter(pl.col("reckoned").is_not_null() & (pl.col("at") >= self.window.start))
        return tally(asked.filter(pl.col("reckoned") == pl.col("saw")).height, asked.height)

    def stops(self) -> list[StopRate]:
        """How often prints stop, over the window."""
        return [
            StopRate(of=of, name=name, stops=count, hours=hours,
                     per_100_hours=Estimate(low=low, best=best, high=high).scaled(100))
            for of, name, count, hours, low, best, high in stops.rates(stops.ended(self.reckoned.gaps)).iter_rows()
        ]  # fmt: skip

    def mending(self) -> Mending:
        """How long machines stay down, over the window."""
        down = downtime_lengths.durations(self.reckoned.gaps)
        half, nine_in_ten = downtime_lengths.mended_within(down, (0.5, 0.9))
        return Mending(faults=down.height, half=half, nine_in_ten=nine_in_ten)

    @cached_property
    def spools(self) -> tuple[list[Spool], list[PartSpool]]:
        """Every machine's spool at `at`, and the part-spools on the shelf, as far as the window tells."""
        gaps, fitted = self.reckoned.gaps, self.entries.filter(pl.col("kind") == SpoolFitted.__name__)
        return spools(gaps, self._replays, fitted, self.setup, micros(self.at), self.learned.usage)

    def spool(self, machine: str) -> SpoolNow | None:
        """What is on a machine; None where nobody noted a spool."""
        found = self._spool_on(machine)
        return self._spool_now(found) if found else None

    def _spool_on(self, machine: str) -> Spool | None:
        return next((spool for spool in self.spools[0] if spool.machine == machine), None)

    def _spool_now(self, spool: Spool) -> SpoolNow | None:
        rest = left(spool, self.learned.usage)
        if rest is None or spool.material is None:
            return None
        return SpoolNow(material=spool.material, since=instant(spool.since) if spool.since else None, left=rest)

    def lasts(self, machine: str, file: PrintFile) -> float | None:
        """The chance that the spool on a machine feeds the print that runs and then one of the file.

        None where nobody noted a spool, 0 where it is of another material.
        """
        found = self._spool_on(machine)
        if found is None or found.material is None:
            return None
        running = found.running
        rest = running.grams * (1 - running.share) if running else 0.0
        return lasts(found, rest + file.grams, self.learned.usage) if found.material == file.material else 0.0

    def part_spools(self) -> list[PartSpoolNow]:
        """The part-spools on the shelf, fullest first."""
        kept = sorted(self.spools[1], key=lambda part: -part.grams.best)
        return [PartSpoolNow(material=p.material, left=p.grams, machine=p.machine) for p in kept]

    def runs_out(self) -> RunsOut:
        """Which spools run out before people are back on another day, and until its noon."""
        until = self._next_noon()
        here = {machine.machine for machine in self.setup.machines(self.at)}
        told = {s.machine: now for s in self.spools[0] if s.machine in here and (now := self._spool_now(s))}
        spells = [spell.window for spell in staffed_spells(self.setup, Window(self.at, until))]
        ends = sorted((end for end in self._run_outs(until) if end.announced), key=lambda end: end.best)
        return RunsOut(
            until=until,
            staffed=[StaffedTime(start=spell.start, end=spell.end) for spell in spells],
            spools=[_spool_ends(end, told[end.machine], spells, self.at) for end in ends if end.machine in told],
            noted=len(told),
            machines=len(here),
        )

    def _next_noon(self) -> datetime:
        """Noon of the next day on which people are in, or their coming where that is later.

        Who leaves on a Saturday must know what runs out by Monday. Where nobody comes for weeks, tomorrow's noon.
        """
        zone = self.setup.zone
        tomorrow = midnight(self.at.astimezone(zone).date() + timedelta(days=1), zone)
        spells = staffed_spells(self.setup, Window(tomorrow, tomorrow + CLOSED_AT_MOST))
        back = spells[0].window.start if spells else tomorrow
        noon = datetime.combine(back.astimezone(zone).date(), time(12), zone).astimezone(UTC)
        return max(noon, back)

    def _run_outs(self, until: datetime) -> list[RunOut]:
        now = micros(self.at)
        future = ahead(self.reckoned.gaps, self.setup, self.staffed, self.learned, now, micros(until))
        return run_outs(self.spools[0], future, self.setup, self.learned.usage, now) if future else []

    def shift_began(self) -> datetime | None:
        """When the shift began that runs or was the last to run in the 24 hours before `at`."""
        lately = staffed_spells(self.setup, Window(self.at - timedelta(hours=48), self.at))
        if lately and lately[-1].window.end > self.at - timedelta(hours=24):
            return lately[-1].window.start
        return None

    def questions(self) -> list[Question]:
        """What the entries of the last days leave open, newest first."""
        recent = Window(self.at - timedelta(days=2 * QUESTION_DAYS), self.at + timedelta(days=1))
        closed = self.log.entries_of([QuestionClosed.__name__], recent, self.at)["question"].to_list()
        causes = [c.cause for c in self.setup.causes("down", self.at)]
        since = micros(self.at - timedelta(days=QUESTION_DAYS))
        asked = questions.questions(self.reckoned, since, closed, causes, self.learned.silences, micros(self.at))
        return [_question(q) for q in asked]


def tally(hits: int, of: int) -> Tally:
    """So many of so many, with Wilson's range of the share."""
    return Tally(hits=hits, of=of, share=wilson(hits, of))


def faults_told(entries: pl.DataFrame, setup: Setup, window: Window, at: datetime, learned: Learned) -> list[Fault]:
    """The same without the rest of a reading, from `Log.machine_entries` of the window as known at `at`."""
    gaps = find_gaps(around(facts(entries, setup, learned)), Staffed.of(setup, window), learned)
    return _within(faults(gaps, micros(at)), window)


def _within(found: Sequence[Fault], window: Window) -> list[Fault]:
    """The faults that reach into a window."""
    return [fault for fault in found if fault.began <= micros(window.end) and fault.ended > micros(window.start)]


def learned_at(log: Log, at: datetime, end: datetime | None = None) -> Learned:
    """How a shop works, from the `PACE_DAYS` days before the midnight before `end` (`at` unless it is given).

    From what happened until then and was known at the midnight before `at`, so that it changes once a day, and not at
    all for an `end` that is past unless somebody tells of that time later.
    """
    setup = log.setup()
    known, until = (midnight(moment.astimezone(setup.zone).date(), setup.zone) for moment in (at, end or at))
    window = Window(until - timedelta(days=PACE_DAYS), until)
    entries = log.machine_entries(window, known).filter(pl.col("at") <= until)
    return learn(entries, setup, Staffed.of(setup, window), micros(until))


def _machine_now(machine: Machine, row: dict[str, Any], setup: Setup, heard: datetime | None) -> MachineNow:
    file = setup.file(row["file"], row["revision"]) if row["file"] else None
    due = [row[name] for name in ("due_low", "due", "due_high")]
    return MachineNow(
        machine=machine.machine,
        model=machine.model,
        rack=machine.rack,
        place=machine.place,
        state=row["state"],
        basis=row["basis"],
        since=instant(row["since"]),
        due=Due(low=instant(due[0]), best=instant(due[1]), high=instant(due[2])) if due[1] is not None else None,
        file=row["file"],
        revision=row["revision"],
        product=file.product if file else None,
        parts=row["parts"],
        last_file=row["last_file"],
        last_revision=row["last_revision"],
        cause=row["cause"],
        spare=row["spare"],
        last_word=heard.astimezone(UTC) if heard else None,
    )


def _spool_ends(end: RunOut, spool: SpoolNow, staffed: Sequence[Window], at: datetime) -> SpoolEnds:
    when = Due(low=instant(end.low), best=instant(end.best), high=instant(end.high))
    people = [min(spell.end, when.best) for spell in staffed if spell.start <= when.best]
    return SpoolEnds(machine=end.machine, spool=spool, chance=min(end.chance, 1.0), this_print=min(end.this, 1.0),
                     when=when, swap_by=max([*people, at]))  # fmt: skip


def _question(asked: questions.OpenQuestion) -> Question:
    return Question(
        id=asked.id,
        rule=asked.rule,
        machine=asked.machine,
        about=instant(asked.about),
        seen=instant(asked.seen),
        found=asked.found,
        file=asked.file,
        revision=asked.revision,
        parts=asked.parts,
        scrap=asked.scrap,
        choices=[
            AnswerChoice(
                name=a.name, entries=[{"kind": d.kind, "at": instant(d.at).isoformat(), **d.fields} for d in a.drafts]
            )
            for a in asked.answers
        ],
    )
