"""How long prints really take against what their files state, learned from removals alone.

Nobody times a print. But where people are in when a print ends, its parts come off some while later:
the time from start to removal is the print's own time plus a wait. Print times scatter about a multiple
of the stated time, waits have a long tail, and their sum has a sharp front that gives the multiple away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.optimize import minimize
from scipy.special import log_ndtr

from core.calc.staffed import FAR, Staffed

Numbers = npt.NDArray[np.float64]

#: With fewer removals than this the files are believed, with ten per cent either way.
ENOUGH = 30
#: The newest removals say as much as a shop needs, and keep the fit quick.
NEWEST = 2000
#: One removal in fifty is a slip (a wrong file, a wrong time) and may lie anywhere up to thrice the stated time.
SLIPS, SLIPS_REACH = 0.02, 3.0


#: Shifts are told apart by the whole hours left in them, up to this many.
HOURS_LEFT = 12
#: Longer than any wait.
NEVER = 10_000.0


@dataclass(frozen=True, slots=True)
class Pace:
    """How prints go in this shop, learned from `seen` removals.

    The ratio true / stated: `best`, and `low` to `high` for nine prints in ten. `wait` is how many staffed
    hours a finished print waits on average, `patience` how many at most: beyond it, that both taps of a
    change were forgotten is likelier than such a wait. `usual` has the stated hours of the last print of a
    shift by the whole hours of it that were left when it began (people load long prints before they leave):
    what a print nobody announced is taken to need.
    """

    best: float = 1.0
    low: float = 0.9
    high: float = 1.1
    wait: float = 1.0
    patience: float = NEVER
    seen: int = 0
    usual: tuple[float, ...] = (6.0,) * HOURS_LEFT


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


def usual_by_hours_left(told: pl.DataFrame, staffed: Staffed) -> tuple[float, ...]:
    """The mean stated hours of announced prints begun with about so many whole hours of the shift left.

    Of the facts `told` (with the pace 1), the last start of each shift at each machine counts: a print
    that nobody announced shows itself where no other came after it. Hours with few starts take in their
    neighbours; without any starts `Pace().usual` stays.
    """
    begun = told.filter(pl.col("takes").is_not_null())
    _, closes = staffed.spell_at(begun["t"].to_numpy())
    following = pl.col("t").shift(-1).over("machine").fill_null(FAR)
    last = begun.filter(following > pl.Series(closes))
    left, stated = staffed.hours_left(last["t"].to_numpy()), (last["takes"] / 3.6e9).to_numpy()
    if not len(stated):
        return Pace().usual
    means = []
    for hours in range(HOURS_LEFT):
        order = np.argsort(np.abs(left - hours), kind="stable")
        close = np.abs(left - hours) <= max(1, abs(int(left[order[min(ENOUGH, len(order)) - 1]]) - hours))
        means.append(float(stated[close].mean()))
    return tuple(means)


def learn(removals: pl.DataFrame, usual: tuple[float, ...]) -> Pace:
    """The pace from rows of `telling_removals`; the files as they state where there are too few.

    Maximum likelihood of took = stated x Normal(best, spread) + Exponential(wait), an exponentially
    modified Gaussian, with a share of slips.
    """
    stated, took = (removals[name].to_numpy()[-NEWEST:] for name in ("stated", "took"))
    if len(took) < ENOUGH:
        return Pace(usual=usual, seen=len(took))
    fit = minimize(
        lambda p: -_log_likelihood(stated, took, p[0], float(np.exp(p[1])), float(np.exp(p[2]))),
        x0=[1.0, np.log(0.04), np.log(0.7)],
        method="Nelder-Mead",
        options={"xatol": 1e-4, "fatol": 1e-4},
    )
    best, reach = float(fit.x[0]), 1.6448536269514722 * float(np.exp(fit.x[1]))
    return Pace(best, best - reach, best + reach, seen=len(took), usual=usual)


def with_patience(pace: Pace, gaps: pl.DataFrame, staffed: Staffed) -> Pace:
    """The pace with `wait` and `patience` learned from the gaps (found with the pace 1).

    Waits are taken to be exponential; their median is not moved by the few that hide a forgotten change.
    A change goes unseen when both its taps are forgotten: the share of removals never noted times that of
    starts never noted. A wait of w has the chance exp(-w / wait), which falls below that share at `patience`.
    """
    ended = gaps.filter(
        (pl.col("leaves") == "printing") & (pl.col("next_found") == "done") & pl.col("print").is_not_null()
    )
    due = (ended["began"] + ended["takes"] * pace.best).cast(pl.Int64).to_numpy()
    waited = staffed.hours(due, np.maximum(ended["until"].to_numpy(), due))
    if len(waited) < ENOUGH:
        return pace
    wait = max(float(np.median(waited)) / math.log(2), 0.05)
    started = gaps.filter(pl.col("kind") == "PrintStarted").height
    not_off = gaps.filter((pl.col("leaves") == "printing") & (pl.col("next_found").is_in(["clear", "empty"]))).height
    not_started = gaps.filter(pl.col("shape").str.starts_with("unseen")).height
    both = not_off / started * not_started / (started + not_started)
    patience = wait * -math.log(both) if both else NEVER
    return replace(pace, wait=wait, patience=patience)


def _log_likelihood(stated: Numbers, took: Numbers, best: float, spread: float, wait: float) -> float:
    scatter = stated * spread
    z, k = (took - stated * best) / scatter, scatter / wait
    law = -np.log(wait) + k * (k / 2 - z) + log_ndtr(z - k)
    slip = np.where(took <= SLIPS_REACH * stated, np.log(SLIPS / SLIPS_REACH) - np.log(stated), -np.inf)
    return float(np.logaddexp(np.log(1 - SLIPS) + law, slip).sum())
