"""Orders and finished parts told as small stories: taken, made, counted, packed, shipped."""

from datetime import datetime
from random import Random

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from core.entries import AnyEntry, AtMachine
from core.epoch import HOUR, micros
from core.log.frames import entry_frame
from core.orders import ORDER_KINDS, USUAL_LAG, Cover, covers, flows, lags, order_book, packings, still_open, wanted_at
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import at_a1, look, reckoned, start, tell, when

WEEK = Window(when(0), when(7))
#: In from 08:00 to 17:00.
DAILY = Staffed([(micros(when(day, 8)), micros(when(day, 17))) for day in range(7)])
FILES = {"clip": ("clip", 0.9), "grille": ("grille", 0.8)}


def taken(at: datetime, quantity: float, order: str = "0007", product: str = "clip", **fields: object) -> AnyEntry:
    return tell(
        "OrderTaken", at, **{"order": order, "product": product, "quantity": quantity, "due": when(6), **fields}
    )


def packed(at: datetime, quantity: float, order: str = "0007") -> AnyEntry:
    return tell("OrderPacked", at, order=order, quantity=quantity)


def shipped(at: datetime, order: str = "0007") -> AnyEntry:
    return tell("OrderShipped", at, order=order)


def counted(at: datetime, quantity: float, item: str = "clip") -> AnyEntry:
    return tell("StockCounted", at, item=item, quantity=quantity)


def clips(at: datetime) -> AnyEntry:
    """A print of twelve clips, two hours."""
    return start(at, file="clip")


def off(at: datetime, **fields: object) -> AnyEntry:
    return at_a1("PartsOff", at, **fields)


def book(*entries: AnyEntry) -> pl.DataFrame:
    return order_book(entry_frame([e for e in entries if e.kind in ORDER_KINDS]))


def moved(*entries: AnyEntry, unnoted: float = 0.0) -> pl.DataFrame:
    told = [entry for entry in entries if isinstance(entry, AtMachine)]
    return flows(reckoned(told, WEEK).gaps, FILES, unnoted)


def cover(*entries: AnyEntry, unnoted: float = 0.0) -> Cover:
    """That of clips."""
    found, grilles = covers(
        moved(*entries, unnoted=unnoted), entry_frame(entries), book(*entries), ["clip", "grille"], 0
    )
    assert not len(grilles.t)
    return found


def stock(found: Cover, at: datetime) -> float:
    """Finished parts just after a moment (before all: as far as is known)."""
    return float(found.stock[max(np.searchsorted(found.t, micros(at), side="right") - 1, 0)])


def wanted(found: Cover, *moments: datetime) -> list[float]:
    return wanted_at([found], np.array([micros(at) for at in moments]))[:, 0].tolist()


def surely(found: Cover, *moments: datetime) -> list[bool | None]:
    """Whether parts were wanted, None where that is not sure."""
    return [None if 0.05 < chance < 0.95 else chance > 0.5 for chance in wanted(found, *moments)]


# The book


def test_an_order_is_over_when_it_is_packed_whole_or_shipped() -> None:
    told = book(
        taken(when(0), 100, "1"), packed(when(1), 60, "1"), packed(when(2), 40, "1"), shipped(when(3), "1"),
        taken(when(0), 100, "2"), packed(when(1), 60, "2"),
        taken(when(0), 100, "3"), shipped(when(4), "3"),
    )  # fmt: skip
    rows = told.select("order", "packed", "over", "shipped").rows()
    assert rows == [("1", 100, micros(when(2)), micros(when(3))), ("2", 60, None, None),
                    ("3", 0, micros(when(4)), micros(when(4)))]  # fmt: skip


def test_an_order_noted_after_its_parts_were_packed_was_taken_by_then() -> None:
    told = book(packed(when(1), 60), taken(when(2), 100), packed(when(3), 40))
    assert told.select("taken", "over").rows() == [(micros(when(1)), micros(when(3)))]
    assert book(shipped(when(1)), taken(when(2), 100))["taken"].to_list() == [micros(when(1))]


def test_an_order_noted_after_it_was_shipped_took_no_time_and_never_less() -> None:
    story = [clips(when(0)), off(when(0, 9)), shipped(when(1, 9)), taken(when(2, 9), 12), counted(when(3), 5)]
    rows = book(*story)
    (lag,) = lags(rows, packings(entry_frame(story), rows), {"clip": cover(*story)}, DAILY)
    assert lag == 0


def test_open_orders_come_earliest_due_first_with_what_is_left_of_them() -> None:
    told = book(
        taken(when(0), 100, "1", due=when(6)), taken(when(1), 50, "2", due=when(4)), packed(when(2), 20, "2"),
        taken(when(0), 30, "3", due=when(6)), taken(when(0.5), 30, "0", due=when(6)), shipped(when(1), "0"),
    )  # fmt: skip
    assert still_open(told).select("order", "left").rows() == [("2", 30), ("1", 100), ("3", 30)]


