"""How well run-outs are announced: simulated shops whose spools are known to the gram, one entry in five missing, and
then the families of rooms that were written apart, worst first.

`python -m tests.simulated.run_outs [SHOPS [ROOMS [FAMILY ...]]]` prints the measurement. Shares no code with what it
judges: what is truly left is added up here from the prints and the spools of the invented shop. Of the families it is
not told: there a spool lasted until a print starved or somebody truly changed it.
"""

from __future__ import annotations

import random
import sys
import tempfile
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from core.answers import Learned, learned_at, machine_page
from core.entries import EntryVoided, SpoolFitted
from core.log.record import record_many
from core.log.store import Log
from core.reading.reading import Reading
from core.reading.types import SpoolEnds
from core.setup import PrintFile
from core.staffed import staffed_spells
from core.window import Window
from dashboard.words.acts import too_short
from demo.make import Truth, make
from demo.people import ONE_IN_FIVE, USUAL, Slips
from demo.rooms.families import FAMILIES, SET_APART
from demo.rooms.told import Run, Told

UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)
TAUGHT_WEEKS, MEMORY_DAYS = 6, 28
#: The weeks of a family's room that are judged, the first being 1.
JUDGED_WEEKS = range(5, 10)
#: Nobody checks a spool where so many of those that came to their end did it in a print.
UNCHECKED = 0.5
#: Rounds: so long after opening, after so much of the shift, before closing.
AFTER_OPENING, MIDDAY, BEFORE_CLOSING = timedelta(minutes=20), timedelta(hours=5.8), timedelta(minutes=15)


class Seen(dict[tuple[str, datetime], datetime]):
    """When the spool of a machine, fitted at a moment, was first on the list."""


@dataclass
class Tally:
    """What came of a shop's announcements.

    `run_outs` prints truly starved since the first round, `listed` of them were on the list of a round before (when
    people had left: before they left), `asked` were asked about at their start besides. `announced` spools were listed;
    `unused` of them were not used up by the noon they were listed for, `false` held more than the machine uses in that
    time at its pace of the last week.
    `held`: the range of what is left held the truth, of `looks`.
    """

    run_outs: int = 0
    listed: int = 0
    asked: int = 0
    announced: int = 0
    unused: int = 0
    false: int = 0
    looks: int = 0
    held: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))


class TrueSpool:
    """One machine's spools and prints as they truly were."""

    def __init__(self, truth: Truth, machine: str) -> None:
        mine = pl.col("machine") == machine
        self.fits = truth.spools.filter(mine).sort("at").rows(named=True)
        self.at = [fit["at"] for fit in self.fits]
        materials = {(row.file, row.revision): row.material for row in truth.rows if isinstance(row, PrintFile)}
        self.prints = [
            (p["started"], p["ended"], p["grams"], materials[p["file"], p["revision"]])
            for p in truth.prints.filter(mine).sort("started").rows(named=True)
        ]

    def used(self, start: datetime, end: datetime, material: str | None = None) -> float:
        """Grams its prints used between two moments."""
        return sum(
            grams * max(0.0, (min(end, b) - max(start, a)) / max(b - a, timedelta(seconds=1)))
            for a, b, grams, of in self.prints if a < end and b > start and material in (None, of)
        )  # fmt: skip

    def spool(self, at: datetime) -> dict[str, object] | None:
        """The spool that was on at a moment."""
        place = bisect_right(self.at, at)
        return self.fits[place - 1] if place else None

    def fitted(self, at: datetime) -> datetime | None:
        """When the spool was fitted that was on at a moment."""
        place = bisect_right(self.at, at)
        return self.at[place - 1] if place else None

    def left(self, at: datetime) -> float | None:
        """Grams left at a moment."""
        fit = self.spool(at)
        return None if fit is None else float(str(fit["grams"])) - self.used(fit["at"], at)  # type: ignore[arg-type]

    def used_up(self, at: datetime, until: datetime) -> bool:
        """Whether what was left at a moment was used, or would have been by the prints of its material, by `until`."""
        fit, left = self.spool(at), self.left(at)
        if fit is None or left is None:
            return False
        other = next((f["at"] for f in self.fits if f["at"] > at and f["material"] != fit["material"]), until)
        return self.used(at, min(until, other), str(fit["material"])) > left


