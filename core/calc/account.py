"""Time accounting: hours per state in windows of time, and the figures derived from them.

States go by SEMI E10's six classes: printing is productive, proving is engineering; done, stopped and
empty are standby; upkeep is scheduled downtime, down and waiting for a spare are unscheduled downtime,
aside is non-scheduled. No word is in none of the six and is shared out nowhere, so every share is one
of the hours somebody has word of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import polars as pl
from pydantic import BaseModel, ConfigDict

from core.calc.reckon import STATES
from core.calc.staffed import Micros, Staffed, micros
from core.estimate import NINETY, Estimate
from core.window import Window

PRODUCTIVE = ("printing",)
ENGINEERING = ("proving",)
STANDBY = ("done", "stopped", "empty")
SCHEDULED_DOWN = ("upkeep",)
UNSCHEDULED_DOWN = ("down", "waiting")
NON_SCHEDULED = ("aside",)

#: Which formula each figure is (S. = SEMI E10, I. = ISO 22400-2, P. = prEN 15341:2005).
FORMULAS = {
    "total": "hours of the six classes; no word left out (S. total time)",
    "operations": "total less non-scheduled (S. operations time; I. planned busy time PBT)",
    "utilisation": "productive / operations (S. operational utilization; I. availability APT / PBT)",
    "uptime": "(productive + standby + engineering) / operations (S. operational uptime)",
    "downtime": "(scheduled + unscheduled downtime) / operations (1 - S. operational uptime)",
    "out_of_service": "unscheduled downtime / operations: the share of machines out of service on average",
    "mttr": "unscheduled downtime / faults that began (P. MTTR: total time to restore / failures)",
    "mtbf": "productive / faults that began (S. MTBF, productive)",
    "apt": "printing (I. actual production time)",
    "aust": "proving (I. actual unit setup time)",
    "adet": "done + stopped + empty (I. actual unit delay time)",
    "adot": "upkeep + down + waiting (I. actual unit down time)",
    "aoet": "APT + AUST + ADET + ADOT (I. actual order execution time)",
}

_HOUR = 3.6e9


class TimeAccount(BaseModel):
    """The time of one group of machines in one window. Hours are machine-hours, shares are fractions.

    `hours` has every state; their best values sum to `window_hours` exactly. A figure that would
    divide by nothing is null. `FORMULAS` says what each figure is.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    group: str
    window_hours: float
    hours: dict[str, Estimate]
    total: float
    operations: float
    faults: int
    utilisation: Estimate | None
    uptime: Estimate | None
    downtime: Estimate | None
    out_of_service: Estimate | None
    mttr: Estimate | None
    mtbf: Estimate | None
    apt: Estimate
    aust: Estimate
    adet: Estimate
    adot: Estimate
    aoet: Estimate


def spent(stretches: pl.DataFrame, windows: Sequence[Window]) -> pl.DataFrame:
    """Hours of every stretch in every window it may touch.

    `windows` are consecutive. Columns: machine, window (index), state, print, cause, spare, best (hours),
    below and above (squared distance in hours to the least and the most it can have been).
    """
    edges = _edges(windows)
    first = np.searchsorted(edges, stretches["start_low"].to_numpy(), side="right") - 1
    last = np.searchsorted(edges, stretches["end_high"].to_numpy(), side="left")
    rows = stretches.with_columns(
        window=pl.int_ranges(pl.Series(np.maximum(first, 0)), pl.Series(np.minimum(last, len(windows))), dtype=pl.Int64)
    ).explode("window", empty_as_null=False)
    opens, closes = (
        pl.lit(pl.Series(edges)).gather("window"),
        pl.lit(pl.Series(edges)).gather(pl.col("window") + 1),
    )
    rows = rows.with_columns(
        best=_overlap("start", "end", opens, closes),
        least=_overlap("start_high", "end_low", opens, closes),
        most=_overlap("start_low", "end_high", opens, closes),
    )
    return rows.select(
        "machine", "window", "state", "print", "cause", "spare", "best",
        below=(pl.col("best") - pl.col("least")) ** 2,
        above=(pl.col("most") - pl.col("best")) ** 2,
    )  # fmt: skip


def summed(hours: pl.DataFrame, *by: str) -> pl.DataFrame:
    """Rows of `spent` added up by the named columns: best and the 90 % interval low, high in hours.

    The ends of different stretches err independently, each spread evenly over its doubt, so squared
    distances add; `NINETY` turns the root of their sum into the half-width of the interval. What moves many
    stretches alike (a pace that is off, entries that were never made) is not in it.
    """
    best = pl.col("best").sum()
    return (
        hours.group_by(by, maintain_order=True)
        .agg(best=best, below=pl.col("below").sum(), above=pl.col("above").sum())
        .with_columns(
            low=(pl.col("best") - NINETY * pl.col("below").sqrt()).clip(lower_bound=0),
            high=pl.col("best") + NINETY * pl.col("above").sqrt(),
        )
    )


