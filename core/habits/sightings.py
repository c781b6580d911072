"""What sightings tell of how long prints take, and how far that hangs on how long finished prints wait.

A print is found done some time after it ended. How long it had waited by then nobody saw: a shop whose prints take
longer than stated and are found at once looks much like one whose prints take what they state and wait for the next
round. So the waits have no law of their own: for every ratio true / stated that the shop's prints may have, they are
given the life table that fits it best, and what is left of the differences is all that is known of the ratio (a profile
likelihood). Prints that end while nobody is in wait by another table, from opening on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import FAR, HOUR, MINUTE
from core.staffed import Staffed
from core.statistics.hazard import AGES, Hazard, step_of

#: A print file of one revision on one model of machine.
Kind = tuple[str, int, str]
#: Makes a life table of the waits that ended at each age and the hours waited at it.
Law = Callable[[Numbers, Numbers], Hazard]

#: Ratios true / stated that are thought of, and the steps of their logarithm in which a shop's is looked for.
RATIOS = np.linspace(0.70, 1.50, 161)
COARSE, FINE = 0.045, 0.015
LOWEST, HIGHEST = math.log(0.74), math.log(1.42)
#: Two prints of a file are never quite alike: the spreads that are tried (of one print's ratio), the usual one.
SPREADS = (0.006, 0.009, 0.013, 0.018, 0.025, 0.035, 0.05)
USUAL_SPREAD = 0.013
#: How much ratios differ (spreads of their logarithm): shops, and the kinds of prints of one.
SHOP_SPREAD, KINDS_SPREAD = 0.15, 0.045
#: Some prints waited for hours that a change nobody noted hides (this share to begin with), at any of so many hours.
HIDDEN, HIDDEN_HOURS = 0.05, 10.0
#: Of a print taken off before it can have ended the file or the time is wrong; such slips are one in so many.
WRONG = 0.03
#: Nobody taps a removal sooner than this after the print ended (microseconds): parts come off first.
TAKING_OFF = MINUTE
#: A print tells of its file's time if it ended, this likely, while people were in.
TELLS = 0.9
#: Steps of fitting the waits to a ratio.
STEPS = 3
#: That waits may be likeliest to be long, as between rounds, must be told by the logarithm of the likelihood.
FREE_COSTS = 10.0
#: Steps of a life table.
STEPS_OF_AGE = len(AGES) - 1


@dataclass(frozen=True)
class WaitLaws:
    """How long prints wait that ended while people were in, and that ended before; the share of hidden changes."""

    inside: Hazard
    outside: Hazard
    hidden: float = HIDDEN


@dataclass(frozen=True)
class ShopRatio:
    """A shop's ratio true / stated, the waits that go with it, and what not knowing them adds to the doubt of every
    ratio (spread of the logarithm).
    """

    ratio: float
    laws: WaitLaws
    doubt: float


@dataclass(frozen=True)
class Likelihoods:
    """What was seen of prints, as their waits have it: its likelihood for each ratio of each print, and the logarithm
    of that of all prints of each kind for the kind's ratio [kinds, ratios].
    """

    laws: WaitLaws
    chances: Numbers
    of_kinds: Numbers


class Sightings:
    """The prints `mine` (places by kind) of `prints` with the ends that every one of `ratios` would give them.

    What can be told of waits stands in a row for each possible end of a print that ended: the print's place, that of
    its `own` ratio, the `step` of the life tables at which the wait was over (those for outside follow those for
    inside), the hours `into` it, and whether a removal says so.
    """

    def __init__(
        self, prints: pl.DataFrame, mine: Mapping[Kind, Rows], staffed: Staffed, ratios: Numbers = RATIOS
    ) -> None:
        self.ratios, self.mine = ratios, mine
        began, printing = prints["began"].to_numpy(), prints["printing"].to_numpy()
        over = prints["over"].fill_null(FAR).to_numpy()
        off = prints["off"].fill_null(FAR).to_numpy()
        ends = began[:, None] + (ratios * HOUR * prints["stated"].to_numpy()[:, None]).astype(np.int64)
        ended = over < FAR
        removed = ended & (off < FAR)
        latest = np.where(ended, np.where(off == over, over - TAKING_OFF, over), FAR)
        off_by = (prints["off_by"].to_numpy() * HOUR).astype(np.int64)
        possible = (ends > (printing - off_by)[:, None]) & (ends <= (latest + off_by)[:, None])
        hidden = np.where(removed, 1 / HIDDEN_HOURS, 0.5)
        self.elsewhere = np.where(possible, 1.0, WRONG * hidden[:, None])
        self.print, self.own = np.nonzero(possible & ended[:, None])
        self.removed, self.hidden = removed[self.print], hidden[self.print]
        self._wait(ends[self.print, self.own], np.where(removed, off, over)[self.print], staffed)
        self.kind = np.zeros(len(prints), dtype=np.int64)
        for place, rows in enumerate(mine.values()):
            self.kind[rows] = place

    def _wait(self, ends: Micros, until: Micros, staffed: Staffed) -> None:
        opens, closes = staffed.spell_at(ends)
        waited = np.maximum(staffed.worked(until) - staffed.worked(ends), 0) / HOUR
        self.outside, step = opens == closes, step_of(waited)
        self.step, self.into = step + self.outside * STEPS_OF_AGE, waited - AGES[step]

    def _chances(self, laws: WaitLaws) -> Numbers:
        """The likelihood of what was seen for each possible end: of a removal then, or of waiting on until then."""
        both = laws.inside, laws.outside
        rate = np.concatenate([law.rates for law in both])[self.step]
        gathered = np.concatenate([law.at_edges[:-1] for law in both])[self.step] + rate * self.into
        density = np.where(self.removed, rate, 1.0) * np.exp(-gathered)
        return np.asarray((1 - laws.hidden) * density + laws.hidden * self.hidden)

    def _likelihoods(self, laws: WaitLaws) -> Likelihoods:
        chances = self._of_prints(laws)
        return Likelihoods(laws, chances, self._of_kinds(chances, self._usual))

    def _of_prints(self, laws: WaitLaws) -> Numbers:
        """The likelihood of what was seen of each print for each of its possible ends; else that of a slip."""
        chances = self.elsewhere.copy()
        chances[self.print, self.own] = self._chances(laws)
        return chances

    def _of_kinds(self, chances: Numbers, about: Numbers) -> Numbers:
        """The logarithm of the likelihood of all prints of each kind for each ratio of it."""
        return np.array([np.log(chances[rows] @ about).sum(axis=0) for rows in self.mine.values()])

    def _about(self, spread: float) -> Numbers:
        """How likely a print of each kind's ratio (columns) has each ratio of its own (rows)."""
        about = np.exp(-0.5 * ((self.ratios[:, None] - self.ratios) / (spread * self.ratios)) ** 2)
        return np.asarray(about / about.sum(axis=0))

    @cached_property
    def _usual(self) -> Numbers:
        return self._about(USUAL_SPREAD)

    def told(self, laws: WaitLaws) -> Flags:
        """Whether each print ended, as far as can be seen, while people were in: then its sightings tell when."""
        chances = self._chances(laws)
        whole = np.bincount(self.print, chances, len(self.kind))
        inside = np.bincount(self.print, np.where(self.outside, 0.0, chances), len(self.kind))
        return np.asarray(inside > TELLS * np.maximum(whole, 1e-300))

    def best_spread(self, laws: WaitLaws) -> tuple[float, Numbers]:
        """The spread of one print's ratio that fits best, and the logarithm of each kind's likelihood by its ratio."""
        chances = self._of_prints(laws)
        tried = [(spread, self._of_kinds(chances, self._about(spread))) for spread in SPREADS]
        return max(tried, key=lambda one: sum(map(_log_mean, one[1])))

    def shop_ratio(self) -> ShopRatio:
        """The shop's ratio by the profile of its likelihood over the waits, and the doubt that this adds."""
        # The first step of every fit has the same waits.
        begun = self._likelihoods(WaitLaws(Hazard.steady(0.5), Hazard.steady(1.0)))
        found = {float(shop): self._fitted(float(shop), begun) for shop in np.arange(LOWEST, HIGHEST, COARSE)}
        top = max(found, key=lambda shop: found[shop][1])
        for shop in (float(top + step) for step in np.arange(-COARSE + FINE, COARSE - FINE / 2, FINE)):
            if not math.isclose(shop, top):
                found[shop] = self._fitted(shop, begun)
        logs = np.array(sorted(found))
        best, spread = _mean_and_spread(logs, np.array([found[shop][1] for shop in logs]))
        laws = found[min(found, key=lambda shop: abs(shop - best))][0]
        seen = self._likelihoods(laws)
        _, fixed = _mean_and_spread(logs, np.array([self._kinds(float(shop), seen)[1] for shop in logs]))
        return ShopRatio(math.exp(best), laws, math.sqrt(max(spread**2 - fixed**2, 0.0)))

    def _fitted(self, shop: float, begun: Likelihoods) -> tuple[WaitLaws, float]:
        """The waits that fit a shop of this ratio (logarithm) best, and the logarithm of the likelihood with them."""
        found = []
        for law, costs in ((Hazard.falling, 0.0), (Hazard.fitted, FREE_COSTS)):
            laws = begun.laws
            for step in range(STEPS):
                seen = self._likelihoods(laws) if step else begun
                kinds, fit = self._kinds(shop, seen)
                laws = self._laws(seen, self._weights(seen, kinds), law)
            found.append((laws, fit - costs))
        return max(found, key=lambda one: one[1])

    def _kinds(self, shop: float, seen: Likelihoods) -> tuple[Numbers, float]:
        """How likely each ratio of each kind is in a shop of this one, and the logarithm of the likelihood."""
        prior = -0.5 * ((np.log(self.ratios) - shop) / KINDS_SPREAD) ** 2
        logs = seen.of_kinds + (prior - np.log(np.exp(prior).sum()))
        top = logs.max(axis=1, keepdims=True)
        likely = np.exp(logs - top)
        whole = likely.sum(axis=1, keepdims=True)
        return likely / whole, float((np.log(whole) + top).sum()) - 0.5 * (shop / SHOP_SPREAD) ** 2

    def _weights(self, seen: Likelihoods, kinds: Numbers) -> Numbers:
        """How likely each possible end is by how likely the ratios of the `kinds` are."""
        likely = (kinds @ self._usual.T)[self.kind] * seen.chances
        return np.asarray(likely[self.print, self.own] / likely.sum(axis=1)[self.print])

    def _laws(self, seen: Likelihoods, weights: Numbers, law: Law) -> WaitLaws:
        """The waits by how likely each possible end is, and how likely its wait hides a change."""
        mine = weights * (1 - seen.laws.hidden * self.hidden / seen.chances[self.print, self.own])
        share = 1 - (mine.sum() + 10 * (1 - HIDDEN)) / (weights.sum() + 10)
        (inside, outside), waited = self._tables(mine)
        laws = law(inside, waited[0]), Hazard.fitted(outside, waited[1])
        return WaitLaws(*laws, float(np.clip(share, 0.01, 0.3)))

    def _tables(self, weights: Numbers) -> tuple[Numbers, Numbers]:
        """Waits with these weights that ended at each step of the two life tables, and the hours waited at it."""
        counted = weights, weights * self.into, np.where(self.removed, weights, 0.0)
        tables = np.array([np.bincount(self.step, one, 2 * STEPS_OF_AGE) for one in counted])
        over, into, ended = tables.reshape(3, 2, STEPS_OF_AGE)
        beyond = np.cumsum(over[:, ::-1], axis=1)[:, ::-1] - over
        return ended, into + beyond * np.diff(AGES)


def _mean_and_spread(at: Numbers, logs: Numbers) -> tuple[float, float]:
    """Mean and standard deviation of a density known by its logarithm at some points, straight between them."""
    fine = np.arange(at[0], at[-1], FINE / 4)
    weight = np.interp(fine, at, logs)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    mean = float((weight * fine).sum())
    return mean, math.sqrt(float((weight * (fine - mean) ** 2).sum()))


def _log_mean(values: Numbers) -> float:
    return float(np.log(np.exp(values - values.max()).mean()) + values.max())
