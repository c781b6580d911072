"""How well the hours between failures are told, with faults among them that nobody noted.

`python -m tests.simulated.failure_bounds [ROOMS] [FAMILY ...]` prints it, by family and share of entries missing. What
is true is how often the machines of a model fail in the long run: the same room lived on for `LONG` weeks. Shares no
code with what it judges: hours and faults are counted here from what a room tells of itself.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise, product
from pathlib import Path
from typing import NamedTuple

from core import answers
from core.estimate import Estimate
from core.log.record import record_many
from core.log.store import Log
from core.setup import Machine
from core.upkeep.watch import Watch
from demo.rooms.families import FAMILIES
from demo.rooms.told import Told

MISSING, LONG = (0.0, 0.2, 0.4), 60
#: A model that fails more seldom in the long run has no rate to speak of.
FEWEST = 10
#: The shop of the demo does not say of itself when its machines failed.
TELLING = tuple(family for family in FAMILIES if family != "larkfield")


class Judged(NamedTuple):
    """The hours between failures of a model: those of the long run, and those told."""

    family: str
    missing: float
    true: float
    told: Estimate

    @property
    def held(self) -> bool:
        """Whether the range holds the truth."""
        return self.told.low <= self.true <= self.told.high


def judged(family: str, seed: int, missing: float) -> list[Judged]:
    """Every model of a room that fails now and then."""
    told, true = FAMILIES[family](seed, missing), long_run(FAMILIES[family], seed)
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.duckdb") as log:
        log.append_setup(list(told.rows), noted_at=told.start)
        record_many(log, list(told.entries), now=told.end)
        room = answers.reliability(Watch(log, told.end), answers.stores(log, told.end))
        return [Judged(family, missing, true[one.model], one.mtbf) for one in room.models if one.model in true]


def long_run(room: Callable[..., Told], seed: int) -> dict[str, float]:
    """Printed hours to a fault, by model, over many weeks."""
    lived = room(seed, 0.0, weeks=LONG)
    models = {row.machine: row.model for row in lived.rows if isinstance(row, Machine)}
    faults = Counter(models[fault.machine] for fault in lived.faults)
    hours: dict[str, float] = defaultdict(float)
    for machine, printed in printed_hours(lived):
        hours[models[machine]] += printed
    return {model: hours[model] / count for model, count in faults.items() if count >= FEWEST}


def printed_hours(lived: Told) -> Iterator[tuple[str, float]]:
    """The hours of every time that a machine printed."""
    for machine, steps in lived.turns.items():
        for (start, state), (end, _) in pairwise([*steps, (lived.end, "")]):
            if state == "printing":
                yield machine, (end - start).total_seconds() / 3600


def lines(rooms: int, families: Sequence[str]) -> Iterator[str]:
    """What is printed."""
    jobs = list(product(families, range(1, rooms + 1), MISSING))
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        found = [one for mine in pool.map(judged, *zip(*jobs, strict=True)) for one in mine]
    yield f"{'hours between failures':26}  held  told too long  too short  number"
    for family, missing in product(families, MISSING):
        mine = [one for one in found if (one.family, one.missing) == (family, missing)]
        if mine:
            yield f"{family:12} {missing:4.0%} missing  {_shares(mine)}"


def _shares(mine: Sequence[Judged]) -> str:
    held, long = (sum(which) / len(mine) for which in ([m.held for m in mine], [m.true < m.told.low for m in mine]))
    return f"{held:6.0%}  {long:13.0%}  {1 - held - long:9.0%}  {len(mine):6}"


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    sys.stdout.writelines(f"{line}\n" for line in lines(asked, sys.argv[2:] or TELLING))
