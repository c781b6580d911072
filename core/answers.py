"""One question, one function: read the log, calculate, give a frozen, typed answer.

Pages and the command line ask only here. `at` is the moment asked about: only entries noted by then
count, so an earlier moment gives the answer as it stood.
"""

from __future__ import annotations

from core.every_answer import ANSWERS, Answer, all_answers
from core.floor.check_in import machine_page, part_spools
from core.floor.room import floor, open_question, rack_round
from core.habits.learned import Learned
from core.hours.account import FORMULAS, TimeAccount
from core.hours.printed_hours import PrintedHours
from core.morning.report import report
from core.plan.capacity import capacity, gains
from core.plan.forward import ready_to_play
from core.plan.loading import loaded_since, loading, with_plan
from core.plan.outlook import Outlook
from core.plan.planning import plan, promise
from core.reading.answered import entries_for
from core.reading.reading import learned_at
from core.reading.time_accounts import By, hours
from core.review.actions import actions, agree, end
from core.review.comparing import compare
from core.review.quarter import Past, last_quarter
from core.review.review import review
from core.stores.stores import spares_out, stores
from core.upkeep.machine_record import WeeksBefore, by_fours, machine_record, weeks_before
from core.upkeep.reliability import reliability
from core.upkeep.watch import Watch, printed_before

__all__ = [
    "ANSWERS", "FORMULAS", "Answer", "By", "Learned", "Outlook", "Past", "PrintedHours", "TimeAccount", "Watch",
    "WeeksBefore", "actions", "agree", "all_answers", "by_fours", "capacity", "compare", "end", "entries_for",
    "floor", "gains", "hours", "last_quarter", "learned_at", "loaded_since", "loading", "machine_page",
    "machine_record", "open_question", "part_spools", "plan", "printed_before", "promise", "rack_round",
    "ready_to_play", "reliability", "report", "review", "spares_out", "stores", "weeks_before", "with_plan",
]  # fmt: skip
