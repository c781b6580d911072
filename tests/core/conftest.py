"""Shops for tests of several rooms: the seven machines fresh for every test, a busy one made once to play forward."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from core.habits.learned import Learned
from core.log.store import Log
from core.plan.outlook import Outlook
from core.reading.reading import learned_at
from demo.make import make
from tests.core.seven_machines import STORY, shop

UNTIL = datetime(2026, 8, 30, 23, 0, tzinfo=UTC)
#: Friday noon; no holiday in the three weeks before or the twelve after.
AT = UNTIL - timedelta(days=2, hours=12)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with shop(tmp_path / "shop.duckdb", STORY) as log:
        yield log


@pytest.fixture(scope="session")
def busy_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    path = tmp_path_factory.mktemp("busy") / "shop.duckdb"
    make(path, machines=8, weeks=6, seed=4, until=UNTIL, busy=1.5)
    with Log.open(path) as log:
        yield log


@pytest.fixture(scope="session")
def busy_pace(busy_log: Log) -> Learned:
    """How work goes there, of the day of `AT`."""
    return learned_at(busy_log, AT)


@pytest.fixture(scope="session")
def busy(busy_log: Log, busy_pace: Learned) -> Outlook:
    return Outlook(busy_log, AT, busy_pace)
