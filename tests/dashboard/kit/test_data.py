"""What pages are given is never older than what was noted, and long work is done once: by the day, or behind them."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from shutil import copyfile

import pytest

from core import answers
from core.entries import EntryVoided, Looked, OrderTaken, PrintStarted, WentDown
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from core.setup import Person, Spare, UpkeepTask
from dashboard.kit import data, keeping, shop
from dashboard.kit.behind import Behind
from demo.make import make

Times = list[object]


@pytest.fixture(scope="module")
def young(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of an invented shop that is a week old."""
    path = tmp_path_factory.mktemp("young") / "shop.duckdb"
    make(path, machines=2, weeks=1)
    return path


@pytest.fixture
def served(young: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Log, Times]]:
    """The log of an invented shop that the pages read, and the times its pace was learned for."""
    path = copyfile(young, tmp_path / "shop.duckdb")
    times: Times = []
    pace_at = answers.learned_at
    monkeypatch.setattr(answers, "learned_at", lambda log, at: times.append(at) or pace_at(log, at))
    with Log.open(path) as log:
        shop.hold(log)
        yield log, times
        shop.hold(None)


def ask_every_page(log: Log) -> None:
    data.report()
    (rack, *_) = data.racks()
    data.rack_round(rack.rack)
    data.machine_page(rack.machines[0].machine)


def test_the_pace_is_learned_once_for_all_pages(served):
    ask_every_page(served[0])
    assert len(served[1]) == 1


def test_an_entry_of_today_leaves_the_pace_as_it_is(served):
    log, times = served
    machine = data.racks()[0].machines[0].machine
    now = utc_now()
    record(log, [PrintStarted(at=now, noted_at=now, by="ro", machine=machine, file="F-001", revision=1)])
    ask_every_page(log)
    assert len(times) == 1


def test_an_entry_known_before_midnight_or_a_new_row_of_the_set_up_has_it_learned_anew(served):
    log, times = served
    data.report()
    machine = data.racks()[0].machines[0].machine
    then = utc_now() - timedelta(days=2)
    record(log, [PrintStarted(at=then, noted_at=then, by="ro", machine=machine, file="F-001", revision=1)], now=then)
    data.report()
    assert len(times) == 2
    log.append_setup([Person(person="zo", name="Zoe")])
    data.report()
    assert len(times) == 3


def test_a_kept_pace_changes_no_answer(served):
    report = data.report()
    alone = answers.report(served[0], report.at)
    assert alone == report


def test_upkeep_knows_at_once_that_a_machine_waits_no_more(served):
    log, now = served[0], utc_now()
    machine, spare = data.racks()[0].machines[0].machine, data.setup().all(Spare, now)[0].spare
    told = {"noted_at": now, "by": "ro", "machine": machine}
    # Moments ago: whatever the people of the invented shop did at the machine lies before it.
    record(log, [WentDown(at=now - timedelta(seconds=2), cause="dont-know", spare=spare, **told)])
    assert (machine, spare) in [(line.machine, line.spare) for line in data.reliability().waits]
    record(log, [Looked(at=now - timedelta(seconds=1), saw="empty", **told)])
    assert machine not in [line.machine for line in data.reliability().waits]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, datetime]:
    """The file of an invented shop, and the moment up to which it tells."""
    path, until = tmp_path_factory.mktemp("made") / "shop.duckdb", utc_now() - timedelta(minutes=30)
    make(path, machines=2, weeks=3, until=until)
    return path, until


@pytest.fixture
def clock(made: tuple[Path, datetime], monkeypatch: pytest.MonkeyPatch) -> Callable[..., datetime]:
    """Moves the clock of the pages on, which stands still otherwise, at the end of what the invented shop tells."""
    now = [made[1]]

    def on(by: timedelta = timedelta()) -> datetime:
        now[0] += by
        return now[0]

    monkeypatch.setattr(keeping, "utc_now", on)
    return on


SECOND = timedelta(seconds=1)


@pytest.fixture
def log(made: tuple[Path, datetime], tmp_path: Path) -> Iterator[Log]:
    """The log of the invented shop, which the pages read."""
    with Log.open(copyfile(made[0], tmp_path / "shop.duckdb")) as log:
        shop.hold(log)
        yield log
        shop.hold(None)


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[Callable[[], object]]:
    """What is begun behind the pages, and not done."""
    works: list[Callable[[], object]] = []
    monkeypatch.setattr(Behind, "begin", lambda _, __, work: works.append(work))
    return works


