"""What the orders on the book will use: parts not yet printed or packed, in grams, by the week they are due."""

from collections.abc import Sequence

import pytest

from core.entries import AnyEntry
from core.log.frames import entry_frame
from core.setup import Setup
from core.stores.booked import grams_booked, open_orders
from tests.core.larkfield import ROWS, start, tell, when

SETUP = Setup(ROWS)


def order(code: str, parts: float, due: float) -> AnyEntry:
    return tell("OrderTaken", when(0), order=code, product="clip", quantity=parts, due=when(due))


def grams(story: Sequence[AnyEntry], day: float = 1) -> list[float]:
    """Grams of PETG black in each of the next three weeks; a clip print of 12 takes 60 g."""
    found = grams_booked(open_orders(entry_frame(story), SETUP), SETUP, when(day), 3)
    return [float(value) for value in found.get("petg-black", [])]


def test_an_order_needs_its_parts_in_the_week_it_is_due() -> None:
    assert grams([order("1", 120, due=3), order("2", 24, due=10)]) == pytest.approx([600, 120, 0])


def test_what_was_packed_or_started_for_it_needs_nothing_more() -> None:
    story = [order("1", 120, due=3), start(when(1), file="clip", order="1"), start(when(2), file="clip", order="1")]
    assert grams(story) == pytest.approx([480, 0, 0])
    assert grams([*story, tell("OrderPacked", when(3), order="1", quantity=60)]) == pytest.approx([300, 0, 0])


def test_what_is_overdue_is_needed_now_and_what_is_far_off_last() -> None:
    assert grams([order("1", 12, due=2), order("2", 12, due=60)], day=9) == pytest.approx([60, 0, 60])


def test_a_shipped_order_and_a_full_one_need_nothing() -> None:
    shipped = [order("1", 120, due=3), tell("OrderShipped", when(2), order="1")]
    full = [order("2", 12, due=3), start(when(1), file="clip", order="2")]
    assert grams([*shipped, *full]) == []
