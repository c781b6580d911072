"""A folder of CSV files as somebody writes, reads and thins it out by hand."""

import csv
from pathlib import Path

from core.log.sheets import SHEETS

EVERY_FILE = {f"{sheet.name}.csv" for sheet in SHEETS}


def put(folder: Path, name: str, *lines: str, encoding: str = "utf-8", end: str = "\n") -> None:
    (folder / name).write_bytes("".join(line + end for line in lines).encode(encoding))


def cells_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as text:
        return list(csv.reader(text))


def only(folder: Path, *names: str) -> None:
    """Take every file but these out of the folder."""
    for name in EVERY_FILE - set(names):
        (folder / name).unlink(missing_ok=True)
