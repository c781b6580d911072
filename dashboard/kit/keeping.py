"""Answers kept until they may differ: the only caching there is.

A question is asked of a log as of a moment (`AsOf`), and its answer kept by a key that names all it depends on, one of
`minute`, `quarter`, `hour` and `day`. Whoever asks the same meanwhile waits for the one that is being made; what is
refused or broken reaches all who wait and is kept by nobody. Answers are shared between sessions, so nobody may change
what is in one.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, wait
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache, partial, update_wrapper
from threading import Lock, Thread
from typing import Any, Generic, TypeVar, TypeVarTuple

from core.epoch import HOUR, MINUTE, micros, utc_now
from core.log.store import Log
from core.window import last_midnight
from dashboard.kit import streamlit_inside
from dashboard.kit.shop import current_log

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

#: A key begins with the log itself: another log is another shop, or the same one opened anew.
Key = tuple[Hashable, ...]

#: Microseconds for which a play of the shop holds, and what makes it anew.
QUARTER, PLANNED = 15 * MINUTE, ("OrderTaken", "OrderPacked", "OrderShipped", "StockCounted")
#: What makes upkeep and repairs anew within their hour.
MENDED = ("UpkeepDone", "WentDown", "CameBack", "SetAside", "StockOrdered", "StockReceived")

#: Seconds between two looks for taps while an answer is waited for.
ASK_EVERY = 0.1


@dataclass(frozen=True)
class AsOf:
    """A log, the last line written to it, and the moment at which it is asked."""

    log: Log
    line: int
    at: datetime

    @property
    def midnight(self) -> datetime:
        """The shop's last midnight before. Raises `Refused` where there is no shop yet."""
        return last_midnight(self.at, self.log.setup().zone)


@dataclass(frozen=True)
class KeptAnswer(Generic[T]):
    """An answer that was kept, and what of: equal to another as of the same moment."""

    as_of: AsOf
    answer: T = field(compare=False)


def minute(as_of: AsOf) -> Key:
    """The minute, and all that was noted, set-up and entries."""
    return as_of.log, "minute", as_of.line, micros(as_of.at) // MINUTE


@lru_cache(maxsize=8)
def day(as_of: AsOf) -> Key:
    """The last midnight, what was noted by then, and the set-up."""
    return as_of.log, "day", as_of.midnight, as_of.log.known_by(as_of.midnight, as_of.line)


@lru_cache(maxsize=8)
def quarter(as_of: AsOf) -> Key:
    """The quarter of an hour, what was noted of orders and finished parts, and what the day depends on."""
    return *day(as_of), "quarter", micros(as_of.at) // QUARTER, as_of.log.last_line_of(PLANNED, as_of.line)


@lru_cache(maxsize=8)
def hour(as_of: AsOf) -> Key:
    """The hour, what was noted of upkeep and repairs, and what the day depends on."""
    return *day(as_of), "hour", micros(as_of.at) // HOUR, as_of.log.last_line_of(MENDED, as_of.line)


class Kept(Generic[T, *Ts]):
    """A question whose newest answers are kept (see `kept`)."""

    def __init__(self, make: Callable[[AsOf, *Ts], T], by: Callable[[AsOf], Key], most: int, patient: bool) -> None:
        self._make, self._by, self._most, self._patient = make, by, most, patient
        self._answers: OrderedDict[tuple[Any, ...], tuple[AsOf, Future[T]]] = OrderedDict()
        self._lock = Lock()
        update_wrapper(self, make)

    def __call__(self, *asked: *Ts) -> T:
        """The answer as of now. Raises what making it raises."""
        return self.of(as_of_now(), *asked)

    def of(self, as_of: AsOf, *asked: *Ts) -> T:
        """The answer as of a moment. Raises what making it raises."""
        key = self._by(as_of), *asked
        answer, begun = self._place(key, as_of)
        patient = self._patient and streamlit_inside.draws_a_page()
        if not begun:
            _start(partial(self._give, key, answer, as_of, *asked), beside=patient)
        if patient:
            _ask_for_taps(answer)
        return answer.result()

    def newest(self, as_of: AsOf) -> KeptAnswer[T] | None:
        """The newest answer that was kept of this log, never waited for."""
        return self._newest(lambda key, _: key[0] is as_of.log)

    def before(self, as_of: AsOf) -> KeptAnswer[T] | None:
        """The newest one that was kept before that of this moment could be asked for."""
        mine = self._by(as_of)
        return self._newest(lambda key, then: key[0] is as_of.log and key != mine and then <= as_of.at)

    def _newest(self, fits: Callable[[Key, datetime], bool]) -> KeptAnswer[T] | None:
        with self._lock:
            told = [(then, answer) for (key, *_), (then, answer) in self._answers.items() if fits(key, then.at)]
        given = [(then, answer) for then, answer in told if answer.done()]
        as_of, answer = max(given, key=lambda one: one[0].at, default=(None, None))
        return KeptAnswer(as_of, answer.result()) if as_of and answer else None

    def _place(self, key: tuple[Any, ...], as_of: AsOf) -> tuple[Future[T], bool]:
        """The answer's place, and whether somebody has begun to make it."""
        with self._lock:
            if begun := key in self._answers:
                self._answers.move_to_end(key)
            _, answer = self._answers.setdefault(key, (as_of, Future()))
            return answer, begun

    def _give(self, key: tuple[Any, ...], answer: Future[T], as_of: AsOf, *asked: *Ts) -> None:
        try:
            made = self._make(as_of, *asked)
        except BaseException as error:  # noqa: BLE001 - it is raised where the answer is waited for
            with self._lock:
                del self._answers[key]
            answer.set_exception(error)
        else:
            answer.set_result(made)
            self._forget()

    def _forget(self) -> None:
        """Those asked for longest ago, of answers that are made: beside one that is being made none is begun."""
        with self._lock:
            made = [key for key, (_, answer) in self._answers.items() if answer.done()]
            for key in made[: -self._most]:
                del self._answers[key]


def kept(
    by: Callable[[AsOf], Key], most: int = 2, patient: bool = False
) -> Callable[[Callable[[AsOf, *Ts], T]], Kept[T, *Ts]]:
    """Keep the `most` newest answers of a function, each for what `by` names and for what else is asked.

    A page that waits for a `patient` one asks for taps meanwhile: the runs of a session follow each other, so a tap
    would have to wait for the answer as well. One that is not stands on none that is, or a tap would end its making.
    """
    return lambda make: Kept(make, by, most, patient)


@kept(minute, most=4)
def _first_asked(as_of: AsOf) -> datetime:
    return as_of.at


def as_of_now() -> AsOf:
    """The shop that is served, now: one moment for all answers of a minute, or they would differ by the seconds between
    them; another one as soon as something is noted.
    """
    log = current_log()
    as_of = AsOf(log, log.version(), utc_now())  # in this order, so that what was noted by then is known
    return replace(as_of, at=_first_asked.of(as_of))


def _start(make: Callable[[], object], beside: bool) -> None:
    """Make an answer: in a thread beside the one that asks, or else in that one."""
    if beside:
        try:
            Thread(target=make, daemon=True).start()
            return
        except RuntimeError:  # the computer has no thread left
            pass
    make()


def _ask_for_taps(answer: Future[Any]) -> None:
    while not wait([answer], ASK_EVERY).done:
        streamlit_inside.give_way()
