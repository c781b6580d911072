from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.stores.stocking import Levels, StockTimes, Terms, levels, order_size, to_order, weeks_left

Numbers = npt.NDArray[np.float64]
NAN = float("nan")


def terms(items: int = 1, **changed: float) -> Terms:
    usual = {"price": 2.0, "pack": 5.0, "least_packs": 1.0, "service": 0.95, "order_cost": 10.0, "holding": 0.25,
             "pinned_min": NAN, "pinned_max": NAN}  # fmt: skip
    return Terms(**{name: np.full(items, value) for name, value in (usual | changed).items()})


def times(lead: float = 1.0, spread: float = 0.2, review: float = 1.0, items: int = 1) -> StockTimes:
    return StockTimes(np.full(items, lead), np.full(items, spread), np.full(items, review))


def found(rate: float, cluster: float = 2.0, when: StockTimes | None = None, **changed: float) -> Levels:
    """Levels of one item whose use varies `cluster` times as much as a Poisson law's."""
    when = when or times()
    mean = rate * when.bridge
    return levels(mean, np.sqrt(cluster * mean), np.array([rate]), when, terms(**changed))


RATES = st.floats(0.01, 500)
CLUSTERS = st.floats(1, 6)


@given(RATES, CLUSTERS, st.floats(0.5, 0.999), st.floats(0.5, 0.999))
def test_more_service_never_lowers_min(rate: float, cluster: float, one: float, other: float) -> None:
    low, high = sorted([one, other])
    assert found(rate, cluster, service=low).min <= found(rate, cluster, service=high).min


@given(RATES, CLUSTERS, st.floats(0.2, 8), st.floats(0.2, 8), st.floats(0.9, 0.999))
def test_a_longer_lead_never_lowers_min(rate: float, cluster: float, one: float, other: float, service: float) -> None:
    low, high = sorted([one, other])
    mins = [found(rate, cluster, times(lead), service=service).min for lead in (low, high)]
    assert mins[0] <= mins[1]


@given(RATES, CLUSTERS, st.floats(0, 1), st.floats(0, 1), st.floats(0.9, 0.999))
def test_a_lead_less_sure_never_lowers_min(
    rate: float, cluster: float, one: float, other: float, service: float
) -> None:
    low, high = sorted([one, other])
    mins = [found(rate, cluster, times(spread=spread), service=service).min for spread in (low, high)]
    assert mins[0] <= mins[1]


@given(RATES, CLUSTERS, st.floats(0.5, 60), st.integers(1, 4))
def test_max_is_whole_packs_above_min_and_no_fewer_than_the_supplier_sells(
    rate: float, cluster: float, pack: float, least: int
) -> None:
    got = found(rate, cluster, pack=pack, least_packs=least)
    packs = (got.max - got.min) / pack
    assert packs == pytest.approx(np.round(packs))
    assert packs >= least - 1e-9


@given(st.floats(-50, 400), RATES, st.floats(0.5, 60), st.integers(1, 4))
def test_an_order_is_whole_packs_and_brings_the_position_between_min_and_max(
    position: float, rate: float, pack: float, least: int
) -> None:
    got, bought = found(rate, pack=pack, least_packs=least), terms(pack=pack, least_packs=least)
    packs = to_order(np.array([position]), got, bought)
    if position > got.min:
        assert packs == 0
    else:
        assert packs == np.round(packs)
        assert packs >= least
        assert got.min < position + packs * pack <= got.max + 1e-6


def test_levels_of_the_owner_hold() -> None:
    got = found(30.0, pinned_min=7, pinned_max=19)
    assert (got.min, got.max, got.rule) == (7, 19, ("pinned",))
    assert found(30.0, pinned_min=7).max == 7 + order_size(np.array([30.0]), terms())
    assert found(30.0, pinned_max=19).min == 18
    assert found(NAN, pinned_min=7, pinned_max=19).max == 19


def test_an_order_within_levels_of_the_owner_that_leave_less_room_than_a_pack() -> None:
    got, bought = found(30.0, pinned_min=7, pinned_max=9), terms()
    assert to_order(np.array([5.0]), got, bought) == 1
    assert to_order(np.array([-6.0]), got, bought) == 3


def test_of_an_item_that_nothing_is_known_of_nothing_is_told() -> None:
    got = found(NAN)
    assert np.isnan([got.min[0], got.max[0]]).all()
    assert got.rule == ("none",)
    assert to_order(np.array([0.0]), got, terms()) == 0


def test_what_is_never_used_is_not_ordered() -> None:
    got = found(0.0)
    assert (got.min, got.max, got.rule) == (0, 0, ("no use",))
    assert to_order(np.array([0.0]), got, terms()) == 0


@pytest.mark.parametrize(
    ("rate", "cluster", "rule"), [(0.1, 1.0, "poisson"), (2.0, 3.0, "negative binomial"), (50.0, 3.0, "gamma")]
)
def test_the_law_fits_the_use(rate: float, cluster: float, rule: str) -> None:
    assert found(rate, cluster, times(spread=0.0)).rule == (rule,)


def test_an_item_alone_gives_the_same_as_among_others() -> None:
    rates, when = np.array([0.05, 3.0, 80.0, 0.0, NAN]), times(items=5)
    mean = rates * when.bridge
    among = levels(mean, np.sqrt(2 * mean), rates, when, terms(5))
    for item, rate in enumerate(rates):
        alone = found(float(rate))
        assert (among.min[item], among.max[item]) == pytest.approx((alone.min[0], alone.max[0]), nan_ok=True)
        assert among.rule[item] == alone.rule[0]


def test_a_short_lot_must_bridge_the_whole_review() -> None:
    long, short = found(20.0, pack=1.0, price=0.5), found(20.0, pack=1.0, price=1e6)
    assert short.max - short.min == 1
    assert short.min > long.min + 5


def test_without_a_price_four_weeks_of_use_are_ordered() -> None:
    assert order_size(np.array([10.0]), terms(price=NAN)) == 40
    assert order_size(np.array([10.0]), terms(price=0.0)) == 40


def test_no_more_is_ordered_than_a_quarter_of_a_year_needs() -> None:
    assert order_size(np.array([2.0]), terms(price=0.001, pack=1.0)) == 26


def test_when_min_is_reached() -> None:
    weekly = np.array([[4.0, 8.0, 0.0, 2.0]])
    for position, week in [(10, 0), (6, 0), (14, 1), (18, 1.5), (22, 2), (23, 3.5), (24, 4), (25, np.inf)]:
        assert weeks_left(np.array([float(position)]), np.array([10.0]), weekly).tolist() == [week], position


def test_what_is_unknown_has_no_date() -> None:
    assert np.isnan(weeks_left(np.array([4.0]), np.array([NAN]), np.ones((1, 3)))).all()
    assert np.isnan(weeks_left(np.array([4.0]), np.array([1.0]), np.full((1, 3), NAN))).all()


def test_terms_are_of_each_item() -> None:
    bought = replace(terms(2), pack=np.array([1.0, 50.0]))
    assert (order_size(np.full(2, 3.0), bought) % bought.pack).tolist() == [0, 0]


def test_at_min_is_time_to_order_and_one_above_it_is_not() -> None:
    levels_of_all = Levels(np.full(2, 10.0), np.full(2, 30.0), ("poisson", "poisson"))
    assert to_order(np.array([10.0, 11.0]), levels_of_all, terms(2)).tolist() == [4, 0]
