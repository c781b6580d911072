"""What sightings tell of how long prints take, and how far that hangs on how long finished prints wait.

A print is found done some time after it ended. How long it had waited by then nobody saw: prints of a file that are
much alike and wait a while before hands come look much like prints that differ more, take longer and are found at once.
So for every spread of one print's ratio true / stated the waits are given the life table that fits it best (EM), and
each way so found is as likely as its likelihood and what is usual have it: how far they lie apart is doubt. The
likelihood counts for no more prints than are independent, since those of one visit, shift and person are not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from core.arrays import Flags, Numbers, Rows
from core.epoch import FAR, HOUR, MINUTE
from core.habits.waits import PossibleWaits, WaitLaws, at_any_time
from core.staffed import Staffed
from core.statistics.hazard import Hazard

#: A print file of one revision on one model of machine.
Kind = tuple[str, int, str]

#: Ratios true / stated that are thought of, one as much longer than the last as any other.
RATIOS = np.geomspace(0.70, 1.50, 161)
#: Two prints of a file are never quite alike: the spreads that are tried (of one print's ratio).
SPREADS = (0.004, 0.007, 0.011, 0.018, 0.03, 0.05)
#: The usual one, and how much shops differ in it (spread of its logarithm).
USUAL_SPREAD, SPREADS_SPREAD = 0.010, 0.7
#: How much ratios differ (spreads of their logarithm): shops, and the kinds of prints of one.
SHOP_SPREAD, KINDS_SPREAD = 0.15, 0.045
#: Of a print taken off before it can have ended the file or the time is wrong; such slips are one in so many.
WRONG = 0.03
#: Nobody taps a removal sooner than this after the print ended (microseconds).
AT_LEAST = MINUTE
#: A print tells of its file's time if it ended, this likely, while people were in.
TELLS = 0.9
#: Steps of fitting the waits to a spread.
STEPS = 3
#: So many prints tell of the spread and the waits what they tell; more of them are no more independent.
INDEPENDENT = 100
#: A way that is less likely than this is left out.
LEAST_SHARE = 0.02


@dataclass(frozen=True)
class Way:
    """One way in which the prints of a shop may be alike: the `spread` of one print's ratio and the waits that go with
    it, the shop's ratio (logarithm) by them, and how likely it is.
    """

    share: float
    spread: float
    laws: WaitLaws
    shop: float


@dataclass(frozen=True)
class Likelihoods:
    """What was seen of prints, as their waits have it: its likelihood for each ratio of each print, how likely these
    are about their kind's, and the logarithm of that of all prints of each kind for the kind's ratio [kinds, ratios].
    """

    laws: WaitLaws
    chances: Numbers
    about: Numbers
    of_kinds: Numbers


class Sightings:
    """The prints `mine` (places by kind) of `prints` with the ends that every one of `ratios` would give them.

    What can be told of waits (`waits`) has a row for each possible end of a print that ended: the place of the `print`
    and that of its `own` ratio. Parts take `taking_off` hours to come off.
    """

    def __init__(
        self,
        prints: pl.DataFrame,
        mine: Mapping[Kind, Rows],
        staffed: Staffed,
        taking_off: float,
        ratios: Numbers = RATIOS,
    ) -> None:
        self.ratios, self.mine = ratios, mine
        began, printing = prints["began"].to_numpy(), prints["printing"].to_numpy()
        over = prints["over"].fill_null(FAR).to_numpy()
        off = prints["off"].fill_null(FAR).to_numpy()
        ends = began[:, None] + (ratios * HOUR * prints["stated"].to_numpy()[:, None]).astype(np.int64)
        ended = over < FAR
        removed = ended & (off < FAR)
        latest = np.where(ended, np.where(off == over, over - AT_LEAST, over), FAR)
        off_by = (prints["off_by"].to_numpy() * HOUR).astype(np.int64)
        possible = (ends > (printing - off_by)[:, None]) & (ends <= (latest + off_by)[:, None])
        self.elsewhere = np.where(possible, 1.0, WRONG * at_any_time(removed)[:, None])
        self.print, self.own = np.nonzero(possible & ended[:, None])
        came = np.where(removed, off - int(taking_off * HOUR), over)
        self.waits = PossibleWaits(
            ends[self.print, self.own], came[self.print], removed[self.print], off_by[self.print], staffed
        )
        self.kind = np.zeros(len(prints), dtype=np.int64)
        for place, rows in enumerate(mine.values()):
            self.kind[rows] = place

    def of_prints(self, way: Way) -> Numbers:
        """The logarithm of each print's likelihood by its kind's ratio [prints, ratios]."""
        return np.log(self._of_prints(way.laws) @ self._about(way.spread))

    def _likelihoods(self, laws: WaitLaws, spread: float) -> Likelihoods:
        chances, about = self._of_prints(laws), self._about(spread)
        of_kinds = [np.log(chances[rows] @ about).sum(axis=0) for rows in self.mine.values()]
        return Likelihoods(laws, chances, about, np.array(of_kinds))

    def _of_prints(self, laws: WaitLaws) -> Numbers:
        """The likelihood of what was seen of each print for each of its possible ends; else that of a slip."""
        chances = self.elsewhere.copy()
        chances[self.print, self.own] = self.waits.chances(laws)
        return chances

    def _about(self, spread: float) -> Numbers:
        """How likely a print of each kind's ratio (columns) has each ratio of its own (rows)."""
        logs = np.log(self.ratios)
        about = np.exp(-0.5 * ((logs[:, None] - logs) / spread) ** 2)
        return np.asarray(about / about.sum(axis=0))

    def told(self, laws: WaitLaws) -> Flags:
        """Whether each print ended, as far as can be seen, while people were in: then its sightings tell when."""
        chances = self.waits.chances(laws)
        whole = np.bincount(self.print, chances, len(self.kind))
        inside = np.bincount(self.print, np.where(self.waits.outside, 0.0, chances), len(self.kind))
        return np.asarray(inside > TELLS * np.maximum(whole, 1e-300))

    def of_kinds(self, way: Way) -> Numbers:
        """The logarithm of each kind's likelihood by its ratio [kinds, ratios]."""
        return self._likelihoods(way.laws, way.spread).of_kinds

    def ways(self) -> list[Way]:
        """The ways in which prints may be alike, one for each likely spread and the likeliest first."""
        laws = WaitLaws(Hazard.steady(0.5), Hazard.steady(1.0))
        begun = self._likelihoods(laws, USUAL_SPREAD)
        shop = max(np.log(self.ratios).tolist(), key=lambda one: self._kinds(one, begun)[1])
        laws, shop, _ = self._fitted(shop, laws, USUAL_SPREAD)
        fitted = [(spread, *self._fitted(shop, laws, spread)) for spread in SPREADS]
        logs = np.array([self._weighed(fit, spread) for spread, _, _, fit in fitted])
        shares = np.exp(logs - logs.max())
        shares[shares < LEAST_SHARE] = 0.0
        ways = [
            Way(float(share), spread, laws, shop)
            for share, (spread, laws, shop, _) in zip(shares / shares.sum(), fitted, strict=True)
            if share
        ]
        return sorted(ways, key=lambda way: -way.share)

    def _weighed(self, fit: float, spread: float) -> float:
        """The logarithm of how likely a spread is."""
        prior = -0.5 * (math.log(spread / USUAL_SPREAD) / SPREADS_SPREAD) ** 2
        return fit * min(1.0, INDEPENDENT / len(self.kind)) + prior

    def _fitted(self, shop: float, laws: WaitLaws, spread: float) -> tuple[WaitLaws, float, float]:
        """The waits that fit prints of this spread best, the shop's ratio, and the logarithm of the likelihood."""
        fit = 0.0
        for _ in range(STEPS):
            seen = self._likelihoods(laws, spread)
            kinds, fit = self._kinds(shop, seen)
            laws = self.waits.laws(laws, *self._likely(seen, kinds))
            shop = float((kinds @ np.log(self.ratios)).mean())
        return laws, shop, fit

    def _kinds(self, shop: float, seen: Likelihoods) -> tuple[Numbers, float]:
        """How likely each ratio of each kind is in a shop of this one, and the logarithm of the likelihood."""
        prior = -0.5 * ((np.log(self.ratios) - shop) / KINDS_SPREAD) ** 2
        logs = seen.of_kinds + (prior - np.log(np.exp(prior).sum()))
        top = logs.max(axis=1, keepdims=True)
        likely = np.exp(logs - top)
        whole = likely.sum(axis=1, keepdims=True)
        return likely / whole, float((np.log(whole) + top).sum()) - 0.5 * (shop / SHOP_SPREAD) ** 2

    def _likely(self, seen: Likelihoods, kinds: Numbers) -> tuple[Numbers, Numbers]:
        """How likely each possible end is by how likely the ratios of the `kinds` are, and by what was seen alone."""
        likely = (kinds @ seen.about.T)[self.kind] * seen.chances
        weights = likely[self.print, self.own] / likely.sum(axis=1)[self.print]
        return weights, seen.chances[self.print, self.own]