def account(group: str, hours: pl.DataFrame, faults: int) -> TimeAccount:
    """The account of the rows of `spent` given, with the number of faults that began in their time."""
    known = {row["state"]: row for row in summed(hours, "state").iter_rows(named=True)}
    states = {state: _estimate(known.get(state)) for state in STATES}
    window_hours = math.fsum(hours["best"])
    total = window_hours - states["no word"].best
    operations = total - states["aside"].best
    productive = combined(hours, PRODUCTIVE)
    unscheduled = combined(hours, UNSCHEDULED_DOWN)
    down = combined(hours, SCHEDULED_DOWN + UNSCHEDULED_DOWN)
    downtime = _share(down, operations)
    return TimeAccount(
        group=group,
        window_hours=window_hours,
        hours=states,
        total=total,
        operations=operations,
        faults=faults,
        utilisation=_share(productive, operations),
        uptime=_rest_of_one(downtime),
        downtime=downtime,
        out_of_service=_share(unscheduled, operations),
        mttr=unscheduled.scaled(1 / faults) if faults else None,
        mtbf=productive.scaled(1 / faults) if faults else None,
        apt=productive,
        aust=states["proving"],
        adet=combined(hours, STANDBY),
        adot=down,
        aoet=Estimate.exact(operations),
    )


def combined(hours: pl.DataFrame, states: Sequence[str]) -> Estimate:
    """Hours in any of these states; a little wide where a doubtful cut lies between two of them."""
    mine = hours.filter(pl.col("state").is_in(states))
    best = math.fsum(mine["best"])
    below, above = math.sqrt(mine["below"].sum()), math.sqrt(mine["above"].sum())
    return Estimate(low=max(best - NINETY * below, 0.0), best=best, high=best + NINETY * above)


def faults_begun(gaps: pl.DataFrame, windows: Sequence[Window]) -> pl.DataFrame:
    """Machine and window (index) of every fault that began in one of the windows, one row a spell of down."""
    edges = _edges(windows)
    down = gaps.filter(pl.col("down_since").is_not_null()).select("machine", "down_since").unique(maintain_order=True)
    index = np.searchsorted(edges, down["down_since"].to_numpy(), side="right") - 1
    return down.with_columns(window=pl.Series(index, dtype=pl.Int64)).filter(
        pl.col("window").is_between(0, len(windows) - 1)
    )


def waits(done: pl.DataFrame, window: Window, staffed: Staffed) -> pl.DataFrame:
    """How long finished prints waited in the window: machine, inside, outside (hours with people in, and without)."""
    rows = done.with_columns(
        pl.col("start", "end").clip(micros(window.start), micros(window.end)),
    ).filter(pl.col("start") < pl.col("end"))
    inside = staffed.hours(rows["start"].to_numpy(), rows["end"].to_numpy())
    return rows.select(
        "machine", inside=pl.Series(inside, dtype=pl.Float64), whole=(pl.col("end") - pl.col("start")) / _HOUR
    ).select("machine", "inside", outside=pl.col("whole") - pl.col("inside"))


def _edges(windows: Sequence[Window]) -> Micros:
    return np.array([micros(w.start) for w in windows] + [micros(windows[-1].end)], dtype=np.int64)


def _overlap(start: str, end: str, opens: pl.Expr, closes: pl.Expr) -> pl.Expr:
    length = pl.min_horizontal(pl.col(end), closes) - pl.max_horizontal(pl.col(start), opens)
    return length.clip(lower_bound=0) / _HOUR


def _estimate(row: dict[str, float] | None) -> Estimate:
    return Estimate(low=row["low"], best=row["best"], high=row["high"]) if row else Estimate.exact(0.0)


def _rest_of_one(share: Estimate | None) -> Estimate | None:
    """1 - share: what is not down is up, so the two are in doubt together."""
    return Estimate(low=1 - share.high, best=1 - share.best, high=1 - share.low) if share else None


def _share(part: Estimate, whole: float) -> Estimate | None:
    if whole <= 0:
        return None
    share = part.scaled(1 / whole)
    return Estimate(low=min(share.low, 1.0), best=min(share.best, 1.0), high=min(share.high, 1.0))
