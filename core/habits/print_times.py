"""How long each print file truly takes, learned from sightings alone.

Nobody times a print. But a print seen printing at one moment and seen done, or taken off, at a later one
ended in between, and finished prints wait for hands for a while that has a law of its own; failed and
interrupted prints say only how long they lasted at least. Together these give every file a likelihood of
its ratio true / stated time, and the ratios of a shop are alike: by model, by file, by revision.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl

from core.arrays import Flags, Numbers, Rows
from core.epoch import FAR, HOUR, MINUTE
from core.numbering import numbering_of
from core.setup import PrintFile, Setup
from core.staffed import Staffed

#: A print file of one revision on one model of machine.
Kind = tuple[str, int, str]

#: Ratios true / stated that are thought of.
RATIOS = np.linspace(0.70, 1.50, 161)
#: The newest prints say as much as a shop needs, and keep the fit quick.
NEWEST = 3000
#: Two prints of a file are never quite alike: the spreads that are tried (of one print's ratio).
SPREADS = (0.006, 0.009, 0.013, 0.018, 0.025, 0.035, 0.05)
#: Some prints are slips (a wrong file or time, a change nobody noted) and may lie anywhere: this share to begin with.
SLIPS = 0.02
#: Nobody taps a removal sooner than this after the print ended (microseconds): parts come off first.
TAKING_OFF = MINUTE
#: How much ratios differ (spreads of their logarithm): shops, models, files, one revision on one model.
SHOP_SPREAD, MODEL_SPREAD, FILE_SPREAD, KIND_SPREAD = 0.15, 0.02, 0.04, 0.015
#: A ratio on its own is never known better than this, whatever the sightings: the law of waits is a model.
FLOOR = 0.003
#: A print tells of its file's time if it ended, this likely, while people were in.
TELLS = 0.9


@dataclass(frozen=True)
class PrintTimes:
    """The ratio true / stated time of every kind of print, and how sure it is.

    `logs` are the best logarithms of the ratios of `kinds` and `covariance` their shared doubt: what is
    wrong for one file of a model is a little wrong for all. `spread` is that of one print about its kind,
    `seen` how many sightings told of each kind. A kind nobody knows has the shop's ratio.
    """

    kinds: tuple[Kind, ...] = ()
    logs: Numbers = field(default_factory=lambda: np.zeros(0))
    covariance: Numbers = field(default_factory=lambda: np.zeros((0, 0)))
    seen: tuple[int, ...] = ()
    spread: float = 0.03
    shop_log: float = 0.0
    shop_doubt: float = 0.05

    @cached_property
    def ratios(self) -> Mapping[Kind, tuple[float, float]]:
        """The best ratio of every kind and the spread of its logarithm."""
        doubts = np.sqrt(np.diag(self.covariance))
        return {kind: (float(np.exp(b)), float(d)) for kind, b, d in zip(self.kinds, self.logs, doubts, strict=True)}


def ended_prints(gaps: pl.DataFrame, setup: Setup) -> pl.DataFrame:
    """Announced prints and when they can have ended; `gaps` must be found with nothing learned.

    Columns: file, revision, model, stated (hours), began, printing (last seen so), over (first seen or taken
    off done; null where it only lasted beyond `printing`), off (its removal, or null). Microseconds. Prints
    with a moment put back from memory are left out: they are told to the half hour.
    """
    stated = {(row.file, row.revision): row.hours for row in setup.history(PrintFile)}
    starts = gaps.filter((pl.col("kind") == "PrintStarted") & (pl.col("blur") == 0)).select(
        "file", "revision", "model", print="id", start="t"
    )
    mine = gaps.filter(pl.col("print").is_not_null()).with_columns(
        off=pl.when((pl.col("next_kind") == "PartsOff") & (pl.col("next_blur") == 0)).then("until")
    )
    removal = mine.group_by("print").agg(pl.col("off").last())
    last = (
        mine.filter((pl.col("leaves") == "printing") & (pl.col("until") < FAR))
        .group_by("print", maintain_order=True)
        .last()
        .filter(~pl.col("paused") & (pl.col("blur") == 0) & (pl.col("next_blur") == 0))
        .with_columns(ended=pl.col("next_found") == "done")
        .filter(pl.col("ended") | pl.col("next_found").is_in(["stopped", "any", "down"]))
    )
    rows = last.select("print", "ended", printing="t", seen_at="until")
    rows = rows.join(starts, on="print", maintain_order="left").join(removal, on="print", maintain_order="left")
    keys = pl.struct("file", "revision")
    return rows.select(
        "file", "revision", "model", "off",
        stated=keys.map_elements(lambda k: stated[k["file"], k["revision"]], return_dtype=pl.Float64),
        began="start", printing="printing", over=pl.when("ended").then("seen_at"),
    ).sort("began", maintain_order=True).tail(NEWEST)  # fmt: skip


def learn_times(prints: pl.DataFrame, setup: Setup, staffed: Staffed) -> PrintTimes:
    """The print times of rows of `ended_prints`; the files as they state, with wide doubt, where there are none."""
    models = numbering_of(setup).models
    kinds = tuple((f.file, f.revision, m) for f in setup.history(PrintFile) for m in f.models or models)
    kinds = tuple(dict.fromkeys(kinds))
    rows = prints.select("file", "revision", "model").rows()
    printed = set(rows)
    mine = {kind: np.flatnonzero([row == kind for row in rows]) for kind in kinds if kind in printed}
    likelihood, spread, told = _likelihoods(prints, mine, staffed)
    shop = _shop_ratio(likelihood)
    known = {kind: _moments(likelihood[rows].sum(axis=0), shop) for kind, rows in mine.items()}
    seen = tuple(int(told[mine[kind]].sum()) if kind in mine else 0 for kind in kinds)
    return _alike(kinds, {k: v for k, v in known.items() if v is not None}, seen, spread)


class _Ends:
    """The ends that every ratio thought of gives every print, and how long each had waited when it was seen."""

    def __init__(self, prints: pl.DataFrame, staffed: Staffed) -> None:
        began, printing = prints["began"].to_numpy(), prints["printing"].to_numpy()
        over = prints["over"].fill_null(FAR).to_numpy()
        off = prints["off"].fill_null(FAR).to_numpy()
        ends = began[:, None] + (RATIOS * HOUR * prints["stated"].to_numpy()[:, None]).astype(np.int64)
        opens, closes = staffed.spell_at(ends.ravel())
        self.outside = (opens == closes).reshape(ends.shape)
        self.ended = over < FAR
        self.removed = self.ended & (off < FAR)
        latest = np.where(self.ended, np.where(off == over, over - TAKING_OFF, over), FAR)
        self.possible = (ends > printing[:, None]) & (ends <= latest[:, None])
        until = np.where(self.removed, off, over)
        waited = staffed.worked(np.where(self.ended, until, began))[:, None] - staffed.worked(ends.ravel()).reshape(
            ends.shape
        )
        self.waited = np.maximum(waited, 0) / HOUR

        #: The likelihood of the same sightings of a slip: a removal at any hour of ten, a look at any time.
        self.slips = np.where(self.removed, 0.1, 0.5)[:, None]

    def chances(self, inside: float, outside: float) -> Numbers:
        """The likelihood of what was seen of each print for each of its possible ends, up to a factor a print."""
        mean = np.where(self.outside, outside, inside)
        wait = np.exp(-self.waited / mean) / np.where(self.removed[:, None], mean, 1.0)
        return np.where(self.possible, np.where(self.ended[:, None], wait, 1.0), 0.0)

    def told(self, chances: Numbers) -> Flags:
        """Whether each print ended, as far as can be seen, while people were in: then its sightings tell when."""
        inside = np.where(self.outside, 0.0, chances).sum(axis=1)
        return np.asarray(self.ended & (inside > TELLS * np.maximum(chances.sum(axis=1), 1e-300)))

    def waits(self, weights: Numbers) -> tuple[float, float]:
        """The mean waits, of ends while people are in and of others, from the weights of the possible ends."""
        found = []
        for mine in (~self.outside, self.outside):
            weight = np.where(mine & self.ended[:, None], weights, 0.0)
            waited, removals = (weight * self.waited).sum(), (weight * self.removed[:, None]).sum()
            found.append((waited + 1.0) / (removals + 1.0))
        return found[0], found[1]


def _likelihoods(prints: pl.DataFrame, mine: Mapping[Kind, Rows], staffed: Staffed) -> tuple[Numbers, float, Flags]:
    """The logarithm of each print's likelihood over `RATIOS` of its kind, the spread that fits best, who told."""
    ends = _Ends(prints, staffed)
    inside, outside, spread, slips = 0.5, 1.0, 0.013, SLIPS
    for _ in range(3):
        chances = ends.chances(inside, outside)
        likelihood = _smeared(chances, spread, slips * ends.slips)
        best = np.ones(len(chances))
        shop = _shop_ratio(likelihood)
        for rows in mine.values():
            prior = -0.5 * (np.log(RATIOS / shop) / FILE_SPREAD) ** 2
            best[rows] = RATIOS[(likelihood[rows].sum(axis=0) + prior).argmax()]
        near = chances * np.exp(-0.5 * ((RATIOS - best[:, None]) / (spread * best[:, None])) ** 2)
        near /= np.exp(-0.5 * ((RATIOS - best[:, None]) / (spread * best[:, None])) ** 2).sum(axis=1, keepdims=True)
        law, slip = (1 - slips) * near.sum(axis=1, keepdims=True), slips * ends.slips
        weights = (1 - slips) * near / (law + slip)
        inside, outside = ends.waits(weights)
        inside, outside = max(inside, 0.05), max(outside, 0.05)
        slips = float(np.clip((slip / (law + slip)).mean(), 0.01, 0.3)) if len(slip) else SLIPS
    chances = ends.chances(inside, outside)
    tried = [(s, _smeared(chances, s, slips * ends.slips)) for s in SPREADS]
    fits = [sum(_log_mean(ll[rows].sum(axis=0)) for rows in mine.values()) for _, ll in tried]
    spread, likelihood = tried[int(np.argmax(fits))] if mine else tried[-2]
    return likelihood, spread, ends.told(chances)


