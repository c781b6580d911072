"""The shop played forward, asked as a whole: an invented shop with more orders than it can serve at once, and shops
of which little or nothing is known.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from core.arrays import Numbers
from core.entries import AnyEntry
from core.log.store import Log
from core.plan import play_once
from core.plan.forward import ready_to_play
from core.plan.laws import DOWN, EMPTY, FAILED, PRINTED, STATES, WAITED
from core.plan.outlook import OUT, WAITS, Outlook
from core.plan.promises import Asked
from core.setup import WEEKDAYS, Machine, PrintFile, Row, Shift
from core.window import Window
from demo.make import make
from tests.core.conftest import AT, UNTIL
from tests.core.larkfield import ROWS, at_a1, start, tell, when


@pytest.fixture
def log(busy_log: Log) -> Log:
    return busy_log


@pytest.fixture(scope="module")
def outlook(busy: Outlook) -> Outlook:
    return busy


@pytest.fixture(scope="module")
def leaves(outlook: Outlook) -> Numbers:
    return outlook.leaves(outlook.asked, outlook.played)


def replayed(outlook: Outlook, asked: Sequence[Asked]) -> Numbers:
    """When these orders leave if the room is played for them."""
    return outlook.leaves(asked, outlook.play(asked))


# A shop with much to do


def test_every_order_has_a_time_at_which_it_leaves(outlook: Outlook, leaves: Numbers) -> None:
    assert leaves.shape == (len(outlook.asked), len(outlook.room.ends))
    assert len(outlook.asked) > 10
    # Beyond the weeks played there is none.
    assert np.isfinite(leaves).mean() > 0.99
    assert (leaves > 0).all()


def test_a_shop_is_played_by_what_stands_ready(outlook: Outlook, monkeypatch: pytest.MonkeyPatch) -> None:
    untouched = play_once.kept(play_once.play_once.py_func)
    monkeypatch.setattr(play_once, "play_once", untouched)
    ready_to_play()
    outlook.play(outlook.asked)
    assert len(untouched.signatures) == 1


@pytest.mark.full
def test_a_second_play_is_the_same_to_the_last_bit(log: Log, outlook: Outlook, leaves: Numbers) -> None:
    again = Outlook(log, AT)
    assert replayed(again, again.asked).tolist() == leaves.tolist()
    assert replayed(outlook, outlook.asked).tolist() == leaves.tolist()


def test_the_weeks_ahead_go_as_the_last_ones_went(outlook: Outlook) -> None:
    spent = outlook.read.state_hours([Window(AT - timedelta(days=21), AT)])
    named = {PRINTED: ("printing", "proving"), WAITED: WAITS, DOWN: OUT, EMPTY: ("empty",)}
    was = np.array([spent.of(pl.col("state").is_in(named.get(state, ()))).hours for state in range(STATES)])
    played = outlook.played.hours.mean(axis=1)
    # The account does not tell apart whether what printed came to parts.
    played[PRINTED] += played[FAILED]
    played[FAILED] = 0
    assert played / played.sum() == pytest.approx(was / was.sum(), abs=0.03)


def test_a_larger_order_is_never_finished_sooner(outlook: Outlook, leaves: Numbers) -> None:
    assert outlook.asked
    for n, order in enumerate(outlook.asked):
        twice = [*outlook.asked[:n], replace(order, parts=2 * order.parts), *outlook.asked[n + 1 :]]
        assert (outlook.leaves(twice, outlook.played)[n] >= leaves[n]).all()


@pytest.mark.parametrize("n", [0, 5, 10])
def test_nor_if_hands_know_of_it_and_print_more(outlook: Outlook, leaves: Numbers, n: int) -> None:
    order = outlook.asked[n]
    twice = [*outlook.asked[:n], replace(order, parts=2 * order.parts), *outlook.asked[n + 1 :]]
    found = replayed(outlook, twice)[n]
    for chance in (0.1, 0.5, 0.9):
        assert np.quantile(found, chance) >= np.quantile(leaves[n], chance)


def test_one_more_order_never_brings_another_forward(outlook: Outlook, leaves: Numbers) -> None:
    assert any(order.due > 100 for order in outlook.asked)
    for product in range(len(outlook.names.products)):
        more = outlook.leaves([*outlook.asked, Asked(product, 30.0, 100.0)], outlook.played)[:-1]
        behind = [n for n, order in enumerate(outlook.asked) if order.product == product and order.due > 100]
        others = [n for n in range(len(outlook.asked)) if n not in behind]
        assert (more[others] == leaves[others]).all()
        assert (more[behind] >= leaves[behind]).all()
        assert not behind or (more[behind] > leaves[behind]).any()


def test_an_order_whose_parts_are_there_leaves_once_it_is_packed(outlook: Outlook) -> None:
    clock, most = outlook.clock, int(outlook.stock.argmax())
    latest = clock.reached(clock.worked_by(np.zeros(1)) + outlook.lags.max())[0]
    assert outlook.stock[most] >= 1
    # Due before all others, it has the first of the finished parts.
    first = outlook.leaves([Asked(most, 1.0, -1e4), *outlook.asked], outlook.played)[0]
    assert (first <= latest).all()


def test_orders_leave_while_people_are_in(outlook: Outlook, leaves: Numbers) -> None:
    known = leaves[np.isfinite(leaves)]
    assert known.size
    worked = outlook.clock.worked_by(known + 1e-6) - outlook.clock.worked_by(known - 1e-6)
    assert (worked > 0).all()


# What is not asked about


#: The shop of `larkfield`, in from 08:00 to 17:00 on weekdays, every file for the models that it names.
SHIFTS = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS[:5]]
BOTH = {"models": ("bench-220", "bench-300")}
SMALL: list[Row] = [
    *[row.model_copy(update=BOTH) if isinstance(row, PrintFile) and not row.models else row for row in ROWS], *SHIFTS
]  # fmt: skip


def small(path: Path, entries: Sequence[AnyEntry] = (), rows: Sequence[Row] = SMALL) -> Log:
    log = Log.open(path / "shop.duckdb")
    log.append_setup(rows)
    log.append(entries)
    return log


def ordered(order: str, quantity: float, due: datetime) -> AnyEntry:
    return tell("OrderTaken", when(1), order=order, product="clip", quantity=quantity, due=due)


def test_an_overdue_order_whose_parts_are_there_is_gone(tmp_path: Path) -> None:
    entries = [
        tell("StockCounted", when(2), item="clip", quantity=50), ordered("gone", 40, when(3)),
        ordered("short", 60, when(4)), ordered("later", 30, when(20)),
    ]  # fmt: skip
    with small(tmp_path, entries) as log:
        before, after = (Outlook(log, when(day, 9)) for day in (2, 9))
        assert before.unpacked["order"].to_list() == ["gone", "short", "later"]
        assert after.unpacked["order"].to_list() == ["short", "later"]
        assert [order.parts for order in after.asked] == [60, 30]
        assert after.asked[0].due == -5 * 24 - 9


def test_an_overdue_order_whose_parts_have_just_come_is_still_to_pack(tmp_path: Path) -> None:
    come = tell("StockCounted", when(9, 8, 30), item="clip", quantity=50)
    entries = [tell("StockCounted", when(2), item="clip", quantity=0), ordered("late", 40, when(3)), come]
    with small(tmp_path, entries) as log:
        assert Outlook(log, when(9, 9)).unpacked["order"].to_list() == ["late"]
        # Packing takes an hour where nothing is known of it.
        assert Outlook(log, when(9, 10)).unpacked["order"].to_list() == []


@pytest.mark.parametrize(("went", "open_"), [((25, 20), ["small"]), ((25, 10), ["late", "small"])])
def test_an_overdue_order_is_gone_where_its_parts_went_into_orders_due_later(
    tmp_path: Path, went: tuple[float, float], open_: list[str]
) -> None:
    entries = [ordered("late", 40, when(9)), ordered("small", 5, when(20))]
    for place, parts in enumerate(went):
        entries.append(ordered(f"later {place}", parts, when(15)))
        entries.append(tell("OrderPacked", when(5 + place), order=f"later {place}", quantity=parts))
    # A count of what is left says nothing of who took the rest.
    entries.append(tell("StockCounted", when(8), item="clip", quantity=0))
    with small(tmp_path, entries) as log:
        assert Outlook(log, when(8, 10)).unpacked["order"].to_list() == ["late", "small"]  # not overdue
        late = Outlook(log, when(10, 9))
        assert late.unpacked["order"].to_list() == open_
        assert late.open["order"].to_list() == ["late", "small"]
        assert [order.parts for order in late.asked] == [{"late": 40, "small": 5}[code] for code in open_]


# Shops of which little is known


def test_the_fewer_prints_are_known_the_less_is_certain(tmp_path: Path, outlook: Outlook) -> None:
    make(tmp_path / "young.duckdb", machines=8, weeks=1, seed=4, until=UNTIL, busy=1.5)
    with Log.open(tmp_path / "young.duckdb") as log:
        young = Outlook(log, AT)
        assert young.laws.doubt > 1.2 * outlook.laws.doubt > 1.2 * 0.04
        parts = [one.play([]).parts.sum(axis=0) for one in (young, outlook)]
        spread = [float(made.std() / made.mean()) for made in parts]
        assert spread[0] > spread[1]


def test_a_shop_that_has_told_nothing_yet_has_no_orders(tmp_path: Path) -> None:
    with small(tmp_path) as log:
        outlook = Outlook(log, when(10, 9))
        assert replayed(outlook, outlook.asked).shape == (0, 500)
        assert outlook.laws.doubt > 1
        assert outlook.stock.tolist() == [0, 0]


@pytest.mark.parametrize(
    ("missing", "leaves"),
    [((), True), ((Shift,), True), ((Machine,), False), ((PrintFile,), False), ((Machine, PrintFile), False)],
    ids=["nothing", "shifts", "machines", "files", "machines and files"],
)
def test_a_new_shop_with_one_order_is_played_whatever_is_missing(
    tmp_path: Path, missing: tuple[type[Row], ...], leaves: bool
) -> None:
    rows = [row for row in SMALL if not isinstance(row, missing)]
    with small(tmp_path, [ordered("1", 24, when(20))], rows) as log:
        outlook = Outlook(log, when(10, 9))
        found = replayed(outlook, outlook.asked)
        assert bool(np.isfinite(found).any()) == leaves


def test_what_mended_machines_are_tried_out_with_is_learned(tmp_path: Path) -> None:
    entries = []
    # Four faults; after two of them the first print is a test print of black, and a test print later tells nothing.
    for day, first, second in ((1, True, False), (2, False, True), (3, True, True), (4, False, False)):
        entries += [
            at_a1("WentDown", when(day, 8), cause="nozzle"), at_a1("CameBack", when(day, 9)),
            start(when(day, 10), file="clip", proving=first), at_a1("PartsOff", when(day, 12, 30), on_platform=12),
            start(when(day, 13), file="clip", proving=second), at_a1("PartsOff", when(day, 15, 30), on_platform=12),
        ]  # fmt: skip
    with small(tmp_path, entries) as log:
        outlook = Outlook(log, when(10, 9))
        assert outlook.names.materials == ("petg-black",)
        assert outlook.laws.tried.tolist() == [2 / 4]


def test_a_room_that_is_set_aside_is_put_back_some_day(tmp_path: Path) -> None:
    aside = [tell("SetAside", when(1), machine=machine) for machine in ("A1", "A2", "B1")]
    with small(tmp_path, [*aside, ordered("1", 24, when(20))]) as log:
        outlook = Outlook(log, when(10, 9))
        # After four weeks on average, as long as any wait without memory, when people are in.
        assert outlook.room.ends.mean(axis=0) == pytest.approx(28 * 24, rel=0.15)
        assert outlook.room.ends.std(axis=0) == pytest.approx(28 * 24, rel=0.2)
        leaves = replayed(outlook, outlook.asked)[0]
        assert (leaves > outlook.room.ends.min(axis=1)).all()
        assert np.isfinite(leaves).mean() > 0.9


def test_a_file_that_names_no_model_is_for_every_machine(tmp_path: Path) -> None:
    with small(tmp_path, rows=[*ROWS, *SHIFTS]) as log:
        outlook = Outlook(log, when(10, 9))
        # Clips and grilles on either model, the feeder on the large one alone.
        assert np.isfinite(outlook.work.hours).tolist() == [[True, True, False], [True, True, True]]


@pytest.mark.parametrize(("machines", "leaves"), [("A1 A2 B1", True), ("A1 A2", False)])
def test_a_machine_that_no_file_is_for_makes_nothing(tmp_path: Path, machines: str, leaves: bool) -> None:
    # The feeder is for the large model alone.
    rows = [row for row in SMALL if not (isinstance(row, PrintFile) and row.file != "feeder")]
    rows = [row for row in rows if not isinstance(row, Machine) or row.machine in machines]
    order = tell("OrderTaken", when(1), order="1", product="grille", quantity=8, due=when(20))
    with small(tmp_path, [order], rows) as log:
        outlook = Outlook(log, when(10, 9))
        assert bool(np.isfinite(replayed(outlook, outlook.asked)).any()) == leaves
