"""A week and a morning told by seven machines, for all that answer from them.

People are in from 8 to 16, Monday to Friday. It is Tuesday, eleven o'clock; yesterday was Monday (day 7),
the week began last Tuesday (day 1). Every print takes what its file says: a clip 2 hours (12 parts), a
feeder 12 (2 parts), a grille 24 (4 parts).
"""

from collections.abc import Sequence
from datetime import datetime, time
from pathlib import Path

from core.entries import AnyEntry
from core.floor.types import RackNow
from core.log.store import Log
from core.reading.types import MachineNow
from core.setup import WEEKDAYS, Cause, Machine, Material, PrintFile, Rack, Row, Shift, Shop, Spare, UpkeepTask
from core.window import Window
from tests.core.larkfield import ROWS, tell, when

AT = when(8, 11)
YESTERDAY = Window(when(7), when(8))
WEEK = Window(when(1), when(8))

#: Five more machines, noted out of their order; the new things to print with; a rack nobody uses.
MORE: tuple[Row, ...] = (
    Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin", planning_downtime=0.2),
    *(Shift(weekday=day, start=time(8), end=time(16), hands=1) for day in WEEKDAYS[:5]),
    Rack(rack="C", name="Rack C"),
    Machine(machine="A4", model="bench-220", rack="A", place=4),
    Machine(machine="A3", model="bench-220", rack="A", place=3),
    Machine(machine="B3", model="bench-300", rack="B", place=3),
    Machine(machine="B2", model="bench-300", rack="B", place=2),
    PrintFile(file="clip", revision=2, product="clip", parts=14, hours=2.2, grams=70,
              material="petg-black", models=()),
    PrintFile(file="clip", revision=3, product="clip", parts=16, hours=2.4, grams=80,
              material="petg-black", models=(), since=when(9)),
    PrintFile(file="brace", revision=1, product="grille", parts=1, hours=5, grams=90,
              material="petg-white", models=()),
    Material(material="petg-white", name="PETG white"),
    Cause(about="scrap", cause="loose", name="Came loose", place=2),
    Spare(spare="rod-300", name="Rod for the 300", models=("bench-300",)),
    Spare(spare="plate", name="Platform"),
    UpkeepTask(task="rods", name="Oil the rods", models=("bench-300",)),
)  # fmt: skip


def on(machine: str, kind: str, at: datetime, **fields: object) -> AnyEntry:
    return tell(kind, at, machine=machine, **fields)


def started(machine: str, at: datetime, file: str) -> AnyEntry:
    return on(machine, "PrintStarted", at, file=file, revision=1)


#: Last week: a clip that came loose after half an hour or so, its machine empty from then on; a belt that
#: broke; a machine set aside.
LAST_WEEK = [
    started("A2", when(2, 9), "clip"),
    on("A2", "PartsOff", when(2, 10), ended="stopped", scrap=12, scrap_cause="loose"),
    on("A3", "WentDown", when(4, 12), cause="belt", spare="belt-220", noted_at=when(4, 15)),
    on("B1", "SetAside", when(2, 8), noted_at=when(2, 8, 20)),
    tell("StockCounted", when(4, 9), item="box-s", quantity=40, noted_at=when(4, 10)),
]
#: Yesterday: the second clip of A2 was never counted.
MONDAY = [
    started("A1", when(7, 9), "grille"),
    started("A2", when(7, 8), "clip"),
    on("A2", "PartsOff", when(7, 11), scrap=3, scrap_cause="warped"),
    started("A2", when(7, 11), "clip"),
    started("A2", when(7, 13, 30), "clip"),
    started("B2", when(7, 12), "feeder"),
    on("B3", "WentDown", when(7, 12), cause="nozzle"),
]
#: This morning.
TUESDAY = [
    on("B2", "Looked", when(8, 8, 10), saw="stopped"),
    on("B3", "Looked", when(8, 8, 15), saw="down"),
    on("A2", "PartsOff", when(8, 8, 30)),
]
STORY = [*LAST_WEEK, *MONDAY, *TUESDAY]

#: Told after eleven: what happened before, what is taken back, what happened since.
LATER = [
    on("A1", "PartsOff", when(8, 9, 30), noted_at=when(8, 12)),
    on("A4", "SetAside", when(3), noted_at=when(8, 12)),
    tell("StockCounted", when(5), item="box-s", quantity=1, noted_at=when(8, 12)),
    tell("EntryVoided", when(8, 12), which=STORY[1].id, why="wrong machine"),
    tell("EntryVoided", when(8, 12), which=TUESDAY[0].id, why="slip"),
    on("B3", "CameBack", when(8, 12)),
    started("B3", when(8, 12), "clip"),
]

#: Each machine, and the hours of the week.
EVERY_MACHINE = {f"{rack}{place}": 168 for rack, places in (("A", 4), ("B", 3)) for place in range(1, places + 1)}


def shop(path: Path, entries: Sequence[AnyEntry]) -> Log:
    log = Log.open(path)
    log.append_setup([*ROWS, *MORE])
    log.append(entries)
    return log


def machines(racks: Sequence[RackNow]) -> dict[str, MachineNow]:
    return {machine.machine: machine for rack in racks for machine in rack.machines}
