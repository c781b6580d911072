"""What is left on every machine's spool, from what was fitted and what its prints used.

A print uses the grams its file states times a factor learned from spools that were weighed when they came off;
one that stopped uses them up to where it stopped; one that nobody announced, so many an hour. Where a spool by
the book could not have fed a print that ended by itself, somebody changed it without a word: what is left
is therefore kept as a few possible lines with their weights, one for each story of unnoted changes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np
import polars as pl
from scipy.optimize import brentq

from core.arrays import Numbers
from core.epoch import FAR, HOUR
from core.estimate import BEST, HIGH, LOW, Estimate
from core.habits.usage import FACTOR_DOUBT, Usage
from core.hours.replays import Replays
from core.numbering import numbering_of
from core.setup import Material, PrintFile, Setup
from core.timeline.spans import PRINTING

#: A full spool's net weight and a print's use differ so much from what is stated (common practice, no source).
SPOOL_SPREAD, PRINT_SPREAD = 0.01, 0.02
#: What is known of the usage factor before any spool was weighed is worth so many spools.
FACTOR_SPOOLS = 2.0
#: A print nobody announced uses grams an hour like the others of its material, give or take so much.
UNTOLD_SPREAD = 0.3
#: Less than this is no part-spool worth keeping; one that weighs so nearly the same is taken to be the one fitted.
WORTH_KEEPING, ALIKE = 50.0, 0.15
#: A spool whose likeliest line has less weight may have been changed unnoted.
SURE = 0.9
#: More lines than this are no clearer than so many.
LINES = 4
#: A spool fitted so long before a start, or tapped so long after it, was fitted for it (microseconds).
AT_THE_START = HOUR // 2
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Use:
    """A print on a spool: from `begin` to `end` (microseconds; FAR: still running) it needs `grams` of it.

    `share` of them it has used, give or take `doubt`; `told`: a start announced it; `itself`: it ran to its end.
    `whole` are the grams of the whole print, of which another spool may have fed a part.
    """

    begin: int
    end: int
    grams: float
    share: float
    doubt: float
    told: bool
    itself: bool
    whole: float


@dataclass(frozen=True, slots=True)
class FittedSpool:
    """A spool was fitted: at (microseconds), material, net grams, and what was left on the old one if weighed."""

    at: int
    material: str
    grams: float
    left: float | None


@dataclass(frozen=True, slots=True)
class SpoolStory:
    """One story of what is left: its weight, grams, their variance, and the grams used since the spool was full."""

    weight: float
    grams: float
    variance: float
    used: float = 0.0


@dataclass(frozen=True, slots=True)
class Spool:
    """The spool on a machine: what it carries, since when (microseconds), and the lines of what is left on it.

    `running` is the print it feeds now. A spool nobody ever noted has no lines.
    """

    machine: str
    material: str | None = None
    since: int | None = None
    lines: tuple[SpoolStory, ...] = ()
    running: Use | None = None


@dataclass(frozen=True, slots=True)
class PartSpool:
    """A spool taken off with something left on it, put back on the shelf at that moment (microseconds)."""

    material: str
    grams: Estimate
    machine: str
    at: int


@dataclass
class Counts:
    """What the spools of a shop have taught so far.

    `ratios` of grams used to grams stated, of spools weighed when they came off. Of spools that were too short for
    a print, those changed and noted, changed unnoted, and run out, by whether a start told of the print.
    """

    ratios: list[float] = field(default_factory=list)
    noted: list[float] = field(default_factory=lambda: [0.0, 0.0])
    unnoted: list[float] = field(default_factory=lambda: [0.0, 0.0])
    ran_out: list[float] = field(default_factory=lambda: [0.0, 0.0])


def spools(
    gaps: pl.DataFrame, replays: Sequence[Replays], fitted: pl.DataFrame, setup: Setup, at: int, usage: Usage
) -> tuple[list[Spool], list[PartSpool]]:
    """Every machine's spool at `at` (microseconds) and the part-spools on the shelf.

    `gaps`, their `replays` and the `SpoolFitted` entries in `fitted` are of the same time.
    """
    books = _books(gaps, replays, fitted, setup, at, usage)
    shelf: list[PartSpool] = []
    for part, put_back in sorted((e for book in books for e in book.shelf), key=lambda e: e[0].at):
        same = [p for p in shelf if p.material == part.material and abs(p.grams.best / part.grams.best - 1) <= ALIKE]
        if put_back:
            shelf.append(part)
        elif same:
            shelf.remove(min(same, key=lambda p: abs(p.grams.best - part.grams.best)))
    return [book.spool for book in books], shelf


def learn_usage(gaps: pl.DataFrame, fitted: pl.DataFrame, setup: Setup, at: int) -> Usage:
    """How this shop uses spools, from prints that starts announced.

    First the factor, then with it what became of spools that were too short.
    """
    usage = Usage()
    for _ in range(2):
        usage = _learned([book.counts for book in _books(gaps, [], fitted, setup, at, usage)], usage)
    return usage


def _learned(counts: Sequence[Counts], before: Usage) -> Usage:
    ratios = sorted(ratio for one in counts for ratio in one.ratios)
    factor, spread = _bulk(ratios) if ratios else (1.0, 0.0)
    weight = len(ratios) / 2 + FACTOR_SPOOLS
    noted, unnoted, ran_out = (
        [math.fsum(getattr(one, name)[told] for one in counts) for told in (0, 1)]
        for name in ("noted", "unnoted", "ran_out")
    )
    return replace(
        before,
        factor=(factor * (weight - FACTOR_SPOOLS) + FACTOR_SPOOLS) / weight,
        doubt=math.hypot(spread / math.sqrt(weight), FACTOR_DOUBT * FACTOR_SPOOLS / weight),
        seen=len(ratios),
        unnoted=_shares(unnoted, [a + b + c for a, b, c in zip(noted, unnoted, ran_out, strict=True)], Usage().unnoted),
        runs_out=_shares(ran_out, [a + b for a, b in zip(unnoted, ran_out, strict=True)], Usage().runs_out),
    )


def _shares(hits: Sequence[float], of: Sequence[float], usual: Sequence[float]) -> tuple[float, float]:
    """Of untold and told prints; drawn toward the usual by two sightings."""
    untold, told = ((h + 2.0 * u) / (n + 2.0) for h, n, u in zip(hits, of, usual, strict=True))
    return untold, told


def _bulk(ratios: Sequence[float]) -> tuple[float, float]:
    """Mean and spread of the half that lie closest together: a print nobody noted makes a ratio far too high."""
    half = len(ratios) // 2 + 1
    first = min(range(len(ratios) - half + 1), key=lambda i: ratios[i + half - 1] - ratios[i])
    bulk = ratios[first : first + half]
    mean = math.fsum(bulk) / half
    # The middle half of normal errors reaches 0.674 standard deviations to either side.
    return mean, max((bulk[-1] - bulk[0]) / 2 / 0.674, 0.005)


def left(spool: Spool, usage: Usage) -> Estimate | None:
    """What is left on it, grams, with its 90 % range; None where nobody ever noted a spool."""
    if not spool.lines:
        return None
    low, best, high = (_quantile(spool.lines, usage, share) for share in (LOW, BEST, HIGH))
    return Estimate(low=low, best=best, high=high)


def lasts(spool: Spool, grams: float, usage: Usage) -> float | None:
    """The chance that it feeds a print of so many stated grams; None where nobody ever noted a spool."""
    if not spool.lines:
        return None
    need = grams * usage.factor
    return math.fsum(line.weight * _enough(line, need, (need * PRINT_SPREAD) ** 2, usage)[0] for line in spool.lines)


def grams_left(lines: Sequence[SpoolStory], usage: Usage, shares: Iterable[float]) -> list[float]:
    """The grams below which what is left lies with the chance of each share."""
    return [_quantile(lines, usage, share) for share in shares]


def _quantile(lines: Sequence[SpoolStory], usage: Usage, share: float) -> float:
    spread = [math.sqrt(line.variance + (line.used * usage.doubt) ** 2) or 1e-9 for line in lines]
    low = min(line.grams - 5 * s for line, s in zip(lines, spread, strict=True))
    high = max(line.grams + 5 * s for line, s in zip(lines, spread, strict=True))

    def beyond(grams: float) -> float:
        below = sum(e.weight * _NORMAL.cdf((grams - e.grams) / s) for e, s in zip(lines, spread, strict=True))
        return below - share

    return max(float(brentq(beyond, low, high)), 0.0)


def _enough(line: SpoolStory, need: float, variance: float, usage: Usage) -> tuple[float, float, float]:
    """The chance that a line feeds `need` grams, and then the mean and variance of what is left."""
    spread = math.sqrt(line.variance + variance + ((line.used + need) * usage.doubt) ** 2) or 1e-9
    mean = line.grams - need
    z = mean / spread
    chance = _NORMAL.cdf(z)
    if chance < 1e-9:
        return 0.0, 0.0, spread**2
    tilt = _NORMAL.pdf(z) / chance
    own = line.variance + variance
    return chance, mean + spread * tilt, own * max(1 - tilt * (tilt + z), 0.05)


# The book of one machine


class _Book:
    """What one machine's spool fed, told in order."""

    def __init__(self, machine: str, packs: dict[str, float], usage: Usage) -> None:
        self.spool = Spool(machine)
        self.counts = Counts()
        self.shelf: list[tuple[PartSpool, bool]] = []
        self._packs, self._usage = packs, usage
        self._full, self._stated, self._sure = 0.0, 0.0, False

    def fit(self, fitted: FittedSpool, into: Use | None = None, following: Use | None = None) -> None:
        """A spool was fitted, `into` a print that was under way, or for the one `following`."""
        before, use = self.spool, into or following
        if use and before.lines and before.material == fitted.material:
            counted = self.counts.ran_out if into else self.counts.noted
            counted[use.told] += 1 - (lasts(before, use.grams, self._usage) or 0.0)
        self._weigh(fitted, into)
        self._put_back(fitted, into)
        spread = SPOOL_SPREAD * fitted.grams
        lines = (SpoolStory(1.0, fitted.grams, spread**2),)
        self.spool = Spool(before.machine, fitted.material, fitted.at, lines)
        self._full, self._stated, self._sure = fitted.grams, 0.0, True

    def _weigh(self, fitted: FittedSpool, into: Use | None) -> None:
        """A spool that was weighed when it came off, and whose prints are all known, tells what they used."""
        if not self._sure or into is not None or fitted.left is None or not self._stated:
            return
        likeliest = max((line.weight for line in self.spool.lines), default=0.0)
        if likeliest >= SURE and fitted.left < self._full:
            self.counts.ratios.append((self._full - fitted.left) / self._stated)

    def _put_back(self, fitted: FittedSpool, into: Use | None) -> None:
        """What is left on the old spool goes back on the shelf; a part-spool that is fitted leaves it."""
        spool, machine = self.spool, self.spool.machine
        rest = Estimate.exact(fitted.left) if fitted.left is not None else left(spool, self._usage)
        if into is None and rest and spool.material and rest.best >= WORTH_KEEPING:
            self.shelf.append((PartSpool(spool.material, rest, machine, fitted.at), True))
        if fitted.grams < self._packs.get(fitted.material, math.inf):
            self.shelf.append((PartSpool(fitted.material, Estimate.exact(fitted.grams), machine, fitted.at), False))

    def feed(self, use: Use, material: str | None) -> None:
        """A print that is over used its grams.

        If it ran to its end, the spool fed it: one that was too short was changed unnoted.
        """
        self._load(material)
        need, variance = self._note(use)
        found, short = [], 0.0
        for line in self.spool.lines:
            chance, mean, own = _enough(line, need, variance, self._usage)
            short += line.weight * (1 - chance)
            fed = SpoolStory(line.weight * chance, mean, own, line.used + need)
            rest = replace(line, grams=max(line.grams - need, 0.0), variance=own, used=line.used + need)
            found.append(fed if use.itself else rest)
        if use.itself:
            self.counts.unnoted[use.told] += short
            found.append(self._fresh(short * self._usage.unnoted[use.told], need, variance))
        self._hold(found)

    def run(self, use: Use, material: str | None) -> None:
        """A print that still runs has used a part of what it needs; a spool too short for all of it was changed
        unnoted, or it runs out. One that was fitted for just this print runs out.
        """
        self._load(material)
        whole = use.grams * self._usage.factor
        fitted_for_it = self.spool.since is not None and abs(use.begin - self.spool.since) <= AT_THE_START
        changes = 0.0 if fitted_for_it else 1 - self._usage.runs_out[use.told]
        found, changed = [], 0.0
        for line in self.spool.lines:
            short = line.weight * (1 - _enough(line, whole, (whole * PRINT_SPREAD) ** 2, self._usage)[0])
            unseen = short * changes
            changed += unseen
            found.append(replace(line, weight=line.weight - unseen))
        need, variance = self._note(use)
        self._hold([
            replace(e, grams=e.grams - need, variance=e.variance + variance, used=e.used + need)
            for e in [*found, self._fresh(changed, 0.0, 0.0)]
        ])  # fmt: skip
        self.spool = replace(self.spool, running=use)

    def _note(self, use: Use) -> tuple[float, float]:
        """The grams a print has used and their variance; what it states is kept until the spool is weighed."""
        need = use.grams * use.share * self._usage.factor
        self._stated += use.grams * use.share
        self._sure = self._sure and use.told and use.doubt == 0
        return need, (need * PRINT_SPREAD) ** 2 + (use.grams * use.doubt * self._usage.factor) ** 2

    def _hold(self, lines: Sequence[SpoolStory]) -> None:
        if self.spool.lines:
            self.spool = replace(self.spool, lines=_merged(lines))

    def _fresh(self, weight: float, used: float, variance: float) -> SpoolStory:
        """The line of a full spool that nobody noted."""
        full = self._packs.get(self.spool.material or "", 1000.0)
        return SpoolStory(weight, max(full - used, 0.0), (SPOOL_SPREAD * full) ** 2 + variance, used)

    def _load(self, material: str | None) -> None:
        """A print of another material than the spool's: it was changed unnoted, to any spool of that one."""
        if material and self.spool.material and material != self.spool.material:
            full = self._packs.get(material, 1000.0)
            lines = (SpoolStory(1.0, 0.7 * full, (0.25 * full) ** 2),)
            self.spool = replace(self.spool, material=material, since=None, lines=lines)
            self._sure = False


def _merged(lines: Sequence[SpoolStory]) -> tuple[SpoolStory, ...]:
    """The likeliest lines, the others drawn together; weights sum to one."""
    whole = math.fsum(line.weight for line in lines)
    if whole <= 0:
        return ()
    ranked = sorted((replace(e, weight=e.weight / whole) for e in lines if e.weight > 0), key=lambda e: -e.weight)
    kept, rest = ranked[: LINES - 1], ranked[LINES - 1 :]
    return tuple([*kept, _one(rest)] if rest else kept)


def _one(lines: Sequence[SpoolStory]) -> SpoolStory:
    weight = math.fsum(e.weight for e in lines)
    mean, used = (math.fsum(e.weight * getattr(e, n) for e in lines) / weight for n in ("grams", "used"))
    variance = math.fsum(e.weight * (e.variance + (e.grams - mean) ** 2) for e in lines) / weight
    return SpoolStory(weight, mean, variance, used)


def _books(
    gaps: pl.DataFrame, replays: Sequence[Replays], fitted: pl.DataFrame, setup: Setup, at: int, usage: Usage
) -> list[_Book]:
    """The book of every machine of which anything was noted, told up to `at`."""
    packs = {row.material: row.pack for row in setup.history(Material)}
    fits = _fits(fitted)
    machines = dict.fromkeys([*gaps["machine"].unique(maintain_order=True), *fits])
    uses: dict[str, list[tuple[Use, str | None]]] = {machine: [] for machine in machines}
    for machine, use, material in [*_announced(gaps, setup, at), *_untold(replays, setup, at)]:
        uses[machine].append((use, material))
    return [
        _told(_Book(machine, packs, usage), fits.get(machine, []), sorted(mine, key=lambda use: use[0].begin), at)
        for machine, mine in uses.items()
    ]


