"""Machines that nobody spoke of for days: most had no work, some were down and nobody told.

A fault that left no word shows itself by nothing but a machine that stands. How many silences are faults is told by the
faults that were told: so many of them lasted as long, and for every so many told there is one that was not. Which ones
they are is told by what went on around them: hands that start one print after another at the machines beside it, and
never there, pass over something that cannot run.
"""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from core.arrays import Micros, Numbers
from core.epoch import FAR, HOUR
from core.habits.silences import USUAL, Silences
from core.staffed import Staffed
from core.timeline.faults import down_spells

#: A machine is silent when nothing was done at it for so many hours with people in.
SILENT = 12.0
#: How often machines of a shop are passed over is learned from those that stood for so many hours with people in.
LONG = 6.0
#: For each fault that was told there are so many that nobody ever tells (common practice, no source), besides those
#: that the share of entries forgotten makes.
NEVER_TOLD = 0.2
#: The share of silences that are faults is drawn toward the usual by so many silences, and so is how often machines
#: are passed over.
STEADY = 5.0
#: A machine passed over so many times as often as is usual is as likely down as silences are on the whole; twice as
#: often raises the odds by two to this power: people have favourites, so it is no exponential law.
PASSED, POWER = 5.0, 2.0
#: The usual is at least this often.
LEAST_PASSED = 0.1


def silences(gaps: pl.DataFrame, staffed: Staffed, now: int, longer_than: float = SILENT) -> pl.DataFrame:
    """The times in which machines that might run stood untouched for long, as known `now` (microseconds): machine,
    model, start, end (microseconds).
    """
    rows = _stood(gaps, now)
    return rows.filter(pl.Series(staffed.hours(rows["start"].to_numpy(), rows["end"].to_numpy()) > longer_than))


def _stood(gaps: pl.DataFrame, now: int) -> pl.DataFrame:
    """All the times in which machines that might run stood."""
    stands = pl.when(pl.col("leaves") == "printing").then(pl.max_horizontal("end", "t")).otherwise("t")
    rows = gaps.filter(pl.col("leaves").is_in(["printing", "done", "stopped", "empty"]))
    until = pl.when(pl.col("until") == FAR).then(now).otherwise("until")
    return rows.select("machine", "model", start=stands, end=until).filter(pl.col("start") < pl.col("end"))


def learn_silences(gaps: pl.DataFrame, staffed: Staffed, forgets: float, now: int) -> Silences:
    """What is known `now` (microseconds) of the silences of a shop whose people forget a share of entries."""
    share, found = share_down(gaps, staffed, forgets, now), silences(gaps, staffed, now)
    # The median of an exponential law lies below its mean, and is not moved by the few that were down.
    waited = np.append(passed_over(gaps, staffed, now, LONG), np.ones(round(STEADY)))
    usual = max(float(np.median(waited)) / math.log(2), LEAST_PASSED)
    odds = share / (1 - share) * ((1 + passed_over(gaps, staffed, now, SILENT) / usual) / PASSED) ** POWER
    return Silences(share, found.drop("model").with_columns(down=pl.Series(odds / (1 + odds))))


def passed_over(gaps: pl.DataFrame, staffed: Staffed, now: int, hours: float) -> Numbers:
    """How often each machine that stood for so many `hours` with people in was passed over after these.

    A start at another machine of its model, where k of them stood, passes over each by 1/k: if all were alike, that
    much would be expected of an hour before somebody started a print there.
    """
    long, stood = silences(gaps, staffed, now, hours), _stood(gaps, now)
    since = staffed.reaching(staffed.worked(long["start"].to_numpy()) + int(hours * HOUR))
    passed = np.zeros(len(long))
    for model in long["model"].unique():
        mine = (long["model"] == model).to_numpy()
        starts = gaps.filter((pl.col("kind") == "PrintStarted") & (pl.col("model") == model))["t"].sort().to_numpy()
        of_model = stood.filter(pl.col("model") == model)
        gathered = np.append(0.0, np.cumsum(1 / np.maximum(_standing(of_model, starts), 1)))
        until = np.searchsorted(starts, long["end"].to_numpy()[mine])
        passed[mine] = gathered[until] - gathered[np.minimum(np.searchsorted(starts, since[mine]), until)]
    return passed


def _standing(stood: pl.DataFrame, moments: Micros) -> Micros:
    """How many machines stood at each moment, those at which it ends with them."""
    begun, over = (np.sort(stood[edge].to_numpy()) for edge in ("start", "end"))
    return np.asarray(np.searchsorted(begun, moments) - np.searchsorted(over, moments))


def share_down(gaps: pl.DataFrame, staffed: Staffed, forgets: float, now: int) -> float:
    """The share of silences that are faults which nobody told."""
    down = down_spells(gaps).filter(pl.col("until") < FAR)
    lasted = staffed.hours(down["began"].to_numpy(), down["until"].to_numpy())
    untold = float((lasted > SILENT).sum()) * (NEVER_TOLD + forgets)
    return min((untold + STEADY * USUAL) / (len(silences(gaps, staffed, now)) + untold + STEADY), 1.0)
