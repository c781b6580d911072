"""The book of one machine's spool: what was fitted, what its prints used, and what is left as a few stories."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from core.epoch import FAR, HOUR
from core.estimate import BEST, HIGH, LOW, Estimate
from core.habits.usage import Usage
from core.spools.uses import Use, shares_by_clock, split_at

#: A full spool's net weight and a print's use differ so much from what is stated (common practice, no source).
SPOOL_SPREAD, PRINT_SPREAD = 0.01, 0.02
#: Less than this is no part-spool worth keeping.
WORTH_KEEPING = 50.0
#: A spool whose likeliest line has less weight may have been changed unnoted.
SURE = 0.9
#: Without material a print stands so long on average (microseconds).
STANDS = 4 * HOUR
#: The chance that the book is wrong of a spool that ran out in a print.
BOOK_WRONG = 0.2
#: More lines than this are no clearer than so many.
LINES = 4
#: A spool fitted so long before a start, or tapped so long after it, was fitted for it (microseconds).
AT_THE_START = HOUR // 2
_NORMAL = NormalDist()


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


class FedOut(NamedTuple):
    """A spool that ran out in a print: the grams it held, and those stated that it fed by the clock, give or take."""

    held: float
    stated: float
    spread: float


@dataclass
class Counts:
    """What the spools of a shop have taught so far.

    `ratios` of grams used to grams stated, of spools weighed when they came off; `run_outs`: full ones that ran out. Of
    spools that were too short for a print, those changed and noted, changed unnoted, and run out, by whether a start
    told of the print.
    """

    ratios: list[float] = field(default_factory=list)
    run_outs: list[FedOut] = field(default_factory=list)
    noted: list[float] = field(default_factory=lambda: [0.0, 0.0])
    unnoted: list[float] = field(default_factory=lambda: [0.0, 0.0])
    ran_out: list[float] = field(default_factory=lambda: [0.0, 0.0])


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


class Book:
    """What one machine's spool fed, told in order."""

    def __init__(self, machine: str, packs: dict[str, float], usage: Usage) -> None:
        self.spool = Spool(machine)
        self.counts = Counts()
        self._fits: list[tuple[Spool, FittedSpool, bool]] = []
        self._packs, self._usage = packs, usage
        self._full, self._stated, self._doubt, self._sure = 0.0, 0.0, 0.0, False

    def fit(self, fitted: FittedSpool, into: Use | None = None, following: Use | None = None) -> None:
        """A spool was fitted, `into` a print that was under way, or for the one `following`."""
        before, use = self.spool, into or following
        if use and before.lines and before.material == fitted.material:
            counted = self.counts.ran_out if into else self.counts.noted
            counted[use.told] += 1 - (lasts(before, use.grams, self._usage) or 0.0)
        self._weigh(fitted, into)
        self._fits.append((before, fitted, into is not None))
        spread = SPOOL_SPREAD * fitted.grams
        lines = (SpoolStory(1.0, fitted.grams, spread**2),)
        self.spool = Spool(before.machine, fitted.material, fitted.at, lines)
        self._full, self._stated, self._doubt, self._sure = fitted.grams, 0.0, 0.0, True

    def fit_into(self, use: Use, fitted: FittedSpool, now: int) -> Use:
        """A spool was fitted into a print that was under way, as known at `now`: what that one feeds of it."""
        least, most = shares_by_clock(use, fitted.at)
        if self.spool.since is not None:
            fed = self._stated + use.grams * (least + most) / 2
            self.counts.run_outs.append(
                FedOut(self._full, fed, math.hypot(self._doubt, use.grams * (most - least) / math.sqrt(12)))
            )
        before, rest = split_at(use, fitted.at, now, *self._fed(use, least, most))
        self.feed(before, None)
        self.fit(fitted, into=use)
        return rest

    def _fed(self, use: Use, least: float, most: float) -> tuple[float, float]:
        """The share of a print that a spool fed that ran out in it, give or take: all it held, as far as the clock
        allows.
        """
        shares, need = np.linspace(least, most, 41), use.grams * self._usage.factor
        likely = np.full(len(shares), BOOK_WRONG)
        for line in self.spool.lines:
            spread = math.sqrt(line.variance + (line.used * self._usage.doubt) ** 2) / need + 1e-3
            off = (shares - line.grams / need) / spread
            likely += line.weight * np.exp(-(off**2) / 2) / (spread * math.sqrt(math.tau))
        fed = float(np.average(shares, weights=likely))
        return fed, math.sqrt(float(np.average((shares - fed) ** 2, weights=likely)))

    def shelf(self) -> list[tuple[PartSpool, bool]]:
        """The part-spools put back on the shelf (true) or fitted from there."""
        return [moved for fit in self._fits for moved in self._moved(*fit)]

    def _moved(self, old: Spool, fitted: FittedSpool, ran_out: bool) -> Iterator[tuple[PartSpool, bool]]:
        """What is left on the old spool goes back on the shelf; a part-spool that is fitted leaves it."""
        rest = Estimate.exact(fitted.left) if fitted.left is not None else left(old, self._usage)
        if not ran_out and rest and old.material and rest.best >= WORTH_KEEPING:
            yield PartSpool(old.material, rest, old.machine, fitted.at), True
        if fitted.grams < self._packs.get(fitted.material, math.inf):
            yield PartSpool(fitted.material, Estimate.exact(fitted.grams), old.machine, fitted.at), False

    def _weigh(self, fitted: FittedSpool, into: Use | None) -> None:
        """A spool that was weighed when it came off, and whose prints are all known, tells what they used."""
        if not self._sure or into is not None or fitted.left is None or not self._stated:
            return
        likeliest = max((line.weight for line in self.spool.lines), default=0.0)
        if likeliest >= SURE and fitted.left < self._full:
            self.counts.ratios.append((self._full - fitted.left) / self._stated)

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
            weight, rest = (line.weight * chance, mean) if use.itself else (line.weight, max(line.grams - need, 0.0))
            found.append(SpoolStory(weight, rest, own, line.used + need))
        if use.itself:
            self.counts.unnoted[use.told] += short
            found += self._changed_unnoted(use, need, variance)
        self._hold(found)

    def _changed_unnoted(self, use: Use, need: float, variance: float) -> Iterator[SpoolStory]:
        """The lines of full spools that took the place of those too short for a print: before it, or when they had
        run out in it and had fed what they held.
        """
        ran_out, late = self._usage.runs_out[use.told], _in_time(use.until - use.begin - use.takes)
        for line in self.spool.lines:
            short = line.weight * (1 - _enough(line, need, variance, self._usage)[0]) * self._usage.unnoted[use.told]
            fed = min(max(line.grams, 0.0), need)
            yield self._fresh(short * (1 - ran_out), need, variance)
            yield self._fresh(short * ran_out * late, need - fed, variance + line.variance)

    def run(self, use: Use, material: str | None) -> None:
        """A print of which nobody has said that it is over has used a part of what it needs, or all; a spool too short
        for all of it was changed unnoted, or it runs out. One that was fitted for just this print runs out.
        """
        self._load(material)
        whole = use.grams * self._usage.factor
        fitted_for_it = self.spool.since is not None and abs(use.begin - self.spool.since) <= AT_THE_START
        changes = 0.0 if fitted_for_it else self._usage.changed_before(told=use.told)
        found, changed = [], 0.0
        for line in self.spool.lines:
            short = line.weight * (1 - _enough(line, whole, (whole * PRINT_SPREAD) ** 2, self._usage)[0])
            unseen = short * changes
            changed += unseen
            found.append(replace(line, weight=line.weight - unseen))
        need, variance = self._note(use)
        lines = (
            replace(e, grams=e.grams - need, variance=e.variance + variance, used=e.used + need)
            for e in [*found, self._fresh(changed, 0.0, 0.0)]
        )
        self._hold([story for line in lines for story in self._stands(line, use)])
        self.spool = replace(self.spool, running=use if use.end == FAR else None)

    def _stands(self, line: SpoolStory, use: Use) -> Iterator[SpoolStory]:
        """A spool that the print has used up by now: it stands without, or went on with a full one that nobody noted;
        the longer ago, the likelier.
        """
        over = max(-line.grams, 0.0)
        goes_on = _in_time(over / (use.grams * self._usage.factor) * use.takes)
        yield replace(line, weight=line.weight * (1 - goes_on))
        if goes_on:
            unnoted = line.weight * goes_on * self._usage.unnoted[use.told]
            yield self._fresh(unnoted, over / 2, line.variance + over**2 / 12)

    def _note(self, use: Use) -> tuple[float, float]:
        """The grams a print has used and their variance; what it states is kept until the spool is weighed."""
        need = use.grams * use.share * self._usage.factor
        self._stated += use.grams * use.share
        self._doubt = math.hypot(self._doubt, use.grams * use.doubt)
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


def _in_time(micros: float) -> float:
    """The chance that a print that stands without material gets another spool within such a time."""
    return -math.expm1(-max(micros, 0.0) / STANDS)


def _merged(lines: Sequence[SpoolStory]) -> tuple[SpoolStory, ...]:
    """The likeliest lines, the others drawn together; weights sum to one."""
    whole = math.fsum(line.weight for line in lines)
    if whole <= 0:
        return ()
    shares = (SpoolStory(e.weight / whole, e.grams, e.variance, e.used) for e in lines if e.weight > 0)
    ranked = sorted(shares, key=lambda e: -e.weight)
    kept, rest = ranked[: LINES - 1], ranked[LINES - 1 :]
    return tuple([*kept, _one(rest)] if rest else kept)


def _one(lines: Sequence[SpoolStory]) -> SpoolStory:
    weight = math.fsum(e.weight for e in lines)
    mean, used = (math.fsum(e.weight * getattr(e, n) for e in lines) / weight for n in ("grams", "used"))
    variance = math.fsum(e.weight * (e.variance + (e.grams - mean) ** 2) for e in lines) / weight
    return SpoolStory(weight, mean, variance, used)
