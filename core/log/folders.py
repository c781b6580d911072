"""A folder of files, written whole or not at all."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

from core.errors import Refused


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """A folder to write files into; when all are there it takes the place of `folder`, a new or an empty one.

    What breaks off leaves nothing behind. Raises `Refused`: "folder_not_empty", "no_folder".
    """
    folder = folder.resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Refused("folder_not_empty", f"{folder} is not an empty folder: name a new one to write to.")
    if not folder.parent.is_dir():
        raise Refused("no_folder", f"There is no folder {folder.parent}: make it, or name another.")
    unfinished = folder.with_name(f".{folder.name}-{uuid4().hex[:8]}")
    unfinished.mkdir()
    try:
        yield unfinished
        if folder.exists():
            folder.rmdir()
        unfinished.rename(folder)
    except BaseException:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise
