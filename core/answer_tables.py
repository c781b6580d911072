"""Answers as tables to take along: one row a line of an answer, columns with the types that the answer gives them.

An estimate is three columns, `hours_low`, `hours_best`, `hours_high`; whatever else holds fields of its own gives its
columns the same way. Several codes stand in one cell, with "; " between them. What is a list of lines, or of numbers,
is a table of its own. Times are UTC, lengths hours, shares fractions, weights grams, as in the answers.

`TABLES` is all there is. To add those of another answer, put a `Table` for each of its lists there, and its name in
`dashboard/words/download_words.py`; `tests/core/test_tables.py` says what of an answer is in none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar, get_args
from uuid import UUID

import polars as pl
import polars.selectors as cs
from pydantic import BaseModel, ConfigDict

from core.estimate import Estimate
from core.floor.types import RackNow
from core.frozen import Frozen
from core.log.csv_files import write_csv
from core.log.safety.outgoing import new_folder
from core.log.sheets import value_type
from core.morning.types import Report
from core.plan.types import Capacity, HoursStep, Loading, NextLoad, OrderDue, Plan, ProductParts, Week
from core.reading.types import (
    Loss,
    MachineNow,
    NeedsHand,
    Period,
    PrintTime,
    Question,
    Series,
    SpoolEnds,
    StaffedTime,
    StopRate,
    Unnoted,
)
from core.review.types import (
    Called,
    Chart,
    HourWait,
    Keeping,
    LateOrder,
    LossChange,
    MaterialUse,
    Meanwhile,
    ModelsCompared,
    ModelWork,
    PromiseWeek,
    Review,
    SpareWait,
    WeekFigures,
)
from core.stores.types import Ordered, OrderNow, StockMove, Stored, Stores
from core.upkeep.types import (
    CardPut,
    CauseHours,
    Cumulative,
    FailureBand,
    FailuresByHours,
    FaultTold,
    IntervalAdvice,
    MachineRecord,
    ModelFailures,
    Recurs,
    RoomUpkeep,
    SpareFits,
    SpareFitted,
    StandsOut,
    TaskDue,
    UpkeepTold,
    WaitsForSpare,
    WeekPrinted,
)

A = TypeVar("A", bound=Frozen)
M = TypeVar("M", bound=BaseModel)

#: How a table is written; the ending of its file.
Kind = Literal["csv", "parquet"]

#: Values that fill one cell.
_TYPES: dict[type, pl.DataType] = {
    bool: pl.Boolean(), int: pl.Int64(), float: pl.Float64(), str: pl.String(), UUID: pl.String(), date: pl.Date(),
    datetime: pl.Datetime("us", "UTC"),
}  # fmt: skip


def frame(model: type[M], rows: Iterable[M]) -> pl.DataFrame:
    """The lines of an answer as rows. The columns follow from the fields of `model`, also of no rows at all."""
    return pl.DataFrame([tuple(_cells(model, row)) for row in rows], schema=_columns(model), orient="row")


@dataclass(frozen=True)
class Table(Generic[A]):
    """A table that can be taken along: the name of its file, the answer it is read from, and how.

    `of` gives the same columns of every answer, also where there is nothing to tell.
    """

    name: str
    answer: type[A]
    of: Callable[[A], pl.DataFrame]

    def of_all(self, answers: Sequence[A]) -> pl.DataFrame:
        """The rows of one answer or more, one after the other."""
        return pl.concat([self.of(answer) for answer in answers])


class TablesWritten(BaseModel):
    """What was taken along, and where it lies."""

    model_config = ConfigDict(frozen=True)

    folder: Path
    tables: int
    rows: int


def write_tables(answers: Iterable[Frozen], folder: Path, kind: Kind) -> TablesWritten:
    """Write every table that these answers hold to a new or empty folder, a file each: all of them or nothing.

    Raises `Refused` as `core.log.safety.outgoing.new_folder` does, before the first answer is asked for.
    """
    rows = []
    with new_folder(folder) as unfinished:
        given = list(answers)
        for table in TABLES.values():
            if mine := [answer for answer in given if isinstance(answer, table.answer)]:
                found = table.of_all(mine)
                (unfinished / f"{table.name}.{kind}").write_bytes(written(found, kind))
                rows.append(found.height)
    return TablesWritten(folder=folder.resolve(), tables=len(rows), rows=sum(rows))


def written(table: pl.DataFrame, kind: Kind) -> bytes:
    """The file of a table: CSV as `core.log.csv_files` writes it, or Parquet."""
    file = BytesIO()
    if kind == "csv":
        write_csv(table, file)
    else:
        table.write_parquet(file)
    return file.getvalue()


def _columns(model: type[BaseModel]) -> dict[str, pl.DataType]:
    found: dict[str, pl.DataType] = {}
    for name, field in model.model_fields.items():
        kind = value_type(field.annotation)
        if issubclass(kind, BaseModel):
            found |= {f"{name}_{inner}": column for inner, column in _columns(kind).items()}
        elif kind in _TYPES or _is_codes(field.annotation):
            found[name] = _TYPES.get(kind, pl.String())
    return found


def _cells(model: type[BaseModel], row: BaseModel | None) -> Iterator[Any]:
    """The cells of a row in the order of `_columns`; empty ones where there is no row."""
    for name, field in model.model_fields.items():
        kind, value = value_type(field.annotation), getattr(row, name, None)
        if issubclass(kind, BaseModel):
            yield from _cells(kind, value)
        elif _is_codes(field.annotation):
            yield "; ".join(value or ()) or None
        elif kind in _TYPES:
            yield str(value) if isinstance(value, UUID) else value


def _is_codes(annotation: Any) -> bool:
    return value_type(annotation) is list and value_type(get_args(annotation)[0]) is str


def _is_run(annotation: Any) -> bool:
    """Whether a field holds numbers or days one after the other."""
    return value_type(annotation) is list and value_type(get_args(annotation)[0]) in _TYPES.keys() - {str}


def _along(model: type[M], rows: Sequence[M]) -> pl.DataFrame:
    """A row for every place in the runs of each line, which are equally long; its other columns beside each."""
    runs = {name: field.annotation for name, field in model.model_fields.items() if _is_run(field.annotation)}
    lists = [
        pl.Series(name, [getattr(row, name) for row in rows], pl.List(_TYPES[value_type(get_args(kind)[0])]))
        for name, kind in runs.items()
    ]
    return frame(model, rows).hstack(lists).explode(*runs)


def _of_each(key: str, owners: Iterable[tuple[str, Iterable[M]]], model: type[M]) -> pl.DataFrame:
    """The lines of several owners under one another, the owner's code in front of each."""
    pairs = [(owner, line) for owner, lines in owners for line in lines]
    codes = pl.Series(key, [owner for owner, _ in pairs], pl.String)
    return frame(model, [line for _, line in pairs]).insert_column(0, codes)


