"""The shelf's book told as small stories: counts, orders, deliveries, what is taken, and what was used week by week."""

import math
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.epoch import WEEK, micros
from core.estimate import NINETY, Estimate
from core.log.frames import entry_frame
from core.setup import Material, Setup, Spare, Supply
from core.stores.deliveries import LeadLaw
from core.stores.shelf import KINDS, Move, Stock, lead_time, moves, stock, weekly_use
from tests.core.larkfield import ROWS, at_a1, tell, when

ITEMS = Setup([*ROWS, Spare(spare="nozzle", name="Nozzle")]).items(when(0))


def counted(at: datetime, quantity: float) -> Move:
    return Move(micros(at), "counted", quantity)


def ordered(at: datetime, quantity: float) -> Move:
    return Move(micros(at), "ordered", quantity)


def received(at: datetime, quantity: float) -> Move:
    return Move(micros(at), "received", quantity)


def taken(at: datetime, quantity: float) -> Move:
    return Move(micros(at), "taken", quantity)


SAID = LeadLaw.said(days=7, spread=2)


def book(*told: Move, at: datetime) -> Stock:
    return stock(told, micros(at), SAID)


def best(told: Stock) -> float:
    assert told.on_hand is not None
    return told.on_hand.best


def waiting(told: Stock) -> list[float]:
    return [order.quantity for order in told.orders]


# What is there


def test_before_the_first_count_nobody_can_say_what_is_there() -> None:
    told = book(received(when(0), 200), taken(when(1), 3), at=when(2))
    assert (told.on_hand, told.counted_at, told.doubt) == (None, None, None)
    nothing = book(at=when(0))
    assert nothing == Stock(None, None, (), None, (), ())
    assert nothing.on_order == 0


def test_the_first_count_is_the_truth_whatever_came_before() -> None:
    told = book(received(when(0), 200), taken(when(1), 3), counted(when(2), 40), at=when(2))
    assert (told.on_hand, told.counted_at, told.doubt) == (Estimate.exact(40), micros(when(2)), None)


def test_what_came_in_and_was_taken_since_the_count_moves_the_book() -> None:
    told = book(counted(when(0), 40), received(when(1), 200), taken(when(2), 12), taken(when(3), 3), at=when(4))
    assert told.on_hand == Estimate.exact(40 + 200 - 12 - 3)


def test_a_count_corrects_the_book_and_what_is_missing_was_used() -> None:
    told = book(counted(when(0), 40), received(when(1), 200), taken(when(7), 12), counted(when(14), 220), at=when(14))
    assert told.on_hand == Estimate.exact(220)
    # 20 are gone of 240, of which 12 were noted.
    assert sum(used for *_, used in told.uses) == pytest.approx(20)


def test_where_nobody_notes_what_is_taken_the_usual_is_taken_off() -> None:
    told = book(counted(when(0), 100), counted(when(14), 60), at=when(21))
    # 20 a week, give or take as chance does.
    assert told.on_hand is not None
    assert (told.on_hand.low, told.on_hand.best, told.on_hand.high) == pytest.approx(
        (40 - NINETY * math.sqrt(20), 40, 40 + NINETY * math.sqrt(20))
    )
    assert best(book(counted(when(0), 100), counted(when(14), 60), at=when(14 + 70))) == 0


def test_taking_more_than_there_was_is_doubted_and_never_leaves_less_than_nothing() -> None:
    told = book(counted(when(0), 2), taken(when(1), 1), taken(when(2), 2), at=when(3))
    assert (told.doubt, told.on_hand) == ("below nothing", Estimate.exact(0))
    assert book(counted(when(0), 2), taken(when(1), 2), at=when(3)).doubt is None
    # Counted again, all is well.
    again = book(counted(when(0), 2), taken(when(1), 3), received(when(2), 5), counted(when(3), 4), at=when(3))
    assert (again.doubt, again.on_hand) == (None, Estimate.exact(4))


def test_counts_that_contradict_each_other_are_doubted_until_the_next_one() -> None:
    more = [counted(when(0), 10), counted(when(7), 30)]
    told = book(*more, at=when(7))
    assert (told.doubt, told.on_hand, told.uses) == ("more than came in", Estimate.exact(30), ())
    assert book(*more, counted(when(14), 25), at=when(14)).doubt is None


# What is on order


def test_a_delivery_settles_the_oldest_order_first() -> None:
    told = book(ordered(when(0), 100), ordered(when(2), 50), received(when(5), 100), at=when(6))
    assert waiting(told) == [50]
    assert told.on_order == 50
    assert told.leads == (5.0,)


def test_a_delivery_in_parts_leaves_the_rest_on_order() -> None:
    told = book(
        ordered(when(0), 100), ordered(when(1), 50), received(when(4), 30), received(when(8), 90), at=when(9)
    )  # fmt: skip
    # 120 of 150 came: the first order whole, 20 of the second.
    assert waiting(told) == [30]
    assert [order.at for order in told.orders] == [micros(when(1))]