def _fits(fitted: pl.DataFrame) -> dict[str, list[FittedSpool]]:
    rows = fitted.sort("at", "id").select("machine", pl.col("at").dt.epoch("us"), "material", "grams", "left_grams")
    found: dict[str, list[FittedSpool]] = {}
    for machine, *told in rows.iter_rows():
        found.setdefault(machine, []).append(FittedSpool(*told))
    return found


def _told(book: _Book, fits: Sequence[FittedSpool], uses: Sequence[tuple[Use, str | None]], now: int) -> _Book:
    """Fits and prints in the order in which they happened; a spool fitted into a print splits what it uses."""
    waiting = list(fits)
    for use, material in uses:
        while waiting and waiting[0].at <= use.begin + AT_THE_START:
            fit = waiting.pop(0)
            book.fit(fit, following=use if abs(use.begin - fit.at) <= AT_THE_START else None)
        rest = use
        while waiting and waiting[0].at < use.end:
            fit = waiting.pop(0)
            before, rest = _split(rest, fit.at, now)
            book.feed(before, None)
            book.fit(fit, into=use)
        (book.run if rest.end == FAR else book.feed)(rest, material if rest is use else None)
    for fit in waiting:
        book.fit(fit)
    return book


def _split(use: Use, at: int, now: int) -> tuple[Use, Use]:
    """A print's use before and after a spool was fitted into it at `at`, as known at `now`.

    Where along the print that was is known by the clock alone: it may have stood without material for a while.
    """
    part = (at - use.begin) / max(min(use.end, now) - use.begin, 1)
    done = use.share * part
    doubt = math.hypot(use.doubt, use.share * min(part, 1 - part) / math.sqrt(3))
    before = replace(use, end=at, share=done, doubt=doubt, itself=False)
    left = max(1 - done, 1e-9)
    rest = replace(use, begin=at, grams=use.grams * left, share=(use.share - done) / left, doubt=doubt / left)
    return before, rest


