"""The loading list of an invented shop, asked as a whole: what is on it, what for, and what a check-in makes of it."""

from collections.abc import Mapping
from datetime import time, timedelta
from pathlib import Path

import numpy as np
import pytest

from core.answers import loaded_since, loading, machine_page, stores, with_plan
from core.estimate import Estimate
from core.floor.types import MachinePage
from core.habits.learned import Learned
from core.log.store import Log
from core.plan.loading import COUNTS, needs
from core.plan.outlook import Outlook
from core.plan.types import Loading
from core.setup import WEEKDAYS, PrintFile, Shift, is_for
from core.stores.types import Stored, Stores
from demo.shop import shop_rows
from tests.core.conftest import AT
from tests.core.larkfield import ROWS, when

#: Friday, half an hour before people leave for the night.
EVENING = AT + timedelta(hours=3, minutes=30)


@pytest.fixture(scope="module")
def outlook(busy_log: Log, busy_pace: Learned) -> Outlook:
    return Outlook(busy_log, EVENING, busy_pace)


@pytest.fixture(scope="module")
def shelf(busy_log: Log) -> Stores:
    return stores(busy_log, EVENING)


@pytest.fixture(scope="module")
def found(outlook: Outlook, shelf: Stores) -> Loading:
    return loading(outlook, shelf)


def counted(shelf: Stores, spools: Mapping[str, float]) -> Stores:
    """The shelf with so many grams of these materials."""

    def with_grams(item: Stored) -> Stored:
        grams = spools.get(item.item)
        return item if grams is None else item.model_copy(update={"on_hand": Estimate.exact(grams)})

    return shelf.model_copy(update={"items": [with_grams(item) for item in shelf.items]})


# What is on it


def test_the_list_is_for_machines_that_hands_can_load_before_they_leave(outlook: Outlook, found: Loading) -> None:
    states = dict(outlook.read.standing.select("machine", "state").iter_rows())
    assert found.closes.astimezone(outlook.setup.zone).hour == 17
    assert found.back.astimezone(outlook.setup.zone).strftime("%a %H:%M") == "Sat 09:00"
    assert len(found.loads) > 1
    assert all(states[line.machine] in ("done", "stopped", "empty", "printing", "proving") for line in found.loads)
    assert all(EVENING <= line.at < found.closes for line in found.loads)
    machines = [line.machine for line in found.loads] + found.left
    assert len(set(machines)) == len(machines)


def test_every_print_fits_its_machine_and_needs_a_spool_that_lasts(outlook: Outlook, found: Loading) -> None:
    models = {machine.machine: machine.model for machine in outlook.machines}
    files = {row.file: row for row in outlook.names.files}
    assert found.loads
    for line in found.loads:
        assert is_for(files[line.file], models[line.machine])
        assert line.ends > line.at
        lasts = outlook.read.lasts(line.machine, files[line.file])
        assert line.new_spool or lasts is None or lasts >= 0.9


def test_no_list_is_worth_more(found: Loading) -> None:
    assert found.short_of_best == pytest.approx(0, abs=1e-6)
    assert found.loads
    assert all(line.loses >= 0 for line in found.loads)


def test_half_an_hour_before_people_leave_prints_last_the_night(found: Loading) -> None:
    dark = [line for line in found.loads if line.ends > found.closes]
    assert len(dark) == len(found.loads)
    # Saturday morning somebody is in: what ends long before is not chosen for the night.
    assert np.mean([line.ends > found.closes + timedelta(hours=10) for line in dark]) > 0.7


def test_a_spool_that_is_not_on_the_shelf_is_not_asked_for(outlook: Outlook, shelf: Stores) -> None:
    materials = {row.material for row in outlook.names.files}
    none = loading(outlook, counted(shelf, dict.fromkeys(materials, 0.0)))
    assert not any(line.new_spool for line in none.loads)
    plenty = loading(outlook, counted(shelf, dict.fromkeys(materials, 9000.0)))
    assert {line.machine for line in plenty.loads} >= {line.machine for line in none.loads}


