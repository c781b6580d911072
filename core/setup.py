"""Set-up: what the shop consists of, with its history.

Every row says from when it holds (`since`); a later row with the same key replaces it from then on,
so a revision that took effect on 3 May does not change April.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time
from functools import cached_property
from typing import Annotated, ClassVar, Literal, Self, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from core.entries import Amount, Code, Codes, Note, UtcTime
from core.errors import Refused

ALWAYS = datetime(2000, 1, 1, tzinfo=UTC)

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValueError(f"'{name}' is not a time zone; use a name such as Europe/Dublin") from None
    return name


class Row(BaseModel):
    """One line of a set-up table. `key` names the fields that say which thing it is about."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    table: ClassVar[str]
    key: ClassVar[tuple[str, ...]]

    since: UtcTime = ALWAYS

    def identity(self) -> tuple[object, ...]:
        """The thing this line is about: the values of its key."""
        return tuple(getattr(self, name) for name in self.key)


class Shop(Row):
    """The business: its name, its time zone, and what the owner plans with.

    `planning_downtime` is the share of machine time the owner plans to lose to downtime;
    `word_holds` is how many staffed hours an entry is believed without another one. `review_days` is how often
    the shelf is gone through for what to order, `order_cost` what one more order costs besides the goods, and
    `holding` what it costs to keep goods for a year, as a share of their price. `promise` is how likely a date must be
    to be promised, `change_minutes` the work of hands between two prints on a machine. `hand_cost` is
    what an hour of one person costs, if that is known.
    """

    table: ClassVar[str] = "shop"
    key: ClassVar[tuple[str, ...]] = ()
    name: Code
    zone: Annotated[str, AfterValidator(_known_zone)]
    planning_downtime: Annotated[float, Field(ge=0, lt=1)] = 0.15
    word_holds: Annotated[float, Field(gt=0, le=1000)] = 10.0
    review_days: Annotated[float, Field(gt=0, le=100)] = 7.0
    order_cost: Annotated[float, Field(ge=0, le=1e6)] = 10.0
    holding: Annotated[float, Field(gt=0, le=5)] = 0.25
    promise: Annotated[float, Field(ge=0.5, le=0.99)] = 0.9
    change_minutes: Annotated[float, Field(gt=0, le=600)] = 6.0
    hand_cost: Amount | None = None


class Model(Row):
    """A kind of machine; `price` is what one costs, `hour_cost` what an hour costs in which one is out of service, if
    these are known.
    """

    table: ClassVar[str] = "models"
    key: ClassVar[tuple[str, ...]] = ("model",)
    model: Code
    name: Code
    price: Amount | None = None
    hour_cost: Amount | None = None


class Rack(Row):
    """A rack; `across` is how many machines stand side by side on it."""

    table: ClassVar[str] = "racks"
    key: ClassVar[tuple[str, ...]] = ("rack",)
    rack: Code
    name: Code
    across: Annotated[int, Field(ge=1, le=20)] = 4


class Machine(Row):
    """A machine and where it stands. A row with `in_service` false says it is gone from then on."""

    table: ClassVar[str] = "machines"
    key: ClassVar[tuple[str, ...]] = ("machine",)
    machine: Code
    model: Code
    rack: Code
    place: Annotated[int, Field(ge=1)]
    in_service: bool = True


class Product(Row):
    """Something the shop sells; `keep` is how many finished parts it wants to have besides those ordered."""

    table: ClassVar[str] = "products"
    key: ClassVar[tuple[str, ...]] = ("product",)
    product: Code
    name: Code
    keep: Annotated[int, Field(ge=0, le=1_000_000)] = 0


class PrintFile(Row):
    """One revision of a print file: what it makes, how many, and the hours and grams it states."""

    table: ClassVar[str] = "files"
    key: ClassVar[tuple[str, ...]] = ("file", "revision")
    file: Code
    revision: Annotated[int, Field(ge=1)]
    product: Code
    parts: Annotated[int, Field(ge=1, le=10_000)]
    hours: Annotated[float, Field(gt=0, le=1000)]
    grams: Annotated[float, Field(gt=0, le=100_000)]
    material: Code
    models: Codes


class Person(Row):
    """Somebody who makes entries; `person` is what they tap, such as initials."""

    table: ClassVar[str] = "people"
    key: ClassVar[tuple[str, ...]] = ("person",)
    person: Code
    name: Code
    active: bool = True


class Shift(Row):
    """Staffed time on one weekday. An end before the start is past midnight; 0 hands: not worked."""

    table: ClassVar[str] = "shifts"
    key: ClassVar[tuple[str, ...]] = ("weekday", "shift")
    weekday: Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    shift: Annotated[int, Field(ge=1, le=9)] = 1
    start: time
    end: time
    hands: Annotated[int, Field(ge=0, le=999)]


