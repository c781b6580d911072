"""Fast and slow models compared fairly: what their machines gave in calendar weeks, not what they could in an hour."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import polars as pl
from scipy.stats import t as student

from core.arrays import Numbers
from core.epoch import WEEK_HOURS
from core.estimate import HIGH, Estimate, difference
from core.reading.reading import tally
from core.review.figures import RATE_HOURS
from core.review.quarter import Past
from core.review.types import ModelsCompared, ModelWork
from core.setup import Model, PrintFile
from core.statistics.ranges import poisson_range
from core.sums import summed

#: A model is faster than another if it prints the same parts in less than this share of the time.
FASTER = 0.97


def models(past: Past) -> list[ModelWork]:
    """What the machines of every model gave over the past, the fastest model first."""
    prints = _prints(past)
    names = {row.model: row.name for row in past.setup.all(Model, past.end)}
    found = [
        _model(past, model, names.get(model, model), mine, prints.filter(pl.col("model") == model))
        for model, mine in past.machines_by("model").items()
    ]  # fmt: skip
    return sorted(found, key=lambda line: (-line.speed.best, line.model))


def compared(found: Sequence[ModelWork]) -> list[ModelsCompared]:
    """Every two models of which one prints clearly faster."""
    return [
        ModelsCompared(
            fast=fast.model, slow=slow.model, faster=fast.speed.best / slow.speed.best,
            more=difference(fast.work, slow.work),
        )
        for fast, slow in combinations(found, 2)
        if slow.speed.best and slow.speed.best / fast.speed.best < FASTER
    ]  # fmt: skip


def _prints(past: Past) -> pl.DataFrame:
    """Removals of announced prints with what they took and made: machine, model, week, hours, standard, good, scrap.

    `standard`: hours that its good parts take on average over the models that print the product.
    """
    stated = {(f.file, f.revision): (f.hours, f.product) for f in past.setup.history(PrintFile)}
    learned = past.read.learned
    rows = past.removals.drop_nulls(["file", "good"]).filter(pl.col("parts") > 0)
    told = rows.select("file", "revision", "model").rows()
    hours = [stated[file, revision][0] * learned.ratio(file, revision, model) for file, revision, model in told]
    products = [stated[file, revision][1] for file, revision, _ in told]
    rows = rows.with_columns(
        hours=pl.Series(hours, dtype=pl.Float64), product=pl.Series(products, dtype=pl.String),
        whole=pl.col("ended") == "itself",
    )  # fmt: skip
    a_part = summed(rows.filter("whole"), ["product", "model"], pl.col("hours", "parts"))
    by_model = a_part.select("product", a_part=pl.col("hours") / pl.col("parts"))
    by_product = by_model.group_by("product", maintain_order=True).agg("a_part")
    standard = by_product.with_columns(pl.col("a_part").list.mean())
    edges = past.edges(past.weeks)
    week = np.searchsorted(edges, rows["t"].to_numpy(), side="right") - 1
    rows = rows.with_columns(week=pl.Series(week)).join(standard, on="product", how="inner", maintain_order="left")
    return rows.with_columns(standard=pl.col("good") * pl.col("a_part"), planned=pl.col("parts") * pl.col("a_part"))


def _model(past: Past, model: str, name: str, machines: list[str], prints: pl.DataFrame) -> ModelWork:
    printed = past.by_week.rows.filter(pl.col("state") == "printing", pl.col("machine").is_in(machines))
    hours = _table(printed.select("machine", "best", week="window"), "best", machines, past)
    faults = sum(fault.machine in set(machines) for fault in past.faults)
    total = float(hours.sum())
    return ModelWork(
        model=model, name=name, machines=len(machines),
        printing=_mean(hours, past),
        work=_mean(_table(prints, "standard", machines, past), past),
        good=_mean(_table(prints, "good", machines, past), past),
        speed=_speed(prints.filter("whole")),
        spoilt=tally(prints.filter(pl.col("scrap") > 0).height, prints.height),
        faults=poisson_range(faults).scaled(RATE_HOURS / total if total else 0.0),
        hands=_mean(_hands(past, prints, machines), past),
    )  # fmt: skip


def _hands(past: Past, prints: pl.DataFrame, machines: list[str]) -> Numbers:
    """Hours of hands for changes of prints and for upkeep, by machine and week."""
    done = past.log.entries_of(["UpkeepDone"], past.window, past.at)
    week = np.searchsorted(past.edges(past.weeks), done["at"].dt.epoch("us").to_numpy(), side="right") - 1
    upkeep = done.select("machine", pl.Series("week", week), "minutes")
    changes = prints.select("machine", "week", minutes=pl.lit(past.shop.change_minutes))
    return _table(pl.concat([changes, upkeep]), "minutes", machines, past) / 60


def _table(rows: pl.DataFrame, what: str, machines: list[str], past: Past) -> Numbers:
    """The sums of a column by machine and week."""
    places = {machine: place for place, machine in enumerate(machines)}
    found = np.zeros((len(machines), len(past.weeks)))
    for machine, week, value in rows.select("machine", "week", what).iter_rows():
        if machine in places:
            found[places[machine], week] += value
    return found


def _mean(table: Numbers, past: Past) -> Estimate:
    """The mean a machine and week [machines, weeks]; its range from machine to machine, of one machine by weeks."""
    weeks = past.window.hours / WEEK_HOURS
    values = (table.sum(axis=1) if len(table) > 1 else table[0] * len(past.weeks)) / weeks
    best, count = float(values.mean()), len(values)
    if count < 2:
        return Estimate(low=0.0, best=best, high=float("inf"))
    reach = float(student.ppf(HIGH, count - 1)) * float(values.std(ddof=1)) / np.sqrt(count)
    return Estimate(low=max(best - reach, 0.0), best=best, high=best + reach)


def _speed(prints: pl.DataFrame) -> Estimate:
    """Standard hours in an hour of printing: a ratio of sums, its range from print to print."""
    hours, planned = prints["hours"].to_numpy(), prints["planned"].to_numpy()
    if len(hours) < 2:
        return Estimate(low=0.0, best=1.0, high=float("inf"))
    best = float(planned.sum() / hours.sum())
    off = (planned - best * hours).std(ddof=1) / (hours.mean() * np.sqrt(len(hours)))
    reach = float(student.ppf(HIGH, len(hours) - 1) * off)
    return Estimate(low=max(best - reach, 0.0), best=best, high=best + reach)