def _smeared(chances: Numbers, spread: float, slips: Numbers) -> Numbers:
    """The chances of a print's own ratio made those of its kind's, with a share of slips; logarithms."""
    about = np.exp(-0.5 * ((RATIOS[:, None] - RATIOS) / (spread * RATIOS)) ** 2)
    about /= about.sum(axis=0)
    return np.log(chances @ about + slips)


def _shop_ratio(likelihood: Numbers) -> float:
    prior = -0.5 * (np.log(RATIOS) / SHOP_SPREAD) ** 2
    return float(RATIOS[(likelihood.sum(axis=0) + prior).argmax()])


def _log_mean(values: Numbers) -> float:
    return float(np.log(np.exp(values - values.max()).mean()) + values.max())


def _moments(log_likelihood: Numbers, shop: float, wide: float = 0.1) -> tuple[float, float] | None:
    """What the sightings of one kind say of its log ratio by themselves: best and variance; None for nothing.

    A wide prior keeps a one-sided likelihood in bounds and is taken out again.
    """
    logs = np.log(RATIOS)
    posterior = log_likelihood - 0.5 * ((logs - np.log(shop)) / wide) ** 2
    weight = np.exp(posterior - posterior.max())
    weight /= weight.sum()
    mean = float((weight * logs).sum())
    variance = float((weight * (logs - mean) ** 2).sum()) + FLOOR**2
    precision = 1 / variance - 1 / wide**2
    if precision <= 1.0:
        return None
    return (mean / variance - np.log(shop) / wide**2) / precision, 1 / precision