def test_what_comes_without_an_order_is_taken_as_it_comes() -> None:
    told = book(counted(when(0), 1), received(when(1), 5), ordered(when(2), 7), at=when(3))
    assert (best(told), waiting(told), told.leads) == (6, [7], ())


def test_a_count_shows_a_delivery_that_nobody_noted() -> None:
    told = book(counted(when(0), 20), ordered(when(1), 100), counted(when(14), 110), at=when(14))
    # 20 and 100 less 110: ten were used, and nobody knows how long the delivery took.
    assert (told.doubt, waiting(told), told.leads) == (None, [], ())
    assert [used for *_, used in told.uses] == [10]


def test_a_count_that_what_is_on_order_cannot_explain_leaves_it_on_order() -> None:
    told = book(counted(when(0), 20), ordered(when(1), 100), counted(when(14), 25), at=when(14))
    # Five more are no delivery of a hundred.
    assert (told.doubt, waiting(told)) == ("more than came in", [100])


def test_an_order_keeps_when_it_is_expected() -> None:
    told = stock([Move(0, "ordered", 100, 9), Move(1, "received", 40)], 2, SAID)
    assert [(order.at, order.quantity, order.expected) for order in told.orders] == [(0, 60, 9)]


def test_an_order_that_was_due_long_before_a_count_has_come_and_nobody_noted_it() -> None:
    told = [counted(when(0), 3), ordered(when(1), 1)]
    assert [order.at for order in book(*told, at=when(90)).orders] == [micros(when(1))]
    for day, still in ((8, 1), (90, 0)):
        found = book(*told, counted(when(day), 3), at=when(91))
        assert (len(found.orders), len(found.unnoted)) == (still, 1 - still)
    # If it comes after all, it comes.
    late = book(*told, counted(when(90), 3), received(when(95), 1), at=when(96))
    assert (best(late), late.orders, late.unnoted, late.leads) == (4, (), (), (94.0,))


@given(
    st.lists(
        st.tuples(st.sampled_from(["counted", "ordered", "received", "taken"]), st.integers(0, 50), st.integers(0, 5)),
        max_size=30,
    )
)
def test_whatever_is_told_nothing_on_the_shelf_or_on_order_is_ever_negative(told: list[tuple[str, int, int]]) -> None:
    at, story = 0, []
    for what, quantity, days in told:
        at += days * WEEK // 7
        story.append(Move(at, what, float(quantity)))
    found = stock(story, at + WEEK, SAID)
    if found.on_hand is not None:
        assert found.on_hand.low >= 0
    assert all(order.quantity >= 0 for order in found.orders)
    assert all(start < end and used >= 0 for start, end, used in found.uses)
    assert found.on_order <= sum(m.quantity for m in story if m.what == "ordered")


# What entries come to


def test_entries_of_the_shelf_become_moves_in_the_order_they_happened() -> None:
    entries = [
        tell("StockReceived", when(3), item="box-s", quantity=200),
        tell("StockOrdered", when(1), item="box-s", quantity=200, expected=when(4)),
        tell("StockCounted", when(0), item="box-s", quantity=40),
        tell("StockCounted", when(0), item="sold-long-ago", quantity=1),
    ]
    found = moves(entry_frame(entries), ITEMS)
    ids = [str(entry.id) for entry in entries]
    assert found["box-s"] == [
        Move(micros(when(0)), "counted", 40, None, ids[2]),
        Move(micros(when(1)), "ordered", 200, micros(when(4)), ids[1]),
        Move(micros(when(3)), "received", 200, None, ids[0]),
    ]
    assert set(found) == set(ITEMS)
    assert found["belt-220"] == []


@pytest.mark.parametrize(("grams", "packs"), [(1000, [1000]), (960, [1000]), (940, []), (400, [])])
def test_a_full_spool_that_is_fitted_was_taken_and_a_part_spool_was_not(grams: float, packs: list[float]) -> None:
    entries = [at_a1("SpoolFitted", when(0), material="petg-black", grams=grams)]
    told = moves(entry_frame(entries), ITEMS)["petg-black"]
    assert [(move.what, move.quantity) for move in told] == [("taken", pack) for pack in packs]


def test_spares_used_in_upkeep_were_taken_one_each() -> None:
    entries = [at_a1("UpkeepDone", when(0), task="clean", minutes=15, spares=("belt-220", "nozzle", "unheard-of"))]
    told = moves(entry_frame(entries), ITEMS)
    assert told["belt-220"] == told["nozzle"] == [Move(micros(when(0)), "taken", 1.0, None, str(entries[0].id))]
    assert "unheard-of" not in told


