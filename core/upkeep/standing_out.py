"""Which machines fail more often than the others of their model, whatever files they print.

Nobody weighs what a machine printed of each file, so its printing hours of a week are shared out over its files as the
starts noted in that week are, by the times the files state. Starts that nobody noted are taken to be of the same files.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import polars as pl

from core.arrays import Numbers, Rows
from core.setup import Machine
from core.statistics.bad_actor import SOON, WORSE, Standing, stands_out
from core.upkeep.types import StandsOut
from core.upkeep.watch import Watch

#: Machines of one model differ so much of themselves at the same files (coefficient of variation of their rates); what
#: they differ by what they print is accounted for.
DIFFER = 0.1


def standing_out(watch: Watch) -> list[StandsOut]:
    """The machines that fail more often than the others of their model: by their faults, and by prints that stopped."""
    found: list[StandsOut] = []
    for model in dict.fromkeys(machine.model for machine in watch.machines):
        mine = [machine for machine in watch.machines if machine.model == model]
        counts, hours = weekly(watch, mine)
        for machine, standing in zip(mine, stands_out(counts, hours, differ=DIFFER), strict=True):
            if standing.named_at:
                found += _still_out(watch, machine, standing, counts, hours)
    return found


def _still_out(watch: Watch, machine: Machine, found: Standing, counts: Rows, hours: Numbers) -> Iterator[StandsOut]:
    """A machine that was named, as long as it fails more often than the others: all the time, or else lately."""
    for one, weeks in ((found, watch.weeks), (found.lately, min(SOON, watch.weeks))):
        if one.times and one.times.best >= WORSE:
            others = int(counts[-weeks:].sum()) - one.failures
            yield StandsOut(
                machine=machine.machine, model=machine.model, weeks=weeks, failures=one.failures, hours=one.hours,
                times=one.times, others=float(hours[-weeks:].sum() - one.hours) / others if others else None,
            )  # fmt: skip
            return


def weekly(watch: Watch, machines: Sequence[Machine]) -> tuple[Rows, Numbers]:
    """Faults, and prints that stopped without one, of each whole week, and the hours printed [weeks, machines, files].

    The last of the files is none: hours of weeks in which no start was noted. A failure is of the file started last
    before it if the machine printed that in its week, or else of the one that it printed most; one in a week in which
    the machine printed nothing is left out.
    """
    codes = [machine.machine for machine in machines]
    begun = watch.begun.filter(pl.col("machine").is_in(codes))
    files = sorted(begun["file"].unique())
    hours = _hours(watch, codes, files, begun)
    counts = np.zeros(hours.shape, dtype=np.int64)
    for machine, moment, file in _failed(watch, begun):
        week = int(np.searchsorted(watch.printed.edges, moment, side="right")) - 1
        spent = hours[week, codes.index(machine)] if machine in codes and 0 <= week < watch.weeks else np.zeros(1)
        if spent.any():
            said = files.index(file) if file in files else -1
            counts[week, codes.index(machine), said if spent[said] else int(spent.argmax())] += 1
    return counts, hours


def _hours(watch: Watch, codes: Sequence[str], files: Sequence[str], begun: pl.DataFrame) -> Numbers:
    """The hours that machines printed of each file and, last, of none that was noted [weeks, machines, files]."""
    edges = watch.printed.edges[: watch.weeks + 1]
    spent = np.zeros((watch.weeks, len(codes), len(files) + 1))
    place, file = (np.array([names.index(name) for name in begun[column]], dtype=np.int64)
                   for column, names in (("machine", codes), ("file", files)))  # fmt: skip
    start, end = (begun[name].to_numpy() for name in ("start", "end"))
    for week, (opens, closes) in enumerate(pairwise(edges)):
        np.add.at(spent[week], (place, file), np.maximum(np.minimum(end, closes) - np.maximum(start, opens), 0))
    spent[:, :, -1] = spent.sum(axis=2) == 0
    places = [watch.printed.machines.index(code) for code in codes]
    printed = watch.printed.best[places, : watch.weeks].T
    return np.asarray(spent / spent.sum(axis=2, keepdims=True) * printed[:, :, None])


def _failed(watch: Watch, begun: pl.DataFrame) -> Iterator[tuple[str, int, str | None]]:
    """Every fault, and every print that stopped without one: machine, moment, and the file started last before it."""
    failed = [*((fault.machine, fault.began) for fault in watch.faults), *watch.stops]
    rows = pl.DataFrame(failed, schema={"machine": pl.String, "start": pl.Int64}, orient="row").sort("start")
    started = begun.select("machine", "start", "file").sort("start")
    return (
        rows.join_asof(started, on="start", by="machine", check_sortedness=False)
        .select("machine", "start", "file")
        .iter_rows()
    )
