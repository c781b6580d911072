"""How a shop works, counted from small stories: what is loaded when, what is forgotten, what stops."""

import math
from collections.abc import Sequence
from datetime import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.habits import (
    ENOUGH,
    OCCASIONS,
    QUARTERS_LEFT,
    RUSH,
    PrintPools,
    first_guess,
    forgotten,
    in_rush,
    menu_of,
    occasion,
    stop_rate,
)
from core.habits.learned import Learned
from core.log.frames import entry_frame
from core.numbering import Numbering
from core.setup import WEEKDAYS, Material, PrintFile, Setup, Shift
from core.staffed import Staffed
from core.timeline.facts import facts
from core.window import Window
from tests.core.larkfield import ROWS, a1_alone, at_a1, look, reckoned, start, tell, when

DAY_SHIFT = [Shift(weekday=day, start=time(8), end=time(18), hands=1) for day in WEEKDAYS[:5]]
MODELS = ("bench-220", "bench-300")
NAMES = Numbering(MODELS, ("petg-black",))
SETUP = Setup([*ROWS, *DAY_SHIFT])
STAFFED = Staffed.of(SETUP, Window(when(0), when(300)))


# What a print nobody announced may be

MENU = PrintPools(pools=np.array([2.0, 3.0, 5.0, 8.0, 1.0, 2.0, 24.0]), edges=np.array([0, 4, 7]))
#: Chances evenly spread, so many for each print of both pools.
EVEN = (np.arange(120) + 0.5) / 120


def picked(pool: int, least: float, most: float, chance: np.ndarray = EVEN) -> tuple[list[float], float]:
    """The hours picked by every chance, and the share of the pool."""
    size = len(chance)
    hours, share = MENU.pick(np.full(size, pool), chance, np.full(size, least), np.full(size, most))
    (one,) = set(share.tolist())
    return hours.tolist(), one


