"""How long prints truly take, learned from sightings of prints whose true times are known."""

import math
from collections.abc import Sequence
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from core.calc.pace import Pace
from core.calc.print_times import PrintTimes, ended_prints, learn_times
from core.calc.staffed import Staffed
from core.entries import AnyEntry
from core.setup import Machine, PrintFile, Row, Setup, Shift
from core.window import Window
from tests.core.larkfield import ROWS, a1_alone, at_a1, look, reckoned, start, when

WEEK_DAYS = ("mon", "tue", "wed", "thu", "fri")
DAY_SHIFT = [Shift(weekday=day, start="08:00", end="17:00", hands=1) for day in WEEK_DAYS]
MODELS = ("bench-220", "bench-300")
HOURS = {"short": 1.8, "middle": 3.5, "long": 6.5, "night": 13.0, "rare": 4.2}
SPREAD, WAIT = 0.01, 0.4


def room() -> Setup:
    rows: list[Row] = [row for row in ROWS if not isinstance(row, Machine | PrintFile | Shift)]
    machines = [Machine(machine=f"P{n}", model=MODELS[n % 2], rack="A", place=n + 1) for n in range(8)]
    files = [
        PrintFile(
            file=name,
            revision=1,
            product="vent-grille",
            parts=1,
            hours=hours,
            grams=10,
            material="petg-black",
            models=MODELS,
        )
        for name, hours in HOURS.items()
    ]
    return Setup([*rows, *machines, *files, *DAY_SHIFT])


SETUP = room()
WINDOW = Window(when(0), when(60))
STAFFED = Staffed.of(SETUP, WINDOW)


def simulated(shop: float, prints: int, seed: int) -> tuple[pl.DataFrame, dict[tuple[str, int, str], float]]:
    """Prints begun in working hours, off some staffed time after their end; one in thirty hides a change."""
    chance = np.random.default_rng(seed)
    truth = {(f, 1, m): shop * math.exp(chance.normal(0, 0.03)) for f in HOURS for m in MODELS}
    rows = []
    for _ in range(prints):
        file, model = str(chance.choice(list(HOURS)[:4])), str(chance.choice(MODELS))
        began = when(int(chance.integers(0, 56)), 7 + chance.uniform(0, 8.5))
        hours = HOURS[file] * truth[file, 1, model] * chance.normal(1, SPREAD)
        end = at(began) + int(hours * 3.6e9)
        waited = chance.exponential(WAIT) + (chance.uniform(2, 9) if chance.random() < 1 / 30 else 0)
        off = int(STAFFED.after(np.array([end]), waited)[0]) + 60_000_000
        rows.append((file, 1, model, HOURS[file], at(began), at(began), off, off))
    names = ("file", "revision", "model", "stated", "began", "printing", "over", "off")
    return pl.DataFrame(rows, schema=list(names), orient="row"), truth


def at(moment: object) -> int:
    return int(moment.timestamp() * 1_000_000)  # type: ignore[attr-defined]


def test_nine_in_ten_kinds_seen_twenty_times_are_known_to_one_in_a_hundred() -> None:
    off = []
    for seed, shop in enumerate((0.9, 1.0, 1.15) * 2):
        prints, truth = simulated(shop, 800, seed)
        times = learn_times(prints, SETUP, STAFFED)
        known = [kind for kind, seen in zip(times.kinds, times.seen, strict=True) if seen >= 20]
        assert {"short", "middle"} <= {file for file, _, _ in known}
        off += [abs(times.ratios[kind][0] / truth[kind] - 1) for kind in known]
    assert np.quantile(off, 0.9) < 0.01


def test_nine_ranges_in_ten_hold_the_truth() -> None:
    held = []
    for seed in range(12):
        prints, truth = simulated(1.05, 150, seed)
        times = learn_times(prints, SETUP, STAFFED)
        held += [abs(math.log(truth[k] / best)) < 1.645 * doubt for k, (best, doubt) in times.ratios.items()]
    # 120 ranges: binomial, two and a half standard deviations either way.
    assert 0.83 <= np.mean(held) <= 0.97


