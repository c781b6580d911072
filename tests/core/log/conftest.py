"""A log of the small shop, fresh for every test that asks for one."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from core.log.store import Log
from tests.core.larkfield import ROWS


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(ROWS)
        yield log
