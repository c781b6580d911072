"""All that a check-in at one machine needs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import polars as pl

from core.entries import SpoolFitted
from core.errors import Refused
from core.floor.room import STATE_DAYS
from core.floor.types import Choice, FileChoice, MachinePage, TaskChoice
from core.habits.learned import Learned
from core.log.frames import entries_from
from core.log.store import Log
from core.reading.reading import Reading
from core.reading.types import MachineNow, PartSpoolNow
from core.setup import Material, PrintFile, Product, Setup, Spare, UpkeepTask, is_for
from core.timeline import counts, possible
from core.timeline.reckon import Reckoned
from core.window import Window

#: A spool lasts so many days at most, as far as the entries are asked.
SPOOL_DAYS = 28


def machine_page(log: Log, machine: str, at: datetime, learned: Learned | None = None) -> MachinePage:
    """All that a check-in at one machine needs. Raises `Refused` for an unknown machine."""
    read = Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at, learned)
    now = next((m for m in read.machines_now() if m.machine == machine), None)
    if now is None:
        raise Refused("machine_is_known", f"There is no machine {machine} in the set-up: pick one from its rack.")
    setup = read.setup
    fits = [s for s in setup.all(Spare, at) if is_for(s, now.model)]
    tasks = [t for t in setup.all(UpkeepTask, at) if is_for(t, now.model)]
    mine = read.entries.filter(pl.col("machine") == machine)
    fitted = log.newest(SpoolFitted, machine, at)
    alone = Reading(log, Window(at - timedelta(days=SPOOL_DAYS), at), at, read.learned, [machine])
    return MachinePage(
        now=now,
        acts=list(possible.acts(now.state)),
        files=_files_for(setup, now, read.reckoned, alone),
        most_parts=setup.most_parts(now.model),
        down_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("down", at)],
        scrap_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("scrap", at)],
        spares=[Choice(code=s.spare, name=s.name) for s in fits],
        materials=_materials(setup, fitted, at),
        spool=alone.spool(machine),
        spool_grams=fitted.grams if fitted else None,
        shift_began=read.shift_began(),
        tasks=[TaskChoice(code=t.task, name=t.name, minutes=t.minutes, spare=t.spare) for t in tasks],
        recent=_recent(mine),
        questions=[q for q in read.questions() if q.machine == machine],
    )


def part_spools(log: Log, at: datetime, learned: Learned | None = None) -> list[PartSpoolNow]:
    """The part-spools on the shelf, fullest first."""
    return Reading(log, Window(at - timedelta(days=SPOOL_DAYS), at), at, learned).part_spools()


def _files_for(setup: Setup, now: MachineNow, reckoned: Reckoned, alone: Reading) -> list[FileChoice]:
    """The newest files that fit the machine: its last one first, then those the room started most lately."""
    fits = [f for f in setup.newest_files(alone.at) if is_for(f, now.model)]
    lately = counts.starts(reckoned.gaps).group_by("file").agg(pl.col("began").max())
    when = dict(lately.iter_rows())
    fits.sort(key=lambda f: (f.file != now.last_file, -when.get(f.file, 0), f.file))
    return [_file_choice(f, now.machine, alone) for f in fits]


def _file_choice(file: PrintFile, machine: str, alone: Reading) -> FileChoice:
    product = alone.setup.get(Product, file.product, at=alone.at)
    return FileChoice(
        file=file.file,
        revision=file.revision,
        product=file.product,
        name=product.name if product else file.product,
        parts=file.parts,
        hours=file.hours,
        grams=file.grams * alone.learned.usage.factor,
        material=file.material,
        lasts=alone.lasts(machine, file),
    )


def _materials(setup: Setup, fitted: SpoolFitted | None, at: datetime) -> list[Choice]:
    """Every material, the one last fitted here first."""
    rows = sorted(setup.all(Material, at), key=lambda m: fitted is None or m.material != fitted.material)
    return [Choice(code=m.material, name=m.name) for m in rows]


def _recent(mine: pl.DataFrame, most: int = 8) -> list[dict[str, Any]]:
    newest = mine.sort("noted_at", "at", "id", descending=True).head(most)
    return [entry.model_dump(mode="json") for entry in entries_from(newest)]