class RoomSpool:
    """One machine's spools in a room of a family: what they fed, in stated grams, until they were gone.

    What a spool held is not told: what it fed until a print starved or somebody changed it.
    """

    def __init__(self, told: Told, fitted: Sequence[SpoolFitted], machine: str) -> None:
        stated = {(row.file, row.revision): row.grams for row in told.rows if isinstance(row, PrintFile)}
        self.runs = sorted((run for run in told.runs if run.machine == machine), key=lambda run: run.started)
        fits = ((_truly_at(fit.at, self.runs), fit.material) for fit in fitted if fit.machine == machine)
        self.at: list[datetime] = []
        self.materials: list[str] = []
        for at, material in sorted(fits):
            self.at.append(at)
            self.materials.append(material)
        self.end = told.end
        self.starved = [run.starved for run in self.runs if run.starved]
        began = [run.started for run in self.runs]
        steps = told.turns[machine]
        self.fed = [
            (a, b, stated[run.file, run.revision] / run.whole)
            for (a, state), (b, _) in zip(steps, [*steps[1:], (told.end, "")], strict=True)
            if state in ("printing", "proving") and (run := self.runs[max(bisect_right(began, a) - 1, 0)])
        ]

    def fitted(self, at: datetime) -> datetime | None:
        """When the spool was fitted that was on at a moment."""
        place = bisect_right(self.at, at)
        return self.at[place - 1] if place else None

    def used(self, start: datetime, end: datetime) -> float:
        """Stated grams of what was printed between two moments."""
        return sum(
            rate * ((min(end, b) - max(start, a)) / timedelta(hours=1))
            for a, b, rate in self.fed if a < end and b > start
        )  # fmt: skip

    def left(self, at: datetime) -> float:
        """Stated grams that the spool still fed."""
        return self.used(at, self.gone(at))

    def gone(self, at: datetime) -> datetime:
        """When the spool that is on at a moment ran out or was changed."""
        place = bisect_right(self.at, at)
        since = self.at[place - 1] if place else at
        changed = self.at[place] if place < len(self.at) else self.end
        return min([changed, *(t for t in self.starved if since < t < changed)])

    def used_up(self, at: datetime, until: datetime) -> bool:
        """Whether it was gone by `until`."""
        return self.gone(at) <= until

    def gave_way(self, at: datetime, until: datetime) -> bool:
        """Whether it was changed by `until` for another material with something left: nobody knows what it held."""
        place, gone = bisect_right(self.at, at), self.gone(at)
        other = place < len(self.at) and self.materials[place] != self.materials[max(place - 1, 0)]
        return other and gone <= until and gone not in self.starved


def _truly_at(at: datetime, runs: Sequence[Run]) -> datetime:
    """When a spool was fitted that people say was fitted in the midst of a print: not before it starved."""
    run = next((run for run in reversed(runs) if run.started < at), None)
    if run and run.starved and at - run.started > run.starved - at > timedelta(0):
        return run.starved + timedelta(seconds=1)
    return at


def unchecked(told: Told, fitted: Sequence[SpoolFitted]) -> bool:
    """Whether spools mostly come to their end in a print: nobody looks before a start."""
    last: dict[str, str] = {}
    changed = 0
    for fit in sorted(fitted, key=lambda fit: fit.at):
        changed += last.get(fit.machine) == fit.material
        last[fit.machine] = fit.material
    return sum(run.starved is not None for run in told.runs) >= UNCHECKED * max(changed, 1)


def family_room(family: str, seed: int, missing: float, weeks: Sequence[int] = JUDGED_WEEKS) -> tuple[str, bool, Tally]:
    """One room of a family, judged over those `weeks`: whether nobody checks there, and what came of it.

    What was truly fitted is what would have been tapped were nothing missing.
    """
    told, whole = FAMILIES[family](seed, missing), FAMILIES[family](seed, 0.0)
    voided = {entry.which for entry in whole.entries if isinstance(entry, EntryVoided)}
    fitted = [e for e in whole.entries if isinstance(e, SpoolFitted) and e.id not in voided]
    true = {machine: RoomSpool(told, fitted, machine) for machine in told.turns}
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "room.duckdb") as log:
        log.append_setup(list(told.rows), noted_at=told.start)
        record_many(log, list(told.entries), now=told.end)
        tally, seen = Tally(), Seen()
        for week in weeks:
            begin = told.start + timedelta(weeks=week - 1)
            _week_judged(tally, seen, log, true, Window(begin, begin + timedelta(weeks=1)))
    return family, unchecked(told, fitted), tally


