"""What to load before people leave: against every list there is, against published knapsacks, and by its laws."""

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.plan.best_loading import NEVER, ROUNDING, Left, ListLimits, Load, LoadingList, Worth, best_loading, instead
from tests.tiers import examples

Room = tuple[list[Load], list[Worth], ListLimits]

#: Three tiers of two products: what is needed, what will be, and the rest.
CAPS_AND_CLIPS = [
    Worth("feeder cap", 24, 0.75),
    Worth("feeder cap", 60, 0.25),
    Worth("feeder cap", math.inf, 0.05),
    Worth("queen clip", 200, 0.125),
    Worth("queen clip", math.inf, 0.01),
]


def plain_value(loads: Sequence[Load], worths: Sequence[Worth]) -> float:
    """What a list is worth, tier by tier from where each begins and ends."""
    value = sum(load.later for load in loads)
    for name in {worth.product for worth in worths}:
        parts, begins = sum(load.parts for load in loads if load.product == name), 0.0
        for tier in (worth for worth in worths if worth.product == name):
            value += tier.each * (min(parts, begins + tier.parts) - min(parts, begins))
            begins += tier.parts
    return value


def in_time(minutes: float) -> ListLimits:
    """So many minutes until people leave, whenever they are used."""
    return ListLimits([Left(0.0, minutes)])


def possible(chosen: Sequence[Load], limits: ListLimits) -> bool:
    """Whether the minutes do, counted from each moment on, and the spools."""
    for one in limits.left:
        now = sum(load.minutes for load in chosen if load.at >= one.since)
        again = sum(load.again_minutes for load in chosen if one.since <= load.again < NEVER)
        if now + again > one.minutes + ROUNDING:
            return False
    return all([load.new_spool for load in chosen].count(name) <= count for name, count in limits.spools.items())


def every_list(loads: Sequence[Load], limits: ListLimits) -> Iterator[list[Load]]:
    """Every list that gives a machine one load or none within the minutes."""
    machines = sorted({load.machine for load in loads})
    for choice in product(*[[None, *(load for load in loads if load.machine == name)] for name in machines]):
        chosen = [load for load in choice if load]
        if possible(chosen, limits):
            yield chosen


def room(seed: int, machines: int = 5, files: int = 4) -> Room:
    """Few machines, each with some of the files; round numbers half the time, so that there are ties."""
    draw = random.Random(seed)
    digits = draw.choice([0, 6])
    names = ["feeder cap", "queen clip", "vent grille"]
    of = [draw.choice(names) for _ in range(files)]
    loads = [
        Load(
            f"B{machine}", f"file {file}", of[file], round(draw.uniform(0, 40), digits),
            round(draw.uniform(-9, 14), digits), round(draw.uniform(0, 12), digits),
            draw.choice([None, None, "green", "grey"]), at, draw.choice([NEVER, at + draw.uniform(0, 4)]),
            round(draw.uniform(0, 6), digits),
        )
        for machine in range(machines) for at in [draw.choice([0.0, draw.uniform(0, 4)])] for file in range(files)
        if draw.random() < 0.8
    ]  # fmt: skip
    draw.shuffle(loads)
    worths = []
    for name in names[: draw.randint(0, 3)]:
        each = sorted((round(draw.uniform(0, 2), 1 + digits) for _ in range(draw.randint(1, 4))), reverse=True)
        worths += [Worth(name, draw.choice([0, 15, draw.uniform(1, 80), math.inf]), worth) for worth in each]
    whole = draw.choice([0.0, draw.uniform(5, 40), math.inf])
    later = [Left(draw.uniform(0.5, 6), draw.uniform(0, 15)) for _ in range(draw.randint(0, 3))]
    spools = {name: draw.randint(0, 2) for name in ("green", "grey") if draw.random() < 0.5}
    return loads, worths, ListLimits([Left(0.0, whole), *later], spools)


def holds(found: LoadingList, loads: Sequence[Load], limits: ListLimits) -> bool:
    """Whether a list keeps to one load a machine, to what there is, and to the minutes."""
    machines = [load.machine for load in found.loads]
    once = len(set(machines)) == len(machines) and set(found.loads) <= set(loads)
    return once and possible(found.loads, limits)


