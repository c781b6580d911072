"""The room as it is and as it works, put together for `forward` from what was reckoned and learned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy.special import ndtri

from core.arrays import Flags, Micros, Numbers, Rows
from core.epoch import HOUR, micros
from core.habits.habits import Habits, in_rush
from core.habits.learned import Learned
from core.orders import Cover, wanted_at
from core.plan import choosing
from core.plan.laws import DOWN, EMPTY, FAILED, FINE, PRINTED, WAITED, HandsClock, Laws, Now, Preferences, Work
from core.setup import Machine, PrintFile, is_for
from core.staffed import Spell, Staffed
from core.statistics.hazard import Hazard
from core.statistics.turnbull import turnbull
from core.timeline import downtime_lengths
from core.timeline.faults import down_spells

#: Quantiles of a table.
QUANTILES = 512
#: Nothing of the past of a machine's repair is known: hours it takes (common practice, no source), and the longest.
USUAL_REPAIR, LONGEST_REPAIR = 12.0, 400.0
#: So many visits without a fault are added to those seen, and half a fault.
FAULT_PRIOR = 10.0
#: How much a shop changes from weeks to weeks besides what chance explains (spread of the logarithm; no source).
CHANGES = 0.08
#: How much it comes to print rather of one product than of others besides what its starts tell (the same; measured on
#: invented shops: without it the parts made in four weeks of products that are short lay in their 80 % range in 67 to
#: 74 % of the cases, with more than this the products most asked for lose parts in the play that they do not lose).
MIX = 0.2
#: Waits and the like are scaled in one step by no less and no more than this.
SCALED = 0.3, 2.0
#: The same habits are drawn each time, so that plays differ by what is compared alone.
SEED = 1
#: The power of its hours by which a file becomes likelier in one step.
TILTED = -0.5, 0.5
#: Some machines that are cleared always stand a while (common practice, no source).
AT_ONCE = 0.97
#: A machine found out of order within so many hours of a removal was so at that visit.
SAME_VISIT = 1.0


@dataclass(frozen=True)
class Named:
    """What the numbers of `forward` stand for."""

    files: tuple[PrintFile, ...]
    products: tuple[str, ...]
    materials: tuple[str, ...]
    models: tuple[str, ...]

    def file(self, code: str | None) -> int:
        """The place of the newest revision of a file, -1 if there is none."""
        return next((n for n, row in enumerate(self.files) if row.file == code), -1)

    @property
    def product_of(self) -> Rows:
        """The product of every file."""
        return np.array([self.products.index(row.product) for row in self.files], dtype=np.int64)

    @property
    def fits(self) -> Flags:
        """Which file is for which model [models, files]."""
        return np.array([[is_for(row, model) for row in self.files] for model in self.models], dtype=bool)


def named(machines: Sequence[Machine], files: Sequence[PrintFile]) -> Named:
    """The files that some machine here can print, and what goes with them."""
    models = tuple(sorted({row.model for row in machines}))
    mine = tuple(row for row in files if any(is_for(row, model) for model in models))
    materials = tuple(sorted({row.material for row in mine}))
    return Named(mine, tuple(sorted({row.product for row in mine})), materials, models)


def clock(staffed: Staffed, spells: Sequence[Spell], at: int, hours: float) -> HandsClock:
    """`Clock` for `hours` from `at` (microseconds); `staffed` runs at the speed of hands."""
    edges = staffed.edges
    edges = np.unique(np.concatenate([[at], edges[(edges > at) & (edges < at + int(2 * hours * HOUR))]]))
    grid = moments(at, hours)
    hands = np.zeros(len(grid), dtype=np.int64)
    for spell in spells:
        # The most that are in at any moment of it, or those who open the shop would not be there yet.
        inside = (grid + HOUR // FINE > micros(spell.window.start)) & (grid < micros(spell.window.end))
        hands[inside] = np.maximum(hands[inside], spell.hands)
    worked = (staffed.worked(edges) - staffed.worked(np.array([at]))) / HOUR
    return HandsClock((edges - at) / HOUR, worked, hands, in_rush(grid, staffed))


def moments(at: int, hours: float) -> Micros:
    """The moments of `Clock.hands` and `Choice.suits`."""
    return at + (np.arange(int(hours * FINE)) * (HOUR / FINE)).astype(np.int64)


def work(names: Named, learned: Learned, good: dict[str, float]) -> Work:
    """`Work` with true print times, `good` being the good share of a file's parts where it is known."""
    hours = np.full((len(names.models), len(names.files)), np.nan)
    for m, model in enumerate(names.models):
        for f, row in enumerate(names.files):
            if is_for(row, model):
                hours[m, f] = row.hours * learned.ratio(row.file, row.revision, model)
    material = np.array([names.materials.index(row.material) for row in names.files], dtype=np.int64)
    parts = np.array([row.parts * good.get(row.file, good.get("", 1.0)) for row in names.files])
    return Work(names.product_of, material, parts, hours)


