"""The files beside a shop's file that belong to it, told by their names alone: they may be there at any time."""

from pathlib import Path

#: DuckDB's write-ahead log (others of its end so too) and its scratch folder, our lock, our note and the one being
#: written, a demo in the making, and the journal.
COMPANIONS = (".wal", ".tmp", ".lock", ".owner", ".owner.new", ".making", ".journal")


def companion(shop: Path, ending: str) -> Path:
    """The file of that ending which belongs to a shop's file."""
    return shop.with_name(shop.name + ending)


def is_companion(path: Path) -> bool:
    """Whether a file of this name would belong to a shop's file, be it there or not."""
    return path.name.lower().endswith(COMPANIONS)
