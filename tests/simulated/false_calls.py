"""How often the weekly review calls a change where there is none, and how soon it calls one that is there.

`python -m tests.simulated.false_calls [SHOPS] [PROCESSES]`: steady invented shops, a quarter each, around the bottom of
the season: every call is a false one, and beside it stands what the page says. Then files whose scrap doubles: in how
many it is called within ten days (nine with people in), where every part fails by itself and where prints fail as a
whole. Beside it stands what nothing can do better: one single look after those ten days with all its false calls spent
on it, the true share before known (no test of one share against another has more power, by Neyman and Pearson).
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from scipy.stats import binom

from core.log.store import Log
from core.review.control_charts import FALSE_CALLS, charts
from core.review.figures import TOGETHER, DailyFigure, together
from core.review.quarter import last_quarter
from core.statistics.calls import CallRules, calls
from demo.make import make

#: The quarter before is at the bottom of the season, with one bank holiday; the shop is older than the quarter.
UNTIL, WEEKS = datetime(2026, 11, 28, 23, 0, tzinfo=UTC), 22
#: Days with people in of a quarter, and of ten days; figures watched in a room as the invented one.
DAYS, TEN, CHARTS = 78, 9, 40
FILES = 400


def steady(seed: int) -> list[tuple[str, str | None, str]]:
    """What was called in one steady shop: figure, of, rule."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.duckdb"
        make(path, weeks=WEEKS, seed=seed, until=UNTIL)
        with Log.open(path) as log:
            found = charts(last_quarter(log, UNTIL))
    return [(chart.figure, chart.of, call.rule) for chart in found for call in chart.called]


@dataclass(frozen=True)
class File:
    """A print file: so many prints a day of so many parts, of which each fails by itself or the whole print does."""

    prints: float
    parts: int
    share: float
    whole: bool

    def called(self, seed: int) -> bool:
        """Whether the doubling is called within ten days."""
        draw = np.random.default_rng([seed, 7])
        prints = np.maximum(draw.poisson(self.prints, DAYS), 1)
        share = np.repeat(np.where(np.arange(DAYS) < DAYS - TEN, self.share, 2 * self.share), prints)
        scrap = self.parts * draw.binomial(1, share) if self.whole else draw.binomial(self.parts, share)
        day = np.repeat(np.arange(DAYS), prints)
        by_prints = together(scrap.astype(float), np.full(len(scrap), float(self.parts))) > TOGETHER
        hits = np.bincount(day, (scrap > 0) if by_prints else scrap, DAYS)
        of = prints.astype(float) * (1 if by_prints else self.parts)
        first = date(2026, 9, 1)
        file = DailyFigure("scrap", "file", "p", [first + timedelta(days=n) for n in range(DAYS)], hits, of)
        rules = CallRules.of(FALSE_CALLS / CHARTS, DAYS, both=False)
        return any(call.at >= DAYS - TEN for call in calls(file.score(), DAYS, rules))

    def best(self) -> float:
        """The power of one look at all of the ten days, the share before known."""
        of = round(TEN * self.prints * (1 if self.whole else self.parts))
        most = binom.isf(FALSE_CALLS / CHARTS * TEN / DAYS, of, self.share)
        return float(binom.sf(most, of, 2 * self.share))


def doubled() -> Iterator[str]:
    """The files and what came of them."""
    for file in (
        *(File(prints, 12, 0.04, whole=False) for prints in (3, 5, 8, 12)),
        *(File(prints, 12, 0.087, whole=True) for prints in (8, 15, 30)),
    ):
        called = np.mean([file.called(seed) for seed in range(FILES)])
        how = "prints fail as a whole" if file.whole else "each part fails by itself"
        yield (
            f"{file.prints:g} prints of {file.parts} parts a day, {file.share:.1%} scrap doubles, {how}: "
            f"called in ten days in {called:.0%}, at best {file.best():.0%}"
        )


def main(shops: int = 20, processes: int | None = None) -> None:
    """Print the measurement."""
    with ProcessPoolExecutor(processes) as pool:
        found = list(pool.map(steady, range(1000, 1000 + shops)))
    number = sum(map(len, found)) / max(shops, 1)
    lines = [f"{shops} steady shops, a quarter each: {number:.2f} false calls a quarter, said {FALSE_CALLS:g}"]
    often = Counter((figure, rule) for mine in found for figure, _, rule in mine)
    lines += [f"  {figure} {rule}: {times / shops:.2f}" for (figure, rule), times in often.most_common()]
    for line in [*lines, *doubled()]:
        sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