class SpecialDay(Row):
    """One date that differs from its weekday: a holiday (no times), a short day, an extra day."""

    table: ClassVar[str] = "special_days"
    key: ClassVar[tuple[str, ...]] = ("day",)
    day: date
    start: time | None = None
    end: time | None = None
    hands: Annotated[int, Field(ge=0, le=999)] = 0
    note: Note = ""

    @model_validator(mode="after")
    def _both_times_or_none(self) -> Self:
        if (self.start is None) != (self.end is None):
            raise ValueError("give both start and end, or neither for a day off")
        return self


class Bought(Row):
    """Whatever is bought and kept on the shelf.

    It is counted in its unit and bought in packs of `pack` units at `price` each, `least_packs` or more at a time.
    A delivery takes `lead_days`, give or take `lead_spread` (one standard deviation); `service` is the share of
    deliveries before which it should not run out. `pinned_min` and `pinned_max` are the owner's own levels, in units.
    """

    name: Code
    pack: Annotated[float, Field(gt=0, le=1e7)] = 1.0
    price: Amount | None = None
    least_packs: Annotated[int, Field(ge=1, le=100_000)] = 1
    lead_days: Annotated[float, Field(gt=0, le=400)] = 7.0
    lead_spread: Annotated[float, Field(ge=0, le=200)] = 2.0
    service: Annotated[float, Field(ge=0.5, le=0.999)] = 0.95
    pinned_min: Amount | None = None
    pinned_max: Amount | None = None

    @model_validator(mode="after")
    def _min_below_max(self) -> Self:
        if self.pinned_min is not None and self.pinned_max is not None and self.pinned_min >= self.pinned_max:
            raise ValueError(f"pinned_min {self.pinned_min:g} must be below pinned_max {self.pinned_max:g}")
        return self


class Material(Bought):
    """Feedstock of one kind and colour, counted in grams; a pack is a full spool's net weight."""

    table: ClassVar[str] = "materials"
    key: ClassVar[tuple[str, ...]] = ("material",)
    unit: ClassVar[str] = "g"
    material: Code
    pack: Annotated[float, Field(ge=50, le=20_000)] = 1000.0


class Spare(Bought):
    """A spare part and the models it fits."""

    table: ClassVar[str] = "spares"
    key: ClassVar[tuple[str, ...]] = ("spare",)
    unit: ClassVar[str] = "piece"
    spare: Code
    models: Codes = ()


class Supply(Bought):
    """Boxes, tape, hardware: whatever is bought besides material and spares."""

    table: ClassVar[str] = "supplies"
    key: ClassVar[tuple[str, ...]] = ("supply",)
    supply: Code
    unit: Code = "piece"


Item = Material | Spare | Supply


class Cause(Row):
    """A cause the crew can tap for a machine that went down or for scrap, in a place set once.

    `spare` is what mends it, where that takes one.
    """

    table: ClassVar[str] = "causes"
    key: ClassVar[tuple[str, ...]] = ("about", "cause")
    about: Literal["down", "scrap"]
    cause: Code
    name: Code
    place: Annotated[int, Field(ge=1, le=8)]
    spare: Code | None = None


class UpkeepTask(Row):
    """A planned maintenance task and the minutes it usually takes.

    It is due after so many hours of printing, days or prints since it was done, whichever comes first; where none is
    given, whenever somebody thinks of it. `says` is who wants it so: the machine's maker or the shop itself. `spare` is
    what it usually takes, where that takes one.
    """

    table: ClassVar[str] = "upkeep"
    key: ClassVar[tuple[str, ...]] = ("task",)
    task: Code
    name: Code
    minutes: Annotated[float, Field(gt=0, le=24 * 60)] = 15
    models: Codes = ()
    every_hours: Annotated[float, Field(gt=0, le=100_000)] | None = None
    every_days: Annotated[float, Field(gt=0, le=4000)] | None = None
    every_prints: Annotated[float, Field(gt=0, le=100_000)] | None = None
    says: Literal["maker", "shop"] = "shop"
    spare: Code | None = None


def is_for(row: PrintFile | Spare | UpkeepTask, model: str) -> bool:
    """Whether a file, a spare or a task is for machines of a model; one that names no model is for all."""
    return not row.models or model in row.models


TABLES: dict[str, type[Row]] = {
    row.table: row
    for row in (
        Shop, Model, Rack, Machine, Product, PrintFile, Person, Shift, SpecialDay,
        Material, Spare, Supply, Cause, UpkeepTask,
    )
}  # fmt: skip

#: The cause everybody may give: a guess is worse than a blank.
DONT_KNOW = "dont-know"
#: The cause of downtime that only shows itself by a machine that is passed over. No code of a cause has a blank.
NOBODY_TOLD = "nobody told"

