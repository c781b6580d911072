"""Answers as tables: nothing of an answer is lost, and what is written reads back as it was."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any, Literal, get_args, get_origin
from uuid import UUID

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from core.answer_tables import TABLES, Table, frame, write_tables, written
from core.answers import all_answers
from core.estimate import Estimate
from core.frozen import Frozen
from core.log.sheets import value_type
from core.log.store import Log
from core.reading.types import AnswerChoice
from tests.core.conftest import AT

ANSWERS = list(dict.fromkeys(table.answer for table in TABLES.values()))

#: What is in no table: what to tap for an answer to a question.
LEFT_OUT = (AnswerChoice,)


class Filled:
    """Makes answers in which every number, time and text is another one."""

    def __init__(self) -> None:
        self._next = count(1)

    def value(self, annotation: Any) -> Any:
        kind = value_type(annotation)
        if choices := _choices(annotation):
            return choices[0]
        if kind is list:
            return [self.value(get_args(annotation)[0]) for _ in range(3)]
        if kind is dict:
            key, inner = get_args(annotation)
            return {self.value(key): self.value(inner) for _ in range(3)} if inner is not Any else {}
        if issubclass(kind, BaseModel):
            return self.model(kind)
        return self._plain(kind)

    def _plain(self, kind: type) -> Any:
        n = next(self._next)
        made = {bool: True, int: n, float: n + 0.5, str: f"t{n}", UUID: UUID(int=n),
                date: date(2026, 1, 1) + timedelta(days=n),
                datetime: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=n)}  # fmt: skip
        return made[kind]

    def model(self, model: type[BaseModel]) -> Any:
        return model(**{name: self.value(field.annotation) for name, field in model.model_fields.items()})


def leaves(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value in an answer with the name of its field; those that are not one of many choices."""
    if isinstance(value, LEFT_OUT) or value is None or isinstance(value, bool):
        return
    if isinstance(value, BaseModel):
        for field, info in type(value).model_fields.items():
            if not _choices(info.annotation):
                yield from leaves(getattr(value, field), field)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield name, key
            yield from leaves(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner, name)
    else:
        yield name, value


def _choices(annotation: Any) -> tuple[Any, ...]:
    """What a field of a few words may say."""
    kinds = (annotation, *get_args(annotation))
    return next((get_args(kind) for kind in kinds if get_origin(kind) is Literal), ())


def cells(answer: Frozen) -> set[Any]:
    """Every cell of every table of an answer; codes that share one are taken apart."""
    tables = [table.of(answer) for table in TABLES.values() if table.answer is type(answer)]
    values = {value for one in tables for column in one for value in column if value is not None}
    return values | {code for value in values if isinstance(value, str) for code in value.split("; ")}


@pytest.mark.parametrize("kind", ANSWERS, ids=lambda kind: kind.__name__)
def test_all_that_an_answer_tells_is_in_one_of_its_tables(kind: type[Frozen]) -> None:
    answer = Filled().model(kind)
    told, held = list(leaves(answer)), cells(answer)
    assert len(told) > 5
    lost = [name for name, value in told if (str(value) if isinstance(value, UUID) else value) not in held]
    assert sorted(set(lost)) == []


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_a_table_has_the_same_columns_full_and_empty(table: Table[Any]) -> None:
    full = Filled().model(table.answer)
    bare = full.model_copy(update={name: type(value)() for name, value in full if isinstance(value, list | dict)})
    assert table.of(bare).schema == table.of(full).schema
    assert table.of_all([full, bare, full]).height == 2 * table.of(full).height + table.of(bare).height
    assert pl.Null not in table.of(full).dtypes


#: What an invented shop need not have on every day.
SELDOM = {
    "plan-loads-out",
    "upkeep-waits",
    "upkeep-machines",
    "machine-recurs",
    "stores-orders",
    "owner-scrap",
    "review-compared",
    "review-late",
    "review-meanwhile",
}


@pytest.mark.full
def test_an_invented_shop_fills_its_tables_and_every_machine_has_a_record(busy_log: Log, tmp_path: Path) -> None:
    given: list[float] = []
    done = write_tables(all_answers(busy_log, AT, given.append, ANSWERS), tmp_path / "out", "parquet")
    tables = {file.stem: pl.read_parquet(file) for file in (tmp_path / "out").iterdir()}
    assert set(tables) == set(TABLES)
    assert {name for name, table in tables.items() if table.is_empty()} <= SELDOM
    assert (done.tables, done.rows) == (len(TABLES), sum(table.height for table in tables.values()))
    assert tables["machine-figures"]["machine"].to_list() == tables["owner-machines"]["machine"].sort().to_list()
    assert given == sorted(given)
    assert given[-1] == 1


