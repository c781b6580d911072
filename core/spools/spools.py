"""What is left on every machine's spool, from what was fitted and what its prints used.

A print uses the grams its file states times a factor learned from spools that were weighed when they came off;
one that stopped uses them up to where it stopped; one that nobody announced, so many an hour. Where a spool by
the book could not have fed a print that ended by itself, somebody changed it without a word: what is left
is therefore kept as a few possible lines with their weights, one for each story of unnoted changes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import polars as pl
from scipy.stats import norm

from core.epoch import FAR
from core.habits.usage import FACTOR_DOUBT, Usage
from core.hours.replays import Replays
from core.setup import Material, Setup
from core.spools.book import AT_THE_START, Book, Counts, FedOut, FittedSpool, PartSpool, Spool
from core.spools.uses import Use, announced, untold

#: The spools fitted to a machine, and what its prints used of which material (None: of the one that it carries).
Noted = tuple[Sequence[FittedSpool], Sequence[tuple[Use, str | None]]]

#: A part-spool that weighs so nearly the same is taken to be the one fitted.
ALIKE = 0.15
#: What is known of the usage factor before any spool was weighed is worth so many spools.
FACTOR_SPOOLS = 2.0
#: So many spools tell how much a full one of their material holds.
ENOUGH = 10
#: Where the factor is looked for by spools that ran out: from, to, steps.
FACTORS = 0.75, 1.3, 221
#: What a spool fed till it ran out differs so much from what it should have, as a share of what it held; so many of
#: those noted tell of something else; and the factor is never surer than that.
FED_OUT_SPREAD, STRAY, LEAST_DOUBT = 0.02, 0.5, 0.01


def spools(
    gaps: pl.DataFrame, replays: Sequence[Replays], fitted: pl.DataFrame, setup: Setup, at: int, usage: Usage
) -> tuple[list[Spool], list[PartSpool]]:
    """Every machine's spool at `at` (microseconds) and the part-spools on the shelf.

    `gaps`, their `replays` and the `SpoolFitted` entries in `fitted` are of the same time.
    """
    books = _books(_noted(gaps, replays, fitted, setup, at), setup, at, usage)
    shelf: list[PartSpool] = []
    for part, put_back in sorted((e for book in books for e in book.shelf()), key=lambda e: e[0].at):
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
    usage, noted = Usage(), _noted(gaps, [], fitted, setup, at)
    for _ in range(2):
        usage = _learned([book.counts for book in _books(noted, setup, at, usage)], usage)
    return usage


def _learned(counts: Sequence[Counts], before: Usage) -> Usage:
    ratios = sorted(ratio for one in counts for ratio in one.ratios)
    factor, spread = _bulk(ratios) if ratios else (1.0, 0.0)
    weight = len(ratios) / 2 + FACTOR_SPOOLS
    run_outs = [run_out for one in counts for run_out in one.run_outs]
    noted, unnoted, ran_out = (
        [math.fsum(getattr(one, name)[told] for one in counts) for told in (0, 1)]
        for name in ("noted", "unnoted", "ran_out")
    )
    factor = (factor * (weight - FACTOR_SPOOLS) + FACTOR_SPOOLS) / weight
    doubt = math.hypot(spread / math.sqrt(weight), FACTOR_DOUBT * FACTOR_SPOOLS / weight)
    factor, doubt = _by_run_outs(factor, doubt, run_outs)
    return replace(
        before,
        factor=factor,
        doubt=doubt,
        seen=len(ratios),
        unnoted=_shares(unnoted, [a + b + c for a, b, c in zip(noted, unnoted, ran_out, strict=True)], Usage().unnoted),
        runs_out=_shares(ran_out, [a + b for a, b in zip(noted, ran_out, strict=True)], Usage().runs_out),
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


def _by_run_outs(factor: float, doubt: float, run_outs: Sequence[FedOut]) -> tuple[float, float]:
    """The factor, give or take, by what is known of it and by what spools had fed when they ran out.

    Some tell of something else: a print or a spool that nobody noted.
    """
    if not run_outs:
        return factor, doubt
    held, stated, spread = np.array(run_outs).T
    maybe = np.linspace(*FACTORS)
    fits = norm.pdf(held / maybe[:, None], stated, np.hypot(spread, FED_OUT_SPREAD * held))
    likely = np.log((1 - STRAY) * fits + STRAY / (2 * held)).sum(axis=1) - ((maybe - factor) / doubt) ** 2 / 2
    weight = np.exp(likely - likely.max())
    mean = float(np.average(maybe, weights=weight))
    spread = math.sqrt(float(np.average((maybe - mean) ** 2, weights=weight)))
    return mean, max(spread, min(LEAST_DOUBT, doubt))


def _noted(
    gaps: pl.DataFrame, replays: Sequence[Replays], fitted: pl.DataFrame, setup: Setup, at: int
) -> dict[str, Noted]:
    """The spools fitted to every machine of which anything was noted, and what its prints used, in order."""
    fits = _fits(fitted)
    machines = dict.fromkeys([*gaps["machine"].unique(maintain_order=True), *fits])
    uses: dict[str, list[tuple[Use, str | None]]] = {machine: [] for machine in machines}
    for machine, use, material in [*announced(gaps, setup, at), *untold(replays, gaps, setup, at)]:
        uses[machine].append((use, material))
    return {
        machine: (fits.get(machine, []), sorted(mine, key=lambda use: use[0].begin)) for machine, mine in uses.items()
    }


def _books(noted: Mapping[str, Noted], setup: Setup, at: int, usage: Usage) -> list[Book]:
    """The book of every machine, told up to `at`."""
    packs = _packs(noted, setup)
    return [_told(Book(machine, packs, usage), fits, uses, at) for machine, (fits, uses) in noted.items()]


def _packs(noted: Mapping[str, Noted], setup: Setup) -> dict[str, float]:
    """Net grams of a full spool of every material: what most of those fitted held, where they are enough to tell, else
    what the set-up says.
    """
    packs = {row.material: row.pack for row in setup.history(Material)}
    held: dict[str, Counter[float]] = {}
    for fits, _ in noted.values():
        for fit in fits:
            held.setdefault(fit.material, Counter())[fit.grams] += 1
    usual = {name: counted.most_common(1)[0] for name, counted in held.items() if counted.total() >= ENOUGH}
    return packs | {name: grams for name, (grams, times) in usual.items() if times > held[name].total() / 2}


def _fits(fitted: pl.DataFrame) -> dict[str, list[FittedSpool]]:
    rows = fitted.sort("at", "id").select("machine", pl.col("at").dt.epoch("us"), "material", "grams", "left_grams")
    found: dict[str, list[FittedSpool]] = {}
    for machine, *told in rows.iter_rows():
        found.setdefault(machine, []).append(FittedSpool(*told))
    return found


def _told(book: Book, fits: Sequence[FittedSpool], uses: Sequence[tuple[Use, str | None]], now: int) -> Book:
    """Fits and prints in the order in which they happened; a spool fitted into a print splits what it uses."""
    waiting = list(fits)
    for use, material in uses:
        while waiting and waiting[0].at <= use.begin + AT_THE_START:
            fit = waiting.pop(0)
            book.fit(fit, following=use if abs(use.begin - fit.at) <= AT_THE_START else None)
        rest = use
        while waiting and waiting[0].at < use.end:
            fit = waiting.pop(0)
            rest = book.fit_into(rest, fit, now)
        (book.run if rest.until == FAR else book.feed)(rest, material if rest is use else None)
    for fit in waiting:
        book.fit(fit)
    return book
