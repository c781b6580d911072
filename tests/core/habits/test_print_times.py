"""How long prints truly take, learned from sightings of prints whose true times are known."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time, timedelta

import numpy as np
import polars as pl
import pytest

from core.entries import AnyEntry
from core.epoch import FAR, HOUR, micros
from core.habits.learned import Learned
from core.habits.print_times import LAW_DOUBT, PrintTimes, ended_prints, learn_times
from core.setup import WEEKDAYS, PrintFile, Row, Setup, Shift
from core.staffed import Staffed
from core.window import Window
from tests.core.larkfield import ROWS, a1_alone, at_a1, look, reckoned, start, tell, when

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
    `wait` staffed hours on average; of `slips` of them the change nobody noted hides hours more. Some fail.
    """

    shop: float = 1.1
    slower: float = 1.0
    prints: int = 600
    spread: float = 0.01
    wait: float = 0.4
    slips: float = 1 / 30
    fails: float = 1 / 30

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
        end = began + (took * HOUR).astype(np.int64)
        hidden = np.where(chance.random(self.prints) < self.slips, chance.uniform(2, 9, self.prints), 0)
        waited = chance.exponential(self.wait, self.prints) + hidden
        off = STAFFED.reaching(STAFFED.worked(end) + (waited * HOUR).astype(np.int64)) + 60_000_000
        # One look at some hour in which people were in, if there was such an hour.
        share = chance.random(self.prints)
        passed = STAFFED.worked(began) + (share * (STAFFED.worked(off) - STAFFED.worked(began))).astype(np.int64)
        looked = np.clip(STAFFED.reaching(passed), began, off)
        looked = np.where(chance.random(self.prints) < 0.5, looked, began)
        failed = chance.random(self.prints) < self.fails
        lasted = began + (chance.random(self.prints) * (end - began)).astype(np.int64)
        told = {
            "stated": stated,
            "began": began,
            "printing": np.where(failed, lasted, np.where(looked < end, looked, began)),
            "over": np.where(failed, FAR, np.where(looked < end, off, looked)),
            "off": np.where(failed, FAR, off),
            "off_by": np.zeros(self.prints),
        }
        named = dict(zip(NAMES[:3], zip(*(COMMON[kind] for kind in which), strict=True), strict=True))
        frame = pl.DataFrame({**named, **told}, schema=SCHEMA)
        return frame.with_columns(pl.col("over", "off").replace(FAR, None)), truth


def errors(sim: Sim, seeds: Sequence[int], least: int = 20) -> list[list[float]]:
    """By how much the ratio of every kind seen often enough is off (its logarithm), for each seed."""
    found = []
    for seed in seeds:
        prints, truth = sim.run(seed)
        times = learn_times(prints, SETUP, STAFFED)
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
    # Shops are independent of each other: four standard errors of their mean either way.
    assert abs(np.mean(means)) < 4 * np.std(means, ddof=1) / math.sqrt(len(means))
    assert np.abs(means).max() < 0.01


@pytest.mark.full
@pytest.mark.parametrize("prints", [60, 250, 800])
def test_nine_ranges_in_ten_hold_the_truth(prints: int) -> None:
    held = []
    for seed, shop in enumerate(np.linspace(0.85, 1.3, 20)):
        seen, truth = Sim(shop=shop, prints=prints).run(40 + seed)
        ratios = learn_times(seen, SETUP, STAFFED).ratios
        held += [abs(math.log(truth[kind] / ratios[kind][0])) < 1.645 * ratios[kind][1] for kind in COMMON]
    # 240 ranges: not 80 and not 100 in a hundred.
    assert 0.85 <= np.mean(held) <= 0.99


def test_more_sightings_leave_less_doubt() -> None:
    doubts = [
        np.mean([doubt for _, doubt in learn_times(Sim(prints=prints).run(1)[0], SETUP, STAFFED).ratios.values()])
        for prints in (50, 300, 1800)
    ]
    # What the waits of people may differ from any law stays, however many are seen.
    assert doubts[0] > 1.3 * doubts[1]
    assert doubts[1] > 1.2 * doubts[2] > 1.2 * LAW_DOUBT


@pytest.mark.parametrize("shop", [0.85, 1.12, 1.3])
def test_a_file_nobody_has_seen_takes_the_ratio_of_the_shop_with_wider_doubt(shop: float) -> None:
    prints, truth = Sim(shop=shop).run(3)
    ratios = learn_times(prints, SETUP, STAFFED).ratios
    best, doubt = ratios[*RARE, "bench-220"]
    assert best == pytest.approx(np.mean(list(truth.values())), rel=0.02)
    assert doubt > 2 * max(ratios[kind][1] for kind in COMMON if kind[0] in ("clip", "feeder"))