def good_shares(removals: pl.DataFrame) -> dict[str, float]:
    """The good share of the parts of prints that ended by themselves, by file, drawn to that of all ("")."""
    whole = removals.filter((pl.col("ended") == "itself") & pl.col("good").is_not_null() & (pl.col("parts") > 0))
    of_all = (float(whole["good"].sum()) + 1) / (float(whole["parts"].sum()) + 1)
    by_file = whole.group_by("file").agg(pl.col("good").sum(), pl.col("parts").sum())
    found = {file: (good + 50 * of_all) / (parts + 50) for file, good, parts in by_file.iter_rows() if file}
    return {**found, "": of_all}


def habit(
    names: Named, gaps: pl.DataFrame, done: Work, cover: Sequence[Cover], staffed: Staffed
) -> choosing.Habit:  # fmt: skip
    """How hands choose what to start, learned from the starts in `gaps`."""
    files = {row.file: n for n, row in enumerate(names.files)}
    begun = gaps.filter((pl.col("kind") == "PrintStarted") & ~pl.col("proving"))
    begun = begun.filter(pl.col("file").is_in(list(files)) & pl.col("model").is_in(list(names.models)))
    before = gaps.select("id", before=pl.col("loaded").shift(1).over("machine"))
    begun = begun.join(before, on="id", how="left", maintain_order="left")
    t = begun["t"].to_numpy()
    model = np.array([names.models.index(m) for m in begun["model"]], dtype=np.int64)
    file = np.array([files[f] for f in begun["file"]], dtype=np.int64)
    known = {material: n for n, material in enumerate(names.materials)}
    loaded = np.array([known.get(material, -1) for material in begun["before"]], dtype=np.int64)
    return choosing.learned(choosing.Starts(
        file, ~np.isnan(done.hours)[model], loaded[:, None] == done.material, wanted_at(cover, t)[:, done.product],
        choosing.share_printing(t[:, None], done.hours[model], staffed),
    ))  # fmt: skip


def choice(names: Named, how: choosing.Habit, done: Work, staffed: Staffed, grid: Micros, draws: int) -> Preferences:
    """What hands start at the moments of `grid`, as they choose: so many draws of what is known of that."""
    same = np.arange(len(names.materials) + 1)[:, None] == done.material
    fits = ~np.isnan(done.hours)[:, None, :]
    files, loaded, wanted = how.drawn(draws, SEED)
    mix = np.exp(MIX * np.random.default_rng(SEED + 1).standard_normal((draws, len(names.products))))
    files = files * mix[:, names.product_of]
    weights = files[:, None, None, :] * np.where(same, loaded[:, None, None], 1.0)[:, None] * fits
    suits = np.zeros((len(names.models), len(grid), len(names.files)))
    for place, hours in enumerate(done.hours):
        suits[place] = np.nan_to_num(choosing.share_printing(grid[:, None], hours[None, :], staffed) ** how.suits)
    return Preferences(weights, wanted, suits)


