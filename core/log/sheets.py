"""The files of an exchange folder: one a set-up table and `entries.csv`, and what their columns hold."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel
from pydantic.fields import FieldInfo

from core.entries import KINDS, columns
from core.setup import TABLES


@dataclass(frozen=True)
class Sheet:
    """One file: its name, its columns with the type of their values, and the columns it cannot do without."""

    name: str
    types: dict[str, type]
    needed: tuple[str, ...]

    @property
    def file(self) -> str:
        """The name of the file in the folder."""
        return f"{self.name}.csv"


def value_type(annotation: Any) -> type:
    """The plain type of an annotated field: str for a code or a choice, tuple for several codes."""
    origin = get_origin(annotation)
    if annotation is AwareDatetime:
        return datetime
    if origin is Literal:
        return str
    if origin is Annotated or origin is Union or origin is UnionType:
        return value_type(get_args(annotation)[0])
    plain: type = origin or annotation
    return plain


def needed_fields(model: type[BaseModel]) -> tuple[str, ...]:
    """The fields an entry or a row cannot do without."""
    return tuple(name for name, field in model.model_fields.items() if field.is_required())


def _types(fields: Iterable[tuple[str, FieldInfo]]) -> dict[str, type]:
    return {name: value_type(field.annotation) for name, field in fields}


def _setup_sheet(table: str) -> Sheet:
    row = TABLES[table]
    types = _types(row.model_fields.items())
    return Sheet(table, types, tuple(name for name in needed_fields(row) if types[name] is not tuple))


def _entries_sheet() -> Sheet:
    types = _types(pair for kind in KINDS.values() for pair in kind.model_fields.items())
    return Sheet("entries", {name: types[name] for name in columns()}, ("kind", "at", "by"))


SETUP_SHEETS = {table: _setup_sheet(table) for table in TABLES}
ENTRIES = _entries_sheet()
SHEETS = (*SETUP_SHEETS.values(), ENTRIES)