def test_a_file_has_one_name() -> None:
    assert all(table.name == name for name, table in TABLES.items())
    assert all(name.replace("-", "").isalpha() for name in TABLES)


class Inner(Frozen):
    share: Estimate | None
    note: str | None


class Line(Frozen):
    code: str
    at: datetime | None
    day: date
    number: int
    yes: bool
    kind: Literal["a", "b"]
    hours: Estimate
    inner: Inner
    machines: list[str]
    lines: list[Inner]
    runs: list[float]


def test_an_estimate_is_three_columns_and_what_holds_fields_gives_them_its_name() -> None:
    exact = Estimate(low=1, best=2, high=3)
    line = Line(
        code="P01", at=datetime(2026, 5, 3, 14, 30, tzinfo=UTC), day=date(2026, 5, 3), number=3, yes=True, kind="a",
        hours=exact, inner=Inner(share=None, note=None), machines=["P01", "P02"], lines=[], runs=[1.0],
    )  # fmt: skip
    assert frame(Line, [line]).to_dicts() == [{
        "code": "P01", "at": line.at, "day": line.day, "number": 3, "yes": True, "kind": "a",
        "hours_low": 1.0, "hours_best": 2.0, "hours_high": 3.0,
        "inner_share_low": None, "inner_share_best": None, "inner_share_high": None, "inner_note": None,
        "machines": "P01; P02",
    }]  # fmt: skip
    assert frame(Line, []).schema == frame(Line, [line]).schema


def test_csv_is_what_a_spreadsheet_of_any_country_takes_for_a_time_and_nothing_that_runs() -> None:
    line = Inner(share=None, note='=HYPERLINK("x"), "y"\r\nz')
    text = written(frame(Inner, [line]), "csv").decode()
    assert text == 'share_low,share_best,share_high,note\r\n,,,"\'=HYPERLINK(""x""), ""y""\r\nz"\r\n'
    told = Filled().model(TABLES["owner-staffed"].answer)
    first = written(TABLES["owner-staffed"].of(told), "csv").decode().splitlines()[1].split(",")[0]
    assert datetime.fromisoformat(first) == told.runs_out.staffed[0].start
    assert first.endswith("+00:00")


moments = st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
numbers = st.floats(allow_nan=False)
estimates = st.lists(numbers, min_size=3, max_size=3).map(
    lambda three: Estimate(**dict(zip(("low", "best", "high"), sorted(three), strict=True)))
)
#: Text that somebody typed: a formula, quotes, several lines; no cell of its own is empty, for that is no word.
words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)
inners = st.builds(Inner, share=st.none() | estimates, note=st.none() | words)
lines = st.builds(
    Line, code=words, at=st.none() | moments, day=st.dates(), number=st.integers(-(2**53), 2**53), yes=st.booleans(),
    kind=st.sampled_from(["a", "b"]), hours=estimates, inner=inners, machines=st.lists(words), lines=st.just([]),
    runs=st.just([]),
)  # fmt: skip


@given(st.lists(lines))
def test_parquet_reads_back_as_it_was(told: list[Line]) -> None:
    table = frame(Line, told)
    assert pl.read_parquet(io.BytesIO(written(table, "parquet"))).equals(table, null_equal=True)


@given(st.lists(lines))
def test_csv_reads_back_as_it_was(told: list[Line]) -> None:
    table = frame(Line, told)
    header, *rows = csv.reader(io.StringIO(written(table, "csv").decode(), newline=""), strict=True)
    assert header == table.columns
    assert [[*map(read_back, table.dtypes, row)] for row in rows] == [list(row) for row in table.iter_rows()]


def read_back(kind: pl.DataType, cell: str) -> Any:
    """A cell as anybody reads it who knows its column."""
    if cell == "":
        return None
    if kind == pl.Boolean:
        return {"yes": True, "no": False}[cell]
    readers: dict[Any, Any] = {pl.Int64: int, pl.Float64: float, pl.Date: date.fromisoformat,
                               pl.Datetime: datetime.fromisoformat}  # fmt: skip
    if kind != pl.String:
        return readers[kind.base_type()](cell)
    return re.sub(r"^'(?='*[=+\-@\t\r])", "", cell)
