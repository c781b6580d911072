"""A log of the small shop and the template of a shop, fresh for every test that asks for one."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from core.log.exchange import template
from core.log.store import Log
from tests.core.larkfield import ROWS


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(ROWS)
        yield log


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The template of a shop: one row in every file."""
    template(tmp_path / "folder")
    return tmp_path / "folder"
