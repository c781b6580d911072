"""The files of one import, read into set-up rows and entries; what cannot be read is kept as a problem."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Generic, NamedTuple, TypeVar
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, ValidationError

from core.entries import KINDS, AnyEntry, entry_adapter
from core.errors import Refused
from core.log.cells import read_cell
from core.log.csv_files import CsvLine, read_csv
from core.log.sentences import rule_of, sentence_of
from core.log.sheets import ENTRIES, SETUP_SHEETS, SHEETS, Sheet, needed_fields
from core.setup import TABLES, Row, Setup, Shop

T = TypeVar("T")

#: The name space of ids made from a row's content; it must never change, or rows would come in twice.
_BY_CONTENT = UUID("0b9c8a53-5d0f-4c53-9d6e-0f5a2f6d1c77")

_NEEDED = {kind: needed_fields(entry) for kind, entry in KINDS.items()}


class Problem(BaseModel):
    """A row that was not taken: where it stands, the rule it breaks, and what to do in one sentence."""

    model_config = ConfigDict(frozen=True)

    file: str
    row: int
    rule: str
    sentence: str


class Placed(NamedTuple, Generic[T]):
    """What a row says, and where it stands: the sheet and the row number a spreadsheet shows."""

    sheet: Sheet
    row: int
    value: T


class Incoming:
    """The exchange files of a folder. `problems` grows with every row that is left out.

    Raises `Refused` where a file cannot be read at all, or the folder holds a CSV of another name.
    """

    def __init__(self, folder: Path, known: Setup) -> None:
        self.problems: list[Problem] = []
        self._lines = {sheet.name: list(read_csv(folder / sheet.file, sheet)) for sheet in _sheets_in(folder)}
        self._zone = self._shop_zone() or (known.zone if known.history(Shop) else None)

    def setup(self) -> list[Placed[Row]]:
        """The set-up rows that can be read, in the order of the tables."""
        return [
            placed
            for table, sheet in SETUP_SHEETS.items()
            for placed in self._read(sheet, partial(_row, TABLES[table]))
        ]

    def entries(self) -> list[Placed[AnyEntry]]:
        """The entries that can be read, in the order of the file."""
        return self._read(ENTRIES, _entry)

    def leave_out(self, placed: Placed[T], rule: str, sentence: str) -> None:
        """Keep a row as a problem."""
        self._problem(placed.sheet, placed.row, rule, sentence)

    def _shop_zone(self) -> ZoneInfo | None:
        """The zone of the incoming shop, in which its own files' times without an offset are read."""
        for line in reversed(self._lines.get(Shop.table, [])):
            try:
                return ZoneInfo(line.cells["zone"])
            except (KeyError, ValueError, OSError):
                continue
        return None

    def _read(self, sheet: Sheet, make: Callable[[dict[str, object]], T]) -> list[Placed[T]]:
        good = []
        for line in self._lines.get(sheet.name, []):
            try:
                good.append(Placed(sheet, line.row, make(_values(line, sheet, self._zone))))
            except Refused as refused:
                self._problem(sheet, line.row, refused.rule, refused.sentence)
            except ValidationError as error:
                sentence = sentence_of(error, then=f"correct row {line.row} and import again")
                self._problem(sheet, line.row, rule_of(error), sentence)
        return good

    def _problem(self, sheet: Sheet, row: int, rule: str, sentence: str) -> None:
        self.problems.append(Problem(file=sheet.file, row=row, rule=rule, sentence=sentence))


def _sheets_in(folder: Path) -> list[Sheet]:
    """The sheets whose files are there, set-up first."""
    if not folder.is_dir():
        raise Refused("no_folder", f"There is no folder {folder}: name the one that holds the CSV files.")
    names = {path.name for path in folder.glob("*.csv") if not path.name.startswith(".")}
    if strange := sorted(names - {sheet.file for sheet in SHEETS}):
        raise Refused(
            "unknown_file",
            f"{strange[0]} is none of the files of a shop ({', '.join(sheet.file for sheet in SHEETS)}): "
            "rename it or take it out of the folder; nothing was taken in.",
        )
    if not names:
        raise Refused("nothing_there", f"{folder} holds no CSV file: 'roundsheet template FOLDER' makes blank ones.")
    return [sheet for sheet in SHEETS if sheet.file in names]


def _values(line: CsvLine, sheet: Sheet, zone: ZoneInfo | None) -> dict[str, object]:
    if line.too_long:
        raise Refused(
            "too_many_cells",
            "The row has more cells than the header has columns: put a text that holds a comma into quotes.",
        )
    values: dict[str, object] = {}
    for name, text in line.cells.items():
        try:
            values[name] = read_cell(text, sheet.types[name], zone)
        except Refused as refused:
            raise Refused(refused.rule, f"In column {name}, {refused.sentence}") from None
    return values


def _row(table: type[Row], values: dict[str, object]) -> Row:
    return table.model_validate(dict.fromkeys(needed_fields(table), "") | values)


def _entry(values: dict[str, object]) -> AnyEntry:
    told = dict.fromkeys(_NEEDED.get(str(values.get("kind")), ()), "") | values
    if "noted_at" not in values and "at" in values:
        told["noted_at"] = values["at"]
    entry = entry_adapter.validate_python(told)
    return entry if "id" in values else entry.model_copy(update={"id": _id_by_content(entry)})


def _id_by_content(entry: AnyEntry) -> UUID:
    """The same id for the same facts; a field that a later version adds does not change it."""
    facts = entry.model_dump(mode="json", exclude={"id", "arrived_at"}, exclude_defaults=True)
    return uuid5(_BY_CONTENT, repr([entry.kind, *sorted(facts.items())]))