@pytest.mark.parametrize(
    ("pool", "least", "most", "prints"),
    [
        (0, 0.0, math.inf, [2.0, 3.0, 5.0, 8.0]),
        (1, 0.0, math.inf, [1.0, 2.0, 24.0]),
        (0, 2.5, 6.0, [3.0, 5.0]),
        (0, 3.0, 5.0, [3.0, 5.0]),
        (0, 2.0, 2.0, [2.0]),
        (1, 1.5, math.inf, [2.0, 24.0]),
        (1, 0.0, 1.9, [1.0]),
    ],
    ids=["all of the first", "all of the second", "inside", "on both bounds", "one", "no upper bound", "the shortest"],
)
def test_prints_between_the_bounds_are_picked_equally_often(
    pool: int, least: float, most: float, prints: list[float]
) -> None:
    hours, share = picked(pool, least, most)
    assert {length: hours.count(length) for length in hours} == dict.fromkeys(prints, len(EVEN) // len(prints))
    assert share == len(prints) / (4, 3)[pool]


@pytest.mark.parametrize(("least", "most"), [(5.5, 7.5), (9.0, math.inf), (0.0, 1.5), (6.0, 4.0)])
def test_where_no_print_of_the_pool_fits_it_is_any_of_them(least: float, most: float) -> None:
    # The second pool has prints of 1, 2 and 24 hours; they are none of the first one's business.
    hours, share = picked(0, least, most)
    assert {length: hours.count(length) for length in hours} == dict.fromkeys([2.0, 3.0, 5.0, 8.0], len(EVEN) // 4)
    assert share == 1.0


def test_every_row_is_picked_from_its_own_pool_and_bounds() -> None:
    hours, share = MENU.pick(
        np.array([1, 0, 1]), np.array([0.99, 0.0, 0.0]), np.array([0.0, 4.0, 1.5]), np.array([99.0, 9.0, 3.0])
    )
    assert hours.tolist() == [24.0, 5.0, 2.0]
    assert share.tolist() == pytest.approx([1.0, 2 / 4, 1 / 3])


@given(
    pools=st.lists(st.lists(st.integers(1, 300), min_size=1, max_size=8), min_size=1, max_size=5),
    chance=st.floats(0, 1, exclude_max=True),
    bounds=st.tuples(st.integers(0, 400), st.integers(0, 400)),
)
def test_no_print_is_picked_that_a_plain_search_would_not_find(
    pools: list[list[int]], chance: float, bounds: tuple[int, int]
) -> None:
    # Quarters of hours, so that bounds are often met exactly.
    least, most = (bound / 4 for bound in bounds)
    lengths = [sorted(length / 4 for length in pool) for pool in pools]
    menu = PrintPools(np.concatenate(lengths), np.cumsum([0, *map(len, lengths)]))
    for number, pool in enumerate(lengths):
        fits = [length for length in pool if least <= length <= most] or pool
        hours, share = menu.pick(np.array([number]), np.array([chance]), np.array([least]), np.array([most]))
        assert (hours[0], share[0]) == (fits[int(chance * len(fits))], len(fits) / len(pool))


@pytest.mark.parametrize(
    ("day", "hour", "expected"),
    [
        (0, 9.5, 34),
        (0, 17.6, 1),
        (1, 8, 40),
        (0, 20, 0),
        (4, 9.5, 34 + QUARTERS_LEFT + 1),
        (4, 17.6, 1 + QUARTERS_LEFT + 1),
        (5, 12, QUARTERS_LEFT + 1),
        (6, 20, 0),
    ],
    ids=["morning", "evening", "opening", "night", "Friday", "Friday evening", "Saturday", "night before Monday"],
)
def test_an_occasion_is_what_is_left_of_the_shift_and_whether_more_than_a_night_follows(
    day: int, hour: float, expected: int
) -> None:
    assert occasion(np.array([micros(when(day, hour))]), STAFFED).tolist() == [expected]


def test_more_hours_than_a_shift_has_are_one_occasion() -> None:
    shifts = [Shift(weekday=day, start=time(), end=time(), hands=1) for day in WEEKDAYS]
    open_always = Staffed.of(Setup([*ROWS, *shifts]), Window(when(0), when(7)))
    assert occasion(np.array([micros(when(0, 9))]), open_always).tolist() == [QUARTERS_LEFT]


def menu(*entries: AnyEntry) -> PrintPools:
    return menu_of(facts(entry_frame(entries), SETUP, Learned()), NAMES, STAFFED)


def pool(found: PrintPools, model: int, now: int) -> list[float]:
    number = model * OCCASIONS + now
    return found.pools[found.edges[number] : found.edges[number + 1]].tolist()


def weekly(file: str, day: int, hour: float, weeks: range, machine: str = "A1") -> list[AnyEntry]:
    """A print started once a week."""
    moments = (when(7 * week + day, hour) for week in weeks)
    return [tell("PrintStarted", at, machine=machine, file=file, revision=1) for at in moments]


def test_without_any_start_every_pool_has_a_print_of_six_hours() -> None:
    for found in (menu(), menu(look(when(0, 9), "printing"))):
        assert len(found.edges) == len(MODELS) * OCCASIONS + 1
        assert all(pool(found, model, now) == [6.0] for model in range(2) for now in range(OCCASIONS))


def test_pools_tell_occasions_apart_where_there_are_enough_starts() -> None:
    weeks = range(ENOUGH)
    found = menu(
        *weekly("clip", 0, 9.5, weeks), *weekly("grille", 0, 17.5, weeks), *weekly("grille", 4, 9.5, weeks),
    )  # fmt: skip
    assert [set(pool(found, 0, now)) for now in (34, 2, 34 + QUARTERS_LEFT + 1)] == [{2.0}, {24.0}, {24.0}]


def test_an_occasion_with_few_starts_takes_in_its_neighbours_and_then_all() -> None:
    few, rest = range(ENOUGH // 2), range(ENOUGH // 2, ENOUGH)
    # Half enough with eight and a half hours left, half with six and a half; and a few long prints on Fridays.
    found = menu(*weekly("clip", 0, 9.5, few), *weekly("grille", 0, 11.5, rest), *weekly("grille", 4, 9.5, range(3)))
    assert pool(found, 0, 30) == pool(found, 0, 34) == [2.0] * (ENOUGH // 2) + [24.0] * (ENOUGH // 2)
    friday = pool(found, 0, 34 + QUARTERS_LEFT + 1)
    assert friday == [2.0] * (ENOUGH // 2) + [24.0] * (len(friday) - ENOUGH // 2)


def test_a_model_has_the_prints_that_were_begun_on_it_or_else_all() -> None:
    clips, feeders = weekly("clip", 0, 9.5, range(5)), weekly("feeder", 0, 9.5, range(5), machine="B1")
    assert [set(pool(menu(*clips, *feeders), model, 34)) for model in range(2)] == [{2.0}, {12.0}]
    assert [set(pool(menu(*clips), model, 34)) for model in range(2)] == [{2.0}, {2.0}]


# What is loaded

GREY_CLIP = PrintFile(
    file="grey", revision=1, product="clip", parts=12, hours=3, grams=60, material="petg-grey", models=()
)
TWO = Numbering(("bench-220",), ("petg-black", "petg-grey"))


def of_two(*files: str) -> PrintPools:
    """The menu of prints started in this order, one a day at half past nine."""
    told = [start(when(day, 9.5), file=file) for day, file in enumerate(files)]
    setup = Setup([*a1_alone(), *DAY_SHIFT, GREY_CLIP, Material(material="petg-grey", name="PETG grey")])
    return menu_of(facts(entry_frame(told), setup, Learned()), TWO, STAFFED)


def test_pools_tell_materials_apart() -> None:
    found = of_two(*["clip", "grey"] * ENOUGH)
    assert [set(pool(found, material, 34)) for material in (0, 1)] == [{2.0}, {3.0}]
    assert found.pool(np.array([0]), np.array([1]), np.array([34])).tolist() == [OCCASIONS + 34]


def test_a_material_that_follows_itself_no_oftener_than_by_chance_says_nothing() -> None:
    turns = of_two(*["clip", "clip", "grey", "grey"] * 30)
    assert turns.shares == pytest.approx([0.5, 0.5])
    assert turns.stays == pytest.approx(0.0, abs=0.05)
    assert of_two(*["clip"] * 60, *["grey"] * 60).stays > 0.8


def test_what_is_loaded_before_and_after_a_print_tells_what_it_was_of() -> None:
    # Of three prints in ten of black; nine in ten keep what is loaded, one takes any.
    found = PrintPools(shares=np.array([0.3, 0.7]), stays=0.9)
    step = np.array([[0.93, 0.07], [0.03, 0.97]])
    told = found.materials(np.array([0, 0, 0, -1, -1]), np.array([0, 1, -1, 1, -1]))
    between = np.array([step[0] * step[:, 0], step[0] * step[:, 1]])
    assert told[:2] == pytest.approx(between / between.sum(axis=1, keepdims=True))
    assert told[2] == pytest.approx(step[0])
    assert told[3] == pytest.approx(np.array([0.3 * 0.07, 0.7 * 0.97]) / (0.3 * 0.07 + 0.7 * 0.97))
    assert told[4] == pytest.approx([0.3, 0.7])


def test_prints_that_end_before_the_day_has_begun_meet_a_full_room() -> None:
    hours = (7.0, 8.0, 8 + RUSH - 0.01, 8 + RUSH + 0.01, 17.9, 18.1)
    moments = np.array([micros(when(0, hour)) for hour in hours])
    assert in_rush(moments, STAFFED).tolist() == [True, True, True, False, False, True]


def test_the_shortest_print_is_that_of_all_pools() -> None:
    assert MENU.shortest == 1.0
    feeders = weekly("feeder", 0, 9.5, range(3), machine="B1")
    assert menu(*weekly("grille", 0, 9.5, range(3)), *feeders).shortest == 12.0


# What nobody noted


def share(hits: int, of: int) -> float:
    """So many of so many, beside the half of one in ten that is believed before anything was seen."""
    return (hits + 0.5) / (of + 10)


def off(hour: float, **fields: object) -> AnyEntry:
    return at_a1("PartsOff", when(0, hour), **fields)


def clip(hour: float) -> AnyEntry:
    return start(when(0, hour), file="clip")


# Clips take two hours. Each story has its visits with both taps, its unnoted starts and its unnoted removals.
VISITS: dict[str, tuple[list[AnyEntry], tuple[int, int, int]]] = {
    "nothing happened": ([], (0, 0, 0)),
    "all noted": ([clip(8), off(10.5), clip(10.6), off(13), clip(13.1)], (2, 0, 0)),
    "a removal forgotten": ([clip(8), clip(10.5), off(13), clip(13.1)], (1, 0, 1)),
    "one forgotten of parts seen done": ([clip(8), look(when(0, 11), "done"), clip(11.1), off(14)], (0, 0, 1)),
    "one forgotten of a failure": ([clip(8), look(when(0, 9), "stopped"), clip(9.5)], (0, 0, 1)),
    "a start forgotten": ([clip(8), off(10.5), look(when(0, 11), "printing"), off(13), clip(13)], (1, 1, 0)),
    "one forgotten of a print taken off": ([clip(8), off(10.5), off(13)], (0, 1, 0)),
    "one forgotten of a print seen stopped": ([clip(8), off(10.5), look(when(0, 11), "stopped")], (0, 1, 0)),
    "both taps of a print between": ([clip(8), off(10.5), clip(14), off(16.5)], (0, 0, 0)),
    "an empty machine": ([clip(8), off(10.5), look(when(0, 14), "empty")], (0, 0, 0)),
    "some of each": (
        [clip(0), off(2.1), clip(2.2), clip(4.5), off(6.6), off(9), clip(9.1), off(11.5), clip(11.6)],
        (3, 1, 1),
    ),
}


@pytest.mark.parametrize(("story", "counts"), VISITS.values(), ids=VISITS.keys())
def test_one_tap_of_a_visit_gives_the_other_one_away(story: list[AnyEntry], counts: tuple[int, int, int]) -> None:
    both, starts, removals = counts
    gaps = reckoned(story, Window(when(0), when(1))).gaps
    assert forgotten(gaps, shortest=2.0) == pytest.approx(
        (share(starts, both + starts), share(removals, both + removals))
    )


@pytest.mark.parametrize(("empty_for", "visits"), [(1.75, 1), (1.85, 0)])
def test_a_pair_counts_as_one_visit_while_no_print_fits_between(empty_for: float, visits: int) -> None:
    # Prints differ, so a tenth of the shortest one is allowed for.
    gaps = reckoned([clip(8), off(10.5), clip(10.5 + empty_for)], Window(when(0), when(1))).gaps
    assert forgotten(gaps, shortest=2.0) == pytest.approx((share(0, visits), share(0, visits)))


def test_the_shares_of_many_visits_are_those_of_the_taps() -> None:
    # Of 400 clips one start in ten and one removal in five is forgotten, neither knowing of the other.
    told = [
        entry
        for number in range(400)
        for entry in (
            *([] if number % 10 == 3 else [clip(3 * number)]),
            *([] if number // 10 % 5 == 3 else [off(3 * number + 2.9)]),
        )
    ]
    gaps = reckoned(told, Window(when(0), when(51))).gaps
    assert forgotten(gaps, shortest=2.0) == pytest.approx((0.1, 0.2), abs=0.01)


# What stops


def rate(*entries: AnyEntry) -> float:
    return stop_rate(reckoned(entries, Window(when(0), when(10))).gaps)


def grilles(*ended: str) -> Sequence[AnyEntry]:
    """A vent grille a day, started at eight and off the next day."""
    return [
        entry
        for day, how in enumerate(ended)
        for entry in (start(when(day, 8)), at_a1("PartsOff", when(day + 1, 8), ended=how))
    ]


def test_stops_are_counted_an_hour_of_printing() -> None:
    # Grilles take 24 hours, clips two.
    assert rate(*grilles("itself", "stopped", "itself")) == pytest.approx(share(1, 3) / 24)
    assert rate(*grilles("itself", "itself")) == pytest.approx(share(0, 2) / 24)
    assert rate(clip(8), off(9, ended="stopped"), clip(9)) == pytest.approx(share(1, 1) / 2)
    mixed = [*grilles("stopped"), start(when(2, 8), file="clip"), at_a1("PartsOff", when(2, 11))]
    assert rate(*mixed) == pytest.approx(share(1, 2) / 13)


def test_without_a_start_prints_are_taken_to_last_six_hours() -> None:
    assert rate(off(9, ended="stopped")) == pytest.approx(share(1, 1) / 6)
    assert rate() == pytest.approx(share(0, 0) / 6)


def test_the_first_guess_is_what_was_counted() -> None:
    story = [*grilles("itself", "stopped"), start(when(2, 8)), start(when(3, 9)), at_a1("PartsOff", when(4, 10))]
    setup, window = Setup([*a1_alone(), *DAY_SHIFT]), Window(when(0), when(7))
    told = facts(entry_frame(story), setup, Learned())
    gaps = reckoned(story, window, [*a1_alone(), *DAY_SHIFT]).gaps
    guess = first_guess(told, gaps, Numbering(("bench-220",), ("petg-black",)), Staffed.of(setup, window))
    assert set(guess.menu.pools) == {24.0}
    # The fourth start alone came without a removal before it; two came with theirs.
    assert (guess.forgets_start, guess.forgets_off) == pytest.approx((share(0, 2), share(1, 3)))
    assert guess.stops == pytest.approx(share(1, 3) / 24)