def _alike(
    kinds: tuple[Kind, ...], known: Mapping[Kind, tuple[float, float]], seen: tuple[int, ...], spread: float
) -> PrintTimes:
    """The ratios of a shop together: shop + model + file + kind, each with its spread (a mixed linear model).

    With the prior precisions on the diagonal, the normal equations give best values and their covariance.
    """
    models, files = sorted({k[2] for k in kinds}), sorted({k[0] for k in kinds})
    design = np.zeros((len(kinds), 1 + len(models) + len(files) + len(kinds)))
    for row, (file, _, model) in enumerate(kinds):
        at = (0, 1 + models.index(model), 1 + len(models) + files.index(file), 1 + len(models) + len(files) + row)
        design[row, list(at)] = 1.0
    spreads = [SHOP_SPREAD, *[MODEL_SPREAD] * len(models), *[FILE_SPREAD] * len(files), *[KIND_SPREAD] * len(kinds)]
    rows = [kinds.index(kind) for kind in known]
    told = np.array([known[kind] for kind in known]).reshape(-1, 2)
    weighted = design[rows].T / told[:, 1]
    doubt = np.linalg.inv(np.diag(1 / np.square(spreads)) + weighted @ design[rows])
    effects = doubt @ (weighted @ told[:, 0])
    new = np.sqrt(doubt[0, 0] + MODEL_SPREAD**2 + FILE_SPREAD**2 + KIND_SPREAD**2)
    return PrintTimes(
        kinds=kinds, logs=design @ effects, covariance=design @ doubt @ design.T, seen=seen,
        spread=spread, shop_log=float(effects[0]), shop_doubt=float(new),
    )  # fmt: skip