def test_models_of_different_speed_are_told_apart() -> None:
    prints, truth = Sim(slower=1.08, prints=1500).run(5)
    ratios = learn_times(prints, SETUP, STAFFED).ratios
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
    without, with_them = (learn_times(p, SETUP, STAFFED) for p in (prints, pl.concat([prints, told(*[late] * 8)])))
    assert without.ratios[*RARE, "bench-220"][0] < 1.05
    assert with_them.ratios[*RARE, "bench-220"][0] > later - 0.02
    # That nothing was seen of its end, is not counted as a sighting of it.
    of_it = with_them.kinds.index((*RARE, "bench-220"))
    assert with_them.seen[of_it] == without.seen[of_it] == 0


def test_prints_that_failed_early_say_nothing_of_the_time_of_a_whole_one() -> None:
    prints, _ = Sim(shop=1.0).run(4)
    began = micros(when(3, 8))
    early = (*RARE, "bench-220", HOURS[RARE], began, began + HOUR, None, None)
    without, with_them = (
        learn_times(p, SETUP, STAFFED).ratios[*RARE, "bench-220"] for p in (prints, pl.concat([prints, told(early)]))
    )
    assert with_them == pytest.approx(without, rel=1e-3)


def test_a_print_that_ended_at_night_is_no_sighting_of_its_length() -> None:
    day = [(when(n, 9), when(n, 11)) for n in range(3)]
    night = [(when(n, 16.5), when(n + 1, 8.25)) for n in range(2)]
    pairs = [(micros(began), micros(off)) for began, off in day + night]
    rows = [("clip", 1, "bench-220", 1.8, began, began, off, off) for began, off in pairs]
    times = learn_times(told(*rows), SETUP, STAFFED)
    assert dict(zip(times.kinds, times.seen, strict=True))["clip", 1, "bench-220"] == 3
    assert sum(times.seen) == 3


@pytest.mark.parametrize("spread", [0.009, 0.025])
def test_how_much_prints_of_one_file_differ_is_found(spread: float) -> None:
    found = [learn_times(Sim(spread=spread, prints=1500).run(seed)[0], SETUP, STAFFED).spread for seed in range(3)]
    assert np.mean(found) == pytest.approx(spread, rel=0.4)


def test_every_file_revision_and_model_has_its_ratio() -> None:
    times = learn_times(Sim().run(1)[0], SETUP, STAFFED)
    assert set(times.ratios) == {(*file, model) for file in HOURS for model in MODELS}
    assert len(times.kinds) == len(times.logs) == len(times.seen) == len(times.covariance)
    assert np.linalg.eigvalsh(times.covariance).min() > 0


def test_nothing_seen_leaves_the_files_as_they_state_with_wide_doubt() -> None:
    times = learn_times(told(), SETUP, STAFFED)
    assert [best for best, _ in times.ratios.values()] == pytest.approx([1.0] * len(times.kinds), abs=1e-6)
    assert min(doubt for _, doubt in times.ratios.values()) > 0.1
    assert sum(times.seen) == 0
    assert PrintTimes().ratios == {}


# Which prints tell


def ended(*entries: AnyEntry) -> pl.DataFrame:
    """Of a shop with A1 alone, in which people are in from 8 to 17; clips take two hours."""
    rows = [*a1_alone(), *DAY_SHIFT]
    return ended_prints(reckoned(entries, Window(when(0), when(7)), rows, Learned()).gaps, Setup(rows))


def hours_told(*entries: AnyEntry) -> Sequence[tuple[float | None, ...]]:
    """When each print was last seen printing, seen or known to be over, and taken off: hours since its start."""
    return [
        tuple(None if at is None else round((at - row[0]) / HOUR, 6) for at in row[1:])
        for row in ended(*entries).select("began", "printing", "over", "off").iter_rows()
    ]


CLIP = start(when(0, 9), file="clip")


def off(hour: float, **fields: object) -> AnyEntry:
    return at_a1("PartsOff", when(0, hour), **fields)


def at(hour: float, saw: str, **fields: object) -> AnyEntry:
    return look(when(0, hour), saw, **fields)


def late(hour: float, minutes: float = 40) -> dict[str, object]:
    """What happened at that hour was put back from memory so much later."""
    return {"noted_at": when(0, hour, minutes)}


