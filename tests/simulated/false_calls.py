"""How often the weekly review calls a change where there is none, and how soon it calls one that is there.

`python -m tests.simulated.false_calls [SHOPS] [PROCESSES]`: steady invented shops, a quarter each, around the bottom of
the season; every call is a false one. Beside it stands what the page says.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from core.log.store import Log
from core.past import last_quarter
from core.watched import FALSE_CALLS, charts
from demo.make import make

#: The quarter before is at the bottom of the season, with one bank holiday; the shop is older than the quarter.
UNTIL, WEEKS = datetime(2026, 11, 28, 23, 0, tzinfo=UTC), 22


def false_calls(seed: int, machines: int = 36) -> list[tuple[str, str | None, str]]:
    """What was called in one steady shop: figure, of, rule."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.duckdb"
        make(path, machines=machines, weeks=WEEKS, seed=seed, until=UNTIL)
        with Log.open(path) as log:
            found = charts(last_quarter(log, UNTIL))
    return [(chart.figure, chart.of, call.rule) for chart in found for call in chart.called]


def main(shops: int = 20, processes: int | None = None) -> None:
    """Print the measurement."""
    with ProcessPoolExecutor(processes) as pool:
        found = list(pool.map(partial(false_calls), range(1000, 1000 + shops)))
    number = sum(map(len, found))
    sys.stdout.write(
        f"{shops} steady shops, a quarter each: {number / shops:.2f} false calls a quarter, said {FALSE_CALLS:g}.\n"
    )
    for (figure, rule), times in Counter((figure, rule) for mine in found for figure, _, rule in mine).most_common():
        sys.stdout.write(f"  {figure} {rule}: {times / shops:.2f}\n")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
