"""Time accounting against published definitions and values.

Every case is a small history, told entry by entry, and what a published source says of it. The names
are those of the definitions: SEMI E10 (equipment states), ISO 22400-2 (key figures of manufacturing),
prEN 15341:2005 (maintenance key figures). "From memory" marks a formula nobody has seen printed here.
"""

from collections.abc import Sequence
from typing import NamedTuple

import pytest

from core.entries import AnyEntry
from core.hours.account import FORMULAS as NAMED
from core.hours.account import TimeAccount, account, faults_begun
from core.window import Window
from tests.core.larkfield import at_a1, hours_in, look, reckoned, start, when

#: The six states of SEMI E10-0422 (abstract of the standard): mutually exclusive, adding up to total time.
#: Productive, standby, engineering, scheduled downtime, unscheduled downtime, non-scheduled.
SIX_STATES = {
    "PRD": ("printing",),
    "SBY": ("done", "stopped", "empty"),
    "ENG": ("proving",),
    "SDT": ("upkeep",),
    "UDT": ("down", "waiting"),
    "NST": ("aside",),
}

#: Sixty hours: a day's print, two hours until its parts came off, six hours of a test print, a repair of
#: nine hours of which four waited for a spare, three hours of cleaning, ten set aside, the rest empty.
STORY = [
    start(when(hours=0)),
    at_a1("PartsOff", when(hours=26)),
    start(when(hours=26), file="clip", proving=True),
    look(when(hours=28), "done"),
    at_a1("PartsOff", when(hours=32)),
    at_a1("WentDown", when(hours=33), cause="belt"),
    at_a1("WentDown", when(hours=38), cause="belt", spare="belt-220"),
    at_a1("CameBack", when(hours=42)),
    at_a1("UpkeepDone", when(hours=46), task="clean", minutes=180),
    at_a1("SetAside", when(hours=48)),
    at_a1("PutBack", when(hours=58)),
    look(when(hours=60), "empty"),
]
#: The hours above by state: done 2 + 4, empty 1 + 1 + 2 + 2.
HOURS = {"PRD": 24, "SBY": 12, "ENG": 2, "SDT": 3, "UDT": 9, "NST": 10}


def accounted(story: Sequence[AnyEntry], hours: float) -> TimeAccount:
    window = Window(when(0), when(hours=hours))
    found = reckoned(story, window)
    return account("A1", hours_in(found, window), faults_begun(found.gaps, [window]).height)


@pytest.fixture(scope="module")
def figures() -> TimeAccount:
    return accounted(STORY, 60)


def of(figures: TimeAccount, *states: str) -> float:
    return sum(figures.hours[name].best for state in states for name in SIX_STATES[state])


# TA-1


@pytest.mark.parametrize(("state", "hours"), HOURS.items(), ids=HOURS.keys())
def test_ta_1_every_hour_is_in_one_of_six_states(figures: TimeAccount, state: str, hours: float) -> None:
    assert of(figures, state) == pytest.approx(hours)


def test_ta_1_the_six_states_add_up_to_total_time(figures: TimeAccount) -> None:
    assert of(figures, *SIX_STATES) == pytest.approx(figures.total) == pytest.approx(60)


# TA-2, formulas from memory (names seen in the abstract of SEMI E10-0422)


class Formula(NamedTuple):
    """A figure, the states in its numerator and in its denominator (none: the number of failures)."""

    figure: str
    part: tuple[str, ...]
    whole: tuple[str, ...]


