"""What the answers say of their own reliability: what went unnoted, looks at open questions, stops, faults."""

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from uuid import UUID

import pytest

from core.answers import open_question, rack_round, report
from core.entries import AnyEntry, Looked
from core.log.record import record_many
from core.log.store import Log
from core.statistics.ranges import wilson
from tests.core.larkfield import EXACT, ROWS, look, start, tell, when

AT = when(3, 12)


def off(day: float, hour: float, **fields: object) -> AnyEntry:
    return tell("PartsOff", when(day, hour), machine="A1", **fields)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(ROWS, noted_at=when(-1))
        yield log


def told(log: Log, entries: Sequence[AnyEntry]) -> Log:
    assert record_many(log, entries, now=AT).problems == []
    return log


def clip(day: float, hour: float) -> AnyEntry:
    return start(when(day, hour), file="clip")


def test_a_report_counts_what_went_unnoted(log: Log) -> None:
    story = [
        clip(0, 8), off(0, 10.5), clip(0, 10.6), clip(0, 13), off(0, 15.5), off(0, 18), clip(0, 18.1),
    ]  # fmt: skip
    found = report(told(log, story), AT, EXACT)
    assert (found.trust.starts.hits, found.trust.starts.of) == (1, 3)
    assert (found.trust.removals.hits, found.trust.removals.of) == (1, 3)
    assert found.trust.starts.share == wilson(1, 3)
    # Nobody has said when people are in: there is no shift to count by.
    assert found.unnoted == []


def test_looks_at_an_open_question_count_where_the_reckoning_held_what_was_seen(log: Log) -> None:
    looks = [
        look(when(1, 8), "printing", reckoned="printing"),
        look(when(1, 10), "done", reckoned="printing"),
        look(when(2, 8), "done", reckoned="done"),
        look(when(2, 9), "done"),
    ]
    right = report(told(log, looks), AT, EXACT).trust.right
    assert (right.hits, right.of, right.share) == (2, 3, wilson(2, 3))
    assert report(told(log, []), when(0, 1), EXACT).trust.right.share is None


def test_a_report_tells_how_often_prints_stop_and_how_long_faults_last(log: Log) -> None:
    story = [
        clip(0, 8), off(0, 10.5), clip(0, 11), off(0, 14, ended="stopped", scrap=12, scrap_cause="warped"),
        tell("WentDown", when(0, 15), machine="A1", cause="nozzle"), tell("CameBack", when(0, 19), machine="A1"),
    ]  # fmt: skip
    found = report(told(log, story), AT, EXACT)
    shop = found.stops[0]
    assert (shop.of, shop.stops, shop.hours) == ("shop", 1, 3.0)
    assert shop.per_100_hours.best == pytest.approx(100 / 3)
    assert (found.mending.faults, found.mending.half, found.mending.nine_in_ten) == (1, 4.0, 4.0)


def test_chance_asks_about_every_machine_of_which_something_is_held(log: Log) -> None:
    around = rack_round(told(log, [look(when(3, 11), "empty")]), "A", AT, EXACT)
    assert [(m.machine, m.expected) for m in around.machines] == [("A1", "empty"), ("A2", None)]
    asked = Counter(
        found.machine if (found := open_question(around, UUID(int=number))) else None for number in range(100)
    )
    assert asked == {"A1": 50, None: 50}
    assert open_question(around.model_copy(update={"machines": []}), UUID(int=1)) is None


def test_what_was_held_is_kept_with_the_look(log: Log) -> None:
    told(log, [look(when(1, 8), "done", reckoned="empty")])
    (kept,) = log.everything().filter(kind="Looked").rows(named=True)
    assert (kept["saw"], kept["reckoned"]) == ("done", "empty")
    assert Looked.model_fields["reckoned"].default is None
