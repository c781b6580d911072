"""What will be used: a forecast for every item from its weeks so far, by the method that would have served it best.

An item's method is chosen by what each would have said in the past (a backtest with a rolling origin, over the
time that an order must bridge). One item tells little of the season, so all items of a group share one; a method
that foresees the season is judged with the season known at the time, or hindsight would prove it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from core.arrays import Flags, Numbers, Rows
from core.statistics.seasons import YEAR, seasons

#: Weeks of the past that use is learned from.
PAST = 156
#: Weeks of known use below which the mean must do.
SHORT = 12
#: Weeks that a mean is taken of, and that a level starts from.
RECENT = 8
#: Weeks of origins that the past is judged over, and between two looks at the season among them.
BACK, SEASON_HOLDS = 52, 4
#: So many judgements of its own weigh as much as those of an item's group, and as its weeks one by one.
SHARED = 8.0
#: How demand's variance grows with its mean: 1 when events are independent, 2 when they come together.
VARIANCE_POWER = 1.5
#: What a season may change within the time to be bridged, as a share, while none has been seen yet.
UNSEEN = 0.25
#: The smoothing constant of intermittent use.
INTERMITTENT = 0.1

#: Smoothing: name, weight of the last week in the level, in the trend, what a week leaves of a trend, with the season.
SMOOTHING = (
    ("level", 0.05, 0.0, 0.0, False),
    ("level", 0.2, 0.0, 0.0, False),
    ("trend", 0.1, 0.02, 0.98, False),
    ("trend", 0.3, 0.1, 0.98, False),
    ("season", 0.05, 0.0, 0.0, True),
    ("season", 0.15, 0.0, 0.0, True),
    ("season and trend", 0.08, 0.02, 0.98, True),
)
#: The methods, simplest first: of two as good the first is taken.
METHODS = ("mean", "intermittent", *(name for name, *_ in SMOOTHING))
SEASONAL = np.array([False, False, *(seasonal for *_, seasonal in SMOOTHING)])


@dataclass(frozen=True)
class Forecast:
    """What is expected of each item, in its units.

    `weekly` [items, ahead] is the use of each week to come, `total` and `sd` [items] the use over the time to be
    bridged and one standard deviation of how far off that is. `method` is one of `METHODS`, or "none" where no
    week is known: all else is NaN then. `short` says that fewer than `SHORT` weeks are.
    """

    method: tuple[str, ...]
    weekly: Numbers
    total: Numbers
    sd: Numbers
    short: Flags


def forecast(use: Numbers, bridge: Numbers, groups: Rows, ahead: int) -> Forecast:
    """The forecast after the last column of `use` [items, weeks], in which NaN is a week of which nothing is known.

    `bridge` [items] is the time in weeks over which a forecast must hold; `groups` [items] numbers the items that
    share a season; `ahead` is how many weeks are told one by one. An item depends on no item of another group.
    """
    weeks = max(ahead, int(np.ceil(bridge.max(initial=1))))
    past = _Past(use, bridge, np.unique(groups, return_inverse=True)[1], weeks)
    chosen, scale = _choice(past)
    known = past.known.sum(axis=1)
    total, weekly = past.told(chosen)
    method = tuple(METHODS[m] if n else "none" for m, n in zip(chosen, known, strict=True))
    unseen = np.where(past.seasoned, 0.0, UNSEEN * total)
    sd = np.sqrt(scale * total**VARIANCE_POWER + unseen**2)
    return Forecast(method, weekly[:, :ahead], total, sd, known < SHORT)


def smoothed(
    use: Numbers, season: Numbers, weights: tuple[Numbers, Numbers, Numbers], level: Numbers, trend: Numbers
) -> tuple[Numbers, Numbers]:
    """Level and trend before each week and after the last: [..., weeks + 1] each.

    Exponential smoothing with a damped trend and given seasonal indices (Holt; Winters, Management Science 6 (1960)
    324-342; Gardner and McKenzie, Management Science 31 (1985) 1237-1246). `weights` are those of the last week in
    the level and in the trend, and what a week leaves of a trend. `use` and `season` are [..., weeks], the rest
    [...]. A week of NaN teaches nothing.
    """
    alpha, beta, damping = weights
    levels, trends = [level], [trend]
    for week in range(use.shape[-1]):
        drift = damping * trend
        told = use[..., week] / season[..., week]
        unknown = np.isnan(told)
        expected = level + drift
        new = np.where(unknown, expected, expected + alpha * (told - expected))
        trend = np.where(unknown, drift, drift + beta * (new - level - drift))
        level = new
        levels.append(level)
        trends.append(trend)
    return np.stack(levels, axis=-1), np.stack(trends, axis=-1)


def intermittent(use: Numbers, alpha: float = INTERMITTENT) -> Numbers:
    """Expected use a week before each week and after the last [items, weeks + 1], where most weeks have none.

    Size and interval are smoothed apart (Croston, Operational Research Quarterly 23 (1972) 289-303), less the bias
    of their ratio (Syntetos and Boylan, Int. J. Forecasting 21 (2005) 303-314). Nothing before the first use.
    """
    size, interval, since = np.zeros(len(use)), np.ones(len(use)), np.ones(len(use))
    rates = [size]
    for week in use.T:
        used, first = week > 0, size == 0
        step = np.where(first, 1.0, alpha)
        size = np.where(used, size + step * (week - size), size)
        interval = np.where(used, interval + step * (since - interval), interval)
        since = np.where(used, 1.0, since + ~np.isnan(week))
        rates.append((1 - alpha / 2) * size / interval)
    return np.stack(rates, axis=-1)


@dataclass(frozen=True)
class _Past:
    """What every method would have said at each origin (the number of weeks known then); the last is now."""

    use: Numbers
    bridge: Numbers
    groups: Rows
    ahead: int

    @cached_property
    def known(self) -> Flags:
        return ~np.isnan(self.use)

    @cached_property
    def origins(self) -> Rows:
        weeks = self.use.shape[1]
        return np.arange(max(0, weeks - BACK - int(np.ceil(self.bridge.max(initial=0)))), weeks + 1)

    @cached_property
    def share(self) -> Numbers:
        """How much of each week ahead is to be bridged [items, ahead]."""
        return np.clip(self.bridge[:, None] - np.arange(self.ahead), 0, 1)

    @cached_property
    def looks(self) -> Rows:
        """Which look at the season was the last at each origin; the first look is now."""
        return np.asarray(-((self.origins - self.use.shape[1]) // SEASON_HOLDS))

    @cached_property
    def indices(self) -> Numbers:
        """The season as each look saw it [looks, items, weeks and weeks ahead]."""
        weeks = self.use.shape[1]
        at = [max(weeks - SEASON_HOLDS * look, 0) for look in range(int(self.looks.max()) + 1)]
        return np.stack([seasons(self.use, self.groups, until, weeks + self.ahead)[self.groups] for until in at])

    @cached_property
    def told_of(self) -> Flags:
        """The items of whose group the season could be told at each origin [items, origins]."""
        until = self.use.shape[1] - SEASON_HOLDS * self.looks
        seen = np.pad(np.cumsum(self.known, axis=1), ((0, 0), (1, 0)))[:, np.maximum(until, 0)] >= int(YEAR)
        members = self.groups == np.arange(self.groups.max(initial=-1) + 1)[:, None]
        return np.asarray((members @ seen)[self.groups])

    @property
    def seasoned(self) -> Flags:
        """The items of whose group the season can be told now."""
        return self.told_of[:, -1]

    @cached_property
    def foreseen(self) -> Numbers:
        """The season of the weeks ahead of each origin as it was known then [items, origins, ahead]."""
        column = self.origins[:, None] + np.arange(self.ahead)
        return np.asarray(np.moveaxis(self.indices[self.looks[:, None], :, column], -1, 0))

    @cached_property
    def states(self) -> tuple[Numbers, Numbers]:
        """Level and trend of each method at each origin [methods, items, origins]."""
        plain = _recent(self.use)[:, self.origins], intermittent(self.use)[:, self.origins]
        found = [(state, np.zeros_like(state)) for state in plain]
        found += [self._smoothed(alpha, beta, damping, seasonal) for _, alpha, beta, damping, seasonal in SMOOTHING]
        return np.stack([level for level, _ in found]), np.stack([trend for _, trend in found])

    def _smoothed(self, alpha: float, beta: float, damping: float, seasonal: bool) -> tuple[Numbers, Numbers]:
        season = self.indices if seasonal else np.ones((1, *self.indices.shape[1:]))
        season = season[..., : self.use.shape[1]]
        start = _first(self.use / season)
        weights = np.array(alpha), np.array(beta), np.array(damping)
        states = smoothed(np.broadcast_to(self.use, season.shape), season, weights, start, np.zeros_like(start))
        look = self.looks if seasonal else np.zeros_like(self.looks)
        level, trend = (state[look, :, self.origins].T for state in states)
        return level, trend

    @cached_property
    def said(self) -> Numbers:
        """The use over the time to be bridged as each method foresaw it [methods, items, origins]."""
        levels, trends = self.states
        flat = self.share.sum(axis=1)[:, None]
        wavy = np.einsum("ih,ioh->io", self.share, self.foreseen)
        said = levels * np.where(SEASONAL[:, None, None], wavy, flat)
        for m, (_, _, _, damping, seasonal) in enumerate(SMOOTHING, start=len(METHODS) - len(SMOOTHING)):
            grown = self.share * np.cumsum(damping ** np.arange(1, self.ahead + 1))
            slope = np.einsum("ih,ioh->io", grown, self.foreseen) if seasonal else grown.sum(axis=1)[:, None]
            said[m] += trends[m] * slope
        return np.asarray(np.maximum(said, 0.0))

    @cached_property
    def came(self) -> Numbers:
        """What was used over that time [items, origins]; NaN where it is not over, or not known."""
        column = self.origins[:, None] + np.arange(self.ahead)
        ran = np.pad(self.use, ((0, 0), (0, self.ahead)), constant_values=np.nan)[:, column]
        share = self.share[:, None, :]
        return np.asarray(np.where(share > 0, share * ran, 0.0).sum(axis=-1))

    @cached_property
    def judged(self) -> Flags:
        """The origins that count: what came is known, and what was said rested on more than the first weeks."""
        enough = np.pad(np.cumsum(self.known, axis=1), ((0, 0), (1, 0)))[:, self.origins] >= RECENT
        recent = self.origins + self.bridge[:, None] > self.use.shape[1] - BACK
        return np.asarray(~np.isnan(self.came) & enough & recent)

    def told(self, chosen: Rows) -> tuple[Numbers, Numbers]:
        """What the chosen method says now: the total [items] and the weeks [items, ahead]."""
        item = np.arange(len(chosen))
        levels, trends = (state[chosen, item, -1] for state in self.states)
        damping = np.array([0.0, 0.0, *(d for _, _, _, d, _ in SMOOTHING)])[chosen]
        grown = np.cumsum(damping[:, None] ** np.arange(1, self.ahead + 1), axis=1)
        season = np.where(SEASONAL[chosen][:, None], self.foreseen[:, -1], 1.0)
        weekly = np.maximum((levels[:, None] + trends[:, None] * grown) * season, 0.0)
        some: Flags = self.known.sum(axis=1, keepdims=True) > 0
        weekly = np.where(some, weekly, np.nan)
        return np.asarray((weekly * self.share).sum(axis=1)), weekly


def _recent(use: Numbers) -> Numbers:
    """The mean of the last `RECENT` known weeks before each week and after the last [items, weeks + 1]; 0 of none."""
    known: Flags = np.asarray(~np.isnan(use))
    # Known weeks are moved together, or a gap would make the mean one of fewer weeks.
    row, order = np.arange(len(use))[:, None], np.argsort(np.isnan(use), axis=1, kind="stable")
    run = np.cumsum(np.where(known, use, 0.0)[row, order], axis=1)
    run = np.pad(run, ((0, 0), (1, 0)))
    seen = np.pad(np.cumsum(known, axis=1), ((0, 0), (1, 0)))
    since = np.maximum(seen - RECENT, 0)
    return np.asarray((run[row, seen] - run[row, since]) / np.maximum(seen - since, 1))


def _first(use: Numbers) -> Numbers:
    """The mean of the first `RECENT` known weeks [...]; 0 of none."""
    known: Flags = np.asarray(~np.isnan(use))
    early = known & (np.cumsum(known, axis=-1) <= RECENT)
    return np.asarray(np.where(early, use, 0.0).sum(axis=-1) / np.maximum(early.sum(axis=-1), 1))


def _choice(past: _Past) -> tuple[Rows, Numbers]:
    """Each item's method [items] and the variance of its error over mean ** `VARIANCE_POWER` [items]."""
    error = np.where(past.judged, past.came - past.said, 0.0) ** 2
    chosen = np.argmin(_score(past, error), axis=0)
    item = np.arange(len(chosen))
    spread = np.where(past.judged, past.said[chosen, item] ** VARIANCE_POWER, 0.0).sum(axis=1)
    seen = error[chosen, item].sum(axis=1) / np.where(spread > 0, spread, 1.0)
    tries = np.where(spread > 0, past.judged.sum(axis=1) / np.maximum(past.bridge, 1), 0.0)
    return chosen, (tries * seen + SHARED * _by_weeks(past)) / (tries + SHARED)


