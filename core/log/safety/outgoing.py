"""The one way out to a place that a person named: whole or not at all, and never over what is not ours.

A file is written beside its place, put on the disk, and renamed. Over a file that is there it goes only where that is
a sheet of paper of ours, which says so in its head (`MARK`). What belongs to a shop's file keeps its place.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

from core.errors import Refused
from core.log.safety.companions import is_companion

#: How our sheets of paper begin, and what they say of themselves within so many bytes.
BEGIN, MARK, WITHIN = b"<!DOCTYPE html>", b'<meta name="generator" content="Roundsheet">', 256


def must_be_writable(file: Path) -> Path:
    """Where the file lies when links are followed. Refuses one that may not be written, before anything is reckoned.

    Raises `Refused`: "belongs_to_a_shop", "file_is_folder", "file_is_no_file", "no_folder", "not_ours".
    """
    file = free_of_shops(file)
    if file.is_dir():
        raise Refused("file_is_folder", f"{file} is a folder: name the file in it that is to be written.")
    if file.exists() and not file.is_file():
        raise Refused("file_is_no_file", f"{file} is no ordinary file: name another, or - for standard output.")
    if not file.parent.is_dir():
        raise Refused("no_folder", f"There is no folder {file.parent}: make it, or name another file.")
    if file.exists() and not _is_ours(file):
        raise Refused("not_ours", f"{file} is there already and is no sheet of ours: move it away, or name another.")
    return file


def write(file: Path, content: bytes) -> None:
    """Write a file. Raises `Refused` as `must_be_writable` does or with "not_written", and all is as it was before."""
    file = must_be_writable(file)
    fresh = file.with_name(f".{file.name}-{uuid4().hex[:8]}")
    try:
        fresh.write_bytes(content)
        sync(fresh)
        fresh.replace(file)
        sync_folder(file.parent)
    except OSError as error:
        raise Refused(
            "not_written",
            f"{file} could not be written ({error.strerror or error}): make room, or name a file you may write.",
        ) from None
    finally:
        fresh.unlink(missing_ok=True)


def make_folder(folder: Path) -> Path:
    """A folder that is there, made if it was not. Raises `Refused`: "belongs_to_a_shop", "no_folder"."""
    folder = free_of_shops(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refused(
            "no_folder", f"{folder} cannot be made ({error.strerror or error}): name another folder."
        ) from None
    return folder


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """A folder to write files into; when all are there it takes the place of `folder`, a new or an empty one.

    What breaks off leaves nothing behind. Raises `Refused`: "belongs_to_a_shop", "folder_not_empty", "no_folder".
    """
    folder = free_of_shops(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Refused("folder_not_empty", f"{folder} is not an empty folder: name a new one to write to.")
    if not folder.parent.is_dir():
        raise Refused("no_folder", f"There is no folder {folder.parent}: make it, or name another.")
    unfinished = folder.with_name(f".{folder.name}-{uuid4().hex[:8]}")
    unfinished.mkdir()
    try:
        yield unfinished
        for file in unfinished.iterdir():
            sync(file)
        if folder.exists():
            folder.rmdir()
        unfinished.rename(folder)
        sync_folder(folder.parent)
    except BaseException:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise


def sync(file: Path) -> None:
    """Put a file that is nobody else's on the disk."""
    with file.open("rb+") as written:
        os.fsync(written.fileno())


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on the disk, where the system lets a folder be opened."""
    if hasattr(os, "O_DIRECTORY"):
        opened = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def free_of_shops(path: Path) -> Path:
    """Where a path leads. Raises `Refused` ("belongs_to_a_shop") for a name that is kept for what belongs to a shop."""
    path = path.resolve()
    if is_companion(path):
        raise Refused(
            "belongs_to_a_shop", f"{path} has the name of a file that belongs to a shop's file: name another."
        )
    return path


def _is_ours(file: Path) -> bool:
    try:
        with file.open("rb") as there:
            head = there.read(WITHIN)
    except OSError:
        return False
    return head.startswith(BEGIN) and MARK in head
