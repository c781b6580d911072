"""Time accounting: hours per state in windows of time, and the figures derived from them.

States go by SEMI E10's six classes: printing is productive, proving is engineering; done, stopped and
empty are standby; upkeep is scheduled downtime, down and waiting for a spare are unscheduled downtime,
aside is non-scheduled. No word is in none of the six and is shared out nowhere, so every share is one
of the hours somebody has word of. ISO 22400-2 asks of each hour without production whether the machine
had an order (delay) or none (down time); entries do not tell, so of its elements only production time is told.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from pydantic import BaseModel, ConfigDict

from core.arrays import Micros
from core.epoch import HOUR, micros
from core.estimate import Estimate
from core.hours.state_rows import IDLE, StateHours
from core.setup import NOBODY_TOLD
from core.staffed import Staffed
from core.sums import summed
from core.timeline.faults import down_spells
from core.timeline.reckon import STATES
from core.window import Window

PRODUCTIVE = ("printing",)
SCHEDULED_DOWN = ("upkeep",)
UNSCHEDULED_DOWN = ("down", "waiting")
NON_SCHEDULED = ("aside",)

#: Which formula each figure is (S. = SEMI E10, I. = ISO 22400-2, P. = prEN 15341:2005).
FORMULAS = {
    "total": "hours of the six classes; no word left out (S. total time)",
    "operations": "total less non-scheduled (S. operations time)",
    "utilisation": "productive / operations (S. operational utilization; I. availability APT / PBT, upkeep in PBT)",
    "uptime": "(productive + standby + engineering) / operations (S. operational uptime)",
    "downtime": "(scheduled + unscheduled downtime) / operations (1 - S. operational uptime)",
    "out_of_service": "unscheduled downtime / operations: the share of machines out of service on average",
    "mttr": "unscheduled downtime of faults told / faults that began (P. MTTR: total time to restore / failures)",
    "mtbf": "productive / faults that began (S. MTBF, productive)",
    "productive_time": "printing (S. productive time; I. actual production time APT)",
    "engineering_time": "proving (S. engineering time)",
    "standby_time": "done + stopped + empty (S. standby time)",
    "equipment_downtime": "upkeep + down + waiting (S. equipment downtime)",
}


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
    productive_time: Estimate
    engineering_time: Estimate
    standby_time: Estimate
    equipment_downtime: Estimate


def account(group: str, hours: StateHours, faults: int) -> TimeAccount:
    """The account of these hours, with the number of faults that began in their time."""
    known = {row["state"]: row for row in hours.by("state").iter_rows(named=True)}
    states = {state: _estimate(known.get(state)) for state in STATES}
    total = hours.hours - states["no word"].best
    operations = total - states["aside"].best
    productive = hours.total(PRODUCTIVE)
    unscheduled = hours.total(UNSCHEDULED_DOWN)
    of_faults = hours.of(pl.col("cause").fill_null("") != NOBODY_TOLD).total(UNSCHEDULED_DOWN)
    down = hours.total(SCHEDULED_DOWN + UNSCHEDULED_DOWN)
    downtime = _share(down, operations)
    return TimeAccount(
        group=group,
        window_hours=hours.hours,
        hours=states,
        total=total,
        operations=operations,
        faults=faults,
        utilisation=_share(productive, operations),
        uptime=_rest_of_one(downtime),
        downtime=downtime,
        out_of_service=_share(unscheduled, operations),
        mttr=of_faults.scaled(1 / faults) if faults else None,
        mtbf=productive.scaled(1 / faults) if faults else None,
        productive_time=productive,
        engineering_time=states["proving"],
        standby_time=hours.total((IDLE,)),
        equipment_downtime=down,
    )


def daily(hours: StateHours) -> pl.DataFrame:
    """Window, utilisation and downtime as in `account`, and `waiting`: the share of done in operations. Best values.

    No row where there is no word.
    """
    best, state = pl.col("best"), pl.col("state")
    sums = {
        "operations": ~state.is_in(["no word", *NON_SCHEDULED]),
        "productive": state.is_in(PRODUCTIVE),
        "down": state.is_in(SCHEDULED_DOWN + UNSCHEDULED_DOWN),
        "done": state == "done",
    }
    told = {name: best.filter(which) for name, which in sums.items()}
    rows = summed(hours.rows.filter(state != IDLE), ["window"], **told)
    shares = {"utilisation": pl.col("productive"), "downtime": pl.col("down"), "waiting": pl.col("done")}
    return rows.filter(pl.col("operations") > 0).select(
        "window", **{name: (part / pl.col("operations")).clip(upper_bound=1.0) for name, part in shares.items()}
    )


def faults_begun(gaps: pl.DataFrame, windows: Sequence[Window]) -> pl.DataFrame:
    """Machine and window (index) of every fault that began in one of the windows."""
    down = down_spells(gaps).select("machine", "began")
    index = np.searchsorted(_edges(windows), down["began"].to_numpy(), side="right") - 1
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
        "machine", inside=pl.Series(inside, dtype=pl.Float64), whole=(pl.col("end") - pl.col("start")) / HOUR
    ).select("machine", "inside", outside=pl.col("whole") - pl.col("inside"))


def _edges(windows: Sequence[Window]) -> Micros:
    return np.array([micros(w.start) for w in windows] + [micros(windows[-1].end)], dtype=np.int64)


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
