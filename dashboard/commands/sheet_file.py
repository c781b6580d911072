"""A sheet of paper in a file: there whole, or as it was before."""

from __future__ import annotations

from pathlib import Path

from core.errors import Refused


def must_be_writable(file: Path) -> None:
    """Refuse a file that cannot be written, before anything is reckoned for it."""
    if file.is_dir():
        raise Refused("sheet_is_folder", f"{file} is a folder: name the file in it that the sheet goes into.")
    if file.exists() and not file.is_file():
        raise Refused("sheet_is_no_file", f"{file} is no ordinary file: name another, or - for standard output.")
    if not file.parent.is_dir():
        raise Refused("no_folder_for_sheet", f"There is no folder {file.parent}: make it, or name another file.")


def write(file: Path, document: str) -> None:
    """Write a document into a file. Raises `Refused`, and then what was there before still is."""
    must_be_writable(file)
    fresh = file.with_name(f".{file.name}.new")
    try:
        fresh.write_text(document, encoding="utf-8")
        fresh.replace(file)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise Refused(
            "sheet_not_written",
            f"{file} could not be written ({error.strerror or error}): make room, or name a file you may write.",
        ) from None