# What prints use


def _announced(gaps: pl.DataFrame, setup: Setup, at: int) -> Iterator[tuple[str, Use, str | None]]:
    """Prints that a start announced, and how far they got."""
    starts = gaps.filter((pl.col("kind") == "PrintStarted") & pl.col("takes").is_not_null())
    last = (
        gaps.filter(pl.col("print").is_not_null() & (pl.col("leaves") == "printing"))
        .group_by("print", maintain_order=True)
        .agg(pl.col("t", "until", "end", "shape", "next_found").last(), first=pl.col("began").first())
    )
    rows = starts.select("machine", "file", "revision", "takes", print="id").join(
        last, on="print", maintain_order="left"
    )
    for row in rows.iter_rows(named=True):
        file = setup.file(row["file"], row["revision"])
        if file:
            yield row["machine"], _use(row, file, at), file.material


def _use(row: dict[str, object], file: PrintFile, at: int) -> Use:
    begin, takes = int(str(row["first"])), int(str(row["takes"]))
    until, end = int(str(row["until"])), int(str(row["end"]))
    if until == FAR:  # nobody has said how it ended
        over = at >= end
        share = 1.0 if over else min(max(at - begin, 0) / takes, 1.0)
        return Use(begin, end if over else FAR, file.grams, share, 0.0, told=True, itself=over, whole=file.grams)
    if row["next_found"] == "stopped" or str(row["shape"]).startswith("stopped"):
        least, most = (min(max(t - begin, 0) / takes, 1.0) for t in (int(str(row["t"])), until))
        doubt = (most - least) / math.sqrt(12)
        share = (least + most) / 2
        return Use(begin, until, file.grams, share, doubt, told=True, itself=False, whole=file.grams)
    return Use(begin, max(end, begin + 1), file.grams, 1.0, 0.0, told=True, itself=True, whole=file.grams)