def _counts(key: str, counts: Mapping[str, int], what: str) -> pl.DataFrame:
    """How many there are of each code."""
    return pl.DataFrame(list(counts.items()), schema={key: pl.String, what: pl.Int64}, orient="row")


def _periods(report: Report) -> list[tuple[str, Period]]:
    return [("yesterday", report.yesterday), ("week", report.week)]


def _in_periods(report: Report, table: Callable[[Period], pl.DataFrame]) -> pl.DataFrame:
    found = [table(period).insert_column(0, pl.lit(name).alias("period")) for name, period in _periods(report)]
    return pl.concat(found)


def _states(period: Period) -> pl.DataFrame:
    hours = period.account.hours
    return frame(Estimate, hours.values()).insert_column(0, pl.Series("state", list(hours), pl.String))


def _figures(report: Report) -> pl.DataFrame:
    """The page's single figures in one row; what the two periods gave is a table of its own."""
    return frame(Report, [report]).select(~cs.starts_with("yesterday_", "week_"))


def _days(report: Report) -> pl.DataFrame:
    days = _along(Series, report.series).rename({"days": "day", "values": "value"})
    return days.select("name", "day", "value", pl.exclude("name", "day", "value"))


def _orders_to_come(stores: Stores) -> pl.DataFrame:
    """What is on order of every item, and what must have come though nobody noted it."""
    to_come = _of_each("item", [(item.item, item.orders) for item in stores.items], Ordered)
    unnoted = _of_each("item", [(item.item, item.unnoted) for item in stores.items], Ordered)
    return pl.concat([to_come.with_columns(noted=pl.lit(value=True)), unnoted.with_columns(noted=pl.lit(value=False))])


def _use_by_week(stores: Stores) -> pl.DataFrame:
    """What was used of every item week by week, and what is expected; week 0 is the one that begins now."""
    rows = [
        (item.item, item.unit, week, amount, what)
        for item in stores.items
        for first, what, amounts in ((-len(item.used), "used", item.used), (0, "expected", item.expected))
        for week, amount in enumerate(amounts, start=first)
    ]
    kinds = {"item": pl.String, "unit": pl.String, "week": pl.Int64, "amount": pl.Float64, "what": pl.String}
    return pl.DataFrame(rows, schema=kinds, orient="row")


def _meanwhile(review: Review) -> pl.DataFrame:
    """What else happened, by the figure that changed and since when."""
    calls = [(chart.code, call) for chart in review.charts for call in chart.called]
    rows = [(code, call.since, one) for code, call in calls for one in call.meanwhile]
    keys = {"figure": [code for code, _, _ in rows], "since": [since for _, since, _ in rows]}
    return pl.DataFrame(keys, schema={"figure": pl.String, "since": pl.Date}).hstack(
        frame(Meanwhile, [one for _, _, one in rows])
    )


def _out(loading: Loading) -> pl.DataFrame:
    return pl.DataFrame(list(loading.out.items()), schema={"machine": pl.String, "state": pl.String}, orient="row")


def _of_machine(of: Callable[[MachineRecord], pl.DataFrame]) -> Callable[[MachineRecord], pl.DataFrame]:
    """A table of a machine's record with its code in front."""
    return lambda record: of(record).insert_column(0, pl.lit(record.machine).alias("machine"))


