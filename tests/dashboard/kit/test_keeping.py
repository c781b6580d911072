"""One way of keeping an answer: made once at a time, kept by all it depends on, and so many of them."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Event, Semaphore, Thread, get_ident
from typing import Any, NoReturn
from uuid import UUID

import pytest

from core.entries import EntryVoided, OrderTaken, PrintStarted
from core.errors import Refused
from core.log.store import Log
from core.setup import Person, Shop
from dashboard.kit import keeping, shop, streamlit_inside
from dashboard.kit.behind import Behind
from dashboard.kit.keeping import AsOf, Key, kept

NOW = datetime(2026, 5, 4, 10, 7, 30, tzinfo=UTC)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """A shop that has noted nothing yet."""
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup([Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")])
        shop.hold(log)
        yield log
        shop.hold(None)


@pytest.fixture
def waiting(monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """Pages are being drawn; the threads that asked for taps while they waited for an answer."""
    threads: set[int] = set()
    monkeypatch.setattr(streamlit_inside, "draws_a_page", lambda: True)
    monkeypatch.setattr(streamlit_inside, "give_way", lambda: threads.add(get_ident()))
    return threads


def until(done: Callable[[], bool]) -> None:
    """What another thread does is done."""
    while not done():
        Event().wait(0.01)


def seen(log: Log, at: datetime = NOW) -> AsOf:
    return AsOf(log, log.version(), at)


def every(_: AsOf) -> Key:
    """A key by which an answer depends on nothing but what is asked."""
    return ("always",)


class Slow:
    """A question whose answers are begun, and given when they may be."""

    def __init__(self, *answers: Any) -> None:
        self.answers, self.made = list(answers), list[str]()
        self.begun, self.may_end = Semaphore(0), Event()

    def __call__(self, _: AsOf, code: str = "") -> Any:
        self.made.append(code)
        self.begun.release()
        self.may_end.wait()
        answer = self.answers.pop(0) if self.answers else code
        if isinstance(answer, Exception):
            raise answer
        return answer


def test_those_who_ask_the_same_wait_for_the_one_that_is_made(log: Log) -> None:
    slow = Slow()
    answer = kept(every)(slow)
    with ThreadPoolExecutor(6) as pool:
        same = [pool.submit(answer, "P01") for _ in range(5)]
        other = pool.submit(answer, "P02")  # another question waits for none of them
        slow.begun.acquire()
        slow.begun.acquire()
        slow.may_end.set()
        assert {each.result() for each in same} == {"P01"}
        assert other.result() == "P02"
    assert sorted(slow.made) == ["P01", "P02"]


def test_what_is_refused_reaches_all_who_wait_and_is_kept_by_nobody(log: Log, waiting: set[int]) -> None:
    slow = Slow(Refused("rule", "Not so: do it otherwise."), "so")
    answer = kept(every, patient=True)(slow)
    with ThreadPoolExecutor(4) as pool:
        asked = [pool.submit(answer) for _ in range(4)]
        until(lambda: len(waiting) == 4)
        slow.may_end.set()
        for each in asked:
            with pytest.raises(Refused, match="do it otherwise"):
                each.result()
    assert answer() == "so"
    assert len(slow.made) == 2


def test_so_many_answers_are_kept_those_asked_for_last(log: Log) -> None:
    made: list[str] = []

    @kept(every, most=2)
    def answer(_: AsOf, code: str) -> str:
        made.append(code)
        return code

    for code in ("P01", "P02", "P01", "P03", "P01", "P02"):
        answer(code)
    assert made == ["P01", "P02", "P03", "P02"]


def test_an_answer_that_is_being_made_is_not_forgotten(log: Log) -> None:
    slow = Slow()
    answer = kept(every, most=1)(lambda as_of, code: slow(as_of, code) if code == "long" else code)
    with ThreadPoolExecutor(2) as pool:
        long = pool.submit(answer, "long")
        slow.begun.acquire()
        assert [answer(code) for code in ("P01", "P02", "P03")] == ["P01", "P02", "P03"]
        again = pool.submit(answer, "long")
        slow.may_end.set()
        assert (long.result(), again.result()) == ("long", "long")
    assert slow.made == ["long"]


def order(line: int) -> OrderTaken:
    return OrderTaken(at=NOW, noted_at=NOW, by="ro", order=f"O{line}", product="clip", quantity=9, due=NOW)


def start() -> PrintStarted:
    return PrintStarted(at=NOW, noted_at=NOW, by="ro", machine="A1", file="F-001", revision=1)


def void(which: UUID) -> EntryVoided:
    return EntryVoided(at=NOW, noted_at=NOW, by="ro", which=which, why="taken back")


@pytest.mark.parametrize("key", [keeping.minute, keeping.quarter, keeping.hour, keeping.day])
def test_every_key_changes_with_the_set_up_and_with_its_time(log: Log, key: Callable[[AsOf], Key]) -> None:
    before = key(seen(log))
    assert key(seen(log)) == before
    assert key(seen(log, NOW + timedelta(days=1))) != before
    log.append_setup([Person(person="zo", name="Zoe")])
    assert key(seen(log)) != before


def test_a_key_changes_with_what_its_answers_depend_on_and_with_nothing_else(log: Log) -> None:
    keys = (keeping.minute, keeping.quarter, keeping.hour, keeping.day)

    def changed(*told: Any) -> list[bool]:
        before = [key(seen(log)) for key in keys]
        log.append(told)
        return [key(seen(log)) != was for key, was in zip(keys, before, strict=True)]

    begun, taken = start(), order(1)
    assert changed(begun) == [True, False, False, False]
    assert changed(taken) == [True, True, False, False]
    assert changed(void(begun.id)) == [True, False, False, False]
    assert changed(void(taken.id), order(2)) == [True, True, False, False]
    long_ago = {"at": NOW - timedelta(days=2), "noted_at": NOW - timedelta(days=2)}
    assert changed(start().model_copy(update=long_ago)) == [True, True, True, True]


def test_an_answer_of_a_moment_is_kept_by_what_was_noted_until_then(log: Log) -> None:
    """Or an entry that comes while the key is looked for would stand in the key and not in the answer."""
    before = seen(log)
    log.append([order(1)])
    assert keeping.quarter(before) != keeping.quarter(seen(log))
    assert keeping.quarter(before) == keeping.quarter(AsOf(log, before.line, NOW))


def test_all_answers_of_a_minute_are_of_one_moment_until_something_is_noted(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "utc_now", lambda: NOW)
    first = keeping.as_of_now()
    monkeypatch.setattr(keeping, "utc_now", lambda: NOW + timedelta(seconds=9))
    assert keeping.as_of_now() == first
    log.append([start()])
    assert keeping.as_of_now().at == NOW + timedelta(seconds=9)


def test_another_log_has_other_answers_also_where_it_is_the_same_file(log: Log) -> None:
    @kept(keeping.minute)
    def answer(as_of: AsOf) -> Log:
        return as_of.log

    assert answer.of(seen(log)) is log
    log.close()
    with Log.open(log.path) as again:
        assert answer.of(seen(again)) is again


def test_the_newest_answer_is_known_without_waiting_and_so_is_the_one_before(log: Log) -> None:
    @kept(keeping.quarter, most=4)
    def answer(as_of: AsOf) -> datetime:
        return as_of.at

    moments = [seen(log, NOW + timedelta(minutes=15 * n)) for n in range(3)]
    assert answer.newest(moments[0]) is None
    for as_of in moments:
        answer.of(as_of)
    answer.of(moments[0])  # asked for again, it is none the newer
    newest, before = answer.newest(moments[2]), answer.before(moments[2])
    assert newest is not None
    assert newest.answer == moments[2].at
    assert before is not None
    assert before.answer == moments[1].at
    assert answer.before(moments[0]) is None


class Tapped(BaseException):
    """What Streamlit raises in a run that a tap ends."""


@pytest.mark.usefixtures("waiting")
def test_a_tap_does_not_wait_for_a_long_answer_and_the_next_run_joins_it(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ask() -> NoReturn:
        raise Tapped

    slow = Slow("so")
    answer = kept(every, patient=True)(slow)
    with monkeypatch.context() as tapping:
        tapping.setattr(streamlit_inside, "give_way", ask)
        for _ in range(3):
            with pytest.raises(Tapped):
                answer()
    slow.may_end.set()
    assert answer() == "so"
    assert len(slow.made) == 1


def no_thread(_: Thread) -> NoReturn:
    raise RuntimeError("can't start new thread")


@pytest.mark.usefixtures("waiting")
def test_an_answer_is_given_also_where_no_thread_can_be_had(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    answer = kept(every, patient=True)(lambda _: "so")
    monkeypatch.setattr(Thread, "start", no_thread)
    assert answer() == "so"


def test_work_that_is_asked_for_again_joins_what_is_under_way_and_what_finds_no_room_is_left(log: Log) -> None:
    begun, may_end, done = Semaphore(0), Event(), list[str]()

    def work(name: str) -> None:
        done.append(name)
        begun.release()
        may_end.wait()

    few = Behind(2)
    for name in ("a", "b", "a", "c", "b", "d"):
        few.begin(name, partial(work, name))
    begun.acquire()
    begun.acquire()
    assert sorted(done) == ["a", "b"]
    may_end.set()
    finds_room(few)


def finds_room(few: Behind) -> None:
    """What is begun now is done sooner or later."""
    done = Event()

    def begun() -> bool:
        few.begin("one more", done.set)
        return done.is_set()

    until(begun)


def test_work_whose_thread_never_starts_holds_nothing_up(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    few = Behind(1)
    with monkeypatch.context() as without:
        without.setattr(Thread, "start", no_thread)
        few.begin("one more", int)
    finds_room(few)


@pytest.mark.parametrize("error", [Refused("rule", "Not so: do it otherwise."), ValueError("The shop was closed.")])
def test_work_that_is_refused_or_of_a_closed_shop_says_nothing_and_makes_room(log: Log, error: Exception) -> None:
    def work() -> NoReturn:
        if isinstance(error, ValueError):
            log.close()
        raise error

    few = Behind(1)
    few.begin("a", work)
    finds_room(few)