@pytest.mark.parametrize("block", range(10))
def test_no_list_of_all_there_are_is_worth_more(block: int) -> None:
    for seed in range(40 * block, 40 * block + 40):
        loads, worths, left = room(seed)
        found = best_loading(loads, worths, left)
        best = max(plain_value(chosen, worths) for chosen in every_list(loads, left))
        assert holds(found, loads, left)
        assert found.value == pytest.approx(plain_value(found.loads, worths), rel=1e-9)
        assert found.value == pytest.approx(best, rel=1e-6)
        assert best * (1 - 1e-9) <= found.bound <= best * (1 + 1e-6)


@given(st.data())
@examples(60)
def test_no_list_is_worth_more_whatever_the_numbers(data: st.DataObject) -> None:
    # Nothing below a thousandth: a part that is worth 1e-300 of another is no case of a shop's.
    number = st.just(0.0) | st.floats(0.001, 1000)
    later = st.builds(lambda size, sign: sign * size, number, st.sampled_from([-1, 1]))
    load = st.builds(Load, st.sampled_from("AB"), st.sampled_from("xyz"), st.sampled_from("pq"), number, later, number)
    loads = data.draw(st.lists(load, max_size=6))
    each = sorted(data.draw(st.lists(number, max_size=3)), reverse=True)
    worths = [Worth("p", data.draw(number | st.just(math.inf)), worth) for worth in each]
    left = in_time(data.draw(number))
    found = best_loading(loads, worths, left)
    best = max(plain_value(chosen, worths) for chosen in every_list(loads, left))
    assert holds(found, loads, left)
    assert found.value == pytest.approx(best, rel=1e-6)
    assert found.bound == pytest.approx(best, rel=1e-6)


#: Capacity, weights, profits and the best profit of data sets P01 to P08 of KNAPSACK_01, John Burkardt, Florida State
#: University (people.sc.fsu.edu/~jburkardt/datasets/knapsack_01), whose best selections give these profits.
KNAPSACKS = {
    "P01": (165, (23, 31, 29, 44, 53, 38, 63, 85, 89, 82), (92, 57, 49, 68, 60, 43, 67, 84, 87, 72), 309),
    "P02": (26, (12, 7, 11, 8, 9), (24, 13, 23, 15, 16), 51),
    "P03": (190, (56, 59, 80, 64, 75, 17), (50, 50, 64, 46, 50, 5), 150),
    "P04": (50, (31, 10, 20, 19, 4, 3, 6), (70, 20, 39, 37, 7, 5, 10), 107),
    "P05": (104, (25, 35, 45, 5, 25, 3, 2, 2), (350, 400, 450, 20, 70, 8, 5, 5), 900),
    "P06": (170, (41, 50, 49, 59, 55, 57, 60), (442, 525, 511, 593, 546, 564, 617), 1735),
    "P07": (
        750,
        (70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120),
        (135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240),
        1458,
    ),
    "P08": (
        6404180,
        (382745, 799601, 909247, 729069, 467902, 44328, 34610, 698150, 823460, 903959, 853665, 551830,
         610856, 670702, 488960, 951111, 323046, 446298, 931161, 31385, 496951, 264724, 224916, 169684),
        (825594, 1677009, 1676628, 1523970, 943972, 97426, 69666, 1296457, 1679693, 1902996, 1844992, 1049289,
         1252836, 1319836, 953277, 2067538, 675367, 853655, 1826027, 65731, 901489, 577243, 466257, 369261),
        13549094,
    ),
}  # fmt: skip


@pytest.mark.parametrize(("capacity", "weights", "profits", "best"), KNAPSACKS.values(), ids=KNAPSACKS)
def test_with_one_load_a_machine_it_is_the_knapsack(
    capacity: int, weights: Sequence[int], profits: Sequence[int], best: int
) -> None:
    loads = [
        Load(f"B{item}", "plate", "feeder cap", profit, 0, weight)
        for item, (weight, profit) in enumerate(zip(weights, profits, strict=True))
    ]
    found = best_loading(loads, [Worth("feeder cap", math.inf, 1)], in_time(capacity))
    assert found.value == best
    assert found.bound == pytest.approx(best, rel=1e-6)
    assert sum(load.minutes for load in found.loads) <= capacity