def test_a_file_nobody_has_seen_is_taken_to_be_like_the_others_with_wider_doubt() -> None:
    prints, _ = simulated(1.12, 400, 3)
    ratios = learn_times(prints, SETUP, STAFFED).ratios
    seen = [ratios[f, 1, "bench-220"] for f in ("short", "middle", "long")]
    best, doubt = ratios["rare", 1, "bench-220"]
    assert best == pytest.approx(np.mean([b for b, _ in seen]), rel=0.03)
    assert doubt > 2 * max(d for _, d in seen)


def test_a_file_always_seen_printing_later_than_it_states_takes_longer() -> None:
    prints, _ = simulated(1.0, 300, 4)
    begun = at(when(3, 8))
    seen = begun + int(4.2 * 1.1 * 3.6e9)
    late = [("rare", 1, "bench-220", 4.2, begun, seen, None, None)] * 8
    more = pl.concat([prints, pl.DataFrame(late, schema=prints.schema, orient="row")])
    without, with_them = (learn_times(p, SETUP, STAFFED).ratios["rare", 1, "bench-220"][0] for p in (prints, more))
    assert with_them > without + 0.03


def test_nothing_seen_leaves_the_files_as_they_state_with_wide_doubt() -> None:
    nothing = simulated(1.0, 5, 1)[0].clear()
    times = learn_times(nothing, SETUP, STAFFED)
    assert {round(best, 6) for best, _ in times.ratios.values()} == {1.0}
    assert min(doubt for _, doubt in times.ratios.values()) > 0.1


# Which prints tell


def telling(*entries: AnyEntry) -> pl.DataFrame:
    rows = [*a1_alone(), *DAY_SHIFT]
    return ended_prints(reckoned(entries, Window(when(0), when(7)), rows, Pace()).gaps, Setup(rows))


def hours_told(*entries: AnyEntry) -> Sequence[tuple[float | None, ...]]:
    told = telling(*entries)
    return [
        tuple(None if t is None else round((t - row[0]) / 3.6e9, 6) for t in row[1:])
        for row in told.select("began", "printing", "over", "off").iter_rows()
    ]


def test_a_print_taken_off_ended_between_its_last_look_and_that() -> None:
    story = [start(when(0, 9), file="clip"), look(when(0, 10), "printing"), at_a1("PartsOff", when(0, 11.5))]
    assert hours_told(*story) == [(1.0, 2.5, 2.5)]


def test_a_print_seen_done_had_ended_by_then_and_waited_until_it_was_off() -> None:
    story = [start(when(0, 9), file="clip"), look(when(0, 11.25), "done"), at_a1("PartsOff", when(0, 14))]
    assert hours_told(*story) == [(0.0, 2.25, 5.0)]


def test_a_print_that_was_stopped_tells_how_long_it_lasted_at_least() -> None:
    story = [start(when(0, 9), file="clip"), look(when(0, 10), "printing"), look(when(0, 10.5), "stopped")]
    assert hours_told(*story) == [(1.0, None, None)]


def test_what_was_put_back_from_memory_is_left_out() -> None:
    late = at_a1("PartsOff", when(0, 11), noted_at=when(0, 11) + timedelta(minutes=40))
    assert telling(start(when(0, 9), file="clip"), late).is_empty()
    told = start(when(0, 9), file="clip", noted_at=when(0, 9) + timedelta(minutes=40))
    assert telling(told, at_a1("PartsOff", when(0, 11))).is_empty()


def test_a_print_never_announced_or_with_a_new_spool_tells_nothing() -> None:
    assert telling(look(when(0, 9), "printing"), at_a1("PartsOff", when(0, 11))).is_empty()
    spool = at_a1("SpoolFitted", when(0, 10.5), material="petg-black", grams=1000)
    story = [start(when(0, 9), file="clip"), look(when(0, 10), "stopped"), spool, at_a1("PartsOff", when(0, 12))]
    assert telling(*story).is_empty()


def test_without_any_entry_there_is_nothing_to_tell() -> None:
    assert telling().is_empty()
    assert PrintTimes().ratios == {}
