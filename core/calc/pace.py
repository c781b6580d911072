"""How long prints really take against what their files state, learned from removals alone.

Nobody times a print. But where people are in when a print ends, its parts come off some while later:
the time from start to removal is the print's own time plus a wait. Print times scatter about a multiple
of the stated time, waits have a long tail, and their sum has a sharp front that gives the multiple away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.optimize import minimize
from scipy.special import log_ndtr

from core.calc.staffed import Staffed

Numbers = npt.NDArray[np.float64]

#: With fewer removals than this the files are believed, with ten per cent either way.
ENOUGH = 30
#: The newest removals say as much as a shop needs, and keep the fit quick.
NEWEST = 2000
#: One removal in fifty is a slip (a wrong file, a wrong time) and may lie anywhere up to thrice the stated time.
SLIPS, SLIPS_REACH = 0.02, 3.0


@dataclass(frozen=True, slots=True)
class Pace:
    """The ratio true / stated: `best` for the shop, `low` to `high` for nine prints in ten; from `seen` prints.

    `usual` is the stated time of a usual print in hours: what a print nobody announced is taken to need.
    """

    best: float = 1.0
    low: float = 0.9
    high: float = 1.1
    seen: int = 0
    usual: float = 6.0


def telling_removals(gaps: pl.DataFrame, staffed: Staffed) -> pl.DataFrame:
    """Announced prints that ended while people were in: stated and took (hours, start to first seen done or off).

    Only prints that were due well inside one staffed spell tell anything: of one that ended at night, the
    removal tells when people came, not when it ended. `gaps` must be found with the pace 1.
    """
    done = gaps.filter(
        (pl.col("leaves") == "printing") & (pl.col("next_found") == "done") & pl.col("print").is_not_null()
        & ~pl.col("paused")
    ).sort("until", "machine")  # fmt: skip
    opens, closes = staffed.spell_at(done["until"].to_numpy())
    due_after = (pl.Series(opens) - done["began"]) / done["takes"] <= 0.9
    due_before = (pl.Series(closes) - done["began"]) / done["takes"] >= 1.15
    return done.filter(due_after & due_before).select(
        stated=pl.col("takes") / 3.6e9, took=(pl.col("until") - pl.col("began")) / 3.6e9
    )


def learn(stated: Numbers, took: Numbers, usual: float) -> Pace:
    """The pace from hours stated and hours from start to removal, oldest first.

    Maximum likelihood of took = stated x Normal(best, spread) + Exponential(wait), an exponentially
    modified Gaussian, with a share of slips.
    """
    stated, took = stated[-NEWEST:], took[-NEWEST:]
    if len(took) < ENOUGH:
        return Pace(usual=usual, seen=len(took))
    fit = minimize(
        lambda p: -_log_likelihood(stated, took, p[0], float(np.exp(p[1])), float(np.exp(p[2]))),
        x0=[1.0, np.log(0.04), np.log(0.7)],
        method="Nelder-Mead",
        options={"xatol": 1e-4, "fatol": 1e-4},
    )
    best, reach = float(fit.x[0]), 1.6448536269514722 * float(np.exp(fit.x[1]))
    return Pace(best, best - reach, best + reach, len(took), usual)


def _log_likelihood(stated: Numbers, took: Numbers, best: float, spread: float, wait: float) -> float:
    scatter = stated * spread
    z, k = (took - stated * best) / scatter, scatter / wait
    law = -np.log(wait) + k * (k / 2 - z) + log_ndtr(z - k)
    return float(np.logaddexp(np.log(1 - SLIPS) + law, np.log(SLIPS / SLIPS_REACH) - np.log(stated)).sum())