def test_with_one_tier_without_end_and_no_limit_each_machine_gets_its_own_best() -> None:
    for seed in range(20):
        loads, _, _ = room(seed, machines=12, files=8)
        worths = [Worth("feeder cap", math.inf, 0.5), Worth("queen clip", math.inf, 0.125)]
        found = best_loading(loads, worths, in_time(math.inf))
        own = {
            name: max(plain_value([load], worths) for load in loads if load.machine == name)
            for name in {load.machine for load in loads}
        }
        best = {name: worth for name, worth in own.items() if worth > 0}
        assert {load.machine: plain_value([load], worths) for load in found.loads} == pytest.approx(best)


def test_one_machine_gets_the_best_of_its_loads() -> None:
    for seed in range(20):
        loads, worths, _ = room(seed, machines=1, files=12)
        best = max(plain_value([load], worths) for load in loads)
        assert best_loading(loads, worths, in_time(math.inf)).value == pytest.approx(best)


@pytest.mark.parametrize("seed", range(40))
def test_more_minutes_loads_machines_or_worth_never_make_it_worse(seed: int) -> None:
    loads, worths, left = room(seed, machines=8, files=6)
    least = best_loading(loads, worths, left).value * (1 - 1e-6)
    more = Load("B1", "another file", "feeder cap", 30, 12, 3)
    assert (
        best_loading(
            loads, worths, replace(left, left=[replace(one, minutes=one.minutes + 5) for one in left.left])
        ).value
        >= least
    )
    assert best_loading([*loads, more], worths, left).value >= least
    assert best_loading([*loads, replace(more, machine="B99")], worths, left).value >= least
    assert best_loading(loads, [*worths, Worth("entrance block", 10, 1)], left).value >= least
    twins = [replace(load, machine=f"{load.machine} twin") for load in loads]
    assert best_loading([*loads, *twins], worths, left).value >= least


@pytest.mark.parametrize("seed", range(40))
def test_the_list_does_not_depend_on_the_order_of_what_comes_in(seed: int) -> None:
    loads, worths, left = room(seed, machines=8, files=6)
    found = best_loading(loads, worths, left)
    mixed = random.Random(seed).sample(loads, len(loads))
    by_product = sorted(worths, key=lambda worth: worth.product, reverse=True)
    again = best_loading(mixed, by_product, left)
    assert (set(again.loads), again.value, again.bound) == (set(found.loads), found.value, found.bound)


def test_machines_alike_in_any_order_share_a_product_out_the_same_way() -> None:
    loads = [
        Load(f"B{number}", file, name, parts, 9, 4)
        for number in range(9) for file, name, parts in (("caps", "feeder cap", 12), ("clips", "queen clip", 72))
    ]  # fmt: skip
    found = best_loading(loads, CAPS_AND_CLIPS, in_time(24))
    assert set(best_loading(loads[::-1], CAPS_AND_CLIPS, in_time(24)).loads) == set(found.loads)
    assert len(found.loads) == 6


def test_what_is_needed_goes_before_surplus_of_more_parts() -> None:
    short = Load("B1", "caps x 12", "feeder cap", 12, 0, 4)
    long = Load("B1", "clips x 90", "queen clip", 90, 0, 4)
    needed, surplus = Worth("feeder cap", 12, 0.5), Worth("queen clip", math.inf, 0.01)
    assert best_loading([short, long], [needed, surplus], in_time(10)).loads == (short,)
    # Once the caps are there the clips are the better ones.
    assert best_loading([short, long], [surplus], in_time(10)).loads == (long,)


def test_a_need_is_met_once_and_the_other_machine_prints_what_comes_next() -> None:
    loads = [
        Load(machine, file, name, parts, 10, 4)
        for machine in ("B1", "B2") for file, name, parts in (("caps", "feeder cap", 24), ("clips", "queen clip", 80))
    ]  # fmt: skip
    # 24 caps are needed: 18 h; the next 24 are worth 6 h, and 80 clips 10 h.
    found = best_loading(loads, CAPS_AND_CLIPS, in_time(60))
    assert sorted(load.product for load in found.loads) == ["feeder cap", "queen clip"]
    assert found.value == pytest.approx(18 + 10 + 20)


def test_of_two_as_useful_the_one_with_the_better_time_after_it_wins_and_of_those_the_quicker_change() -> None:
    late, soon = Load("B1", "a", "feeder cap", 6, -1, 4), Load("B1", "b", "feeder cap", 6, 2, 4)
    slow = replace(soon, minutes=11, new_spool="grey")
    assert best_loading([slow, late, soon], CAPS_AND_CLIPS, in_time(30)).loads == (soon,)


