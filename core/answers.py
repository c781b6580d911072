"""One question, one function: read the log, calculate, give a frozen, typed answer.

Pages and the command line ask only here. `at` is the moment asked about: only entries noted by then
count, so an earlier moment gives the answer as it stood.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from functools import partial

from core.floor.check_in import machine_page, part_spools
from core.floor.room import floor, open_question, rack_round
from core.frozen import Frozen
from core.habits.learned import Pace
from core.hours.account import FORMULAS, TimeAccount
from core.hours.printed_hours import Worked
from core.log.store import Log
from core.morning.report import report
from core.plan.capacity import capacity, gains
from core.plan.forward import ready_to_play
from core.plan.loading import loaded_since, loading, with_plan
from core.plan.outlook import Outlook
from core.plan.planning import plan, promise
from core.reading.answered import entries_for
from core.reading.hours import By, hours
from core.reading.reading import pace_at
from core.review.actions import actions, agree, end
from core.review.comparing import compare
from core.review.quarter import Past, last_quarter
from core.review.review import review
from core.setup import Machine
from core.stores.stores import spares_out, stores
from core.upkeep.machine_record import WeeksBefore, by_fours, machine_record, weeks_before
from core.upkeep.reliability import reliability
from core.upkeep.watch import Watch, worked_before

__all__ = [
    "FORMULAS", "By", "Outlook", "Pace", "Past", "TimeAccount", "Watch", "WeeksBefore", "Worked", "actions", "agree",
    "all_answers", "by_fours", "capacity", "compare", "end", "entries_for", "floor", "gains", "hours", "last_quarter",
    "loaded_since", "loading", "machine_page", "machine_record", "open_question", "pace_at", "part_spools", "plan",
    "promise", "rack_round", "ready_to_play", "reliability", "report", "review", "spares_out", "stores", "weeks_before",
    "with_plan", "worked_before",
]  # fmt: skip


def all_answers(log: Log, at: datetime, progress: Callable[[float], None] | None = None) -> Iterator[Frozen]:
    """Every answer that a page is drawn from, as it stood at `at`, one after the other; a record of each machine.

    `progress` is called with the share given, 0 to 1.
    """
    pace, shelf = pace_at(log, at), stores(log, at)
    outlook, watch = Outlook(log, at, pace), Watch(log, at, pace)
    asked: list[Callable[[], Frozen]] = [
        lambda: report(log, at, pace, shelf), lambda: shelf, lambda: plan(outlook), lambda: loading(outlook, shelf),
        lambda: capacity(outlook), lambda: reliability(watch, shelf), lambda: review(last_quarter(log, at, pace)),
    ]  # fmt: skip
    machines = log.setup().all(Machine, at)
    asked += [partial(machine_record, log, row.machine, at, pace, watch) for row in machines]
    for given, ask in enumerate(asked, start=1):
        yield ask()
        if progress:
            progress(given / len(asked))
