"""The log out to a folder of CSV files and in again; the same door for a shop that begins on paper.

What goes out comes in exactly as it was: history, voided entries and their voids included. Going in,
a file somebody made by hand may leave out what can be told without it:
- `id` empty: made from the row's content, so the same row is the same entry however often it comes;
- `noted_at` empty: noted when it happened;
- `arrived_at` empty: it arrives now, unless it was noted before the log was kept (see `record_many`);
- a time without an offset: the shop's clock. An hour that the clocks skipped or repeated is a problem.
"""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from uuid import UUID

import polars as pl
from pydantic import BaseModel, ConfigDict

from core.entries import AnyEntry
from core.errors import Refused
from core.log.csv_files import write_csv
from core.log.explained import WORKED_LINES, columns_page
from core.log.incoming import Incoming, Placed, Problem
from core.log.record import record_many
from core.log.safety.outgoing import make_folder, new_folder, write
from core.log.setup_rules import check
from core.log.sheets import ENTRIES, SETUP_SHEETS, SHEETS
from core.log.store import Log


class Imported(BaseModel):
    """What came in: new entries, entries that were there already, new set-up rows, and the rows left out."""

    model_config = ConfigDict(frozen=True)

    entries: int
    already: int
    setup_rows: int
    problems: list[Problem]


class Exported(BaseModel):
    """What went out, and where."""

    model_config = ConfigDict(frozen=True)

    folder: Path
    entries: int
    setup_rows: int


def template(folder: Path) -> list[Path]:
    """Write a CSV for every table and for entries, each with one worked line, and a page on the columns.

    Raises `Refused` ("file_there") rather than write over a file, or as `make_folder` and `write` do.
    """
    files = [folder / sheet.file for sheet in SHEETS]
    page = folder / "columns.md"
    if there := [file for file in (*files, page) if file.exists()]:
        raise Refused("file_there", f"{there[0]} is there already: name another folder, or move it away.")
    make_folder(folder)
    for sheet, file in zip(SHEETS, files, strict=True):
        worked = {name: WORKED_LINES[sheet.name].get(name) for name in sheet.types}
        content = BytesIO()
        write_csv(pl.DataFrame([worked], schema=dict.fromkeys(sheet.types, pl.String)), content)
        write(file, content.getvalue())
    write(page, columns_page().encode())
    return [*files, page]


def export_folder(log: Log, folder: Path) -> Exported:
    """Write the whole log to a new or empty folder, whole or not at all.

    Raises `Refused`: "folder_not_empty", "no_folder".
    """
    with new_folder(folder) as unfinished:
        counts = _write_all(log, unfinished)
    return Exported(folder=folder.resolve(), entries=counts[0], setup_rows=counts[1])


def _write_all(log: Log, folder: Path) -> tuple[int, int]:
    """The files of one moment of the log; the number of entries and of set-up rows in them."""
    with log.writing():
        rows, entries = log.setup().rows, log.everything()
    for table, sheet in SETUP_SHEETS.items():
        lines = [row.model_dump() for row in rows if row.table == table]
        frame = pl.DataFrame(lines, schema=list(sheet.types), infer_schema_length=None)
        write_csv(frame, folder / sheet.file)
    write_csv(entries, folder / ENTRIES.file)
    return entries.height, len(rows)


def import_folder(log: Log, folder: Path, progress: Callable[[float], None] | None = None) -> Imported:
    """Take in whatever exchange files lie in a folder: set-up first, then entries, each in one transaction.

    Bad rows are listed and left out, the good ones go in; importing the same files again changes nothing.
    `progress` is called with the share done, 0 to 1. Raises `Refused` where a file cannot be read at all
    or the folder holds a CSV of another name; then nothing went in.
    """
    incoming = Incoming(folder, log.setup())
    with log.writing():
        setup_rows = _take_setup(log, incoming)
        entries = _unmistakable(log, incoming)
        outcome = record_many(log, [placed.value for placed in entries], progress=progress)
    for turned in outcome.problems:
        incoming.leave_out(entries[turned.index], turned.rule, turned.sentence)
    order = {sheet.file: place for place, sheet in enumerate(SHEETS)}
    return Imported(
        entries=outcome.recorded,
        already=outcome.already,
        setup_rows=setup_rows,
        problems=sorted(incoming.problems, key=lambda problem: (order[problem.file], problem.row)),
    )


def _take_setup(log: Log, incoming: Incoming) -> int:
    """Append the good set-up rows; how many were new."""
    before, placed = log.setup(), incoming.setup()
    broken = {found.index: found for found in check(before, [each.value for each in placed])}
    for index, found in broken.items():
        incoming.leave_out(placed[index], found.rule, found.sentence)
    log.append_setup([each.value for index, each in enumerate(placed) if index not in broken])
    return len(log.setup().rows) - len(before.rows)


def _unmistakable(log: Log, incoming: Incoming) -> list[Placed[AnyEntry]]:
    """The entries of the file, less those whose id another row or the log gives to another entry."""
    placed = incoming.entries()
    held = {entry.id: entry for entry in log.find([each.value.id for each in placed])}
    rows: dict[UUID, int] = {}
    good = []
    for each in placed:
        entry = each.value
        if (first := rows.setdefault(entry.id, each.row)) != each.row:
            incoming.leave_out(each, "same_as_row", _SAME.format(first=first))
        elif _facts(held.get(entry.id, entry)) != _facts(entry):
            incoming.leave_out(each, "id_taken", _TAKEN)
        else:
            good.append(each)
    return good


def _facts(entry: AnyEntry) -> AnyEntry:
    """The entry without what the log adds to it."""
    return entry.model_copy(update={"arrived_at": None})


_SAME = (
    "Row {first} is the same entry: if it happened twice, give this row another time or an id of its own, "
    "otherwise take it out."
)
_TAKEN = (
    "The log has other facts under this id, and an entry is never changed: take the old one back with an "
    "EntryVoided row, and give this row an empty id."
)
