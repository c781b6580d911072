"""Where every machine stands at one moment, and what therefore needs a hand."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from core.epoch import FAR
from core.timeline.counts import starts
from core.timeline.faults import down_spells
from core.timeline.gaps import DECLARED
from core.timeline.reckon import Reckoned, spells

#: A finished print becomes something to do when it has waited this long.
WAITS_HOURS = 1.0

#: Most urgent first: act now; see to it today; waiting on somebody else.
LEVELS = ("now", "today", "waiting")


def standing(reckoned: Reckoned) -> pl.DataFrame:
    """A row a machine in service at the end of the reckoned window.

    Columns: machine, state, basis, since, since_low, since_high, due, due_low, due_high (null unless it
    prints), print, file, revision, parts (of what is on the platform, where known), last_file,
    last_revision (the machine's last announced print), cause, spare. Times are microseconds.
    """
    last = spells(reckoned.stretches).group_by("machine", maintain_order=True).last()
    facts = reckoned.gaps.filter(pl.col("until") == FAR)
    told = starts(reckoned.gaps)
    latest = told.group_by("machine", maintain_order=True).last()
    facts = facts.select("machine", "print", "due", "due_low", "due_high", "cause", "spare", "t")
    down = down_spells(reckoned.gaps).filter(pl.col("until") == FAR).select("machine", "began")
    latest = latest.select("machine", last_file="file", last_revision="revision")
    on_platform = told.select("print", "file", "revision", "parts")
    rows = (
        last.select("machine", "state", "basis", "start", "start_low", "start_high")
        .join(facts, on="machine", how="left", maintain_order="left")
        .join(down, on="machine", how="left", maintain_order="left")
        .join(on_platform, on="print", how="left", maintain_order="left")
        .join(latest, on="machine", how="left", maintain_order="left")
    )
    prints = pl.col("state").is_in(["printing", "proving"])
    fixed = pl.col("state").is_in(DECLARED)
    # A spell that began before the window is still told with its true beginning.
    since = pl.when(fixed).then(pl.min_horizontal("start", pl.coalesce("began", "t"))).otherwise("start")
    return rows.select(
        "machine", "state", "basis", "print", "file", "revision", "parts", "last_file", "last_revision",
        *(pl.when(prints).then(pl.col(name)).alias(name) for name in ("due", "due_low", "due_high")),
        *(pl.when(fixed).then(pl.col(name)).alias(name) for name in ("cause", "spare")),
        since=since, since_low=pl.min_horizontal("start_low", since), since_high="start_high",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Need:
    """Machines of one rack that need the same hand: what kind, since when the first, and hours waited in all."""

    level: str
    state: str
    rack: str
    machines: tuple[str, ...]
    since: int
    waited_hours: float
    cause: str | None
    spare: str | None


def needs(rows: pl.DataFrame, racks: dict[str, str], now: int) -> list[Need]:
    """What needs a hand at `now` (microseconds), most urgent first, from rows of `standing`.

    Stopped prints and finished ones that have waited long come first, then machines that are down, of
    no word or empty, then those that wait for a spare. Machines of a rack in the same plight are one line;
    those down are told one by one, since each needs its own mending. Within a level the most hours waited lead.
    """
    found: dict[tuple[object, ...], list[dict[str, object]]] = {}
    for row in rows.iter_rows(named=True):
        level = _level(row, now)
        if level:
            rack = racks.get(row["machine"], "")
            alone = row["machine"] if row["state"] in ("down", "waiting", "stopped") else ""
            found.setdefault((level, row["state"], rack, alone), []).append(row)
    lines = [_line(str(key[0]), str(key[1]), str(key[2]), group, now) for key, group in found.items()]
    return sorted(lines, key=lambda line: (LEVELS.index(line.level), -line.waited_hours, line.machines))


def _level(row: dict[str, object], now: int) -> str | None:
    state, waited = row["state"], (now - int(str(row["since"]))) / 3.6e9
    if state == "stopped" or (state == "done" and waited >= WAITS_HOURS):
        return "now"
    if state in ("down", "no word", "empty"):
        return "today"
    return "waiting" if state == "waiting" else None


def _line(level: str, state: str, rack: str, group: list[dict[str, object]], now: int) -> Need:
    since = [int(str(row["since"])) for row in group]
    first = group[0]
    return Need(
        level=level,
        state=state,
        rack=rack,
        machines=tuple(str(row["machine"]) for row in group),
        since=min(since),
        waited_hours=sum(now - s for s in since) / 3.6e9,
        cause=str(first["cause"]) if first["cause"] else None,
        spare=str(first["spare"]) if first["spare"] else None,
    )
