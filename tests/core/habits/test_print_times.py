"""How long prints truly take, learned from sightings of prints whose true times are known."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time

import numpy as np
import polars as pl
import pytest

from core.epoch import FAR, HOUR, micros
from core.habits import print_times
from core.habits.print_times import LAW_DOUBT, WAIT_DOUBT, PrintTimes
from core.setup import WEEKDAYS, PrintFile, Row, Setup, Shift
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import ROWS, when

DAY_SHIFT = [Shift(weekday=day, start=time(8), end=time(17), hands=1) for day in WEEKDAYS[:5]]
MODELS = ("bench-220", "bench-300")
#: Stated hours of every file and revision; nobody has printed the last one yet.
HOURS = {
    ("clip", 1): 1.8,
    ("clip", 2): 2.2,
    ("feeder", 1): 3.5,
    ("lid", 1): 5.0,
    ("lid", 2): 6.5,
    ("grille", 1): 13.0,
    ("floor", 1): 4.2,
}
RARE = ("floor", 1)
COMMON = [(*file, model) for file in HOURS for model in MODELS if file != RARE]
NAMES = ("file", "revision", "model", "stated", "began", "printing", "over", "off", "off_by")
SCHEMA = dict(zip(NAMES, (pl.String, pl.Int64, pl.String, pl.Float64, *[pl.Int64] * 4, pl.Float64), strict=True))

#: Hours from when hands came to a machine until the parts are off.
TAKING_OFF = 1 / 60

Kind = tuple[str, int, str]


def room() -> Setup:
    rows: list[Row] = [row for row in ROWS if not isinstance(row, PrintFile)]
    made = {"product": "clip", "parts": 1, "grams": 10, "material": "petg-black", "models": ()}
    files = [PrintFile(file=name, revision=number, hours=hours, **made) for (name, number), hours in HOURS.items()]
    return Setup([*rows, *files, *DAY_SHIFT])


# Ten weeks, over the change to summer time.
WINDOW = Window(when(0), when(70))
SETUP = room()
STAFFED = Staffed.of(SETUP, WINDOW)
OPENS, CLOSES = (int(at) for at in STAFFED.worked(np.array([micros(WINDOW.start), micros(WINDOW.end)])))


@dataclass(frozen=True)
class Sim:
    """A shop whose prints truly take `shop` times what their files say, the second model `slower` times that.

    Files differ by a few per cent and one print of a file from the next by `spread`. Finished prints wait
    `wait` staffed hours on average; of `slips` of them the change nobody noted hides hours more. Some fail. Parts are
    off `taking_off` hours after hands came. Half-way, the times of the second model change by the factor `changed`.
    Moments are told `off_by` hours wrong at the most.
    """

    shop: float = 1.1
    slower: float = 1.0
    prints: int = 600
    spread: float = 0.01
    wait: float = 0.4
    slips: float = 1 / 30
    fails: float = 1 / 30
    taking_off: float = TAKING_OFF
    changed: float = 1.0
    off_by: float = 0.0

    def truth(self, chance: np.random.Generator) -> dict[Kind, float]:
        file = {name: chance.normal(0, 0.03) for name, _ in HOURS}
        model = dict(zip(MODELS, (1.0, self.slower), strict=True))
        return {kind: self.shop * model[kind[2]] * math.exp(file[kind[0]] + chance.normal(0, 0.01)) for kind in COMMON}

    def run(self, seed: int) -> tuple[pl.DataFrame, dict[Kind, float]]:
        """What was seen of prints begun at any hour in which people were in, and the true ratios."""
        chance = np.random.default_rng(seed)
        truth = self.truth(chance)
        which = chance.integers(len(COMMON), size=self.prints)
        stated = np.array([HOURS[kind[:2]] for kind in COMMON])[which]
        took = stated * np.array(list(truth.values()))[which] * chance.normal(1, self.spread, self.prints)
        began = np.sort(STAFFED.reaching(chance.integers(OPENS, CLOSES, self.prints)))
        slower = np.array([kind[2] == MODELS[1] for kind in COMMON])[which]
        took = np.where(slower & (began > began[self.prints // 2]), self.changed, 1.0) * took
        end = began + (took * HOUR).astype(np.int64)
        hidden = np.where(chance.random(self.prints) < self.slips, chance.uniform(2, 9, self.prints), 0)
        waited = chance.exponential(self.wait, self.prints) + hidden
        off = STAFFED.reaching(STAFFED.worked(end) + (waited * HOUR).astype(np.int64))
        off += int(self.taking_off * HOUR)
        # One look at some hour in which people were in, if there was such an hour.
        share = chance.random(self.prints)
        passed = STAFFED.worked(began) + (share * (STAFFED.worked(off) - STAFFED.worked(began))).astype(np.int64)
        looked = np.clip(STAFFED.reaching(passed), began, off)
        looked = np.where(chance.random(self.prints) < 0.5, looked, began)
        failed = chance.random(self.prints) < self.fails
        lasted = began + (chance.random(self.prints) * (end - began)).astype(np.int64)
        off += (chance.uniform(-self.off_by, self.off_by, self.prints) * HOUR).astype(np.int64)
        told = {
            "stated": stated,
            "began": began,
            "printing": np.where(failed, lasted, np.where(looked < end, looked, began)),
            "over": np.where(failed, FAR, np.where(looked < end, off, looked)),
            "off": np.where(failed, FAR, off),
            "off_by": np.full(self.prints, self.off_by),
        }
        named = dict(zip(NAMES[:3], zip(*(COMMON[kind] for kind in which), strict=True), strict=True))
        frame = pl.DataFrame({**named, **told}, schema=SCHEMA)
        return frame.with_columns(pl.col("over", "off").replace(FAR, None)), truth


def learn_times(prints: pl.DataFrame, taking_off: float = TAKING_OFF) -> PrintTimes:
    return print_times.learn_times(prints, SETUP, STAFFED, taking_off)


def errors(sim: Sim, seeds: Sequence[int], least: int = 20) -> list[list[float]]:
    """By how much the ratio of every kind seen often enough is off (its logarithm), for each seed."""
    found = []
    for seed in seeds:
        prints, truth = sim.run(seed)
        times = learn_times(prints)
        known = [k for k, seen in zip(times.kinds, times.seen, strict=True) if seen >= least and k in truth]
        assert len(known) >= 4
        found.append([math.log(times.ratios[kind][0] / truth[kind]) for kind in known])
    return found


def told(*rows: tuple[object, ...]) -> pl.DataFrame:
    return pl.DataFrame([(*row, 0.0) for row in rows], schema=SCHEMA, orient="row")


# What is learned


@pytest.mark.full
@pytest.mark.parametrize("shop", [0.85, 1.0, 1.15, 1.3])
def test_every_kind_seen_twenty_times_is_known_to_one_in_a_hundred_where_hands_are_quick(shop: float) -> None:
    sim = Sim(shop=shop, prints=2500, wait=0.2)
    off = np.concatenate(errors(sim, range(3)))
    assert np.abs(off).max() < 0.01


@pytest.mark.full
@pytest.mark.parametrize("shop", [0.85, 1.0, 1.15, 1.3])
def test_nine_in_ten_kinds_seen_twenty_times_are_known_to_one_in_a_hundred_where_prints_wait(shop: float) -> None:
    off = np.concatenate(errors(Sim(shop=shop, prints=1500), range(10, 14)))
    assert np.quantile(np.abs(off), 0.9) < 0.01


@pytest.mark.full
@pytest.mark.parametrize("slips", [0.0, 0.1])
def test_ratios_are_right_on_average_however_many_changes_nobody_noted(slips: float) -> None:
    means = [np.mean(off) for off in errors(Sim(prints=900, slips=slips), range(20, 30))]
    # A chance that never rises with age is fitted a little high where waits begin, so times a little long.
    assert abs(np.mean(means)) < 0.003
    assert np.abs(means).max() < 0.01


@pytest.mark.full
@pytest.mark.parametrize("prints", [60, 250, 800])
def test_nine_ranges_in_ten_hold_the_truth(prints: int) -> None:
    held = []
    for seed, shop in enumerate(np.linspace(0.85, 1.3, 20)):
        seen, truth = Sim(shop=shop, prints=prints).run(40 + seed)
        ratios = learn_times(seen).ratios
        held += [abs(math.log(truth[kind] / ratios[kind][0])) < 1.645 * ratios[kind][1] for kind in COMMON]
    # 240 ranges. These hands wait by the law that is looked for: of others' waits the ranges must hold as well.
    assert np.mean(held) >= 0.9


@pytest.mark.parametrize("taking_off", [0.1, 0.2])
def test_the_work_of_taking_parts_off_is_no_part_of_the_print(taking_off: float) -> None:
    prints, truth = Sim(prints=1500, taking_off=taking_off).run(7)
    short = [(*file, model) for file in (("clip", 1), ("clip", 2), ("feeder", 1)) for model in MODELS]
    at_once, in_time = (
        [math.log(learn_times(prints, told).ratios[kind][0] / truth[kind]) for kind in short]
        for told in (TAKING_OFF, taking_off)
    )
    assert abs(np.mean(in_time)) < 0.01
    assert np.mean(at_once) > 0.02


def test_moments_told_from_memory_tell_the_time_on_average_with_wider_doubt() -> None:
    sure, vague = Sim(prints=1500, wait=0.2).run(9), Sim(prints=1500, wait=0.2, off_by=0.5).run(9)
    known, told_late = learn_times(sure[0]).ratios, learn_times(vague[0]).ratios
    off = {kind: abs(math.log(told_late[kind][0] / vague[1][kind])) for kind in COMMON}
    assert np.mean(list(off.values())) < 0.02
    assert all(off[kind] < 2.6 * told_late[kind][1] for kind in COMMON)
    assert all(told_late[kind][1] > 1.5 * known[kind][1] for kind in COMMON if HOURS[kind[:2]] < 5)


@pytest.mark.full
@pytest.mark.parametrize("wait", [0.2, 1.0])
def test_short_prints_are_known_less_surely_where_parts_wait_for_long(wait: float) -> None:
    ratios = learn_times(Sim(prints=1500, wait=wait).run(10)[0]).ratios
    short, long = (np.mean([ratios[kind][1] for kind in COMMON if kind[0] == file]) for file in ("clip", "grille"))
    assert short > WAIT_DOUBT * 0.5 * wait / 2.4
    assert (short > 1.5 * long) == (wait == 1.0)


def test_more_sightings_leave_less_doubt() -> None:
    doubts = [
        np.mean([doubt for _, doubt in learn_times(Sim(prints=prints).run(1)[0]).ratios.values()])
        for prints in (50, 300, 1800)
    ]
    # What the waits of people may differ from any law stays, however many are seen.
    assert doubts[0] > 1.1 * doubts[1] > 1.1 * doubts[2]
    assert doubts[2] > 1.1 * LAW_DOUBT


@pytest.mark.parametrize("shop", [0.85, 1.12, 1.3])
def test_a_file_nobody_has_seen_takes_the_ratio_of_the_shop_with_wider_doubt(shop: float) -> None:
    prints, truth = Sim(shop=shop).run(3)
    ratios = learn_times(prints).ratios
    best, doubt = ratios[*RARE, "bench-220"]
    assert best == pytest.approx(np.mean(list(truth.values())), rel=0.02)
    assert doubt > 2 * max(ratios[kind][1] for kind in COMMON if kind[0] in ("feeder", "lid"))


def test_models_of_different_speed_are_told_apart() -> None:
    prints, truth = Sim(slower=1.08, prints=1500).run(5)
    ratios = learn_times(prints).ratios
    for file in (("clip", 1), ("clip", 2), ("feeder", 1)):
        quick, slow = ((*file, model) for model in MODELS)
        assert ratios[slow][0] / ratios[quick][0] == pytest.approx(truth[slow] / truth[quick], rel=0.02)
    # What nobody has seen is slower on the slower one too, though with few models less sure to be so much.
    quick, slow = (ratios[*RARE, model][0] for model in MODELS)
    assert 1.02 < slow / quick < 1.08


@pytest.mark.parametrize("later", [1.1, 1.2])
def test_a_file_always_seen_printing_later_than_it_states_takes_longer(later: float) -> None:
    prints, _ = Sim(shop=1.0).run(4)
    began = micros(when(3, 8))
    late = (*RARE, "bench-220", HOURS[RARE], began, began + int(later * HOURS[RARE] * HOUR), None, None)
    without, with_them = (learn_times(p) for p in (prints, pl.concat([prints, told(*[late] * 8)])))
    assert without.ratios[*RARE, "bench-220"][0] < 1.05
    assert with_them.ratios[*RARE, "bench-220"][0] > later - 0.02
    # That nothing was seen of its end, is not counted as a sighting of it.
    of_it = with_them.kinds.index((*RARE, "bench-220"))
    assert with_them.seen[of_it] == without.seen[of_it] == 0


def test_prints_that_failed_early_say_nothing_of_the_time_of_a_whole_one() -> None:
    prints, _ = Sim(shop=1.0).run(4)
    began = micros(when(3, 8))
    early = (*RARE, "bench-220", HOURS[RARE], began, began + HOUR, None, None)
    without, with_them = (learn_times(p).ratios[*RARE, "bench-220"] for p in (prints, pl.concat([prints, told(early)])))
    assert with_them == pytest.approx(without, rel=1e-3)


def test_a_print_that_ended_at_night_is_no_sighting_of_its_length() -> None:
    day = [(when(n, 9), when(n, 11)) for n in range(3)]
    night = [(when(n, 16.5), when(n + 1, 8.25)) for n in range(2)]
    pairs = [(micros(began), micros(off)) for began, off in day + night]
    rows = [("clip", 1, "bench-220", 1.8, began, began, off, off) for began, off in pairs]
    times = learn_times(told(*rows))
    assert dict(zip(times.kinds, times.seen, strict=True))["clip", 1, "bench-220"] == 3
    assert sum(times.seen) == 3


@pytest.mark.parametrize("spread", [0.009, 0.025])
def test_how_much_prints_of_one_file_differ_is_found(spread: float) -> None:
    found = [learn_times(Sim(spread=spread, prints=1500).run(seed)[0]).spread for seed in range(3)]
    assert np.mean(found) == pytest.approx(spread, rel=0.4)


def test_every_file_revision_and_model_has_its_ratio() -> None:
    times = learn_times(Sim().run(1)[0])
    assert set(times.ratios) == {(*file, model) for file in HOURS for model in MODELS}
    assert len(times.kinds) == len(times.logs) == len(times.seen) == len(times.covariance)
    assert np.linalg.eigvalsh(times.covariance).min() > 0


def test_nothing_seen_leaves_the_files_as_they_state_with_wide_doubt() -> None:
    times = learn_times(told())
    assert [best for best, _ in times.ratios.values()] == pytest.approx([1.0] * len(times.kinds), abs=1e-6)
    assert min(doubt for _, doubt in times.ratios.values()) > 0.1
    assert sum(times.seen) == 0
    assert PrintTimes().ratios == {}