def test_a_packing_of_an_order_that_nobody_took_is_of_none() -> None:
    assert book(packed(when(1), 20)).is_empty()
    assert book().is_empty()
    assert still_open(book()).is_empty()


# What comes onto machines and off them


def test_parts_run_from_their_start_and_are_finished_when_they_come_off() -> None:
    told = moved(clips(when(1)), off(when(1, 3), scrap=2, scrap_cause="warped"), start(when(2)))
    assert sorted(told.select("t", "product", "stock", "running").rows()) == [
        (micros(when(1)), "clip", 0, 12), (micros(when(1, 3)), "clip", 10, -12), (micros(when(2)), "grille", 0, 4),
    ]  # fmt: skip


def test_more_scrap_than_parts_gives_nothing_and_what_was_started_runs_no_longer() -> None:
    told = moved(start(when(1)), off(when(3), scrap=8, scrap_cause="warped"))
    assert told.select("product", "stock", "running").rows() == [("grille", 0, 4), ("grille", 0, -4)]


def test_prints_that_nobody_counted_give_what_is_usual() -> None:
    told = moved(clips(when(1)), clips(when(2)))
    assert told.select("stock", "running").sum().rows() == [(pytest.approx(12 * 0.9), 12)]


def test_prints_that_nobody_announced_give_as_much_as_the_others() -> None:
    told = moved(clips(when(1)), off(when(1, 3)), clips(when(2)), clips(when(3)), unnoted=0.2)
    # Of five prints four are announced.
    assert told["stock"].sum() == pytest.approx((12 + 12 * 0.9) / 0.8)
    assert moved(look(when(1), "done"), off(when(2)), unnoted=0.2).is_empty()


def test_what_comes_off_runs_no_longer_however_many_were_on_the_platform() -> None:
    story = [clips(when(1)), off(when(1, 1), on_platform=3, scrap=3, scrap_cause="warped", ended="stopped")]
    assert moved(*story)["running"].sum() == 0


def test_a_file_that_is_printed_no_more_is_of_no_product() -> None:
    gaps = reckoned([clips(when(1)), off(when(1, 3))], WEEK).gaps
    assert flows(gaps, {"grille": ("grille", 1.0)}, 0.0).is_empty()


# Finished parts


def test_a_count_sets_finished_parts_right() -> None:
    found = cover(counted(when(0), 40), clips(when(1)), off(when(1, 3)), counted(when(2), 45), clips(when(3)),
                  off(when(3, 3)))  # fmt: skip
    assert [stock(found, when(day)) for day in (0, 1.5, 2, 4)] == [40, 52, 45, 57]
    assert found.counted


def test_before_the_first_count_it_tells_backwards() -> None:
    found = cover(clips(when(1)), off(when(1, 3)), taken(when(1.5), 8), packed(when(2), 8), counted(when(3), 50))
    assert [stock(found, when(day)) for day in (1, 1.5, 2, 3)] == [46, 58, 50, 50]


def test_without_a_count_there_was_at_least_what_was_packed() -> None:
    found = cover(taken(when(1), 30), packed(when(2), 30), clips(when(3)), off(when(3, 3)))
    assert [stock(found, when(day)) for day in (1, 2, 4)] == [30, 0, 12]
    assert not found.counted


def test_packing_takes_parts_away_and_there_are_never_fewer_than_none() -> None:
    found = cover(counted(when(0), 20), taken(when(1), 50), packed(when(2), 15), packed(when(3), 35))
    assert [stock(found, when(day)) for day in (1, 2, 3)] == [20, 5, 0]


def test_what_was_shipped_was_packed_even_if_nobody_noted_it() -> None:
    found = cover(counted(when(0), 60), taken(when(1), 50), packed(when(2), 15), shipped(when(3)))
    assert [stock(found, when(day)) for day in (2, 3)] == [45, 10]


# What is wanted


def test_parts_are_wanted_from_the_order_until_finished_and_running_ones_cover_it() -> None:
    found = cover(counted(when(0), 15), taken(when(1), 30), clips(when(2)), off(when(2, 3)), clips(when(3)))
    # 15 and 12, and with the second dozen 39 for 30.
    assert surely(found, when(1.5), when(3.5)) == [True, False]
    # With 27 for 30 it is likely, and no more: nobody knows the parts to the last one.
    assert wanted(found, when(2.5)) == [pytest.approx(norm.cdf(3 / 2.7))]
    # What happens at a moment was decided before it.
    assert surely(found, when(1), when(3.01)) == [False, False]
    assert wanted(found, when(3)) == wanted(found, when(2.5))


def test_what_is_over_wants_nothing() -> None:
    found = cover(counted(when(0), 15), taken(when(1), 30), shipped(when(2)))
    assert surely(found, when(1.5), when(2.5)) == [True, None]