def test_a_print_that_costs_more_time_than_it_is_worth_is_not_loaded() -> None:
    load = Load("B1", "caps", "feeder cap", 24, -18, 4)
    assert best_loading([load], CAPS_AND_CLIPS, in_time(10)) == LoadingList((), 0.0, 0.0)
    worth = replace(load, later=-17)
    assert best_loading([worth], CAPS_AND_CLIPS, in_time(10)).loads == (worth,)


def test_a_product_of_no_worth_counts_by_the_time_after_it_alone() -> None:
    load = Load("B1", "grilles", "vent grille", 40, 12, 4)
    found = best_loading([load], CAPS_AND_CLIPS, in_time(10))
    assert (found.loads, found.value) == ((load,), 12)
    assert best_loading([load], [], in_time(10)) == found


def test_hands_are_not_asked_for_what_gives_nothing() -> None:
    loads = [Load("B1", "grilles", "vent grille", 40, 0, 4), Load("B2", "caps", "feeder cap", 0, 0, 0)]
    assert best_loading(loads, CAPS_AND_CLIPS, in_time(10)) == LoadingList((), 0.0, 0.0)


def test_without_loads_or_without_time_for_any_the_list_is_empty() -> None:
    nothing = LoadingList((), 0.0, 0.0)
    assert best_loading([], CAPS_AND_CLIPS, in_time(60)) == nothing
    assert best_loading([Load("B1", "caps", "feeder cap", 24, 10, 4)], CAPS_AND_CLIPS, in_time(3.5)) == nothing
    assert instead(nothing, [], CAPS_AND_CLIPS, in_time(60)) == {}


def test_minutes_that_just_suffice_do() -> None:
    loads = [Load("B1", "caps", "feeder cap", 6, 10, 0.1), Load("B2", "caps", "feeder cap", 6, 10, 0.2)]
    assert len(best_loading(loads, CAPS_AND_CLIPS, in_time(0.3)).loads) == 2


def test_machines_come_in_the_order_given() -> None:
    loads = [Load(name, "caps", "feeder cap", 6, 10, 4) for name in ("B7", "B10", "B2")]
    assert [load.machine for load in best_loading(loads, CAPS_AND_CLIPS, in_time(60)).loads] == ["B7", "B10", "B2"]


def test_of_a_search_cut_short_there_is_still_a_list_and_a_bound_that_holds() -> None:
    for seed in range(20):
        loads, worths, left = room(seed, machines=8, files=6)
        best = best_loading(loads, worths, left)
        hasty = best_loading(loads, worths, left, nodes=0)
        assert holds(hasty, loads, left)
        assert hasty.value == pytest.approx(plain_value(hasty.loads, worths))
        assert bool(hasty.loads) == bool(best.loads)
        assert hasty.value <= best.value * (1 + 1e-6) <= hasty.bound * (1 + 2e-6)


def test_what_each_machine_would_lose_by_its_next_best() -> None:
    caps, clips = Load("B1", "caps", "feeder cap", 24, 10, 4), Load("B1", "clips", "queen clip", 80, 10, 4)
    alone = Load("B2", "grilles", "vent grille", 40, 12, 4)
    loads, left = [caps, clips, alone, replace(alone, file="grilles too", minutes=5)], in_time(8)
    found = best_loading(loads, CAPS_AND_CLIPS, left)
    assert found.loads == (caps, alone)
    # The other file for B2 would take a minute that is not there.
    assert instead(found, loads, CAPS_AND_CLIPS, left) == pytest.approx({"B1": 18 - 10, "B2": 12})
    assert instead(found, loads, CAPS_AND_CLIPS, in_time(9)) == pytest.approx({"B1": 18 - 10, "B2": 0})


@pytest.mark.parametrize("seed", range(40))
def test_the_next_best_is_that_of_all_swaps(seed: int) -> None:
    loads, worths, left = room(seed)
    found = best_loading(loads, worths, left)
    lost = instead(found, loads, worths, left)
    assert list(lost) == [load.machine for load in found.loads]
    for load in found.loads:
        rest = {other for other in found.loads if other != load}
        own = [other for other in loads if other in rest or (other.machine == load.machine and other != load)]
        best = max(plain_value(swap, worths) for swap in every_list(own, left) if rest <= set(swap))
        assert lost[load.machine] == pytest.approx(found.value - best, abs=1e-6 * found.value)