R = TypeVar("R", bound=Row)


class Setup:
    """The whole set-up, history included; never changed, a new row makes a new `Setup`.

    Rows are given in the order they were noted: of two rows with the same key and `since`,
    the later noted one counts.
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self.rows = tuple(rows)
        self._history: dict[type[Row], dict[tuple[object, ...], list[Row]]] = {}
        for row in self.rows:
            self._history.setdefault(type(row), {}).setdefault(row.identity(), []).append(row)
        for things in self._history.values():
            for history in things.values():
                history.sort(key=lambda row: row.since)

    def get(self, table: type[R], *key: object, at: datetime) -> R | None:
        """The row of `table` with that key in force at `at`, or None."""
        found = [row for row in self._history.get(table, {}).get(key, []) if row.since <= at]
        return found[-1] if found else None  # type: ignore[return-value]

    def all(self, table: type[R], at: datetime) -> list[R]:
        """Every row of `table` in force at `at`, in the order the things were first noted."""
        things = self._history.get(table, {})
        rows = (self.get(table, *key, at=at) for key in things)
        return [row for row in rows if row is not None]

    def history(self, table: type[R]) -> list[R]:
        """Every row of `table` ever noted, oldest `since` first within a thing."""
        things = self._history.get(table, {})
        return [row for history in things.values() for row in history]  # type: ignore[misc]

    def shop(self, at: datetime) -> Shop:
        """The shop's own row; `Refused` where nobody has set the shop up."""
        row = self.get(Shop, at=at)
        if row is None:
            raise Refused(
                "no_shop",
                "This file has no shop in it yet: run 'roundsheet template FOLDER', fill in the "
                "tables and 'roundsheet import FOLDER', or try 'roundsheet demo'.",
            )
        return row

    @cached_property
    def zone(self) -> ZoneInfo:
        """The shop's time zone (its newest; a shop does not move between zones)."""
        shops = self.history(Shop)
        return ZoneInfo(shops[-1].zone) if shops else ZoneInfo("UTC")

    def machines(self, at: datetime) -> list[Machine]:
        """The machines in service at `at`, by rack and place."""
        rows = [row for row in self.all(Machine, at) if row.in_service]
        racks = {rack.rack: index for index, rack in enumerate(self.all(Rack, at))}
        return sorted(rows, key=lambda m: (racks.get(m.rack, len(racks)), m.place, m.machine))

    def file(self, file: str, revision: int) -> PrintFile | None:
        """That revision of a print file: of several rows, the one that took effect last."""
        rows = self._history.get(PrintFile, {}).get((file, revision), [])
        return rows[-1] if rows else None  # type: ignore[return-value]

    def newest_files(self, at: datetime) -> list[PrintFile]:
        """The newest revision in force at `at` of every print file."""
        newest: dict[str, PrintFile] = {}
        for row in self.all(PrintFile, at):
            if row.file not in newest or row.revision > newest[row.file].revision:
                newest[row.file] = row
        return list(newest.values())

    def most_parts(self, model: str) -> int:
        """The most parts that a print file for a model ever puts on a platform, in any revision; 0 of none."""
        return max((row.parts for row in self.history(PrintFile) if is_for(row, model)), default=0)

    def item(self, code: str, at: datetime) -> Item | None:
        """What a stock entry is about: a material, a spare or a supply."""
        return self.get(Material, code, at=at) or self.get(Spare, code, at=at) or self.get(Supply, code, at=at)

    def items(self, at: datetime) -> dict[str, Item]:
        """Everything bought, by its code: materials, spares, supplies."""
        rows: list[Item] = [*self.all(Material, at), *self.all(Spare, at), *self.all(Supply, at)]
        return {str(row.identity()[0]): row for row in rows}

    def causes(self, about: str, at: datetime) -> list[Cause]:
        """The causes to tap, in their fixed places."""
        return sorted((c for c in self.all(Cause, at) if c.about == about), key=lambda c: c.place)

    def lacks(self, rows: Sequence[Row]) -> list[Row]:
        """The rows that say something the set-up does not say already: importing twice is harmless.

        What is told of a thing from a moment on is known if the set-up ends so. Row by row would not do:
        of A, then B, then A again, B and A would come in anew every time.
        """
        had, told = _by_moment(self.rows), _by_moment(rows)
        return [row for moment, new in told.items() if had.get(moment, [])[-len(new) :] != new for row in new]


def _by_moment(rows: Sequence[Row]) -> dict[tuple[object, ...], list[Row]]:
    """Rows about the same thing from the same moment on, in the order noted; one said twice on end is one."""
    grouped: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        about = grouped.setdefault((row.table, row.identity(), row.since), [])
        if about[-1:] != [row]:
            about.append(row)
    return grouped
