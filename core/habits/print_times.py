"""How long each print file truly takes, learned from sightings alone.

Nobody times a print. But a print seen printing at one moment and seen done, or taken off, at a later one
ended in between, and finished prints wait for hands for a while that has a law of its own; failed and
interrupted prints say only how long they lasted at least. Together these give every file a likelihood of
its ratio true / stated time, and the ratios of a shop are alike: by model, by file, by revision.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl

from core.arrays import Numbers, Rows
from core.epoch import FAR
from core.habits.changed_times import as_now
from core.habits.sightings import RATIOS, SHOP_SPREAD, SPREADS, Kind, Sightings, Way
from core.numbering import numbering_of
from core.setup import PrintFile, Setup
from core.staffed import Staffed

#: The newest prints say as much as a shop needs, and keep the fit quick.
NEWEST = 3000
#: So many say enough of the waits and of how alike prints are, and keep the looking for it quick.
ENOUGH_PRINTS = 600
#: How much ratios differ (spreads of their logarithm): models, files, one revision on one model.
MODEL_SPREAD, FILE_SPREAD, KIND_SPREAD = 0.02, 0.04, 0.015
#: No law of waits is quite that of a shop's people. So the ratios of all its prints may be off together, the times of
#: all by this part of the usual wait, and by this part of how far off the moments are that are told from memory.
LAW_DOUBT, WAIT_DOUBT, MEMORY_DOUBT = 0.008, 0.15, 0.25
#: A ratio on its own is never known better than this, whatever the sightings: the law of waits is a model.
FLOOR = 0.003


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


def ended_prints(gaps: pl.DataFrame, setup: Setup, from_memory: bool = False) -> pl.DataFrame:
    """Announced prints and when they can have ended; `gaps` must be found with nothing learned.

    Columns: file, revision, model, stated (hours), began, printing (last seen so), over (first seen or taken
    off done; null where it only lasted beyond `printing`), off (its removal, or null), all in
    microseconds; off_by (hours: how far off moments told from memory may lie). Prints of such moments are left out
    unless they are asked for: they are told to the half hour.
    """
    stated = {(row.file, row.revision): row.hours for row in setup.history(PrintFile)}
    prompt, told_at_once = ((pl.col(blur) == 0) | pl.lit(value=from_memory) for blur in ("blur", "next_blur"))
    starts = gaps.filter((pl.col("kind") == "PrintStarted") & prompt).select(
        "file", "revision", "model", print="id", start="t", start_blur="blur"
    )
    mine = gaps.filter(pl.col("print").is_not_null()).with_columns(
        off=pl.when((pl.col("next_kind") == "PartsOff") & told_at_once).then("until")
    )
    removal = mine.group_by("print").agg(pl.col("off").last())
    last = (
        mine.filter((pl.col("leaves") == "printing") & (pl.col("until") < FAR))
        .group_by("print", maintain_order=True)
        .last()
        .filter(~pl.col("paused") & prompt & told_at_once)
        .with_columns(ended=pl.col("next_found") == "done")
        .filter(pl.col("ended") | pl.col("next_found").is_in(["stopped", "any", "down"]))
    )
    rows = last.select("print", "ended", "blur", "next_blur", printing="t", seen_at="until")
    rows = rows.join(starts, on="print", maintain_order="left").join(removal, on="print", maintain_order="left")
    keys, start_blur = pl.struct("file", "revision"), pl.col("start_blur").fill_null(0.0)
    seen_blur = pl.when(pl.col("printing") > pl.col("start")).then("blur").fill_null(0.0)
    return rows.select(
        "file", "revision", "model", "off",
        stated=keys.map_elements(lambda k: stated[k["file"], k["revision"]], return_dtype=pl.Float64),
        began="start", printing="printing", over=pl.when("ended").then("seen_at"),
        off_by=math.sqrt(3) * (pl.max_horizontal(seen_blur, "next_blur") ** 2 + start_blur**2).sqrt(),
    ).sort("began", maintain_order=True).tail(NEWEST)  # fmt: skip


def learn_times(prints: pl.DataFrame, setup: Setup, staffed: Staffed, taking_off: float) -> PrintTimes:
    """The print times of rows of `ended_prints`; the files as they state, with wide doubt, where there are none.

    `taking_off` is how long parts take to come off, in hours (see `core.habits.pace`). Where the times of a model have
    changed they are those since.
    """
    models = numbering_of(setup).models
    stated = {(f.file, f.revision, m): f.hours for f in setup.history(PrintFile) for m in f.models or models}
    kinds, hours = tuple(stated), np.array(list(stated.values()))
    if not _places(prints, kinds):
        return _alike(kinds, {}, (0,) * len(kinds), SPREADS[-1], np.full(len(kinds), LAW_DOUBT))
    sightings, ways = _fitted(prints, kinds, staffed, taking_off)
    now = as_now(prints, sightings, ways[0])
    if not now.equals(prints):
        sightings, ways = _fitted(now, kinds, staffed, taking_off)
    told, mine = sightings.told(ways[0].laws), sightings.mine
    seen = tuple(int(told[mine[kind]].sum()) if kind in mine else 0 for kind in kinds)
    vague = MEMORY_DOUBT * float(np.median(prints["off_by"].to_numpy()))
    doubts = [np.hypot(LAW_DOUBT, (WAIT_DOUBT * way.laws.usual + vague) / hours) for way in ways]
    times = [
        _alike(kinds, _known(sightings, way), seen, way.spread, doubt) for way, doubt in zip(ways, doubts, strict=True)
    ]
    return _together(np.array([way.share for way in ways]), times)


def _fitted(
    prints: pl.DataFrame, kinds: tuple[Kind, ...], staffed: Staffed, taking_off: float
) -> tuple[Sightings, list[Way]]:
    """The sightings of all prints, and the ways in which the newest may be alike."""
    newest = prints.tail(ENOUGH_PRINTS)
    ways = Sightings(newest, _places(newest, kinds), staffed, taking_off, RATIOS[::2]).ways()
    return Sightings(prints, _places(prints, kinds), staffed, taking_off), ways


def _known(sightings: Sightings, way: Way) -> dict[Kind, tuple[float, float]]:
    """What is known of kinds by their own sightings: best log ratio and variance."""
    moments = [_moments(one, math.exp(way.shop)) for one in sightings.of_kinds(way)]
    return {kind: one for kind, one in zip(sightings.mine, moments, strict=True) if one is not None}


def _together(shares: Numbers, times: Sequence[PrintTimes]) -> PrintTimes:
    """Print times by several ways, each as likely as its share: how far they lie apart is doubt as well."""
    every, shops = np.array([one.logs for one in times]), np.array([one.shop_log for one in times])
    logs, shop = shares @ every, float(shares @ shops)
    own = np.tensordot(shares, np.array([one.covariance for one in times]), axes=1)
    apart = every - logs
    doubt = shares @ (np.array([one.shop_doubt for one in times]) ** 2 + (shops - shop) ** 2)
    return replace(
        times[0], logs=logs, covariance=own + (apart.T * shares) @ apart, shop_log=shop, shop_doubt=math.sqrt(doubt),
        spread=float(shares @ [one.spread for one in times]),
    )  # fmt: skip


def _places(prints: pl.DataFrame, kinds: Sequence[Kind]) -> dict[Kind, Rows]:
    """The places of the prints of each kind that was printed."""
    rows = prints.select("file", "revision", "model").rows()
    printed = set(rows)
    return {kind: np.flatnonzero([row == kind for row in rows]) for kind in kinds if kind in printed}


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
    kinds: tuple[Kind, ...],
    known: Mapping[Kind, tuple[float, float]],
    seen: tuple[int, ...],
    spread: float,
    shared: Numbers,
) -> PrintTimes:
    """The ratios of a shop together: shop + model + file + kind, each with its spread (a mixed linear model).

    With the prior precisions on the diagonal, the normal equations give best values and their covariance. All may be
    off together by the `shared` doubt of each.
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
    new = np.sqrt(LAW_DOUBT**2 + doubt[0, 0] + MODEL_SPREAD**2 + FILE_SPREAD**2 + KIND_SPREAD**2)
    return PrintTimes(
        kinds=kinds, logs=design @ effects, covariance=design @ doubt @ design.T + np.outer(shared, shared), seen=seen,
        spread=spread, shop_log=float(effects[0]), shop_doubt=float(new),
    )  # fmt: skip