_OWNER: tuple[Table[Report], ...] = (
    Table("owner-needs", Report, lambda r: frame(NeedsHand, r.needs)),
    Table("owner-machines", Report, lambda r: frame(MachineNow, [m for rack in r.racks for m in rack.machines])),
    Table("owner-periods", Report, lambda r: _in_periods(r, lambda period: frame(Period, [period]))),
    Table("owner-hours", Report, lambda r: _in_periods(r, _states)),
    Table("owner-losses", Report, lambda r: _in_periods(r, lambda period: frame(Loss, period.losses))),
    Table("owner-scrap", Report, lambda r: _in_periods(r, lambda p: _counts("cause", p.scrap_by_cause, "parts"))),
    Table("owner-days", Report, _days),
    Table("owner-spools", Report, lambda r: frame(SpoolEnds, r.runs_out.spools)),
    Table("owner-staffed", Report, lambda r: frame(StaffedTime, r.runs_out.staffed)),
    Table("owner-order-now", Report, lambda r: frame(OrderNow, r.order_now)),
    Table("owner-questions", Report, lambda r: frame(Question, r.questions)),
    Table("owner-print-times", Report, lambda r: frame(PrintTime, r.print_times)),
    Table("owner-stops", Report, lambda r: frame(StopRate, r.stops)),
    Table("owner-unnoted", Report, lambda r: frame(Unnoted, r.unnoted)),
    Table("owner-figures", Report, _figures),
    Table("owner-racks", Report, lambda r: frame(RackNow, r.racks)),
)
_STORES: tuple[Table[Stores], ...] = (
    Table("stores-items", Stores, lambda s: frame(Stored, s.items)),
    Table("stores-weeks", Stores, _use_by_week),
    Table("stores-orders", Stores, _orders_to_come),
    Table("stores-moves", Stores, lambda s: _of_each("item", [(i.item, i.moves) for i in s.items], StockMove)),
    Table("stores-figures", Stores, lambda s: frame(Stores, [s])),
)
_PLAN: tuple[Table[Plan] | Table[Loading] | Table[Capacity], ...] = (
    Table("plan-orders", Plan, lambda p: frame(OrderDue, p.orders)),
    Table("plan-loads", Loading, lambda found: frame(NextLoad, found.loads)),
    Table("plan-loads-out", Loading, _out),
    Table("plan-products", Plan, lambda p: frame(ProductParts, p.products)),
    Table("plan-weeks", Capacity, lambda c: frame(Week, c.weeks)),
    Table("plan-lost-hours", Capacity, lambda c: frame(HoursStep, c.steps)),
    Table("plan-capacity", Capacity, lambda c: frame(Capacity, [c])),
    Table("plan-loads-figures", Loading, lambda found: frame(Loading, [found])),
    Table("plan-figures", Plan, lambda p: frame(Plan, [p])),
)
_UPKEEP: tuple[Table[RoomUpkeep], ...] = (
    Table("upkeep-due", RoomUpkeep, lambda r: frame(TaskDue, r.due)),
    Table("upkeep-waits", RoomUpkeep, lambda r: frame(WaitsForSpare, r.waits)),
    Table("upkeep-models", RoomUpkeep, lambda r: frame(ModelFailures, r.models)),
    Table("upkeep-failures", RoomUpkeep, lambda r: _along(Cumulative, r.cumulative)),
    Table("upkeep-causes", RoomUpkeep, lambda r: frame(CauseHours, r.causes)),
    Table("upkeep-machines", RoomUpkeep, lambda r: frame(StandsOut, r.stands_out)),
    Table("upkeep-intervals", RoomUpkeep, lambda r: frame(IntervalAdvice, r.advice)),
    Table("upkeep-spares", RoomUpkeep, lambda r: frame(SpareFits, r.spares)),
    Table(
        "upkeep-hours",
        RoomUpkeep,
        lambda r: _of_each("since", [(b.task or "", b.bands) for b in r.by_hours], FailureBand),
    ),
    Table("upkeep-trends", RoomUpkeep, lambda r: frame(FailuresByHours, r.by_hours)),
    Table("upkeep-figures", RoomUpkeep, lambda r: frame(RoomUpkeep, [r])),
)
_REVIEW: tuple[Table[Review], ...] = (
    Table("review-weeks", Review, lambda r: frame(WeekFigures, r.weeks)),
    Table("review-changes", Review, lambda r: _of_each("figure", [(c.code, c.called) for c in r.charts], Called)),
    Table("review-meanwhile", Review, _meanwhile),
    Table("review-losses", Review, lambda r: frame(LossChange, r.losses)),
    Table("review-days", Review, lambda r: _along(Chart, r.charts)),
    Table("review-waits", Review, lambda r: frame(HourWait, r.waits)),
    Table("review-promises", Review, lambda r: frame(PromiseWeek, r.promises)),
    Table("review-late", Review, lambda r: frame(LateOrder, r.late)),
    Table("review-spares", Review, lambda r: frame(SpareWait, r.spares)),
    Table("review-record", Review, lambda r: frame(Keeping, r.keeping)),
    Table("review-materials", Review, lambda r: frame(MaterialUse, r.materials)),
    Table("review-models", Review, lambda r: frame(ModelWork, r.models)),
    Table("review-compared", Review, lambda r: frame(ModelsCompared, r.compared)),
    Table("review-figures", Review, lambda r: frame(Review, [r])),
)
_MACHINE: tuple[Table[MachineRecord], ...] = (
    Table("machine-weeks", MachineRecord, _of_machine(lambda m: frame(WeekPrinted, m.weeks))),
    Table("machine-faults", MachineRecord, _of_machine(lambda m: frame(FaultTold, m.faults))),
    Table("machine-upkeep", MachineRecord, _of_machine(lambda m: frame(UpkeepTold, m.upkeep))),
    Table("machine-spares", MachineRecord, _of_machine(lambda m: frame(SpareFitted, m.fitted))),
    Table("machine-cards", MachineRecord, _of_machine(lambda m: frame(CardPut, m.cards))),
    Table("machine-recurs", MachineRecord, _of_machine(lambda m: frame(Recurs, m.recurs))),
    Table("machine-figures", MachineRecord, lambda m: frame(MachineRecord, [m])),
)
#: Every table there is, by its name, those of a page together.
TABLES: dict[str, Table[Any]] = {
    table.name: table for table in (*_OWNER, *_STORES, *_PLAN, *_UPKEEP, *_REVIEW, *_MACHINE)
}
