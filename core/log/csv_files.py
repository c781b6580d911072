"""One CSV file: written so that it comes back exactly, read as people and spreadsheets make them.

UTF-8, RFC 4180. Read as well: a byte order mark, either line ending, and `;` between the columns
with `,` in the numbers, as European spreadsheets save it.

A text that begins with `=`, `+`, `-`, `@`, a tab or a return could be run as a formula by the
spreadsheet that opens the file. It is written with a `'` before it; so is one that has such a `'`
already, which keeps the round trip exact: reading takes one `'` away where a formula follows.
"""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, NoReturn

import polars as pl

from core.errors import Refused
from core.log.sheets import Sheet

_COULD_RUN = r"^('*[=+\-@\t\r])"
_GUARDED = re.compile(r"^''*[=+\-@\t\r]")
_DECIMAL_COMMA = re.compile(r"^-?\d+,\d+$")


@dataclass(frozen=True, slots=True)
class CsvLine:
    """One line of a file: its row number as a spreadsheet shows it, its cells that are not empty by
    column, and whether there are more cells than the header has columns."""

    row: int
    cells: dict[str, str]
    too_long: bool


def write_csv(frame: pl.DataFrame, file: Path | IO[bytes]) -> None:
    """Write a frame: times in UTC with their offset, yes and no, floats to the last bit, null as nothing."""
    cells = frame.with_columns(
        pl.col(pl.String).str.replace(_COULD_RUN, "'$1"),
        pl.col(pl.Boolean).replace_strict({True: "yes", False: "no"}, return_dtype=pl.String),
    )
    cells.write_csv(
        file,
        line_terminator="\r\n",
        datetime_format="%Y-%m-%dT%H:%M:%S%.f%:z",
        time_format="%H:%M:%S%.f",
    )


def read_csv(path: Path, sheet: Sheet) -> Iterator[CsvLine]:
    """The lines of a file after its header; blank ones are passed over.

    Raises `Refused` where the file as a whole cannot be read: "not_readable", "not_utf8", "not_csv",
    "empty_file", "unknown_column", "column_twice", "missing_column".
    """
    text = _text(path)
    first = text.partition("\n")[0]
    mark = ";" if ";" in first and "," not in first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    header: list[str] = []
    row = 0
    try:
        for row, cells in enumerate(reader, start=1):
            if not header:
                header = _header(cells, path, sheet)
            elif filled := {place: cell for place, text in enumerate(cells) if (cell := text.strip(" \t"))}:
                yield _line(row, filled, header, sheet, mark)
    except csv.Error as error:
        what = f"cannot be read as CSV after row {row} ({error}): look for a quote too many there"
        _refuse(path, "not_csv", what)


def _line(row: int, filled: dict[int, str], header: list[str], sheet: Sheet, mark: str) -> CsvLine:
    cells = {header[place]: _unguarded(cell) for place, cell in filled.items() if place < len(header)}
    if mark == ";":
        cells = {name: _decimal(cell) if sheet.types[name] is float else cell for name, cell in cells.items()}
    return CsvLine(row, cells, too_long=max(filled) >= len(header))


def _unguarded(cell: str) -> str:
    return cell[1:] if cell[0] == "'" and _GUARDED.match(cell) else cell


def _decimal(cell: str) -> str:
    return cell.replace(",", ".") if _DECIMAL_COMMA.match(cell) else cell


def _header(cells: list[str], path: Path, sheet: Sheet) -> list[str]:
    names = [cell.strip() for cell in cells]
    while names and not names[-1]:
        names.pop()
    for name in names:
        if name not in sheet.types:
            known = ", ".join(sheet.types)
            _refuse(path, "unknown_column", f"has a column '{name}': take it out, or use one of {known}")
        if names.count(name) > 1:
            _refuse(path, "column_twice", f"has the column '{name}' twice: take one out")
    if missing := [name for name in sheet.needed if name not in names]:
        _refuse(path, "missing_column", f"has no column '{missing[0]}': add it")
    return names


def _text(path: Path) -> str:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = error.object.count(b"\n", 0, error.start) + 1
        _refuse(path, "not_utf8", f"is not in UTF-8 (near line {row}): save it as CSV in UTF-8")
    except OSError as error:
        _refuse(path, "not_readable", f"cannot be read ({error.strerror}): close it in other programs")
    if not text.strip():
        _refuse(path, "empty_file", "is empty: give it at least its header, or take it out of the folder")
    return text


def _refuse(path: Path, rule: str, what: str) -> NoReturn:
    raise Refused(rule, f"{path.name} {what}, and import again; nothing was taken in.")
