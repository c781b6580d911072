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
#: So many prints say enough of the shop's ratio, and keep the looking for it quick.
ENOUGH_PRINTS = 300
#: Steps of fitting the waits to a ratio.
STEPS = 3
#: That waits may be likeliest to be long, as between rounds, must be told by the logarithm of the likelihood.
FREE_COSTS = 10.0


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


class Sightings:
    """The prints `mine` (places by kind) of `prints` with the ends that every one of `ratios` would give them."""

    ratios = RATIOS

    def __init__(self, prints: pl.DataFrame, mine: Mapping[Kind, Rows], staffed: Staffed) -> None:
        began, printing = prints["began"].to_numpy(), prints["printing"].to_numpy()
        over = prints["over"].fill_null(FAR).to_numpy()
        off = prints["off"].fill_null(FAR).to_numpy()
        ends = began[:, None] + (RATIOS * HOUR * prints["stated"].to_numpy()[:, None]).astype(np.int64)
        opens, closes = staffed.spell_at(ends.ravel())
        self.outside = (opens == closes).reshape(ends.shape)
        self.ended = over < FAR
        self.removed = self.ended & (off < FAR)
        latest = np.where(self.ended, np.where(off == over, over - TAKING_OFF, over), FAR)
        off_by = (prints["off_by"].to_numpy() * HOUR).astype(np.int64)
        self.possible = (ends > (printing - off_by)[:, None]) & (ends <= (latest + off_by)[:, None])
        until = np.where(self.removed, off, over)
        self.waited = _staffed_hours(staffed, ends, np.where(self.ended, until, began))
        self.step = step_of(self.waited)
        self.mine = mine
        self.kind = np.zeros(len(prints), dtype=np.int64)
        for place, rows in enumerate(mine.values()):
            self.kind[rows] = place

    def newest(self, count: int) -> Sightings:
        """The newest of them alone, with every other ratio."""
        found = object.__new__(Sightings)
        found.ratios = RATIOS[::2]
        for name in ("outside", "possible", "waited", "step"):
            setattr(found, name, getattr(self, name)[-count:, ::2])
        for name in ("ended", "removed", "kind"):
            setattr(found, name, getattr(self, name)[-count:])
        found.mine = {kind: np.flatnonzero(found.kind == place) for place, kind in enumerate(self.mine)}
        return found

    def chances(self, laws: WaitLaws) -> Numbers:
        """The likelihood of what was seen of each print for each of its possible ends; else that of a slip."""
        seen = (1 - laws.hidden) * self._density(laws) + laws.hidden * self._hidden
        return np.where(self.possible, np.where(self.ended[:, None], seen, 1.0), WRONG * self._hidden)

    @cached_property
    def _hidden(self) -> Numbers:
        """The likelihood of what was seen of each print [prints, 1] where its wait hides a change."""
        return np.where(self.removed, 1 / HIDDEN_HOURS, 0.5)[:, None]

    def _density(self, laws: WaitLaws) -> Numbers:
        """The density of a removal after each wait, and the chance of still waiting where it was only seen done."""
        both = laws.inside, laws.outside
        at = self.outside.astype(np.int64), self.step
        rate = np.array([law.rates for law in both])[at]
        gathered = np.array([law.at_edges for law in both])[at] + rate * (self.waited - AGES[self.step])
        return np.asarray(np.where(self.removed[:, None], rate, 1.0) * np.exp(-gathered))

    def _about(self, spread: float) -> Numbers:
        """How likely a print of each kind's ratio (columns) has each ratio of its own (rows)."""
        about = np.exp(-0.5 * ((self.ratios[:, None] - self.ratios) / (spread * self.ratios)) ** 2)
        return np.asarray(about / about.sum(axis=0))

    def told(self, laws: WaitLaws) -> Flags:
        """Whether each print ended, as far as can be seen, while people were in: then its sightings tell when."""
        chances = np.where(self.possible, self.chances(laws), 0.0)
        inside = np.where(self.outside, 0.0, chances).sum(axis=1)
        return np.asarray(self.ended & (inside > TELLS * np.maximum(chances.sum(axis=1), 1e-300)))

    def best_spread(self, laws: WaitLaws) -> tuple[float, Numbers]:
        """The spread of one print's ratio that fits best, and the logarithm of each one's likelihood by its kind's."""
        chances = self.chances(laws)
        tried = [(spread, np.log(chances @ self._about(spread))) for spread in SPREADS]
        fits = [sum(_log_mean(logs[rows].sum(axis=0)) for rows in self.mine.values() if len(rows)) for _, logs in tried]
        return tried[int(np.argmax(fits))]

    def shop_ratio(self) -> ShopRatio:
        """The shop's ratio by the profile of its likelihood over the waits, and the doubt that this adds."""
        few = self.newest(ENOUGH_PRINTS)
        grid = np.arange(LOWEST, HIGHEST, COARSE)
        found = {float(shop): few._fitted(float(shop)) for shop in grid}  # noqa: SLF001 - the same class
        top = max(found, key=lambda shop: found[shop][1])
        for shop in (float(top + step) for step in np.arange(-COARSE + FINE, COARSE - FINE / 2, FINE)):
            if not math.isclose(shop, top):
                found[shop] = few._fitted(shop)  # noqa: SLF001
        logs = np.array(sorted(found))
        best, spread = _mean_and_spread(logs, np.array([found[shop][1] for shop in logs]))
        laws = found[min(found, key=lambda shop: abs(shop - best))][0]
        _, fixed = _mean_and_spread(logs, np.array([few._weighed(float(shop), laws)[2] for shop in logs]))  # noqa: SLF001
        return ShopRatio(math.exp(best), laws, math.sqrt(max(spread**2 - fixed**2, 0.0)))

    def _fitted(self, shop: float) -> tuple[WaitLaws, float]:
        """The waits that fit a shop of this ratio (logarithm) best, and the logarithm of the likelihood with them."""
        found = []
        for law, costs in ((Hazard.falling, 0.0), (Hazard.fitted, FREE_COSTS)):
            laws = WaitLaws(Hazard.steady(0.5), Hazard.steady(1.0))
            for _ in range(STEPS):
                chances, weights, fit = self._weighed(shop, laws)
                laws = self._laws(weights, laws.hidden * self._hidden / chances, law)
            found.append((laws, fit - costs))
        return max(found, key=lambda one: one[1])

    def _weighed(self, shop: float, laws: WaitLaws) -> tuple[Numbers, Numbers, float]:
        """The `chances` with these waits, how likely each end of each print is, and the logarithm of the likelihood."""
        chances, about = self.chances(laws), self._about(USUAL_SPREAD)
        likelihood = np.log(chances @ about)
        logs = np.zeros((len(self.mine), len(self.ratios)))
        np.add.at(logs, self.kind, likelihood)
        prior = -0.5 * ((np.log(self.ratios) - shop) / KINDS_SPREAD) ** 2
        prior -= np.log(np.exp(prior).sum())
        logs += prior
        top = logs.max(axis=1, keepdims=True)
        of_kind = np.exp(logs - top)
        fit = float((np.log(of_kind.sum(axis=1)) + top[:, 0]).sum())
        of_kind /= of_kind.sum(axis=1, keepdims=True)
        weights = (of_kind @ about.T)[self.kind] * chances
        weights /= weights.sum(axis=1, keepdims=True)
        return chances, weights, fit - 0.5 * (shop / SHOP_SPREAD) ** 2

    def _laws(self, weights: Numbers, hidden: Numbers, law: Law) -> WaitLaws:
        """The waits by how likely each end of each print is, and how likely its wait hides a change."""
        over = np.where(self.possible & self.ended[:, None], weights, 0.0)
        mine = over * (1 - hidden)
        share = 1 - (mine.sum() + 10 * (1 - HIDDEN)) / (over.sum() + 10)
        inside = self._table(np.where(self.outside, 0.0, mine), law)
        outside = self._table(np.where(self.outside, mine, 0.0), Hazard.fitted)
        return WaitLaws(inside, outside, float(np.clip(share, 0.01, 0.3)))

    def _table(self, weights: Numbers, law: Law) -> Hazard:
        """The life table of waits with these weights."""
        size = len(AGES) - 1
        step = self.step.ravel()
        count = np.bincount(step, weights.ravel(), size)
        into = np.bincount(step, (weights * (self.waited - AGES[self.step])).ravel(), size)
        beyond = np.concatenate([np.cumsum(count[::-1])[::-1][1:], [0.0]])
        ended = np.bincount(step, np.where(self.removed[:, None], weights, 0.0).ravel(), size)
        return law(np.asarray(ended, dtype=np.float64), into + beyond * np.diff(AGES))


def _staffed_hours(staffed: Staffed, ends: Micros, until: Micros) -> Numbers:
    waited = staffed.worked(until)[:, None] - staffed.worked(ends.ravel()).reshape(ends.shape)
    return np.asarray(np.maximum(waited, 0) / HOUR)


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