@pytest.mark.parametrize("seed", range(20))
def test_worth_does_not_depend_on_the_order_of_loads_and_never_grows_faster_than_its_loads(seed: int) -> None:
    loads, worths, left = room(seed)
    found = best_loading(loads, worths, left)
    assert best_loading(random.Random(seed).sample(loads, len(loads)), worths, left).value == found.value
    alone = sum(best_loading([load], worths, in_time(math.inf)).value for load in found.loads)
    assert found.value <= alone + 1e-9 * abs(alone)


CAPS = Load("B1", "caps", "feeder cap", 24, 10, 4)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
@pytest.mark.parametrize("name", ["parts", "minutes"])
def test_a_load_of_no_possible_number_is_refused(name: str, bad: float) -> None:
    with pytest.raises(ValueError, match=f"the {name} of 'caps' at 'B1' must be a number from 0 up, got {bad}"):
        replace(CAPS, **{name: bad})


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_load_of_no_possible_time_after_it_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match=f"the hours after it of 'caps' at 'B1' must be a number, got {bad}"):
        replace(CAPS, later=bad)


@pytest.mark.parametrize(
    ("parts", "each", "sentence"),
    [
        (-1, 1, "the parts of a tier of 'feeder cap'"),
        (math.nan, 1, "the parts of a tier of 'feeder cap'"),
        (1, -0.5, "what a part of 'feeder cap' is worth"),
        (1, math.nan, "what a part of 'feeder cap' is worth"),
        (1, math.inf, "what a part of 'feeder cap' is worth"),
    ],
)
def test_a_worth_of_no_possible_number_is_refused(parts: float, each: float, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Worth("feeder cap", parts, each)


def test_further_parts_worth_more_are_refused() -> None:
    rising = [Worth("feeder cap", 10, 0.5), Worth("queen clip", 10, 0.125), Worth("feeder cap", 10, 0.75)]
    with pytest.raises(ValueError, match=r"further parts of 'feeder cap' must not be worth more .* 0\.75 after 0\.5"):
        best_loading([CAPS], rising, in_time(60))


@pytest.mark.parametrize(("since", "minutes"), [(0, -1), (0, math.nan), (-1, 5), (math.nan, 5)])
def test_minutes_of_no_possible_number_are_refused(since: float, minutes: float) -> None:
    with pytest.raises(ValueError, match="the minutes left must be a number from 0 up"):
        Left(since, minutes)


def test_prints_that_end_before_people_leave_share_the_last_minutes_with_what_is_loaded_then() -> None:
    # Two hours are left, ten minutes of them in the last half hour: time for two changes.
    left = ListLimits([Left(0.0, 60), Left(1.5, 10)])
    evening = [Load(name, "caps", "feeder cap", 6, 8, 5, at=1.6) for name in ("B1", "B2")]
    short = [Load(name, "clips", "queen clip", 80, 9, 5, again=1.7, again_minutes=5) for name in ("B3", "B4")]
    longer = [Load(name, "clips", "queen clip", 80, 4, 5) for name in ("B3", "B4")]
    found = best_loading([*evening, *short, *longer], CAPS_AND_CLIPS, left)
    # A short print more (5 h) would cost a machine its night (8 h and its caps).
    assert set(found.loads) == {*evening, *longer}
    more = best_loading([*evening, *short, *longer], CAPS_AND_CLIPS, ListLimits([Left(0.0, 60), Left(1.5, 15)]))
    assert {load.again for load in more.loads if load.product == "queen clip"} == {1.7, NEVER}


def test_no_more_spools_are_fitted_than_are_there() -> None:
    caps = [Load(name, "caps", "feeder cap", 6, 8, 5, new_spool="black") for name in ("B1", "B2", "B3")]
    clips = [Load(name, "clips", "queen clip", 80, 1, 5) for name in ("B1", "B2", "B3")]
    for there in (0, 1, 2, 3):
        found = best_loading([*caps, *clips], CAPS_AND_CLIPS, ListLimits([Left(0.0, 60)], {"black": there}))
        assert [load.new_spool for load in found.loads].count("black") == there
        assert len(found.loads) == 3
    assert len([x for x in best_loading(caps, CAPS_AND_CLIPS, in_time(60)).loads if x.new_spool]) == 3
