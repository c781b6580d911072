"""Whether every answer stays the same to the last digit: written down once, asked again later and compared.

`python -m tests.simulated.same_answers write SHOP FILE` asks all questions of a shop's file at ten moments and writes
the answers down, one a line as JSON (packed where FILE ends in .gz); `... compare SHOP FILE` asks again, says which
answers differ, where and by how much, and ends with 1 if any does. Numbers behind FILE are the places of the moments to
ask at instead of all ten, the first being 0. Only `core.answers` is asked, so that answers of one version of the house
can be compared with those of another.
"""

from __future__ import annotations

import gzip
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import partial
from itertools import zip_longest
from pathlib import Path
from time import perf_counter
from typing import Any, TextIO, get_args
from zoneinfo import ZoneInfo

from pydantic_core import to_json

from core import answers
from core.errors import Refused
from core.log.store import Log
from core.setup import Machine, Product, Rack
from core.window import Window, last_days

#: Moments besides the last one: so far into the log, back to such a weekday (Monday is 0) and time on the shop's clock.
MOMENTS = (
    (0.1, 1, time(10, 20)), (0.2, 2, time(2, 40)), (0.3, 6, time(13)), (0.4, 3, time(0, 0, 1)), (0.5, 4, time(16, 50)),
    (0.6, 5, time(11)), (0.75, 0, time(7, 59)), (0.85, 2, time(12)), (0.96, 6, time(23, 59, 59)),
)  # fmt: skip
#: What periods are compared by: all machines, each of them, each file; the other groups are put together likewise.
COMPARED_BY = ("shop", "machine", "file")
#: Days that hours are told of, and that either period which is compared has; parts and days of a promise.
HOURS_DAYS, COMPARED_DAYS, PARTS, DUE_DAYS = 28, 14, 300, 21
#: Machines that pages are asked of, and differences that are told of an answer and of all.
PAGES, PATHS, TOLD = 3, 3, 20


@dataclass(frozen=True)
class Asked:
    """A question at a moment, and the answer as JSON: a list or an object, or why it was refused."""

    at: str
    question: str
    answer: str

    @property
    def name(self) -> str:
        """What tells it from all others."""
        return f"{self.at} {self.question}"


Ask = tuple[str, Callable[[], object]]


def moments(log: Log) -> list[datetime]:
    """Ten moments spread over the log's span, the last entry's the last."""
    span, zone = log.span(), log.setup().zone
    assert span, "a log without entries has no answers"
    length = span.end - span.start
    return [*(_back_to(span.start + share * length, day, at, zone) for share, day, at in MOMENTS), span.end]


def _back_to(moment: datetime, weekday: int, at: time, zone: ZoneInfo) -> datetime:
    day = moment.astimezone(zone).date()
    day -= timedelta(days=(day.weekday() - weekday) % 7)
    return datetime.combine(day, at, zone).astimezone(UTC)


def asked(log: Log, at: datetime) -> Iterator[Asked]:
    """Every question at a moment, answered."""
    whole, learned = list(answers.all_answers(log, at)), answers.learned_at(log, at)
    yield from (Asked(at.isoformat(), f"all_answers {place}", _json(one)) for place, one in enumerate(whole))
    charts = next(one.charts for one in whole if hasattr(one, "charts"))
    for name, ask in [*_of_time(log, at, learned), *_of_places(log, at, learned), *_ahead(log, at, learned)]:
        yield Asked(at.isoformat(), name, _json(_answer(ask)))
    yield Asked(at.isoformat(), "actions", _json(answers.actions(log, charts, at)))


def _answer(ask: Callable[[], object]) -> object:
    try:
        return ask()
    except Refused as refused:
        return {"refused": refused.sentence}


def _json(answer: object) -> str:
    return to_json(answer).decode()


def _of_time(log: Log, at: datetime, learned: answers.Learned) -> Iterator[Ask]:
    """Hours of the last weeks by everything, and the last two fortnights compared by everything."""
    window = Window(at - timedelta(days=HOURS_DAYS), at)
    for by in (None, *get_args(answers.By)):
        yield f"hours by {by}", partial(answers.hours, log, window, by, at)
    today = last_days(at, 0, log.setup().zone).end.astimezone(log.setup().zone).date()
    ago = [today - timedelta(days=days) for days in (2 * COMPARED_DAYS, COMPARED_DAYS + 1, COMPARED_DAYS, 1)]
    for by in COMPARED_BY:
        yield f"compare by {by}", partial(answers.compare, log, (ago[0], ago[1]), (ago[2], ago[3]), by, at, learned)