def _week_judged(tally: Tally, seen: Seen, log: Log, true: Mapping[str, RoomSpool], window: Window) -> None:
    learned, rounds = learned_at(log, window.start), list(_rounds(log, window))
    for at in rounds:
        read = Reading(log, Window(at - timedelta(days=MEMORY_DAYS), at), at, learned)
        runs = read.runs_out()
        for end in runs.spools:
            if not true[end.machine].gave_way(at, runs.until):
                _announce(tally, seen, end, true[end.machine], at, runs.until)
    for machine, spool in true.items():
        for run in spool.runs:
            if rounds and run.starved and rounds[0] < run.starved < window.end:
                _starved_in_room(tally, seen, log, learned, machine, spool, run)


def _starved_in_room(  # noqa: PLR0917 - all that is known of it
    tally: Tally, seen: Seen, log: Log, learned: Learned, machine: str,
    spool: RoomSpool, run: Run,
) -> None:  # fmt: skip
    """A print that truly starved: whether anybody was told before."""
    starved = run.starved
    if starved is None or (fitted := spool.fitted(starved)) is None:
        return
    tally.run_outs += 1
    if seen.get((machine, fitted), starved) < starved:
        tally.listed += 1
    elif _asked(log, learned, machine, run.started):
        tally.asked += 1


def shop(seed: int, slips: Slips = ONE_IN_FIVE, most: int = 36, weeks: int = 3) -> Tally:
    """One shop of 12 to `most` machines, judged over so many weeks, the last but one the latest."""
    draw = random.Random(f"spools {seed}")
    machines, shifts, slower = draw.randint(12, most), draw.choice((1, 1, 2)), draw.uniform(0.9, 1.15)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.duckdb"
        truth = make(path, machines, TAUGHT_WEEKS + weeks, seed, UNTIL, slips, shifts, slower)
        with Log.open(path) as log:
            return _judged(log, truth, Window(UNTIL - timedelta(weeks=weeks + 1), UNTIL - timedelta(weeks=1)))


def _judged(log: Log, truth: Truth, window: Window) -> Tally:
    true = {machine: TrueSpool(truth, machine) for machine in truth.stretches["machine"].unique()}
    tally, seen = Tally(), Seen()
    learned = learned_at(log, window.start)
    rounds = list(_rounds(log, window))
    for at in rounds:
        read = Reading(log, Window(at - timedelta(days=MEMORY_DAYS), at), at, learned)
        runs = read.runs_out()
        for machine, spool in true.items():
            told, left = read.spool(machine), spool.left(at)
            if told and left is not None:
                tally.looks += 1
                tally.held += told.left.low - 1 <= left <= told.left.high + 1
        for end in runs.spools:
            _announce(tally, seen, end, true[end.machine], at, runs.until)
    for machine, spool in true.items():
        for fit in spool.fits:
            if fit["ran_out"] and rounds[0] < fit["at"] < window.end:
                _starved(tally, seen, log, learned, machine, spool, fit["at"], rounds[0])
    return tally


def _announce(
    tally: Tally, seen: Seen, end: SpoolEnds, true: TrueSpool | RoomSpool, at: datetime,
    until: datetime,
) -> None:  # fmt: skip
    """A spool on the list: counted at its first time."""
    fitted = true.fitted(at)
    if fitted is None or (end.machine, fitted) in seen:
        return
    seen[end.machine, fitted] = at
    usual = true.used(at - timedelta(days=7), at) * ((until - at) / timedelta(days=7))
    tally.announced += 1
    if not true.used_up(at, until):
        tally.unused += 1
        tally.false += (true.left(at) or 0.0) > usual


def _starved(  # noqa: PLR0917 - all that is known of it
    tally: Tally, seen: Seen, log: Log, learned: Learned, machine: str, true: TrueSpool,
    changed: datetime, first: datetime,
) -> None:  # fmt: skip
    """A print that truly starved after the first round: whether anybody was told before."""
    print_ = next((p for p in reversed(true.prints) if p[0] < changed < p[1]), None)
    fit = true.fits[true.at.index(changed) - 1] if true.at.index(changed) else None
    if print_ is None or fit is None:
        return
    stopped = _ran_out_at(true, fit["at"], print_[0], changed)
    if stopped <= first:
        return
    tally.run_outs += 1
    if seen.get((machine, fit["at"]), changed) < stopped:
        tally.listed += 1
    elif _asked(log, learned, machine, print_[0]):
        tally.asked += 1


