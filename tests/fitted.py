"""The constants that no source gives: where each stands, its value, how it was found and the command that shows what it
does. `python -m tests.fitted` writes them into `FITTED.md` beside this file.

A constant stands beside the formula that it belongs to, with a comment that says what it means: the table takes value
and meaning from there, so neither stands twice. What is no more than a definition or a size is in `PLAIN`; a constant
that is in neither list fails a test.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from core import learning, orders
from core.floor import check_in
from core.floor import room as floor_room
from core.habits import (
    changed_times,
    habits,
    learned,
    pace,
    print_times,
    quiet,
    sightings,
    silences,
    unnoted,
    usage,
    waits,
)
from core.hours import attention, down_untold, replays, state_hours
from core.morning import report
from core.plan import capacity, choosing, loading, outlook, planning, present, room, timing
from core.reading import reading
from core.review import actions, control_charts, figures, happened_then, models_compared, quarter
from core.spools import ahead, book, spools, uses
from core.statistics import bad_actor, by_hours, calls, changes, failures, forecasts, hazard, seasons, weekdays
from core.stores import amounts, deliveries, shelf, stocking, stores, undershoot
from core.timeline import questions, silence, standing
from core.upkeep import machine_record, reliability, standing_out, untold, upkeep, watch

ROOT = Path(__file__).parents[1]
TABLE = Path(__file__).with_name("FITTED.md")

HOW_SURE = "roundsheet report --how-sure"
PROMISES = "python -m tests.simulated.promises"
LISTS = "python -m tests.simulated.loading_lists"
BAD_ACTORS = "python -m tests.simulated.bad_actors"
FALSE_CALLS = "python -m tests.simulated.false_calls"
RUN_OUTS = "python -m tests.simulated.run_outs"
STOCK_YEARS = "python -m tests.simulated.stock_years"
FAILURE_BOUNDS = "python -m tests.simulated.failure_bounds"
STOCK_GRID = "python -m tests.simulated.stock_grid"

INVENTED = "on invented shops"
PRACTICE = "common practice, no source"
JUDGED = "by judgement"


class Fitted(NamedTuple):
    """Constants of a module, how they were found, and the command that shows what they do ("": none does alone)."""

    module: ModuleType
    names: str
    how: str
    command: str = ""


FITTED = (
    # what machines did: replays, and how sure their hours are
    Fitted(state_hours, "UNTOLD_DOUBT TOLD_DOUBT OWN_DOUBT", INVENTED, HOW_SURE),
    Fitted(state_hours, "MOST_QUIET_DOUBT", JUDGED, HOW_SURE),
    Fitted(down_untold, "DOWN_DOUBT DOWN_UNNOTED", INVENTED, HOW_SURE),
    Fitted(down_untold, "DOWN_ENDS DOWN_WRONG DOWN_UNSEEN OVER_BEFORE", JUDGED, HOW_SURE),
    Fitted(down_untold, "SILENT_DOUBT ODDS_DOUBT FORGETS", JUDGED, HOW_SURE),
    Fitted(habits, "NEITHER_NOTED", INVENTED, HOW_SURE),
    Fitted(habits, "ENOUGH RUSH STEADY AT_ONCE NIGHT", JUDGED, HOW_SURE),
    Fitted(hazard, "AGES PRIOR", JUDGED, HOW_SURE),
    Fitted(unnoted, "SURELY_SHORTER", JUDGED, HOW_SURE),
    Fitted(learning, "PACE_DAYS STEADY NEWEST NEITHER_STEADY", JUDGED, HOW_SURE),
    Fitted(learned, "ENOUGH", JUDGED, HOW_SURE),
    Fitted(print_times, "MODEL_SPREAD FILE_SPREAD KIND_SPREAD FLOOR NEWEST ENOUGH_PRINTS", JUDGED, HOW_SURE),
    Fitted(print_times, "LAW_DOUBT WAIT_DOUBT MEMORY_DOUBT", INVENTED, HOW_SURE),
    Fitted(sightings, "SHOP_SPREAD KINDS_SPREAD SPREADS WRONG TELLS", JUDGED, HOW_SURE),
    Fitted(sightings, "USUAL_SPREAD SPREADS_SPREAD INDEPENDENT LEAST_SHARE", INVENTED, HOW_SURE),
    Fitted(changed_times, "CHANGED CHANGES PARTS", PRACTICE, HOW_SURE),
    Fitted(waits, "HIDDEN HIDDEN_HOURS", JUDGED, HOW_SURE),
    Fitted(waits, "HASTY", INVENTED, HOW_SURE),
    Fitted(pace, "REACH ONE_VISIT PROMPT LEAST_SHAPE MOST_SHAPE STEADY_DAYS", JUDGED, HOW_SURE),
    Fitted(pace, "TAKING_OFF ENOUGH_REMOVALS", PRACTICE, HOW_SURE),
    Fitted(pace, "ON_THE_WAY AT_A_STRETCH", INVENTED, HOW_SURE),
    Fitted(quiet, "QUIET_HOURS WORKED STEADY SURE", JUDGED, HOW_SURE),
    Fitted(attention, "TRUSTED MOST", JUDGED, HOW_SURE),
    Fitted(silence, "SILENT LONG STEADY PASSED POWER LEAST_PASSED", JUDGED, HOW_SURE),
    Fitted(silences, "USUAL", JUDGED, HOW_SURE),
    Fitted(silence, "NEVER_TOLD", PRACTICE, HOW_SURE),
    Fitted(replays, "DOWN_AFTER_STOP DOWN_OTHERWISE", PRACTICE, HOW_SURE),
    Fitted(replays, "STAYS STAYS_TO_END MUST_STOP MAY_STOP LASTS HOPELESS", JUDGED, HOW_SURE),
    Fitted(questions, "FILES_OFFERED SUSPECTED", JUDGED),
    Fitted(standing, "WAITS_HOURS", JUDGED),
    Fitted(reading, "QUESTION_DAYS CLOSED_AT_MOST", JUDGED),
    # spools
    Fitted(ahead, "ANNOUNCED STARVES", INVENTED, RUN_OUTS),
    Fitted(book, "SPOOL_SPREAD PRINT_SPREAD", PRACTICE, RUN_OUTS),
    Fitted(book, "WORTH_KEEPING SURE LINES AT_THE_START STANDS BOOK_WRONG", JUDGED, RUN_OUTS),
    Fitted(uses, "UNTOLD_SPREAD", JUDGED, RUN_OUTS),
    Fitted(spools, "FACTOR_SPOOLS ALIKE FACTORS FED_OUT_SPREAD STRAY LEAST_DOUBT ENOUGH", JUDGED, RUN_OUTS),
    Fitted(usage, "FACTOR_DOUBT LASTS", JUDGED, RUN_OUTS),
    Fitted(untold, "LEFT_NO_WORD OF_FORGOTTEN TOLD_DOUBT FORGOTTEN_DOUBT HOURS_DOUBT", INVENTED, FAILURE_BOUNDS),
    Fitted(untold, "FORGETS", PRACTICE, FAILURE_BOUNDS),
    # the shelf
    Fitted(deliveries, "UNNOTED STRAY LEAD_PRIOR STORIES UNLIKELY PASSED TOO_LONG SOONEST", JUDGED, STOCK_YEARS),
    Fitted(forecasts, "SHORT RECENT BACK SEASON_HOLDS SHARED PAST", JUDGED, STOCK_YEARS),
    Fitted(forecasts, "VARIANCE_POWER UNSEEN INTERMITTENT SMOOTHING", JUDGED, STOCK_YEARS),
    Fitted(seasons, "WAVES WAVE GROWTH", JUDGED, STOCK_YEARS),
    Fitted(shelf, "NEARLY_FULL SHOWN", JUDGED, STOCK_YEARS),
    Fitted(amounts, "COUNTED CLUSTERED", JUDGED, STOCK_YEARS),
    Fitted(amounts, "STEADIEST", JUDGED, STOCK_GRID),
    Fitted(undershoot, "TURNS TOGETHER FADED", JUDGED, STOCK_GRID),
    Fitted(stocking, "REACH REVIEWS", JUDGED, STOCK_GRID),
    Fitted(stocking, "MOST_WEEKS USUAL_WEEKS", JUDGED, STOCK_YEARS),
    Fitted(stores, "SOON LATELY HEAVY_SPOOL BEFORE MOVED", JUDGED),
    # the room played forward
    Fitted(room, "MIX", INVENTED, PROMISES),
    Fitted(room, "USUAL_REPAIR LONGEST_REPAIR AT_ONCE", PRACTICE, PROMISES),
    Fitted(room, "FAULT_PRIOR CHANGES SCALED TILTED SAME_VISIT", JUDGED, PROMISES),
    Fitted(orders, "COUNTED", INVENTED, PROMISES),
    Fitted(orders, "USUAL_LAG LAGS ORDERS_KEPT", JUDGED, PROMISES),
    Fitted(choosing, "BEFOREHAND DOUBT APART USUAL_WAIT", JUDGED, PROMISES),
    Fitted(present, "ASIDE", PRACTICE, PROMISES),
    Fitted(outlook, "PAST_DAYS ORDER_WEEKS", JUDGED, PROMISES),
    Fitted(planning, "HURT", JUDGED),
    Fitted(capacity, "PAID_OVER", PRACTICE),
    Fitted(capacity, "EVENING SATURDAY POINTS NIGHT RARELY", JUDGED),
    Fitted(usage, "SPOOL_MINUTES", PRACTICE, LISTS),
    Fitted(timing, "SPOOL_HOURS BUSY", JUDGED, LISTS),
    Fitted(loading, "DAYS SPOOL_SHARE STAYS MADE_AHEAD", JUDGED, LISTS),
    # what fails
    Fitted(bad_actor, "SOON SPENT_SOON SPENT_LATELY FEWEST WORSE", INVENTED, BAD_ACTORS),
    Fitted(reliability, "LEAST_HOURS", JUDGED),
    Fitted(standing_out, "DIFFER", JUDGED, BAD_ACTORS),
    Fitted(failures, "STEADY", JUDGED),
    Fitted(by_hours, "BANDS THIN", JUDGED),
    Fitted(watch, "SAME", JUDGED),
    Fitted(upkeep, "LATELY SHORTEST ENOUGH NEAR", JUDGED),
    Fitted(machine_record, "OFTEN MORE", JUDGED),
    # what changed
    Fitted(calls, "MOST PRIOR GOES_ON_PRIOR LASTING QUIET SLACK", JUDGED, FALSE_CALLS),
    Fitted(control_charts, "FALSE_CALLS ENOUGH EVENTS", JUDGED, FALSE_CALLS),
    Fitted(figures, "SELDOM TOGETHER", JUDGED, FALSE_CALLS),
    Fitted(weekdays, "SEVERAL", JUDGED, FALSE_CALLS),
    Fitted(changes, "RUN ENOUGH", JUDGED),
    Fitted(happened_then, "HOT FEWEST UNUSUAL MOST", JUDGED),
    Fitted(models_compared, "FASTER", JUDGED),
    Fitted(quarter, "BEFORE", JUDGED),
    Fitted(actions, "ENOUGH", JUDGED),
    Fitted(report, "USUAL_DAYS", JUDGED),
    Fitted(check_in, "SPOOL_DAYS", JUDGED),
    Fitted(floor_room, "STATE_DAYS", JUDGED),
)  # fmt: skip

#: Definitions, names by number, sizes and tolerances of computing, and constants whose source stands beside them.
PLAIN = frozenset({
    "AHEAD", "AHEAD_WEEKS", "ANY", "BEST", "BIN", "BINS_A_DAY",
    "NOBODY_SEEN",
    "CELLS", "CHANCES", "CLEAR", "CLOSE", "COMPARED", "D2", "DAY", "DONE",
    "DOWN",
    "EMPTY", "FAILED", "FAR", "FEW", "FEWEST", "FILLING", "FINE", "FUTURES", "HELD", "HIGH", "HOUR", "HOURS_LEFT",
    "LAST",
    "LEAST", "LOW", "MANY", "MINUTE", "MOVES", "NEAREST", "NEVER", "NINETY", "NODES", "NOTHING", "OCCASIONS", "OPEN",
    "OVERSHOOT", "PILOTS", "PILOT_HOURS", "PILOT_ROUNDS", "PLAYS", "PRINTED", "PRINTING", "QUANTILES",
    "QUARTERS_LEFT", "RATE_HOURS", "RATIOS", "REACH", "ROOM", "ROUND", "ROUNDING", "ROUNDS", "SCALE", "SEED",
    "COUNT", "SHORTEST", "SPOILT", "STATES", "STEPS", "STEPS_OF_AGE", "STOPPED", "TOLD_EVERY", "TURNS", "WAITED",
    "WEEK", "WEEKS", "WEEK_HOURS", "YEAR", "HALF_STEPS",
})  # fmt: skip


class Constant(NamedTuple):
    """A constant of a module: its names with their values as the program has them, and the comment over it."""

    names: tuple[str, ...]
    value: str
    meaning: str


def constants(path: Path) -> Iterator[Constant]:
    """All constants of a module that hold numbers of their own, but those that are private."""
    source = path.read_text(encoding="utf-8")
    lines = source.splitlines()
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign) and _holds_numbers(node.value):
            names = tuple(n.id for n in ast.walk(node.targets[0]) if isinstance(n, ast.Name))
            if names[0].isupper() and not names[0].startswith("_"):
                told = ast.unparse(node.value)
                value = told[1:-1] if isinstance(node.value, ast.Tuple) else told
                yield Constant(names, value, _comment(lines, node.lineno - 1))


def _holds_numbers(value: ast.expr) -> bool:
    numbers = [n.value for n in ast.walk(value) if isinstance(n, ast.Constant)]
    return any(isinstance(number, int | float) and not isinstance(number, bool) for number in numbers)


def _comment(lines: list[str], row: int) -> str:
    """The comment right above a line, or above the constants that stand between."""
    while row and not lines[row - 1].startswith("#") and lines[row - 1].strip():
        row -= 1
    last = row
    while row and lines[row - 1].startswith("#:"):
        row -= 1
    return " ".join(line.removeprefix("#:").strip() for line in lines[row:last])


def rows(fitted: Iterable[Fitted]) -> Iterator[tuple[str, str, str, str, str]]:
    """Where a constant stands, its value, its meaning, how it was found, and the command."""
    for one in fitted:
        path = Path(str(one.module.__file__))
        for found in constants(path):
            if set(found.names) & set(one.names.split()):
                place = path.relative_to(ROOT).with_suffix("").as_posix()
                command = f"`{one.command}`" if one.command else ""
                yield f"`{place}`", f"{', '.join(found.names)} = {found.value}", found.meaning, one.how, command


def table() -> str:
    """`FITTED.md`."""
    head = (
        "# Constants that no source gives\n\n"
        "Written by `python -m tests.fitted` from the comments beside the constants; `tests/test_fitted.py` keeps it\n"
        "true. The command, where there is one, shows on simulated shops what a constant does: run it before and\n"
        "after a change.\n\n| where | constant | what it means | how found | shown by |\n|---|---|---|---|---|\n"
    )
    return head + "".join(f"| {' | '.join(cell.replace('|', '/') for cell in row)} |\n" for row in rows(FITTED))


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