def _untold(replays: Sequence[Replays], setup: Setup, at: int) -> Iterator[tuple[str, Use, str | None]]:
    """Prints that nobody announced, as far as replays have it: their hours at the usual grams an hour."""
    rates = grams_an_hour(setup)
    for group in replays:
        grams, begins, ends = _printed_untold(group, rates)
        mean = (group.weights * grams).sum(axis=1)
        spread = np.sqrt(np.maximum((group.weights * grams**2).sum(axis=1) - mean**2, 0.0))
        for place in np.flatnonzero(mean > 1.0):
            share = group.weights[place] * grams[place] / mean[place]
            begin, end = (int((share * moments[place]).sum()) for moments in (begins, ends))
            doubt = math.hypot(spread[place] / mean[place], UNTOLD_SPREAD)
            used = float(mean[place])
            use = Use(begin, min(end, at), used, 1.0, float(doubt), told=False, itself=True, whole=used)
            yield str(group.spans.machine[int(place)]), use, None


def _printed_untold(group: Replays, rates: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """In every replay of every span: the grams of prints nobody announced, when they began and when they ended."""
    size, running = len(group.spans) * group.count, group.spans.running
    grams, begins, ends = np.zeros(size), np.full(size, float(FAR)), np.zeros(size)
    for turn in group.turns:
        untold = (turn.state == PRINTING) & (~turn.first | running[turn.rows // group.count])
        rows = turn.rows[untold]
        hours = (turn.end[untold] - turn.start[untold]) / HOUR
        grams[rows] += hours * rates[turn.material[untold]]
        begins[rows] = np.minimum(begins[rows], turn.start[untold])
        ends[rows] = np.maximum(ends[rows], turn.end[untold])
    begins = np.where(grams > 0, begins, 0.0)
    shape = (len(group.spans), group.count)
    return grams.reshape(shape), begins.reshape(shape), ends.reshape(shape)


def grams_an_hour(setup: Setup) -> Numbers:
    """What the files of every material state, by its place, and last what all of them do."""
    files = setup.history(PrintFile)
    groups = [*([f for f in files if f.material == m] for m in numbering_of(setup).materials), files]
    return np.array([math.fsum(f.grams for f in of) / (math.fsum(f.hours for f in of) or 1.0) for of in groups])