def _of_places(log: Log, at: datetime, learned: answers.Learned) -> Iterator[Ask]:
    """The floor, its racks, and some of its machines."""
    yield "floor", partial(answers.floor, log, at, learned)
    yield "part_spools", partial(answers.part_spools, log, at, learned)
    for rack in log.setup().all(Rack, at):
        yield f"rack_round {rack.rack}", partial(answers.rack_round, log, rack.rack, at, learned)
    machines = log.setup().all(Machine, at)
    for row in machines[:: len(machines) // PAGES + 1]:
        yield f"machine_page {row.machine}", partial(answers.machine_page, log, row.machine, at, learned)


def _ahead(log: Log, at: datetime, learned: answers.Learned) -> Iterator[Ask]:
    """A promise without a date, one by a date, and what would give more."""
    outlook, due = answers.Outlook(log, at, learned), at + timedelta(days=DUE_DAYS)
    for row, by in zip(log.setup().all(Product, at), (None, due), strict=False):
        yield f"promise {row.product}", partial(answers.promise, outlook, row.product, PARTS, by)
    yield "gains", partial(answers.gains, outlook)


def all_asked(shop: Path, places: Sequence[int]) -> Iterator[Asked]:
    """Every question at these of the ten moments; how long a moment took goes to standard error."""
    with Log.open(shop) as log:
        for at in (moments(log)[place] for place in places):
            began = perf_counter()
            yield from asked(log, at)
            sys.stderr.write(f"{at.isoformat()} {perf_counter() - began:.1f} s\n")


@contextmanager
def _opened(file: Path, mode: str) -> Iterator[TextIO]:
    opens: Any = gzip.open if file.suffix == ".gz" else open
    with opens(file, mode, encoding="utf-8") as text:
        yield text


def write(shop: Path, file: Path, places: Sequence[int]) -> int:
    """Write all answers down."""
    with _opened(file, "wt") as text:
        text.writelines(f"{json.dumps(vars(one))}\n" for one in all_asked(shop, places))
    return 0


def compare(shop: Path, file: Path, places: Sequence[int]) -> int:
    """Ask again and say what differs: 1 if anything does."""
    with _opened(file, "rt") as text:
        before = [Asked(**json.loads(line)) for line in text]
    found = list(differing(before, all_asked(shop, places)))
    for line in found[:TOLD]:
        sys.stdout.write(f"{line}\n")
    sys.stdout.write(f"{len(found)} of {len(before)} answers differ\n")
    return 1 if found else 0


def differing(before: Iterable[Asked], after: Iterable[Asked]) -> Iterator[str]:
    """A line for each answer that is not the same."""
    for one, other in zip_longest(before, after):
        if one is None or other is None or one.name != other.name:
            yield f"asked {one.name if one else 'nothing'} before and {other.name if other else 'nothing'} now"
        elif one.answer != other.answer:
            where = list(differences(json.loads(one.answer), json.loads(other.answer)))
            more = f" and {len(where) - PATHS} more" if len(where) > PATHS else ""
            yield f"{one.name}: {'; '.join(where[:PATHS])}{more}"


def differences(one: Any, other: Any, path: str = "") -> Iterator[str]:
    """Where two answers differ, and by how much."""
    if isinstance(one, dict) and isinstance(other, dict) and list(one) == list(other):
        for key in one:
            yield from differences(one[key], other[key], f"{path}.{key}")
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for place, pair in enumerate(zip(one, other, strict=True)):
            yield from differences(*pair, f"{path}[{place}]")
    elif one != other or type(one) is not type(other):
        numbers = all(isinstance(value, int | float) for value in (one, other))
        yield f"{path} {_short(one)} -> {_short(other)}" + (f" (by {other - one:.2g})" if numbers else "")


def _short(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


COMMANDS = {"write": write, "compare": compare}

if __name__ == "__main__":
    command, named_shop, named_file, *only = sys.argv[1:]
    at_places = [int(place) for place in only] or range(len(MOMENTS) + 1)
    sys.exit(COMMANDS[command](Path(named_shop), Path(named_file), at_places))