OPERATIONS = ("PRD", "SBY", "ENG", "SDT", "UDT")
FORMULAS = (
    Formula("uptime", ("PRD", "SBY", "ENG"), OPERATIONS),  # operational uptime
    Formula("utilisation", ("PRD",), OPERATIONS),  # operational utilization
    Formula("downtime", ("SDT", "UDT"), OPERATIONS),
    Formula("out_of_service", ("UDT",), OPERATIONS),
    Formula("mtbf", ("PRD",), ()),  # productive time per failure, as MTBA_p of SEMI E10-92 (seen)
    Formula("mttr", ("UDT",), ()),
)


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda formula: formula.figure)
def test_ta_2_figures_are_ratios_of_the_six_states(figures: TimeAccount, formula: Formula) -> None:
    part = sum(HOURS[state] for state in formula.part)
    whole = sum(HOURS[state] for state in formula.whole) or 1  # one failure
    assert getattr(figures, formula.figure).best == pytest.approx(part / whole)


def test_ta_2_operations_time_is_total_less_non_scheduled(figures: TimeAccount) -> None:
    assert figures.operations == pytest.approx(60 - 10)


# TA-4: ISO 22400-2's order execution time is APT + AUST + ADET + ADOT (seen in the OPC UA machine-tool companion
# specification, C.2.3), where delays are those of an order and down time is without one (OPC 40001-1, C.2, seen).
# Entries do not tell them apart, so the elements go by SEMI E10's classes, which add up to operations time.


def test_ta_4_operations_time_is_the_sum_of_its_classes(figures: TimeAccount) -> None:
    classes = (figures.productive_time, figures.engineering_time, figures.standby_time, figures.equipment_downtime)
    assert [one.best for one in classes] == pytest.approx([24, 2, 12, 12])
    assert sum(one.best for one in classes) == pytest.approx(figures.operations)


def test_ta_4_no_word_and_time_set_aside_are_no_part_of_operations() -> None:
    figures = accounted([at_a1("SetAside", when(hours=10)), at_a1("PutBack", when(hours=30))], 40)
    assert figures.hours["no word"].best == 10
    assert figures.operations == figures.standby_time.best == 10


def test_ta_4_no_figure_claims_to_be_time_that_counts_orders_alone() -> None:
    assert not {"ADET", "ADOT", "AOET"} & {word.strip("(),.;") for said in NAMED.values() for word in said.split()}


# TA-5: availability = APT / PBT (ISO 22400-2, from memory); planned busy time is operations time here, upkeep included


def test_ta_5_availability_is_production_time_in_planned_busy_time(figures: TimeAccount) -> None:
    assert figures.utilisation is not None
    apt = figures.productive_time.best
    assert figures.utilisation.best == pytest.approx(apt / figures.operations) == pytest.approx(0.48)


# TA-6: MTTR = total time to restore / total number of failures (prEN 15341:2005, seen)


def test_ta_6_mean_time_to_restore_of_three_failures() -> None:
    story = [look(when(0), "empty")]
    for began, lasted in ((10, 2), (30, 3), (60, 7)):
        story += [at_a1("WentDown", when(hours=began), cause="nozzle"), at_a1("CameBack", when(hours=began + lasted))]
    figures = accounted(story, 100)
    assert figures.faults == 3
    assert figures.mttr is not None
    assert figures.mttr.best == pytest.approx(4.0)


# REL-14: inherent availability MTBF / (MTBF + MTTR): 100 h and 2 h give 0.980392 (definition, recomputed)


def test_rel_14_inherent_availability_of_a_hundred_hours_and_two() -> None:
    # Four prints of a day and two of two hours, without a pause; then two hours of repair.
    starts = [(0, "grille"), (24, "grille"), (48, "grille"), (72, "grille"), (96, "clip"), (98, "clip")]
    story: list[AnyEntry] = []
    for hour, file in starts:
        story += [at_a1("PartsOff", when(hours=hour))] if hour else []
        story += [start(when(hours=hour), file=file)]
    story += [at_a1("WentDown", when(hours=100), cause="belt"), at_a1("CameBack", when(hours=102))]
    figures = accounted(story, 102)
    assert figures.uptime is not None
    assert figures.mtbf is not None
    assert figures.mttr is not None
    assert (figures.mtbf.best, figures.mttr.best) == pytest.approx((100, 2))
    assert figures.uptime.best == pytest.approx(0.980392, abs=0.5e-6)