def test_an_order_packed_in_part_wants_only_the_rest() -> None:
    found = cover(counted(when(0), 200), taken(when(1), 100), packed(when(2), 50), packed(when(3), 50))
    assert surely(found, when(1.5), when(2.5), when(3.5)) == [False, False, False]
    short = cover(counted(when(0), 40), taken(when(1), 100), packed(when(2), 20))
    assert surely(short, when(1.5), when(2.5)) == [True, True]


def test_before_anything_is_known_nothing_is_wanted() -> None:
    assert surely(cover(), when(1)) == [False]
    assert surely(cover(taken(when(1), 5)), when(0), when(2)) == [False, True]


# Packing and shipping


def hours(*entries: AnyEntry) -> list[float]:
    packed = packings(entry_frame(entries), book(*entries))
    return lags(book(*entries), packed, {"clip": cover(*entries)}, DAILY).tolist()


def test_packing_and_shipping_take_from_when_the_parts_are_there() -> None:
    made = [counted(when(0), 5), clips(when(1, 9)), off(when(1, 12))]
    # There at 12:00; shipped at 10:00 next day, two staffed hours in.
    assert hours(*made, taken(when(1, 8), 17), packed(when(1, 15), 17), shipped(when(2, 10))) == [5 + 2]
    # Taken when all was there.
    assert hours(*made, taken(when(1, 16), 17), packed(when(2, 9), 17), shipped(when(2, 10))) == [1 + 2]


def test_an_order_packed_in_two_goes_takes_as_long_as_one_packed_at_once() -> None:
    made = [counted(when(0), 100), taken(when(1, 9), 100), shipped(when(1, 16))]
    assert hours(*made, packed(when(1, 14), 100)) == [7]
    assert hours(*made, packed(when(1, 12), 50), packed(when(1, 14), 50)) == [7]


def test_an_order_waits_for_parts_that_went_to_another_one() -> None:
    story = [
        counted(when(0), 22), taken(when(1, 8), 20, "1"), taken(when(1, 8), 14, "2"), packed(when(1, 9), 20, "1"),
        shipped(when(1, 10), "1"), clips(when(1, 10)), off(when(1, 13)), packed(when(1, 14), 14, "2"),
        shipped(when(1, 16), "2"),
    ]  # fmt: skip
    assert hours(*story) == [2, 3]


def test_where_nothing_was_shipped_an_hour_is_usual() -> None:
    assert hours(counted(when(0), 5), taken(when(1), 5), packed(when(2), 5)) == [USUAL_LAG]
    assert hours() == [USUAL_LAG]


# Laws


KINDS = st.sampled_from(["count", "take", "pack", "ship", "made"])
WHAT = st.tuples(KINDS, st.integers(0, 30), st.integers(1, 20), st.integers(1, 4))


def story(events: list[tuple[str, int, int, int]]) -> tuple[pl.DataFrame, list[AnyEntry]]:
    """Parts that came off, and entries: four orders are taken at first; at no moment are there two counts."""
    entries = [taken(when(0), 10.0 * n, str(n)) for n in range(1, 5)]
    entries += [taken(when(0, hour), n, f"{n} at {hour}") for what, hour, n, _ in set(events) if what == "take"]
    entries += [packed(when(0, hour), n, str(order)) for what, hour, n, order in events if what == "pack"]
    entries += [shipped(when(0, hour), str(order)) for what, hour, _, order in events if what == "ship"]
    counts = {hour: n for what, hour, n, _ in events if what == "count"}
    entries += [counted(when(0, hour), n) for hour, n in counts.items()]
    made = [(micros(when(0, hour)), "clip", float(n), -float(n)) for what, hour, n, _ in events if what == "made"]
    columns = {"t": pl.Int64, "product": pl.String, "stock": pl.Float64, "running": pl.Float64}
    return pl.DataFrame(made, columns, orient="row"), sorted(entries, key=lambda entry: entry.at)


def after_each(found: Cover) -> list[tuple[float, ...]]:
    """What there was after each moment."""
    last = np.flatnonzero(np.append(np.diff(found.t) > 0, True))
    return np.stack([found.t / HOUR, found.stock, found.running, found.ordered], axis=1)[last].tolist()


@given(st.lists(WHAT, max_size=25), st.randoms())
def test_no_number_of_parts_is_negative_and_what_is_told_first_of_one_moment_is_no_matter(
    events: list[tuple[str, int, int, int]], draw: Random
) -> None:
    made, entries = story(events)
    (found,) = covers(made, entry_frame(entries), book(*entries), ["clip"], 0)
    assert min(found.stock.min(), found.running.min(), found.ordered.min()) >= 0
    mixed = sorted(draw.sample(entries, len(entries)), key=lambda entry: entry.at)
    (again,) = covers(made.reverse(), entry_frame(mixed), book(*mixed), ["clip"], 0)
    assert after_each(again) == after_each(found)
