"""Downtime that nobody told, or told otherwise than it was: what it does to the hours of a machine."""

from __future__ import annotations

import polars as pl

from core.epoch import FAR, WEEK_HOURS
from core.estimate import NINETY
from core.habits.learned import Learned
from core.hours.state_rows import IDLE, SCHEMA
from core.setup import NOBODY_TOLD
from core.sums import summed
from core.timeline.gaps import DECLARED

#: How far declared downtime is off, for a shop that forgets nothing and for each share of entries forgotten (one
#: standard deviation, a share of it). From invented shops (`report --how-sure`).
DOWN_DOUBT, DOWN_UNNOTED = 0.01, 0.12
#: The ends of a time somebody noted are off by minutes (hours, one standard deviation), and one time in so many is
#: another machine's, or its end was told at another time altogether.
DOWN_ENDS, DOWN_WRONG = 0.05, 0.03
#: Of the time after the last word of a machine that was down, and whose return nobody told, it was back for so much (a
#: share of it, one standard deviation). From rooms made by other hands (`report --how-sure`).
OVER_BEFORE = 0.5
#: Upkeep nobody noted takes a machine so many hours a week if it is never noted (one standard deviation).
DOWN_UNSEEN = 0.8
#: How far the share of machines without a word that are down may be off (one standard deviation), and the logarithm of
#: the odds that silences are.
SILENT_DOUBT, ODDS_DOUBT = 0.1, 1.0
#: People forget this share of their taps while nothing is learned of a shop (common practice, no source).
FORGETS = 0.2
#: What scales with the chance that a stretch was what it seems.
_SCALED = ("best", "below", "above", "third", "moved", "loose", "upward")


def unreturned(gaps: pl.DataFrame) -> pl.DataFrame:
    """The times after the last word of machines that were down, of whose return nobody told: machine, start, end."""
    rows = gaps.filter(
        pl.col("leaves").is_in(["down", "waiting"]), pl.col("until") < FAR, ~pl.col("next_found").is_in(DECLARED)
    )
    return rows.select("machine", start="t", end="until")


def loosened(rows: pl.DataFrame, learned: Learned) -> pl.DataFrame:
    """Declared downtime with what faults, returns and upkeep that nobody noted may move it.

    Where nobody told of the return (`unreturned`) it was over at any time before the next word.
    """
    share = DOWN_DOUBT + DOWN_UNNOTED * _forgets(learned)
    down = pl.col("state").is_in(["upkeep", "down", "waiting"])
    own = pl.when(down).then(DOWN_ENDS**2 + DOWN_WRONG * pl.col("best") ** 2).otherwise(0.0)
    over = pl.when(down & (pl.col("unreturned") > 0)).then(OVER_BEFORE**2 * pl.col("best") ** 2).otherwise(0.0)
    return rows.with_columns(
        below=pl.col("below") + own + over,
        above=pl.col("above") + own,
        loose=pl.when(down).then(share * pl.col("best")).otherwise("loose"),
    ).drop("unreturned")


def _forgets(learned: Learned) -> float:
    """The share of taps that nobody noted."""
    return learned.habits.forgets if learned.habits else FORGETS


def unseen(rows: pl.DataFrame, learned: Learned) -> pl.DataFrame:
    """Upkeep that nobody noted and nothing gives away: no hours, since any guess would be wrong, but a range upward."""
    a_week = DOWN_UNSEEN**2 * _forgets(learned) / WEEK_HOURS
    hours = summed(rows.filter(pl.col("state") != IDLE), ["machine", "window"], pl.col("best"))
    return _more(hours, "upkeep", above=a_week * pl.col("best"))


def no_word(rows: pl.DataFrame) -> pl.DataFrame:
    """A machine of which there is no word may have been `down` all the time: no hours, but a range upward.

    What its chance comes to on average, what a single machine adds up to every hour of it, and what all of them do
    together by how little is known of their share.
    """
    mine = pl.col("state") == "no word"
    hours = summed(rows.filter(mine), ["machine", "window", "down"], pl.col("best"))
    chance, best = pl.col("down"), pl.col("best")
    throw = chance * (1 - chance)
    spread = throw + (1 / NINETY**2 - chance).clip(lower_bound=0)
    loose = SILENT_DOUBT + ODDS_DOUBT * throw
    return _more(hours, "down", upward=chance * best, above=spread * best**2, loose=loose * best)


def suspected(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows with the hours moved that their machine was `down` by a chance: what else it may have done in them, it
    did by the rest of it. Which of the two a silence was is one throw for all its hours. No word stays no word.
    """
    moves = (pl.col("down") > 0) & (pl.col("state") != "no word")
    plain, silent = rows.filter(~moves), rows.filter(moves)
    chance, best = pl.col("down"), pl.col("best")
    hours = summed(silent.filter(pl.col("state") != IDLE), ["machine", "window", "down"], best)
    throw = chance * (1 - chance) * best**2
    moved = _more(hours, "down", cause=pl.lit(NOBODY_TOLD), best=chance * best, below=throw, above=throw,
                  third=throw * (1 - 2 * chance) * best, loose=ODDS_DOUBT * chance * (1 - chance) * best)  # fmt: skip
    stayed = silent.with_columns(**{name: (1 - chance) * pl.col(name) for name in _SCALED}).with_columns(
        pl.col("below", "above") + throw, loose=pl.col("loose") - ODDS_DOUBT * chance * (1 - chance) * best
    )
    return pl.concat([plain.select(*SCHEMA), stayed.select(*SCHEMA), moved])


def _more(rows: pl.DataFrame, state: str, **told: pl.Expr) -> pl.DataFrame:
    """Rows of machines and windows that may have been in a state with nothing telling."""
    none = dict.fromkeys(_SCALED, pl.lit(0.0))
    state_of = {"state": pl.lit(state), "cause": pl.lit(None, pl.String), "spare": pl.lit(None, pl.String),
                "kind": pl.lit(-1, pl.Int64)}  # fmt: skip
    return rows.with_columns(**state_of | none | told).select(*SCHEMA)