def test_the_next_morning_is_planned_in_the_night(busy_log: Log) -> None:
    night = Outlook(busy_log, AT + timedelta(hours=12))
    found = loading(night, stores(busy_log, night.at))
    assert found.closes.astimezone(night.setup.zone).strftime("%a %H:%M") == "Sat 12:30"
    assert found.back.astimezone(night.setup.zone).strftime("%a %H:%M") == "Mon 08:00"
    assert found.loads
    assert all(line.at >= night.at + timedelta(hours=7) for line in found.loads)


def test_where_nobody_comes_nothing_is_loaded_and_a_new_shop_has_a_list(tmp_path: Path) -> None:
    shifts = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS]
    for rows in (ROWS, [*ROWS, *shifts]):
        with Log.open(tmp_path / f"{len(rows)}.duckdb") as log:
            log.append_setup(rows)
            young = Outlook(log, when(2, 9))
            found = loading(young, stores(log, young.at))
            assert (found.closes is None) == (rows is ROWS)
            assert found.loads == []


def test_no_machine_that_can_print_anything_has_an_empty_list(tmp_path: Path) -> None:
    rows = [row for row in shop_rows(4, when(0)) if not isinstance(row, PrintFile)]
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(rows)
        idle = Outlook(log, when(2, 9))
        assert loading(idle, stores(log, idle.at)).loads == []


# What the parts are for


def test_needs_are_what_is_neither_finished_nor_on_a_machine(outlook: Outlook) -> None:
    found = needs(outlook)
    assert any(need.order for need in found)
    for place in range(len(outlook.names.products)):
        mine = [need for need in found if need.product == place]
        ordered = sum(order.parts for order in outlook.asked if order.product == place)
        there = outlook.stock[place] + outlook.cover[place].last_running
        assert sum(n.parts for n in mine if n.order) == pytest.approx(max(ordered - there, 0.0))
        assert [COUNTS[n.counts] for n in mine] == sorted((COUNTS[n.counts] for n in mine), reverse=True)
        assert mine[-1].parts == np.inf


def test_a_line_names_the_order_its_parts_are_for(outlook: Outlook, found: Loading) -> None:
    wanted = {need.order: outlook.names.products[need.product] for need in needs(outlook) if need.order}
    assert any(line.order for line in found.loads)
    for line in found.loads:
        assert (line.order is not None) == (line.why in ("at risk", "ordered"))
        assert line.order is None or wanted[line.order] == line.product


# What a check-in makes of it


@pytest.fixture(scope="module")
def here(busy_log: Log, busy_pace: Learned, found: Loading) -> MachinePage:
    """The check-in at the first machine of the list."""
    return machine_page(busy_log, found.loads[0].machine, EVENING, busy_pace)


def test_a_check_in_has_the_file_of_the_list(here: MachinePage, found: Loading) -> None:
    assert with_plan(here, found).planned == found.loads[0].file
    others = found.model_copy(update={"loads": found.loads[1:]})
    assert with_plan(here, others).planned is None


def test_a_list_is_used_up_by_a_start(here: MachinePage, found: Loading) -> None:
    start = {"kind": "PrintStarted", "at": (EVENING + timedelta(minutes=5)).isoformat()}
    later = here.model_copy(update={"recent": [start, *here.recent]})
    assert with_plan(later, found).planned is None
    now = here.now.model_copy(update={"state": "printing", "since": EVENING + timedelta(minutes=5)})
    assert loaded_since(found, [now]) == {now.machine}
    assert loaded_since(found, [now.model_copy(update={"since": EVENING - timedelta(minutes=5)})]) == set()


def test_a_file_that_does_not_fit_any_more_is_not_offered(here: MachinePage, found: Loading) -> None:
    fewer = [file for file in here.files if file.file != found.loads[0].file]
    assert with_plan(here.model_copy(update={"files": fewer}), found).planned is None
