"""What the plan answers: orders, a promise, what the room gives and what would give more, on an invented shop."""

from datetime import timedelta

import pytest

from core.answers import Outlook, capacity, gains, plan, promise
from core.errors import Refused
from core.log.store import Log
from core.plan.types import Capacity, Gain, Plan
from core.setup import Model, Product, Shop
from tests.core.conftest import AT
from tests.core.larkfield import ROWS, tell, when


@pytest.fixture(scope="module")
def outlook(busy: Outlook) -> Outlook:
    return busy


@pytest.fixture(scope="module")
def told(outlook: Outlook) -> Plan:
    return plan(outlook)


@pytest.fixture(scope="module")
def room(outlook: Outlook) -> Capacity:
    return capacity(outlook)


@pytest.fixture(scope="module")
def more(outlook: Outlook) -> list[Gain]:
    return gains(outlook)


# What is due


def test_the_orders_most_at_risk_come_first(told: Plan) -> None:
    assert len(told.orders) > 5
    assert [order.chance for order in told.orders] == sorted(order.chance for order in told.orders)
    assert all(0 <= order.chance <= 1 for order in told.orders)


def test_no_order_has_more_parts_than_it_wants_and_none_fewer_by_its_due_time_than_now(told: Plan) -> None:
    assert any(order.due > told.at for order in told.orders)
    for order in told.orders:
        assert 0 <= order.there <= order.quantity
        assert order.by_due.high <= order.quantity
        if order.due > told.at:
            assert order.by_due.low >= order.there - 1e-6


def test_an_order_that_leaves_before_it_is_due_in_nine_of_ten_plays_is_in_time(told: Plan) -> None:
    early = [o.chance for o in told.orders if o.leaves.high is not None and o.leaves.high <= o.due]
    late = [o.chance for o in told.orders if o.leaves.best is None or o.leaves.best > o.due]
    assert min(early) >= 0.9
    # Of those whose middling play is late, more than half are.
    assert max(late) <= 0.5


def test_parts_that_are_finished_are_not_promised_twice(told: Plan) -> None:
    assert any(order.there for order in told.orders)
    for product in told.products:
        given = sum(order.there for order in told.orders if order.product == product.product)
        assert given <= product.finished + 1e-6 + sum(o.quantity for o in told.orders if o.there == o.quantity)


# What can be promised


def test_a_promise_is_kept_as_likely_as_the_owner_wants_and_more_parts_take_longer(
    outlook: Outlook,
) -> None:
    few, many = (promise(outlook, "entrance-block", quantity) for quantity in (20, 400))
    assert few.date is not None
    assert few.leaves.low is not None
    assert AT < few.leaves.low <= few.date
    assert many.date is None or many.date >= few.date
    asked = promise(outlook, "entrance-block", 20, few.date + timedelta(days=2))
    assert asked.chance is not None
    assert asked.chance >= 0.85


def test_an_order_for_tomorrow_hurts_others_and_one_for_much_later_does_not(outlook: Outlook, told: Plan) -> None:
    wanted = next(order.product for order in told.orders if 0.2 < order.chance < 0.95)
    soon = promise(outlook, wanted, 300, AT + timedelta(hours=20))
    assert soon.hurts
    assert all(hurt.before - hurt.after >= 0.05 for hurt in soon.hurts)


@pytest.mark.parametrize(
    ("product", "quantity", "days", "rule"),
    [("unheard-of", 10, None, "nothing_prints_it"), ("feeder-cap", 0, None, "no_parts"),
     ("feeder-cap", float("nan"), None, "no_parts"), ("feeder-cap", 10, -1, "due_in_the_past")],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused(
    outlook: Outlook, product: str, quantity: float, days: int | None, rule: str
) -> None:
    with pytest.raises(Refused) as refused:
        promise(outlook, product, quantity, AT + timedelta(days=days) if days else None)
    assert refused.value.rule == rule


# What the room gives


def test_the_hours_on_the_wall_are_lost_or_come_to_good_parts(room: Capacity) -> None:
    assert room.wall == pytest.approx(8 * 168, rel=1e-6)
    assert sum(step.hours.best for step in room.steps) + room.good.best == pytest.approx(room.wall, rel=1e-6)


def test_the_weeks_to_come_give_about_what_the_last_ones_gave(room: Capacity) -> None:
    gives = sum(week.gives.best for week in room.weeks) / len(room.weeks)
    unused = sum(step.hours.best for step in room.steps if step.name in ("no word", "aside"))
    assert gives == pytest.approx(room.good.best * room.wall / (room.wall - unused), rel=0.1)
    assert len(room.weeks) == 12


def test_a_shop_with_more_orders_than_it_can_serve_has_passed_its_capacity(room: Capacity) -> None:
    week = room.weeks[0]
    assert week.wanted is not None
    assert (room.passed is not None) == any(w.wanted and w.wanted.best > w.gives.best for w in room.weeks)


# What would give more


def by_name(more: list[Gain], what: str) -> Gain:
    return next(gain for gain in more if gain.what == what)


@pytest.mark.parametrize("what", ["machine", "evening", "saturday", "downtime"])
def test_more_machines_more_hands_and_less_downtime_never_give_less(more: list[Gain], what: str) -> None:
    gains_of = [gain.hours for gain in more if gain.what == what]
    assert min(hours.high for hours in gains_of) > 0
    assert min(hours.best for hours in gains_of) > -1


def test_one_more_machine_gives_about_what_each_gives(more: list[Gain], room: Capacity) -> None:
    assert by_name(more, "machine").hours.best == pytest.approx(room.good.best / 8, rel=0.35)


def test_the_change_that_gives_most_comes_first_and_costs_what_it_gives(more: list[Gain], outlook: Outlook) -> None:
    assert [gain.hours.best for gain in more] == sorted((gain.hours.best for gain in more), reverse=True)
    price = next(row.price for row in outlook.setup.all(Model, AT) if row.model == by_name(more, "machine").model)
    one = by_name(more, "machine")
    assert price is not None
    assert one.cost == pytest.approx(price / 104 / one.parts.best)
    evening = by_name(more, "evening")
    hands = outlook.setup.get(Shop, at=AT)
    assert hands is not None
    assert hands.hand_cost is not None
    assert evening.cost == pytest.approx(5 * 2 * hands.hand_cost / evening.parts.best)


def test_a_shop_nobody_knows_yet_has_a_plan_that_says_so(tmp_path_factory: pytest.TempPathFactory) -> None:
    with Log.open(tmp_path_factory.mktemp("new") / "shop.duckdb") as log:
        log.append_setup([*ROWS, Product(product="lid", name="Lid")])
        asked = [("1", "clip"), ("2", "lid")]
        log.append([tell("OrderTaken", when(0), order=n, product=of, quantity=5, due=when(9)) for n, of in asked])
        outlook = Outlook(log, when(1))
        found, room = plan(outlook), capacity(outlook)
    assert not found.learned
    assert found.unprintable == ["2"]
    assert [order.order for order in found.orders] == ["1"]
    assert room.good.best == 0
    assert all(week.gives.best >= 0 for week in room.weeks)