def laws(names: Named, learned: Learned, gaps: pl.DataFrame, upkeep: tuple[int, float], change_hours: float) -> Laws:
    """How this shop works, from what was learned, from the faults in `gaps`, and from `upkeep`: how often, and hours
    in all.
    """
    habits = learned.habits or Habits()
    visits = gaps.filter(pl.col("kind") == "PartsOff")
    faults = down_spells(gaps).height
    at_once = (visits["next_kind"] == "WentDown") & (visits["until"] - visits["t"] < SAME_VISIT * HOUR)
    stopped = visits["ended"] == "stopped"
    after, times, hours = int((at_once & stopped).sum()), *upkeep
    others = max(faults - after, 0) + times
    breaks = (others + 0.5) / (int((~stopped).sum()) + FAULT_PRIOR), (after + 0.5) / (int(stopped.sum()) + 1.0)
    mended = repairs(gaps, round(QUANTILES * (faults + 1) / (faults + times + 1)))
    # Hands that find a machine out of order do not start it, and were counted among those that did not.
    broken = float(np.average(breaks, weights=[max(int((~stopped).sum()), 1), int(stopped.sum())]))
    down = np.concatenate([mended, np.full(QUANTILES - len(mended), hours / max(times, 1))])
    return Laws(
        rush=table(habits.outside), calm=table(habits.inside), idle=table(habits.idle),
        change=np.full(1, change_hours), down=np.sort(down), ratio=np.exp(learned.times.spread * ndtri(_shares(64))),
        at_once=min(habits.at_once / (1 - broken), AT_ONCE), stops=habits.stops, breaks=breaks,
        tried=tried(names, gaps) / max(faults + times, 1),
        doubt=math.hypot(CHANGES, 1 / math.sqrt(visits.height + 1)),
    )  # fmt: skip


def tried(names: Named, gaps: pl.DataFrame) -> Numbers:
    """How often a machine that came back was tried out first with a print of each material [materials]."""
    rows = gaps.filter(pl.col("kind").is_in(["CameBack", "PrintStarted"]))
    after = rows.with_columns(before=pl.col("kind").shift(1).over("machine")).filter(
        (pl.col("before") == "CameBack") & (pl.col("kind") == "PrintStarted") & pl.col("proving")
    )
    of = {row.file: names.materials.index(row.material) for row in names.files}
    found = np.array([of[file] for file in after["file"] if file in of], dtype=np.int64)
    return np.bincount(found, minlength=len(names.materials)).astype(np.float64)


def paced(laws: Laws, was: Numbers, played: Numbers) -> Laws:
    """The laws with waits, repairs and empty times longer or shorter, so that a print goes with as many hours of each
    as it did: `was` and `played`, as `Played.per_print`.

    Waits as learned hold the time for which all hands were busy, which a play adds itself; so do others overlap.
    """
    factor = np.clip(was / np.maximum(played, 1e-9), *SCALED)
    return replace(
        laws, rush=laws.rush * factor[WAITED], calm=laws.calm * factor[WAITED], idle=laws.idle * factor[EMPTY],
        down=laws.down * factor[DOWN],
    )  # fmt: skip


def tilted(how: choosing.Habit, done: Work, was: Numbers, played: Numbers) -> choosing.Habit:
    """The habit with longer or shorter files likelier, so that a print takes as long as it did."""
    length, weight = np.log(np.nanmean(done.hours, axis=0)), np.exp(how.files)
    spread = float(np.cov(length, aweights=weight)) if len(length) > 1 else 0.0
    if not spread or not was[PRINTED]:
        return how
    step = np.log(was[PRINTED] / (played[PRINTED] + played[FAILED])) / spread
    return replace(how, files=how.files + np.clip(step, *TILTED) * length)


def empty(names: Named, machines: Sequence[Machine], clock: HandsClock, count: int) -> Now:
    """The room with nothing on any machine, hands coming to each as they come in."""
    shape = (count, len(machines))
    opens = float(clock.reached(np.array([1e-6]))[0])
    nothing = np.full(shape, -1, dtype=np.int64)
    model = np.array([names.models.index(row.model) for row in machines], dtype=np.int64)
    return Now(model, np.zeros(shape), np.full(shape, opens), nothing, np.ones(shape, dtype=bool), nothing)


def _shares(count: int = QUANTILES) -> Numbers:
    return (np.arange(count) + 0.5) / count


def table(hazard: Hazard) -> Numbers:
    """The quantiles of a wait."""
    return hazard.age(-np.log1p(-_shares()))


def repairs(gaps: pl.DataFrame, count: int) -> Numbers:
    """So many quantiles of the hours machines stay down."""
    rows = downtime_lengths.durations(gaps)
    if rows.is_empty():
        return -USUAL_REPAIR * np.log1p(-_shares(count))
    hours = turnbull(rows["least"].to_numpy(), rows["most"].to_numpy()).quantile(_shares(count))
    most = max(float(hours[np.isfinite(hours)].max(initial=0.0)), USUAL_REPAIR)
    return np.minimum(np.where(np.isfinite(hours), hours, 2 * most), LONGEST_REPAIR)
