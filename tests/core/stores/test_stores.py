"""The shelf as the owner asks about it, from small stories kept in a log. A week is reviewed each seven days."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import pytest

from core.entries import AnyEntry
from core.errors import Refused
from core.estimate import Estimate
from core.log.store import Log
from core.setup import Material, Row, Shop, Spare, Supply
from core.stores.stores import order_now, spares_out, stores
from core.stores.types import Stored
from tests.core.larkfield import at_a1, tell, when

SHOP = Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")
#: Everything is counted on this day, 40 weeks after the story begins.
NOW = when(7 * 40)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "shop.duckdb") as log:
        yield log


def item(log: Log, row: Row, entries: Sequence[AnyEntry] = (), at: datetime = NOW) -> Stored:
    """The one item of the shop."""
    log.append_setup([SHOP, row])
    log.append(entries)
    (found,) = stores(log, at).items
    return found


def counted(at: datetime, quantity: float) -> AnyEntry:
    return tell("StockCounted", at, item="box-s", quantity=quantity)


def boxes(**fields: object) -> Supply:
    return Supply.model_validate({"supply": "box-s", "name": "Small box", **fields})


def used(*weeks: float, start: float = 2000) -> list[AnyEntry]:
    """Counted every week up to `NOW`: so many were used in each."""
    first, there = 40 - len(weeks), start
    story = [counted(when(7 * first), there)]
    for number, quantity in enumerate(weeks, 1):
        there -= quantity
        story.append(counted(when(7 * (first + number)), there))
    return story


def test_a_shop_that_buys_nothing_has_an_empty_shelf(log: Log) -> None:
    log.append_setup([SHOP])
    assert stores(log, NOW).items == []


def test_a_file_without_a_shop_is_refused(log: Log) -> None:
    with pytest.raises(Refused) as refused:
        stores(log, NOW)
    assert refused.value.rule == "no_shop"


def test_of_an_item_nobody_ever_spoke_of_nothing_is_guessed(log: Log) -> None:
    found = item(log, boxes(pack=25, price=10, lead_days=5, lead_spread=1))
    unknown = (found.on_hand, found.counted_at, found.min, found.max, found.weekly, found.days_of_cover,
               found.order_by, found.runs_out_first, found.moved, found.doubt)  # fmt: skip
    assert set(unknown) == {None}
    assert (found.packs_to_order, found.orders, found.used, found.expected, found.moves) == (0, [], [], [], [])
    assert (found.rule, found.method, found.short_history) == ("none", "none", True)
    # What the owner said of it is known.
    assert (found.lead_days, found.lead_spread, found.deliveries) == (5, 1, 0)


def test_an_item_of_each_kind_is_told_in_its_unit(log: Log) -> None:
    log.append_setup([
        SHOP, Material(material="petg-black", name="PETG black"), Spare(spare="nozzle", name="Nozzle"), boxes(unit="m"),
    ])  # fmt: skip
    told = [(found.item, found.kind, found.unit, found.pack) for found in stores(log, NOW).items]
    assert told == [("petg-black", "material", "g", 1000), ("nozzle", "spare", "piece", 1), ("box-s", "supply", "m", 1)]


@pytest.mark.parametrize(
    ("there", "packs"), [(11, 0), (10, 4), (8, 4), (0, 6)], ids=["above min", "at min", "below min", "nothing left"]
)
def test_at_the_owners_min_whole_packs_are_ordered_up_to_max(log: Log, there: float, packs: int) -> None:
    found = item(log, boxes(pack=5, pinned_min=10, pinned_max=30), [counted(NOW, there)])
    assert (found.min, found.max, found.rule) == (10, 30, "pinned")
    # 20 fit on 10, and 22 on 8 in packs of 5: 4 packs.
    assert found.packs_to_order == packs


def test_the_suppliers_least_is_ordered_even_if_it_goes_beyond_max(log: Log) -> None:
    found = item(log, boxes(pack=5, least_packs=8, pinned_min=10, pinned_max=30), [counted(NOW, 10)])
    assert found.packs_to_order == 8


def test_what_is_on_order_is_not_ordered_again(log: Log) -> None:
    coming = tell("StockOrdered", when(7 * 40 - 1), item="box-s", quantity=20)
    found = item(log, boxes(pack=5, lead_days=6, pinned_min=10, pinned_max=30), [coming, counted(NOW, 4)])
    assert found.packs_to_order == 0
    ((at, quantity, expected),) = [(order.at, order.quantity, order.expected) for order in found.orders]
    assert (at, quantity, expected) == (when(7 * 40 - 1), 20, when(7 * 40 + 5))


def test_steady_use_gives_levels_cover_and_the_day_to_order(log: Log) -> None:
    found = item(log, boxes(lead_days=7, lead_spread=0), used(*[14] * 20, start=480))
    # 480 less 20 weeks of 14 are 200: at two a day a hundred days.
    assert found.on_hand == Estimate.exact(200)
    assert found.used == [14] * 20
    assert found.weekly == pytest.approx(14, rel=0.01)
    assert found.days_of_cover == pytest.approx(100, rel=0.01)
    # The delivery takes a week, and half a review passes before: 21 are used meanwhile at least.
    assert found.min is not None
    assert found.max is not None
    assert 21 <= found.min < 40
    assert found.max > found.min
    assert (found.packs_to_order, found.moved, found.short_history) == (0, None, False)
    assert found.runs_out_first == pytest.approx(0, abs=1e-6)
    assert found.order_by is not None
    days = (200 - found.min) / 2
    assert (found.order_by - NOW).total_seconds() / 86400 == pytest.approx(days, rel=0.02)


def test_a_shelf_that_cannot_last_until_the_delivery_is_ordered_today(log: Log) -> None:
    found = item(log, boxes(pack=10, lead_days=14), used(*[14] * 20, start=285))
    # Five are left of an item of which 28 are used before a delivery can come.
    assert found.packs_to_order >= 4
    assert found.order_by == NOW
    assert found.runs_out_first == pytest.approx(1, abs=0.01)


def test_what_is_on_order_helps_from_when_it_comes(log: Log) -> None:
    story = used(*[14] * 20, start=285)
    never = item(log, boxes(lead_days=14), story).runs_out_first
    chances = []
    for days in (10, 4, 1):
        with Log.open(log.path.parent / f"{days}.duckdb") as other:
            coming = tell("StockOrdered", when(7 * 40 - 3), item="box-s", quantity=100, expected=when(7 * 40 + days))
            chances.append(item(other, boxes(lead_days=14), [*story, coming]).runs_out_first)
    assert never is not None
    assert never >= chances[0] > 0.9 > chances[1] > chances[2]
    assert chances[2] < 0.15


def test_when_use_doubles_min_moves_and_says_why(log: Log) -> None:
    found = item(log, boxes(), used(*[10] * 24, *[20] * 8))
    assert found.moved is not None
    assert found.moved.reason == "use"
    assert 0.5 < found.moved.change < 1.5
    assert found.min is not None
    assert found.min > 1.3 * found.moved.before


def test_a_min_of_the_owners_own_does_not_move(log: Log) -> None:
    assert item(log, boxes(pinned_min=25), used(*[10] * 24, *[20] * 8)).moved is None


def test_a_spool_fitted_is_taken_from_the_shelf_but_is_no_count_order_or_delivery(log: Log) -> None:
    row = Material(material="petg-black", name="PETG black")
    story = [
        tell("StockCounted", when(0), item="petg-black", quantity=5000),
        at_a1("SpoolFitted", when(1), material="petg-black", grams=1000),
        at_a1("SpoolFitted", when(2), material="petg-black", grams=400),
    ]
    found = item(log, row, story, at=when(3))
    assert found.on_hand == Estimate.exact(4000)
    assert [(move.at, move.what, move.quantity) for move in found.moves] == [
        (when(0), "counted", 5000),
    ]


def test_a_book_that_cannot_be_right_says_so(log: Log) -> None:
    found = item(log, boxes(), [counted(when(0), 10), counted(when(7), 30)], at=when(7))
    assert (found.doubt, found.on_hand) == ("more than came in", Estimate.exact(30))


def test_only_what_was_known_by_then_counts(log: Log) -> None:
    later = tell("StockCounted", when(1), item="box-s", quantity=7, noted_at=when(5))
    found = item(log, boxes(), [counted(when(0), 40), later], at=when(3))
    assert (found.on_hand, found.counted_at) == (Estimate.exact(40), when(0))
    assert stores(log, when(6)).items[0].counted_at == when(1)


def test_deliveries_teach_the_lead_time(log: Log) -> None:
    story = []
    for week in range(0, 12, 4):
        story.append(tell("StockOrdered", when(7 * week), item="box-s", quantity=50))
        story.append(tell("StockReceived", when(7 * week + 13), item="box-s", quantity=50))
    found = item(log, boxes(lead_days=7, lead_spread=0), story)
    # Three deliveries of 13 days weigh as much as the owner's 7.
    assert (found.deliveries, found.lead_days, found.lead_spread) == (3, pytest.approx(10), pytest.approx(3))


BELT = Spare(spare="belt-220", name="Belt", pinned_min=0, pinned_max=2)
DOWN = {"cause": "belt", "spare": "belt-220"}


def belts(there: float) -> AnyEntry:
    return tell("StockCounted", when(270), item="belt-220", quantity=there)


def test_a_spare_that_machines_wait_for_is_ordered_for_them_as_well(log: Log) -> None:
    waits = [at_a1("WentDown", when(275), **DOWN), tell("WentDown", when(276), machine="A2", **DOWN)]
    found = item(log, BELT, [belts(0), *waits])
    assert (found.waiting, found.packs_to_order) == (2, 4)
    (line,) = order_now(stores(log, NOW))
    assert (line.item, line.packs, line.waiting) == ("belt-220", 4, 2)


def test_a_machine_that_came_back_or_printed_waits_no_more_and_took_its_spare(log: Log) -> None:
    story = [
        at_a1("WentDown", when(275), **DOWN), at_a1("CameBack", when(276)),
        tell("WentDown", when(275), machine="A2", **DOWN),
        tell("PrintStarted", when(277), machine="A2", file="f", revision=1),
    ]  # fmt: skip
    found = item(log, BELT, [belts(3), *story])
    assert found.waiting == 0
    assert found.on_hand is not None
    assert found.on_hand.best == 2


@pytest.mark.parametrize(("there", "out"), [(0, {"belt-220"}), (1, set()), (None, set())])
def test_a_spare_is_out_when_a_count_says_so(log: Log, there: float | None, out: set[str]) -> None:
    log.append_setup([SHOP, BELT])
    log.append([] if there is None else [belts(there)])
    assert spares_out(log, NOW) == out


def test_what_another_machine_waits_for_is_out_too(log: Log) -> None:
    log.append_setup([SHOP, BELT])
    log.append([belts(1), at_a1("WentDown", when(275), **DOWN)])
    assert spares_out(log, NOW) == {"belt-220"}


def test_a_spare_that_came_for_a_machine_is_kept_for_it_until_it_is_back(log: Log) -> None:
    came = tell("StockReceived", when(276), item="belt-220", quantity=1)
    found = item(log, BELT, [belts(0), at_a1("WentDown", when(275), **DOWN), came])
    assert (found.on_hand, found.waiting, found.packs_to_order) == (Estimate.exact(1), 0, 2)
    assert spares_out(log, NOW) == {"belt-220"}
    log.append([at_a1("SetAside", when(277))])
    assert spares_out(log, NOW) == set()
