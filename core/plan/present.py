"""The room as it is: draws of what every machine does now and when hands come to it, for `forward` to play on from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtri

from core.arrays import Flags, Numbers, Rows
from core.epoch import HOUR
from core.estimate import NINETY
from core.plan.laws import HandsClock, Laws, Now, Work, drawn, longer
from core.plan.room import Named
from core.setup import Machine

#: Hours that a machine which is set aside stays so on average (common practice, no source).
ASIDE = 28 * 24.0
#: Chances that each draw of a machine takes.
CHANCES = 5


@dataclass(frozen=True)
class Ways:
    """How a shop works at `at` (microseconds); the share `forgets` of starts is not in its log."""

    names: Named
    work: Work
    laws: Laws
    clock: HandsClock
    at: int
    forgets: float


@dataclass(frozen=True)
class _Drawn:
    """Draws of one machine: when what is on it ends, when hands come, its file (-1: none), whether that is good."""

    ends: Numbers
    visit: Numbers
    file: Rows
    good: Flags


def as_it_is(machines: Sequence[Machine], standing: pl.DataFrame, ways: Ways, count: int, seed: int) -> Now:
    """`count` draws of the room, from rows of `standing` with more columns: `loaded`, the material on the machine,
    `waited`, the hours of hands since its state began, and `rushed`, whether it began before they came in.
    """
    rows = {row["machine"]: row for row in standing.iter_rows(named=True)}
    mine = [row for row in machines if row.machine in rows]
    draw, models, materials = np.random.default_rng(seed), ways.names.models, ways.names.materials
    model = np.array([models.index(row.model) for row in mine], dtype=np.int64)
    found = [
        _machine(rows[row.machine], kind, ways, draw.random((CHANCES, count)))
        for row, kind in zip(mine, model.tolist(), strict=True)
    ]
    loaded = [rows[row.machine]["loaded"] for row in mine]
    carried = np.array([materials.index(one) if one in materials else -1 for one in loaded], dtype=np.int64)

    def across(name: str) -> Numbers:
        return np.array([getattr(one, name) for one in found]).reshape(len(mine), count).T

    return Now(
        model, across("ends"), across("visit"), across("file").astype(np.int64), across("good").astype(bool),
        np.tile(carried, (count, 1)),
    )  # fmt: skip


def _machine(row: dict[str, Any], model: int, ways: Ways, chances: Numbers) -> _Drawn:
    state = row["state"]
    if state in ("printing", "proving"):
        return _printing(row, ways, chances)
    if state in ("done", "stopped"):
        return _over(row, ways, chances)
    if state in ("down", "waiting", "upkeep"):
        return _out(longer(ways.laws.down, np.full(chances.shape[1], -_since(row, ways)), chances[0]), ways, chances)
    if state == "aside":
        return _out(-ASIDE * np.log1p(-chances[0]), ways, chances)
    return _empty(row, model, ways, chances)


def _since(row: dict[str, Any], ways: Ways) -> float:
    """When its state began, hours from now (negative)."""
    return float(row["since"] - ways.at) / HOUR


def _file(row: dict[str, Any], ways: Ways) -> int:
    """What is on it; what nobody announced is taken to be what the machine printed before."""
    return ways.names.file(row["file"] or row["last_file"])


def _printing(row: dict[str, Any], ways: Ways, chances: Numbers) -> _Drawn:
    """It ends as it is due, unless it stops before."""
    spread = (row["due_high"] - row["due_low"]) / HOUR / (2 * NINETY)
    ends = np.maximum((row["due"] - ways.at) / HOUR + spread * ndtri(chances[0]), 0.0)
    return _ends(ends, np.full(len(ends), _file(row, ways)), ways, chances)


def _ends(ends: Numbers, file: Rows, ways: Ways, chances: Numbers) -> _Drawn:
    """A print that ends so, unless it stops before; hands come to it as they do."""
    left = np.maximum(ends, 0.0)
    stops = chances[1] < -np.expm1(-ways.laws.stops * left)
    ends = np.where(stops, left * chances[2], ends)
    begin = np.maximum(ends, 0.0)
    rush = ways.clock.rush[ways.clock.when(begin)]
    waits = np.where(rush, drawn(ways.laws.rush, chances[3]), drawn(ways.laws.calm, chances[3]))
    return _Drawn(ends, ways.clock.after(begin, waits), file, ~stops)


def _over(row: dict[str, Any], ways: Ways, chances: Numbers) -> _Drawn:
    """It has ended, and waited for hands a while already."""
    table, count = (ways.laws.rush if row["rushed"] else ways.laws.calm), chances.shape[1]
    waits = longer(table, np.full(count, row["waited"]), chances[0])
    file, good = np.full(count, _file(row, ways)), np.full(count, row["state"] == "done")
    return _Drawn(np.full(count, _since(row, ways)), ways.clock.after(np.zeros(count), waits), file, good)


def _out(ends: Numbers, ways: Ways, chances: Numbers) -> _Drawn:
    """Out of service for so long, and until hands are in; they start it at once or later."""
    nothing, laws = np.zeros(len(ends)), ways.laws
    ends = ways.clock.after(ends, nothing)
    stands = np.where(chances[1] < laws.at_once, 0.0, drawn(laws.idle, chances[2]))
    return _Drawn(ends, ways.clock.after(ends, stands), np.full(len(ends), -1), np.ones(len(ends), dtype=bool))


def _empty(row: dict[str, Any], model: int, ways: Ways, chances: Numbers) -> _Drawn:
    """It stands as machines do, or prints what nobody announced: the longer nothing is heard, the rather."""
    count, laws = chances.shape[1], ways.laws
    stands = longer(laws.idle, np.full(count, row["waited"]), chances[0])
    empty = _Drawn(
        np.full(count, _since(row, ways)), ways.clock.after(np.zeros(count), stands), np.full(count, -1),
        np.ones(count, dtype=bool),
    )  # fmt: skip
    file = _file(row, ways)
    if file < 0 or row["state"] != "empty" or np.isnan(ways.work.hours[model, file]):
        return empty
    begun = ways.forgets * laws.at_once
    still = (1 - laws.at_once) * float((laws.idle > row["waited"]).mean())
    prints = chances[4] < begun / max(begun + still, 1e-12)
    ends = _since(row, ways) + ways.work.hours[model, file] * drawn(laws.ratio, chances[0])
    told = _ends(ends, np.full(count, file), ways, chances)
    return _Drawn(*(np.where(prints, getattr(told, name), getattr(empty, name)) for name in _Drawn.__annotations__))