ENDED: dict[str, tuple[list[AnyEntry], tuple[float | None, ...]]] = {
    "taken off": ([off(11.5)], (0.0, 2.5, 2.5)),
    "taken off after a look": ([at(10, "printing"), off(11.5)], (1.0, 2.5, 2.5)),
    "the last of two looks": ([at(9.5, "printing"), at(10.75, "printing"), off(11.5)], (1.75, 2.5, 2.5)),
    "seen done and taken off later": ([at(11.25, "done"), off(14)], (0.0, 2.25, 5.0)),
    "seen both before and after": ([at(10, "printing"), at(11.25, "done"), off(14)], (1.0, 2.25, 5.0)),
    "seen done twice": ([at(11.25, "done"), at(12, "done"), off(14)], (0.0, 2.25, 5.0)),
    "seen done and still there": ([at(11.25, "done")], (0.0, 2.25, None)),
    "seen done, its removal forgotten": ([at(11.25, "done"), start(when(0, 12))], (0.0, 2.25, None)),
    "seen done, its removal put back": ([at(11.25, "done"), off(14, **late(14))], (0.0, 2.25, None)),
}
CUT_SHORT: dict[str, tuple[list[AnyEntry], tuple[float | None, ...]]] = {
    "taken off stopped": ([off(10.5, ended="stopped")], (0.0, None, 1.5)),
    "seen stopped": ([at(10, "printing"), at(10.5, "stopped")], (1.0, None, None)),
    "seen stopped and taken off": ([at(10, "printing"), at(10.5, "stopped"), off(11, ended="stopped")],
                                   (1.0, None, 2.0)),
    "broken down": ([at(10, "printing"), at_a1("WentDown", when(0, 10.5), cause="nozzle")], (1.0, None, None)),
    "seen down": ([at(10, "printing"), at(10.5, "down")], (1.0, None, None)),
    "set aside": ([at(10, "printing"), at_a1("SetAside", when(0, 10.5))], (1.0, None, None)),
}  # fmt: skip


@pytest.mark.parametrize(("story", "expected"), ENDED.values(), ids=ENDED.keys())
def test_a_print_ended_after_it_was_last_seen_printing_and_before_it_was_seen_done_or_gone(
    story: list[AnyEntry], expected: tuple[float | None, ...]
) -> None:
    assert hours_told(CLIP, *story)[:1] == [expected]


def test_a_print_that_ended_at_night_is_kept_as_well() -> None:
    evening = [start(when(0, 16.5), file="clip"), at_a1("PartsOff", when(1, 8.25))]
    assert hours_told(*evening) == [(0.0, 15.75, 15.75)]


@pytest.mark.parametrize(("story", "expected"), CUT_SHORT.values(), ids=CUT_SHORT.keys())
def test_a_failed_or_interrupted_print_tells_how_long_it_lasted_at_least(
    story: list[AnyEntry], expected: tuple[float | None, ...]
) -> None:
    assert hours_told(CLIP, *story) == [expected]


SILENT: dict[str, list[AnyEntry]] = {
    "nothing was noted": [],
    "never announced": [at(9, "printing"), off(11)],
    "went on with a new spool": [CLIP, at(10, "stopped"),
                                 at_a1("SpoolFitted", when(0, 10.5), material="petg-black", grams=1000), off(12)],
    "its start was put back": [start(when(0, 9), file="clip", **late(9)), off(11.5)],
    "its removal was put back": [CLIP, off(11.5, **late(11.5))],
    "its failure was put back": [CLIP, off(10.5, ended="stopped", **late(10.5))],
    "it was put back that it was done": [CLIP, at(11.25, "done", **late(11.25)), off(14)],
}  # fmt: skip


@pytest.mark.parametrize("story", SILENT.values(), ids=SILENT.keys())
def test_a_print_that_tells_nothing_of_its_length_is_left_out(story: list[AnyEntry]) -> None:
    assert ended(*story).is_empty()


@pytest.mark.parametrize(("minutes", "prints"), [(5, 1), (6, 0)])
def test_what_is_noted_within_five_minutes_is_not_from_memory(minutes: float, prints: int) -> None:
    assert len(ended(CLIP, off(11.5, noted_at=when(0, 11.5) + timedelta(minutes=minutes)))) == prints


def test_every_print_has_its_file_its_model_and_what_was_stated() -> None:
    rows = [*ROWS, PrintFile(file="clip", revision=2, product="clip", parts=12, hours=1.5, grams=60,
                             material="petg-black", models=()), *DAY_SHIFT]  # fmt: skip
    story = [
        entry
        for day, machine, file, revision in ((0, "A1", "clip", 1), (1, "A2", "clip", 2), (2, "B1", "feeder", 1))
        for entry in (
            tell("PrintStarted", when(day, 9), machine=machine, file=file, revision=revision),
            tell("PartsOff", when(day + 1, 8), machine=machine),
        )
    ]
    found = ended_prints(reckoned(story, Window(when(0), when(7)), rows, Learned()).gaps, Setup(rows))
    assert found.select("file", "revision", "model", "stated", "began").sort("began").rows() == [
        ("clip", 1, "bench-220", 2.0, micros(when(0, 9))),
        ("clip", 2, "bench-220", 1.5, micros(when(1, 9))),
        ("feeder", 1, "bench-300", 12.0, micros(when(2, 9))),
    ]
    assert sorted(found.columns) == sorted(NAMES)
