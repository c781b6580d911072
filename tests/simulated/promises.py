"""How well promises hold: simulated shops with about as many orders as they can serve, whose true dates are known.

`python -m tests.simulated.promises [SHOPS]` prints the measurement. The invented shop, which shares no code with the
play that is judged here, goes on after each question; what truly left when is compared with what was said.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from core.log.store import Log
from core.plan.outlook import Outlook
from demo.make import make
from demo.people import ONE_IN_FIVE, USUAL, Slips

UNTIL = datetime(2026, 6, 21, 23, 0, tzinfo=UTC)
#: Weeks of the past before the first question, between two questions, and after the last.
TAUGHT, BETWEEN, AFTER, QUESTIONS = 9, 1, 8, 6
BANDS = ((0.5, 0.7), (0.7, 0.9), (0.9, 1.001))


@dataclass(frozen=True)
class Told:
    """One order at one question: the chance given to it, whether it left in time, and the share of the plays in which
    it left before its true date (None where one in ten plays has none for it).
    """

    chance: float
    in_time: bool
    place: float | None


def shop(seed: int, slips: Slips = USUAL) -> list[Told]:
    """What one shop was told of its orders, and what came of it."""
    draw = random.Random(f"promises {seed}")
    machines, busy, shifts = draw.randint(12, 36), draw.uniform(0.9, 1.3), draw.choice((1, 1, 2))
    busy *= 1.35 if shifts == 2 else 1.0
    weeks = TAUGHT + BETWEEN * (QUESTIONS - 1) + AFTER
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.duckdb"
        truth = make(path, machines, weeks, seed, UNTIL, slips, shifts, draw.uniform(0.95, 1.15), busy)
        with Log.open(path) as log:
            asked = [UNTIL - timedelta(weeks=AFTER + BETWEEN * n, hours=draw.uniform(1, 160)) for n in range(QUESTIONS)]
            return [told for at in asked for told in _asked(log, truth.orders, at)]


def _asked(log: Log, orders: pl.DataFrame, at: datetime) -> Iterator[Told]:
    outlook = Outlook(log, at)
    leaves = outlook.leaves(outlook.asked, outlook.played)
    true = {row["order"]: row for row in orders.iter_rows(named=True)}
    for code, asked, hours in zip(outlook.unpacked["order"], outlook.asked, leaves, strict=True):
        row = true[code]
        if row["shipped"] is not None and row["shipped"] <= at:
            continue
        when = (row["shipped"] - at).total_seconds() / 3600 if row["shipped"] else np.inf
        known = np.isfinite(hours).mean() > 0.9
        yield Told(
            float((hours <= asked.due).mean()), when <= asked.due, float((hours < when).mean()) if known else None
        )


def told(found: list[Told]) -> str:
    """The measurement in words."""
    lines = [f"{len(found)} orders asked about, {np.mean([f.in_time for f in found]):.1%} left in time"]
    for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.5), *BANDS):
        mine = [f for f in found if low <= f.chance < high]
        if mine:
            said, came = np.mean([f.chance for f in mine]), np.mean([f.in_time for f in mine])
            lines.append(f"given {low:.0%} to {min(high, 1):.0%}: {len(mine)}, said {said:.1%}, in time {came:.1%}")
    places = np.array([f.place for f in found if f.place is not None])
    held, early = np.mean((places >= 0.1) & (places <= 0.9)), np.mean(places < 0.1)
    lines.append(f"the 80 % range of the date held in {held:.1%} of {len(places)}; {early:.1%} left before it")
    return "\n".join(lines)


def main(shops: int = 20) -> None:
    """Print it for so many shops, with usual slips and with one entry in five missing."""
    for name, kind in (("usual slips", USUAL), ("one in five missing", ONE_IN_FIVE)):
        with ProcessPoolExecutor() as pool:
            found = [told for one in pool.map(shop, range(1, shops + 1), [kind] * shops) for told in one]
        sys.stdout.write(f"{name}, {shops} shops\n{told(found)}\n\n")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:2]))