def test_a_spare_that_a_machine_waited_for_was_taken_when_it_came_back() -> None:
    entries = [
        at_a1("WentDown", when(0, 8), cause="belt"),
        at_a1("WentDown", when(0, 9), cause="belt", spare="belt-220"),
        tell("CameBack", when(0, 10), machine="A2"),
        at_a1("CameBack", when(0, 11)),
        at_a1("WentDown", when(1, 8), cause="belt"),
        at_a1("CameBack", when(1, 9)),
    ]
    told = moves(entry_frame(entries), ITEMS)["belt-220"]
    assert told == [Move(micros(when(0, 11)), "taken", 1.0, None, str(entries[3].id))]


def test_a_repair_took_the_spares_it_names_and_not_the_one_the_machine_waited_for() -> None:
    entries = [
        at_a1("WentDown", when(0, 8), cause="belt", spare="belt-220"),
        at_a1("CameBack", when(0, 9), spares=("nozzle", "nozzle")),
        at_a1("CameBack", when(1, 9), spares=("belt-220",)),
    ]
    told = moves(entry_frame(entries), ITEMS)
    assert [move.entry for move in told["nozzle"]] == [str(entries[1].id)] * 2
    assert [move.entry for move in told["belt-220"]] == [str(entries[2].id)]


def test_the_kinds_that_tell_of_the_shelf_are_named() -> None:
    assert set(KINDS) == {
        "StockCounted", "StockOrdered", "StockReceived", "SpoolFitted", "UpkeepDone", "WentDown", "CameBack",
    }  # fmt: skip
    assert {type(item) for item in ITEMS.values()} == {Material, Spare, Supply}


# What was used week by week


def weekly(*told: Stock, weeks: int, at: datetime) -> list[list[float | None]]:
    found = weekly_use(told, micros(at), weeks)
    return [[None if math.isnan(value) else round(float(value), 6) for value in row] for row in found]


def test_a_fortnight_between_two_counts_is_two_weeks_of_half_its_use() -> None:
    told = book(counted(when(0), 100), counted(when(14), 60), at=when(14))
    assert weekly(told, weeks=3, at=when(14)) == [[None, 20, 20]]


def test_a_week_known_by_half_counts_as_a_whole_one_and_by_less_not_at_all() -> None:
    told = book(counted(when(0), 100), counted(when(10.5), 70), at=when(10.5))
    # 20 a week; the windows end on days 7 and 14, the second known up to 10.5.
    assert weekly(told, weeks=2, at=when(14)) == [[20, 20]]
    assert weekly(told, weeks=2, at=when(14.5)) == [[20, None]]


def test_what_people_noted_taking_is_used_when_they_took_it() -> None:
    told = book(counted(when(0), 10), taken(when(7), 1), taken(when(21), 3), counted(when(28), 6), at=when(28))
    # One in the first week; the three of the second take, noted last, over the rest.
    assert weekly(told, weeks=4, at=when(28)) == [[1, 1, 1, 1]]


def test_items_are_told_apart_and_one_without_a_history_has_no_week() -> None:
    known = book(counted(when(0), 100), counted(when(7), 93), at=when(7))
    assert weekly(book(at=when(7)), known, weeks=1, at=when(7)) == [[None], [7]]
    assert weekly_use([], micros(when(7)), 3).shape == (0, 3)


@given(st.lists(st.tuples(st.integers(1, 40), st.integers(0, 30)), min_size=1, max_size=8))
def test_the_weeks_of_a_known_time_add_up_to_what_was_used(counts: list[tuple[int, int]]) -> None:
    day, there, story = 0, 1000.0, [counted(when(0), 1000)]
    for days, used in counts:
        day, there = day + days, there - used
        story.append(counted(when(day), there))
    weeks = day // 7 + 1
    # Counted again at the end of a whole week.
    story.append(counted(when(7 * weeks), there))
    found = weekly_use([book(*story, at=when(7 * weeks))], micros(when(7 * weeks)), weeks)
    assert np.nansum(found) == pytest.approx(1000 - there)
    assert not np.isnan(found).any()


# How long deliveries take


def test_lead_times_start_from_the_owners_and_follow_the_deliveries() -> None:
    assert lead_time([], 7, 2) == (7, 2)
    # Three deliveries weigh as much as the owner: half-way between 7 and 13.
    mean, spread = lead_time([13, 13, 13], 7, 0)
    assert (mean, spread) == pytest.approx((10, 3))
    mean, spread = lead_time([13] * 97, 7, 0)
    assert mean == pytest.approx(13 - 6 * 3 / 100)
    assert spread < 2


def test_deliveries_apart_from_each_other_widen_the_spread() -> None:
    steady, uneven = (lead_time(days, 7, 1)[1] for days in ([7, 7, 7, 7], [3, 11, 3, 11]))
    assert steady < 1 < uneven