def test_a_promise_changed_in_the_set_up_is_in_the_plan_at_once(log, clock):
    assert data.plan().promise == 0.9
    log.append_setup([log.setup().shop(utc_now()).model_copy(update={"promise": 0.6})])
    clock(SECOND)
    assert data.plan().promise == 0.6


def test_an_upkeep_task_entered_while_serving_is_due_at_once(log, clock):
    assert "lamp" not in {line.task for line in data.reliability().due}
    log.append_setup([UpkeepTask(task="lamp", name="Look at the lamp", minutes=5, every_days=1, says="shop")])
    clock(SECOND)
    assert "lamp" in {line.task for line in data.reliability().due}


def test_an_order_that_takes_the_place_of_one_taken_back_is_in_the_plan_at_once(log, clock):
    """So many orders were noted before and after: a count of them would not tell."""
    product, noted = data.plan().products[0].product, list[OrderTaken]()
    for number in ("wrong", "right"):
        told = {"at": clock(SECOND), "noted_at": clock(), "by": "ro"}
        taken = OrderTaken(**told, order=number, product=product, quantity=9, due=clock() + timedelta(days=9))
        record(log, [EntryVoided(**told, which=before.id, why="taken back") for before in noted] + [taken], clock())
        noted.append(taken)
        clock(SECOND)
        assert {"wrong", "right"} & {order.order for order in data.plan().orders} == {number}


def test_a_plan_is_of_its_own_outlook_also_where_that_lies_where_a_former_one_lay(log, clock, monkeypatch):
    monkeypatch.setattr(answers.Outlook, "__init__", lambda outlook, _, at, *__: setattr(outlook, "at", at))
    monkeypatch.setattr(answers, "plan", lambda outlook: outlook.at)
    monkeypatch.setattr(answers, "learned_at", lambda _, at: at)
    assert data.plan() == clock()
    former = id(data.outlook())
    for _ in range(300):
        clock(timedelta(minutes=15))
        if id(data.outlook()) == former:
            break
    assert data.plan() == clock()


def test_a_record_is_compared_with_others_as_soon_as_these_are_known(log, clock):
    machine = data.racks()[0].machines[0].machine
    assert data.machine_record(machine).others_mtbf is None
    data.reliability()
    assert data.machine_record(machine).others_mtbf is not None


def test_the_plan_and_a_check_in_go_by_one_list(log, clock, begun):
    assert data.kept_loading() is None
    found = data.loading()
    assert data.kept_loading() is found
    assert data.loading() is found


def test_a_list_that_is_old_is_made_anew_behind_the_pages_and_shown_meanwhile(log, clock, begun):
    found = data.loading()
    clock(timedelta(minutes=14))
    assert (data.kept_loading(), begun) == (found, [])
    clock(timedelta(minutes=2))
    assert data.kept_loading() is found
    clock(timedelta(minutes=30))
    assert data.kept_loading() is None
    assert len(begun) == 2
    begun[0]()
    assert data.kept_loading().at == clock()


def test_a_list_follows_the_one_before(log, clock, monkeypatch):
    told: list[object] = []
    loading = answers.loading
    monkeypatch.setattr(
        answers, "loading", lambda outlook, shelf, before: told.append(before) or loading(outlook, shelf, before)
    )
    first = data.loading()
    clock(timedelta(minutes=15))
    data.loading()
    data.loading()
    assert told == [None, first]


@pytest.mark.full
def test_the_answers_of_the_day_are_made_once_and_again_after_midnight(log, clock, begun, monkeypatch):
    told: list[str] = []
    for name in ("review", "reliability", "weeks_before"):
        monkeypatch.setattr(answers, name, noting(name, getattr(answers, name), told))
    for minutes in (0, 1, 2):
        clock(timedelta(minutes=minutes))
        data.prepare()
        begun.pop()()
    assert sorted(told) == ["reliability", "review", "weeks_before", "weeks_before"]
    clock(timedelta(days=1))
    data.prepare()
    begun.pop()()
    assert len(told) == 8


def test_answers_of_the_day_that_broke_are_made_at_the_next_chance(log, clock, begun, monkeypatch):
    told: list[str] = []
    data.prepare()
    with monkeypatch.context() as broken:
        broken.setattr(answers, "review", lambda _: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            begun[0]()
    monkeypatch.setattr(answers, "review", noting("review", answers.review, told))
    begun[0]()
    assert told == ["review"]


def noting(name: str, answer: Callable[..., object], told: list[str]) -> Callable[..., object]:
    return lambda *asked: told.append(name) or answer(*asked)
