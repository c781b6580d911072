"""An invented shop with more orders than it can serve at once, made once for all that play it forward."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from core.log.store import Log
from core.plan.outlook import Outlook
from demo.make import make

UNTIL = datetime(2026, 8, 30, 23, 0, tzinfo=UTC)
#: Friday noon; no holiday in the three weeks before or the twelve after.
AT = UNTIL - timedelta(days=2, hours=12)


@pytest.fixture(scope="session")
def busy_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    path = tmp_path_factory.mktemp("busy") / "shop.duckdb"
    make(path, machines=8, weeks=6, seed=4, until=UNTIL, busy=1.5)
    with Log.open(path) as log:
        yield log


@pytest.fixture(scope="session")
def busy(busy_log: Log) -> Outlook:
    return Outlook(busy_log, AT)
