"""The shop of the demo as a family of rooms: 12 to 60 machines, one shift or two, prints that take 0.9 to 1.15 of what
they state; so many entries are missing at random, others late, some wrong. Most constants were found here.
"""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from core.setup import Machine, PrintFile
from demo.make import Truth, imagine
from demo.people import USUAL
from demo.rooms.told import Run, Told

#: A Sunday midnight in Dublin's summer.
UNTIL = datetime(2026, 5, 31, 23, 0, tzinfo=UTC)


def room(seed: int, missing: float, weeks: int = 10) -> Told:
    """One room of the family."""
    draw = random.Random(f"room {seed}")
    machines, shifts, slower = draw.randint(12, 60), draw.choice((1, 1, 2)), draw.uniform(0.9, 1.15)
    truth = imagine(machines, weeks, seed, UNTIL, replace(USUAL, missing=missing), shifts, slower)
    return told_of(truth, seed, ("one shift and Saturday", "two shifts and Saturday")[shifts - 1])


def told_of(truth: Truth, seed: int, pattern: str) -> Told:
    """A shop that `demo.make` made, as its judge sees it."""
    turns: dict[str, list[tuple[datetime, str]]] = {}
    for machine, start, state in truth.stretches.select("machine", "start", "state").iter_rows():
        turns.setdefault(machine, []).append((start, state))
    return Told(
        "larkfield", seed, pattern, truth.start, truth.end, truth.rows, truth.entries, turns, _runs(truth), faults=()
    )


def _runs(truth: Truth) -> Sequence[Run]:
    models = {row.machine: row.model for row in truth.rows if isinstance(row, Machine)}
    stated = {(row.file, row.revision): row.hours for row in truth.rows if isinstance(row, PrintFile)}
    runs = []
    for row in truth.prints.iter_rows(named=True):
        file = row["file"], row["revision"]
        whole = stated[file] * truth.factors[*file, models[row["machine"]]]
        lasted = (row["ended"] - row["started"]).total_seconds() / 3600
        runs.append(Run(row["machine"], *file, row["started"], row["ended"], row["off"], lasted, whole,
                        row["by_itself"], row["parts"], row["scrap"]))  # fmt: skip
    return runs
