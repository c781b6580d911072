"""What to load next, machine by machine: the most useful work until somebody is back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from core.epoch import HOUR, WEEK_HOURS
from core.floor.types import MachinePage
from core.habits.usage import LASTS
from core.plan.best_loading import ListLimits, Load, Worth, best_loading, instead
from core.plan.outlook import WAITS, Outlook
from core.plan.timing import Free, Loadable, ModelTimes, cases, left, loads, time_worth
from core.plan.types import Loading, NextLoad, Use
from core.reading.types import MachineNow
from core.setup import Material, PrintFile
from core.stores.types import Stores

#: Days ahead for which a machine's time is planned.
DAYS = 7
#: What is left of a whole spool by a book in grams counts as one from this share of it on.
SPOOL_SHARE = 0.1
#: Hours of printing that another file must be worth more than what the list had for a machine.
STAYS = 1.0
#: Weeks of orders to come that parts are made for ahead.
MADE_AHEAD = 4
#: What an hour of printing counts by what its parts are for: no more apart than that a print at the wrong time of day
#: must not win for its product alone.
COUNTS: dict[Use, float] = {"at risk": 1.5, "ordered": 1.25, "keep": 1.1, "ahead": 1.0, "beyond": 0.5}


@dataclass(frozen=True)
class PartsNeeded:
    """Parts of a product (place) that are needed: for an order if there is one, and how much that counts."""

    product: int
    parts: float
    counts: Use
    order: str | None = None


def loading(outlook: Outlook, shelf: Stores, before: Loading | None = None) -> Loading:
    """The loading list: for every machine that hands can load before they leave, the file to start on it.

    `shelf` as of `stores.stores`: a spool that is not there cannot be fitted. `before` is the list that people
    walk with, if there is one: another file takes its place only where it is worth it.
    """
    if (leave := _leave_and_back(outlook)) is None:
        zone = outlook.shop.zone
        return Loading(at=outlook.at, zone=zone, closes=None, back=None, loads=[], left=[], out={}, short_of_best=0.0)
    closes, back = leave
    free, menu, needed = list(_free(outlook, closes)), _menu(outlook), needs(outlook)
    hours_a_part = outlook.hours_a_part
    possible = list(loads(free, menu, outlook.clock, (closes, back), outlook.shop.change_minutes))
    kept = {(line.machine, line.file) for line in before.loads} if before else set()
    possible = [replace(x, later=x.later + STAYS) if (x.machine, x.file) in kept else x for x in possible]
    worths = [Worth(outlook.names.products[need.product], need.parts, COUNTS[need.counts] * hours_a_part[need.product])
              for need in needed]  # fmt: skip
    limits = ListLimits(left(outlook.clock, closes), _full_spools(outlook, shelf))
    found = best_loading(possible, worths, limits)
    lost, at = instead(found, possible, worths, limits), {one.machine: one for one in free}
    told = [_told(outlook, load, at[load.machine], lost[load.machine]) for load in found.loads]
    given = {load.machine for load in found.loads}
    return Loading(
        at=outlook.at, zone=outlook.shop.zone, closes=_moment(outlook, closes), back=_moment(outlook, back),
        loads=sorted(_toward(outlook, told, needed), key=lambda line: line.at),
        left=[one.machine for one in free if one.machine not in given], out=_out(outlook),
        short_of_best=1 - found.value / found.bound if found.bound else 0.0,
    )  # fmt: skip


def _leave_and_back(outlook: Outlook) -> tuple[float, float] | None:
    """When people leave next, and when they are back then, in hours from now; None where nobody comes these days."""
    staffed, now = outlook.read.staffed, np.array([outlook.now])
    opens, closes = staffed.spell_ends(staffed.spell_of(now))
    if opens[0] > outlook.now + DAYS * 24 * HOUR:
        return None
    back = min(staffed.next_staffed(closes + 1)[0], outlook.now + DAYS * 24 * HOUR)
    return float(closes[0] - outlook.now) / HOUR, float(back - outlook.now) / HOUR


def _moment(outlook: Outlook, hours: float) -> datetime:
    return outlook.at + timedelta(hours=hours)


def _free(outlook: Outlook, closes: float) -> Iterator[Free]:
    """The machines that hands can load before they leave, by rack and place."""
    rows = {row["machine"]: row for row in outlook.read.standing.iter_rows(named=True)}
    first, each, stood = _hands(outlook), outlook.shop.change_minutes / 60, 0
    for machine in outlook.machines:
        row = rows.get(machine.machine, {})
        at = _free_at(outlook, row)
        if row.get("state") in (*WAITS, "empty"):
            # Hands go along the racks: what stands far down the room is loaded later.
            at, stood = at + each * (stood // first), stood + 1
        if at < closes:
            lasts = np.array([_lasts(outlook, machine.machine, file) for file in outlook.names.files])
            yield Free(machine.machine, outlook.names.models.index(machine.model), at, lasts)


def _out(outlook: Outlook) -> dict[str, str]:
    """The machines that cannot be loaded, with the state they are in."""
    return {machine: state for machine, state in outlook.read.standing.select("machine", "state").iter_rows()
            if state in ("down", "waiting", "upkeep", "aside", "no word")}  # fmt: skip


def _hands(outlook: Outlook) -> int:
    """How many are in next."""
    return max(int(outlook.clock.hands[outlook.clock.hands > 0][:1].sum()), 1)


def _free_at(outlook: Outlook, row: dict[str, Any]) -> float:
    """When hands can load a machine, in hours from now: at once, once its print is off, or not to be foreseen."""
    if row.get("state") in (*WAITS, "empty"):
        ends, wait = 0.0, 0.0
    elif row.get("due") is not None:
        ends, wait = max((row["due"] - outlook.now) / HOUR, 0.0), float(outlook.laws.calm.mean())
    else:
        return np.inf
    return float(outlook.clock.after(np.array([ends]), np.array([wait]))[0])


def _lasts(outlook: Outlook, machine: str, file: PrintFile) -> float:
    """The chance that the spool on a machine feeds a file; of a spool nobody noted, what is printed is believed."""
    lasts = outlook.read.lasts(machine, file)
    return lasts if lasts is not None else LASTS * (outlook.loaded.get(machine) == file.material)


def _menu(outlook: Outlook) -> Loadable:
    """What can be loaded."""
    work, laws, names = outlook.work, outlook.laws, outlook.names
    parts = work.parts * np.exp(-laws.stops * np.nanmean(work.hours, axis=0))
    worth, fits = parts * outlook.hours_a_part[work.product], [np.flatnonzero(can) for can in names.fits]
    times = [ModelTimes(work.hours[model, can], worth[can], *cases(laws)) for model, can in enumerate(fits)]
    return Loadable(
        files=[row.file for row in names.files], products=[row.product for row in names.files], parts=parts,
        fits=[can.tolist() for can in fits], times=times,
        worth=[time_worth(one, outlook.clock, DAYS * 24.0) for one in times],
        material=[row.material for row in names.files],
    )  # fmt: skip


def _full_spools(outlook: Outlook, shelf: Stores) -> dict[str, int]:
    """How many full spools of each material are on the shelf, of those that were ever counted."""
    packs = {row.material: row.pack for row in outlook.setup.all(Material, outlook.at)}
    return {item.item: int(item.on_hand.best / packs[item.item] + SPOOL_SHARE)
            for item in shelf.items if item.item in packs and item.on_hand}  # fmt: skip


def needs(outlook: Outlook) -> list[PartsNeeded]:
    """What is needed of every product beyond finished parts and those on machines, what counts most first."""
    coming = outlook.coming_an_hour * WEEK_HOURS * MADE_AHEAD
    return [need for place in range(len(outlook.names.products)) for need in _needs(outlook, place, coming[place])]


def _needs(outlook: Outlook, product: int, ahead: float) -> list[PartsNeeded]:
    asked, codes, chances = outlook.asked, outlook.unpacked["order"].to_list(), outlook.chances
    mine = sorted((n for n, order in enumerate(asked) if order.product == product), key=lambda n: asked[n].due)
    row = outlook.products.get(outlook.names.products[product])
    wanted = [
        PartsNeeded(product, asked[n].parts, "at risk" if chances[n] < outlook.shop.promise else "ordered", codes[n])
        for n in mine
    ]
    wanted += [PartsNeeded(product, float(row.keep if row else 0), "keep"), PartsNeeded(product, ahead, "ahead")]
    there = outlook.stock[product] + outlook.cover[product].last_running
    found = []
    for need in wanted:
        found.append(replace(need, parts=max(need.parts - there, 0.0)))
        there = max(there - need.parts, 0.0)
    found = [need for need in found if need.parts > 0]
    return [*sorted(found, key=lambda need: -COUNTS[need.counts]), PartsNeeded(product, np.inf, "beyond")]


def _told(outlook: Outlook, load: Load, free: Free, loses: float) -> NextLoad:
    """One line of the list."""
    place = outlook.names.file(load.file)
    row, hours = outlook.names.files[place], outlook.work.hours[free.model, place]
    product = outlook.products.get(row.product)
    return NextLoad(
        machine=load.machine, file=row.file, revision=row.revision, product=row.product,
        name=product.name if product else row.product, parts=row.parts, material=row.material,
        new_spool=load.new_spool is not None, at=_moment(outlook, free.at), ends=_moment(outlook, free.at + hours),
        why="beyond", order=None, loses=loses,
    )  # fmt: skip


def _toward(outlook: Outlook, told: Sequence[NextLoad], needed: Sequence[PartsNeeded]) -> list[NextLoad]:
    """The lines with what each is for: those that end first go to what counts most."""
    left = {product: [need for need in needed if outlook.names.products[need.product] == product]
            for product in outlook.names.products}  # fmt: skip
    found = {}
    for line in sorted(told, key=lambda line: line.ends):
        mine, parts = left[line.product], float(line.parts)
        found[line.machine] = line.model_copy(update={"why": mine[0].counts, "order": mine[0].order})
        while parts >= mine[0].parts:
            parts -= mine.pop(0).parts
        mine[0] = replace(mine[0], parts=mine[0].parts - parts)
    return [found[line.machine] for line in told]


def loaded_since(found: Loading, now: Sequence[MachineNow]) -> set[str]:
    """The machines of a list on which a print was begun since it was made."""
    begun = {one.machine for one in now if one.state in ("printing", "proving") and one.since > found.at}
    return begun & {line.machine for line in found.loads}


def with_plan(page: MachinePage, found: Loading) -> MachinePage:
    """The page with what the list has for its machine, unless a print was noted there since or it does not fit."""
    starts = [entry["at"] for entry in page.recent if entry["kind"] == "PrintStarted"]
    used = any(datetime.fromisoformat(at) > found.at for at in starts)
    file = next((line.file for line in found.loads if line.machine == page.now.machine), None)
    known = not used and any(choice.file == file for choice in page.files)
    return page.model_copy(update={"planned": file if known else None})
