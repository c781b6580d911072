"""The answers together: as they stood, of shops that have said little, and what an answer is."""

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel, ValidationError

from core.answers import ANSWERS, all_answers, floor, hours, learned_at, machine_page, rack_round, report
from core.errors import Refused
from core.estimate import Estimate
from core.floor.types import MachinePage, RackNow, RackRound
from core.log.store import Log
from core.setup import Shop
from core.stores.types import Stores
from core.timeline.possible import acts
from core.upkeep.types import MachineRecord
from tests.core.larkfield import EXACT, ROWS, when
from tests.core.seven_machines import AT, LATER, STORY, WEEK, machines, shop

# As it stood


def test_an_earlier_moment_gives_the_answers_as_they_stood(log: Log) -> None:
    def told() -> list[object]:
        pages = [machine_page(log, machine, AT) for machine in machines(floor(log, AT))]
        return [report(log, AT), floor(log, AT), hours(log, WEEK, "day", AT), rack_round(log, "B", AT), *pages]

    before = told()
    log.append(LATER)
    assert told() == before


def test_an_earlier_moment_gives_the_answers_of_a_shop_that_knows_no_more(log: Log, tmp_path: Path) -> None:
    noon = when(7, 12, 10)
    with shop(tmp_path / "then.duckdb", [entry for entry in STORY if entry.noted_at <= noon]) as then:
        assert report(log, noon) == report(then, noon)
        assert report(log, AT) != report(then, AT)


def test_what_is_told_later_counts_from_then_on(log: Log) -> None:
    log.append(LATER)
    page = report(log, when(8, 13), EXACT)
    states = {code: (machine.state, machine.since) for code, machine in machines(page.racks).items()}
    assert states["A1"] == ("empty", when(8, 9, 30))
    assert states["A4"] == ("aside", when(3))
    assert states["B2"] == ("done", when(8))  # nobody saw it stopped any more: the feeder was due at midnight
    assert states["B3"] == ("printing", when(8, 12))
    assert page.week.scrap == 3
    assert page.trust.newest == when(8, 12)


# Shops without set-up or entries

ASKED: dict[str, Callable[[Log], object]] = {
    "report": lambda log: report(log, AT),
    "floor": lambda log: floor(log, AT),
    "hours": lambda log: hours(log, WEEK, "day", AT),
    "a machine": lambda log: machine_page(log, "A1", AT),
    "a round": lambda log: rack_round(log, "A", AT),
}


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_a_file_without_a_shop_is_refused_with_what_to_do(tmp_path: Path, ask: Callable[[Log], object]) -> None:
    with Log.open(tmp_path / "new.duckdb") as log, pytest.raises(Refused, match="no shop in it yet: run") as refused:
        ask(log)
    assert refused.value.rule == "no_shop"


@pytest.fixture
def silent(tmp_path: Path) -> Iterator[Log]:
    """A shop of three machines that is set up and has no entries."""
    with Log.open(tmp_path / "silent.duckdb") as log:
        log.append_setup(ROWS)
        yield log


def test_a_shop_without_entries_has_no_word_of_anything(silent: Log) -> None:
    page = report(silent, AT)
    assert {(m.state, m.basis, m.last_word, m.last_file) for m in machines(page.racks).values()} == {
        ("no word", "no word", None, None)
    }
    assert [(need.level, need.state, need.machines) for need in page.needs] == [
        ("today", "no word", ["A1", "A2"]),
        ("today", "no word", ["B1"]),
    ]
    assert (page.in_service, page.out_now, page.out_now_share, page.questions) == (3, 0, 0.0, [])
    assert (page.trust.no_word, page.trust.newest, page.trust.silent) == (1.0, None, ["A1", "A2", "B1"])
    assert (page.yesterday.account.utilisation, page.week.account.downtime) == (None, None)
    assert (page.week.good, page.week.losses) == (Estimate.exact(0), [])
    assert [(one.days, one.mean) for one in page.series] == [([], None)] * 4


def test_a_shop_without_machines_has_empty_answers(tmp_path: Path) -> None:
    with Log.open(tmp_path / "bare.duckdb") as log:
        log.append_setup([Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")])
        page = report(log, AT)
        assert (page.racks, page.needs, page.in_service, page.out_now_share) == ([], [], 0, 0.0)
        assert floor(log, AT) == []
        assert hours(log, WEEK, "rack", AT).groups == []


def test_the_pages_of_a_machine_and_of_a_round_come_without_entries(silent: Log) -> None:
    page = machine_page(silent, "B1", AT)
    assert page.acts == list(acts("no word"))
    assert [file.file for file in page.files] == ["clip", "feeder", "grille"]
    assert (page.spool_grams, page.shift_began, page.recent, page.questions) == (None, None, [], [])
    assert [machine.expected for machine in rack_round(silent, "A", AT).machines] == [None, None]


def test_hours_without_entries_are_of_no_word(silent: Log) -> None:
    whole = hours(silent, WEEK, None, AT).whole
    assert (whole.hours["no word"].best, whole.total, whole.utilisation) == (3 * 168, 0, None)


# What an answer is


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_an_answer_comes_back_from_json_as_it_was(log: Log, ask: Callable[[Log], object]) -> None:
    found = ask(log)
    answers = found if isinstance(found, list) else [found]
    assert answers
    for one in answers:
        assert isinstance(one, BaseModel)
        assert type(one).model_validate_json(one.model_dump_json()) == one


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED.keys())
def test_an_answer_is_never_changed(log: Log, ask: Callable[[Log], object]) -> None:
    found = ask(log)
    one = found[0] if isinstance(found, list) else found
    assert isinstance(one, BaseModel)
    name = next(iter(type(one).model_fields))
    with pytest.raises(ValidationError):
        setattr(one, name, getattr(one, name))


def test_the_pace_kept_by_the_caller_is_that_of_the_day(log: Log) -> None:
    assert report(log, AT, learned_at(log, AT)) == report(log, AT)
    assert floor(log, AT, learned_at(log, AT)) == floor(log, AT)


@pytest.mark.full
def test_all_answers_are_of_every_kind_there_is_one_of_each_machine_and_rack_or_of_those_asked_for(
    busy_log: Log,
) -> None:
    then = busy_log.span().end
    told = list(all_answers(busy_log, then))
    racks = floor(busy_log, then)
    machines = sum(len(rack.machines) for rack in racks)
    each = {MachinePage: machines, MachineRecord: machines, RackNow: len(racks), RackRound: len(racks)}
    assert Counter(map(type, told)) == {answer.kind: each.get(answer.kind, 1) for answer in ANSWERS.values()}
    some = list(all_answers(busy_log, then, kinds={Stores, RackNow}))
    assert some == [answer for answer in told if isinstance(answer, Stores | RackNow)]
