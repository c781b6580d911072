"""A corner of the invented shop in rows of set-up, and short ways to tell what happened in it."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import polars as pl

from core.entries import AnyEntry, entry_adapter
from core.habits.learned import Learned
from core.hours.state_hours import state_hours
from core.hours.state_rows import StateHours
from core.log.frames import entry_frame
from core.setup import (
    Cause,
    Machine,
    Material,
    Model,
    Person,
    PrintFile,
    Product,
    Rack,
    Row,
    Setup,
    Shop,
    Spare,
    Supply,
    UpkeepTask,
)
from core.staffed import Staffed
from core.timeline.reckon import Reckoned, reckon
from core.window import Window

#: Midnight of a Monday, in a week in which Dublin keeps Greenwich time.
MONDAY = datetime(2026, 3, 2, tzinfo=UTC)

#: Nobody has said when people are in: the middle of a time is its half, and word does not fade.
ROOM: tuple[Row, ...] = (
    Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin"),
    Model(model="bench-220", name="Bench 220"),
    Model(model="bench-300", name="Bench 300"),
    Rack(rack="A", name="Rack A"),
    Rack(rack="B", name="Rack B"),
    Machine(machine="A1", model="bench-220", rack="A", place=1),
    Machine(machine="A2", model="bench-220", rack="A", place=2),
    Machine(machine="B1", model="bench-300", rack="B", place=1),
)

#: A clip takes two hours, a vent grille a day, a feeder (for the large model alone) half a day.
ROWS: tuple[Row, ...] = (
    *ROOM,
    Product(product="clip", name="Queen-cage clip"),
    Product(product="grille", name="Vent grille"),
    Material(material="petg-black", name="PETG black"),
    PrintFile(file="clip", revision=1, product="clip", parts=12, hours=2, grams=60,
              material="petg-black", models=()),
    PrintFile(file="grille", revision=1, product="grille", parts=4, hours=24, grams=300,
              material="petg-black", models=()),
    PrintFile(file="feeder", revision=1, product="grille", parts=2, hours=12, grams=340,
              material="petg-black", models=("bench-300",)),
    Person(person="MK", name="Maeve K."),
    Spare(spare="belt-220", name="Belt for the 220", models=("bench-220",)),
    Supply(supply="box-s", name="Small box"),
    Cause(about="down", cause="nozzle", name="Nozzle", place=1),
    Cause(about="down", cause="belt", name="Belt", place=2),
    Cause(about="scrap", cause="warped", name="Warped", place=1),
    UpkeepTask(task="clean", name="Clean the platform"),
)  # fmt: skip

STAMP = {"at": "2026-03-02T09:00:00Z", "noted_at": "2026-03-02T09:05:00Z", "by": "MK"}

#: The least that each kind must say besides its stamps.
LEAST: dict[str, dict[str, object]] = {
    "PrintStarted": {"machine": "A1", "file": "clip", "revision": 1},
    "PartsOff": {"machine": "A1"},
    "Looked": {"machine": "A1", "saw": "done"},
    "WentDown": {"machine": "A1", "cause": "nozzle"},
    "CameBack": {"machine": "A1"},
    "SpoolFitted": {"machine": "A1", "material": "petg-black", "grams": 1000},
    "UpkeepDone": {"machine": "A1", "task": "clean", "minutes": 15},
    "SetAside": {"machine": "A1"},
    "PutBack": {"machine": "A1"},
    "CardLoaded": {"machine": "A1", "card_set": "spring", "revision": 1},
    "StockCounted": {"item": "box-s", "quantity": 40},
    "StockOrdered": {"item": "box-s", "quantity": 200},
    "StockReceived": {"item": "box-s", "quantity": 200},
    "OrderTaken": {"order": "0007", "product": "clip", "quantity": 240, "due": "2026-03-20T12:00:00Z"},
    "OrderPacked": {"order": "0007", "quantity": 120},
    "OrderShipped": {"order": "0007"},
    "AirRead": {"place": "room"},
    "EntryVoided": {"which": "6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11", "why": "wrong machine"},
    "QuestionClosed": {"question": "q1", "answer": "nobody knows"},
    "ActionAgreed": {
        "note": "dry the spools",
        "who": "MK",
        "due": "2026-03-20T12:00:00Z",
        "figure": "scrap",
        "of": "clip",
    },
    "ActionEnded": {"which": "6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11", "answer": "done"},
}

#: Every print takes what its file says, to the second.
EXACT = Learned(best=1.0, low=1.0, high=1.0)


def when(days: float = 0, hours: float = 0, minutes: float = 0) -> datetime:
    """So long after `MONDAY`."""
    return MONDAY + timedelta(days=days, hours=hours, minutes=minutes)


def tell(kind: str, at: datetime, **fields: object) -> AnyEntry:
    """An entry, noted as it happened unless the fields say otherwise."""
    return entry_adapter.validate_python({"noted_at": at, "by": "MK", "id": uuid4(), **fields, "kind": kind, "at": at})


def at_a1(kind: str, at: datetime, **fields: object) -> AnyEntry:
    """An entry about machine A1."""
    return tell(kind, at, machine="A1", **fields)


def start(at: datetime, file: str = "grille", **fields: object) -> AnyEntry:
    """A print started on A1."""
    return at_a1("PrintStarted", at, **{"file": file, "revision": 1, **fields})


def look(at: datetime, saw: str, **fields: object) -> AnyEntry:
    """A look at A1."""
    return at_a1("Looked", at, saw=saw, **fields)


def ids(frame: pl.DataFrame) -> list[UUID]:
    """The ids of a frame of entries, in its order."""
    return [UUID(text) for text in frame["id"]]


def a1_alone(rows: Sequence[Row] = ROWS) -> list[Row]:
    """The same shop with no machine but A1."""
    return [row for row in rows if not isinstance(row, Machine) or row.machine == "A1"]


def reckoned(
    entries: Sequence[AnyEntry], window: Window, rows: Sequence[Row] | None = None, learned: Learned = EXACT
) -> Reckoned:
    """What the entries come to in a shop with no machine but A1, unless other rows are given."""
    setup = Setup(a1_alone() if rows is None else rows)
    return reckon(entry_frame(entries), setup, window, Staffed.of(setup, window), learned)


def clock(windows: Sequence[Window]) -> Staffed:
    """Staffed time about these windows."""
    return Staffed.of(Setup(a1_alone()), Window(windows[0].start, windows[-1].end))


def hours_in(found: Reckoned, *windows: Window) -> StateHours:
    """The hours of what was reckoned in consecutive windows, of a shop that has learned nothing yet."""
    return state_hours(found, [], Learned(), windows, clock(windows))