def _ran_out_at(true: TrueSpool, fitted: datetime, started: datetime, changed: datetime) -> datetime:
    """When the spool was empty: what it held when the print began lasted so long at the print's pace."""
    left = true.left(started)
    a, b, grams, _ = next(p for p in true.prints if p[0] == started)
    return min(changed, a + (b - a) * max(left or 0.0, 0.0) / grams)


def _asked(log: Log, learned: Learned, machine: str, started: datetime) -> bool:
    """Whether the start was tapped as it happened, on a page that asked about the spool."""
    near = Window(started - timedelta(minutes=5), started + timedelta(minutes=10))
    taps = log.entries_of(["PrintStarted"], near, near.end).filter(pl.col("machine") == machine)
    if taps.is_empty():
        return False
    tap = taps.row(0, named=True)
    page = machine_page(log, machine, min(tap["at"], tap["noted_at"]) - timedelta(seconds=1), learned)
    return any(too_short(file) for file in page.files if file.file == tap["file"])


def _rounds(log: Log, window: Window) -> Iterator[datetime]:
    for spell in staffed_spells(log.setup(), window):
        opens, closes = spell.window.start, spell.window.end
        yield from sorted({
            opens + AFTER_OPENING, min(opens + MIDDAY, closes - BEFORE_CLOSING), closes - BEFORE_CLOSING,
        })  # fmt: skip


def told(tally: Tally) -> str:
    """The measurement in words."""
    runs, named = max(tally.run_outs, 1), max(tally.announced, 1)
    looks = f"\nwhat is left: the range held the truth in {tally.held / max(tally.looks, 1):.1%} of {tally.looks}"
    return (
        f"{tally.run_outs} prints starved: {tally.listed / runs:.1%} were listed before, "
        f"{(tally.listed + tally.asked) / runs:.1%} with those asked about at their start\n"
        f"{tally.announced} spools listed: {tally.unused / named:.1%} were not used up by the noon told, "
        f"{tally.false / named:.1%} would not have been at the machine's pace either (false)"
        f"{looks if tally.looks else ''}"
    )


def in_families(rooms: Sequence[int], families: Sequence[str]) -> Iterator[str]:
    """The families in words, worst first: those whose people check their spools apart from the others."""
    for missing in (0.2, 0.0):
        made = [(family, seed, missing) for family in families for seed in rooms]
        with ProcessPoolExecutor() as pool:
            judged = list(pool.map(family_room, *zip(*made, strict=True)))
        sums: dict[tuple[str, bool], Tally] = {}
        for family, careless, tally in judged:
            sums[family, careless] = sums.get((family, careless), Tally()) + tally
        yield f"{missing:.0%} missing"
        for (family, careless), tally in sorted(sums.items(), key=lambda item: _announced(item[1])):
            yield f"{family}, {'nobody checks' if careless else 'people check'}\n{told(tally)}\n"


def _announced(tally: Tally) -> float:
    return (tally.listed + tally.asked) / max(tally.run_outs, 1)


def _measured(shops: int, rooms: int, families: Sequence[str]) -> Iterator[str]:
    for name, kind in (("one in five missing", ONE_IN_FIVE), ("none missing", replace(USUAL, missing=0.0))):
        with ProcessPoolExecutor() as pool:
            tallies = list(pool.map(shop, range(1, shops + 1), [kind] * shops))
        yield f"{name}, {shops} shops\n{told(sum(tallies, Tally()))}\n"
    yield from in_families(range(1, rooms + 1), families)


if __name__ == "__main__":
    counts = [int(word) for word in sys.argv[1:] if word.isdigit()]
    names = [word for word in sys.argv[1:] if not word.isdigit()]
    others = [name for name in FAMILIES if name not in (*SET_APART, "larkfield")]
    shops, rooms = [*counts, *(20, 4)[len(counts) :]]
    for line in _measured(shops, rooms, names or others):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