def _score(past: _Past, error: Numbers) -> Numbers:
    """How badly each method did for each item [methods, items], by its own errors and those of its group."""
    # Where the season can be told by now, origins at which it could not would only prove that.
    fair = past.judged & (past.told_of | ~past.seasoned[:, None])
    size = past.said.mean(axis=0)
    loss = np.where(fair & (size > 0), error / np.where(size > 0, size, 1.0), 0.0).sum(axis=-1)
    loss = loss / np.where(loss.mean(axis=0) > 0, loss.mean(axis=0), 1.0)
    tries = fair.sum(axis=1) / np.maximum(past.bridge, 1)
    member = (past.groups == np.arange(past.groups.max(initial=-1) + 1)[:, None]) * tries
    shared = (member @ loss.T) / np.maximum(member.sum(axis=1), 1e-9)[:, None]
    score = (tries * loss + SHARED * shared[past.groups].T) / (tries + SHARED)
    # Until the past can judge a season it is believed: it was drawn towards none already.
    believed = (member.sum(axis=1) == 0)[past.groups] & past.seasoned
    score = np.where(SEASONAL[:, None], np.where(past.seasoned, score - believed, np.inf), score)
    score[1:, past.known.sum(axis=1) < SHORT] = np.inf
    return np.asarray(score)


def _by_weeks(past: _Past) -> Numbers:
    """The same from how single weeks differ, the mean being known as well as so many weeks tell it [items]."""
    known = past.known.sum(axis=1)
    mean = np.where(past.known, past.use, 0.0).sum(axis=1) / np.maximum(known, 1)
    apart = np.where(past.known, past.use - mean[:, None], 0.0) ** 2
    # Before any week is known, weeks are taken to differ as much as they come to.
    weekly = (apart.sum(axis=1) + mean + mean**2) / np.maximum(known, 1)
    total = mean * past.bridge
    variance = weekly * past.bridge * (1 + past.bridge / np.maximum(np.minimum(known, RECENT), 1))
    return np.asarray(variance / np.where(total > 0, total, 1.0) ** VARIANCE_POWER)
