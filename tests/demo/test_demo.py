"""The invented shop: its truth is whole, it lands where small rooms do, its people err as people do."""

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from core.entries import KINDS
from core.errors import Refused
from core.log.store import Log
from core.setup import Machine, PrintFile, Setup
from demo.make import Truth, imagine, make
from demo.people import NO_SLIPS, ONE_IN_FIVE, Slips
from demo.shop import ZONE, shop_rows

UNTIL = datetime(2026, 6, 1, 10, 17, 5, 123, tzinfo=UTC)
#: The end of a span with the slow months in it.
AFTER_SLOW_MONTHS = datetime(2025, 12, 20, 3, tzinfo=UTC)
STATES = {"printing", "proving", "done", "stopped", "empty", "upkeep", "down", "waiting", "aside"}


@pytest.fixture(scope="module")
def shop() -> Truth:
    return imagine(machines=36, weeks=26, seed=1, until=UNTIL)


@pytest.fixture(scope="module")
def told_all() -> Truth:
    return imagine(machines=12, weeks=8, seed=4, until=UNTIL, slips=NO_SLIPS)


def shares(truth: Truth) -> dict[str, float]:
    spent = truth.stretches.group_by("state").agg((pl.col("end") - pl.col("start")).sum().alias("spent"))
    total = spent["spent"].sum()
    return {state: share / total for state, share in spent.iter_rows()}


def state_at(truth: Truth, machine: str, moment: datetime) -> str:
    found = truth.stretches.filter(pl.col("machine") == machine, pl.col("start") <= moment, pl.col("end") > moment)
    return str(found["state"].item())


def local_hour(column: str) -> pl.Expr:
    return pl.col(column).dt.convert_time_zone(ZONE.key).dt.hour()


def test_true_stretches_cover_every_machine_from_start_to_end_without_gap_or_overlap(shop: Truth) -> None:
    assert shop.end == UNTIL
    assert shop.end - shop.start == timedelta(weeks=26)
    assert set(shop.stretches["state"]) == STATES
    by_machine = shop.stretches.partition_by("machine", as_dict=True)
    assert len(by_machine) == 36
    for stretches in by_machine.values():
        assert stretches["start"][0] == shop.start
        assert stretches["end"][-1] == shop.end
        assert stretches["start"][1:].to_list() == stretches["end"][:-1].to_list()
        assert (stretches["start"] < stretches["end"]).all()
        assert (stretches["end"] - stretches["start"]).sum() == timedelta(weeks=26)


@pytest.mark.full
@pytest.mark.parametrize(("seed", "until"), [(1, UNTIL), (2, UNTIL), (3, AFTER_SLOW_MONTHS)])
def test_the_room_lands_where_small_rooms_do(seed: int, until: datetime) -> None:
    share = shares(imagine(seed=seed, until=until, slips=NO_SLIPS))
    out_of_service = share["down"] + share["waiting"]
    assert 0.05 < out_of_service < 0.10
    assert 0.10 < out_of_service + share["upkeep"] < 0.15
    assert 0.45 < share["printing"] + share["proving"] < 0.65


def test_about_one_print_in_twenty_stops_early_and_run_out_spools_are_resumed(shop: Truth) -> None:
    after = shop.stretches.with_columns(then=pl.col("state").shift(-1).over("machine"))
    resumed = after.filter(pl.col("state") == "stopped", pl.col("then").is_in(["printing", "proving"])).height
    failed = shop.prints.filter(~pl.col("by_itself")).height
    assert resumed > 0
    assert 0.04 < (resumed + failed) / shop.prints.height < 0.065


def test_true_print_time_is_the_stated_time_by_the_files_factor_but_for_a_little_noise(shop: Truth) -> None:
    setup = Setup(shop.rows)
    after = shop.stretches.with_columns(then=pl.col("state").shift(-1).over("machine"))
    whole = after.filter(pl.col("state") == "printing", pl.col("then") == "done")
    runs = whole.join(shop.prints, left_on=["machine", "start"], right_on=["machine", "started"])
    which = runs.select("file", "revision", "machine")
    stated = [setup.file(file, revision).hours for file, revision, _ in which.iter_rows()]  # type: ignore[union-attr]
    models = {row.machine: row.model for row in setup.all(Machine, UNTIL)}
    factor = [shop.factors[file, revision, models[machine]] for file, revision, machine in which.iter_rows()]
    took = (runs["end"] - runs["start"]).dt.total_seconds(fractional=True) / 3600
    ratio = took / pl.Series(stated) / pl.Series(factor)
    assert runs.height > 5000
    assert ratio.mean() == pytest.approx(1, abs=0.001)
    assert ratio.std() == pytest.approx(0.01, abs=0.001)
    assert 0.95 < min(factor) < 1.05 < max(factor) < 1.2


def test_prints_end_at_night_and_stand_done_until_somebody_comes(shop: Truth) -> None:
    night = shop.prints.filter(local_hour("ended").is_between(0, 5))
    assert night.height > 1000
    assert night.filter(pl.col("off") - pl.col("ended") < timedelta(hours=1)).is_empty()


def test_people_start_prints_and_take_parts_off_in_staffed_time_only(shop: Truth) -> None:
    for column in ("started", "off"):
        moments = shop.prints[column].dt.convert_time_zone(ZONE.key)
        assert set(moments.dt.weekday().unique()) == {1, 2, 3, 4, 5, 6}
        assert moments.dt.hour().min() >= 8  # type: ignore[operator]
        evenings = moments.filter(moments.dt.hour() >= 18).dt.date().unique()
        assert evenings.len() == 1, "only the one evening nobody expected"


def test_every_removal_has_its_true_counts(shop: Truth) -> None:
    prints = shop.prints
    assert (prints["good"] + prints["scrap"] == prints["parts"]).all()
    assert prints.filter(pl.col("scrap") > 0)["scrap_cause"].null_count() == 0
    assert prints.filter(pl.col("scrap") == 0)["scrap_cause"].null_count() == (prints["scrap"] == 0).sum()
    assert prints.filter(pl.col("ended") < pl.col("started")).is_empty()
    assert prints.filter(pl.col("off") <= pl.col("ended")).is_empty()


def test_one_machine_is_set_aside_for_weeks_and_put_back(shop: Truth) -> None:
    aside = shop.stretches.filter(pl.col("state") == "aside")
    assert aside.height == 1
    assert timedelta(weeks=3) <= aside["end"].item() - aside["start"].item() <= timedelta(weeks=6)


def test_the_same_arguments_give_the_same_shop_to_the_last_id() -> None:
    one, other = (imagine(machines=5, weeks=3, seed=7, until=UNTIL) for _ in range(2))
    assert one.entries == other.entries
    assert one.rows == other.rows
    assert one.factors == other.factors
    assert one.stretches.equals(other.stretches)
    assert one.prints.equals(other.prints)
    assert imagine(machines=5, weeks=3, seed=8, until=UNTIL).entries != one.entries


def test_the_slips_of_the_people_change_nothing_in_the_true_life() -> None:
    careful, careless = (imagine(machines=5, weeks=3, until=UNTIL, slips=slips) for slips in (NO_SLIPS, ONE_IN_FIVE))
    assert careful.stretches.equals(careless.stretches)
    assert careful.prints.equals(careless.prints)


def test_every_kind_of_entry_occurs_but_the_closing_of_a_question(shop: Truth, told_all: Truth) -> None:
    assert {entry.kind for entry in [*shop.entries, *told_all.entries]} == KINDS.keys() - {"QuestionClosed"}


def test_no_entry_is_from_the_future_or_noted_before_it_happened(shop: Truth) -> None:
    assert all(shop.start <= entry.at <= entry.noted_at <= shop.end for entry in shop.entries)
    assert len({entry.id for entry in shop.entries}) == len(shop.entries)


def test_without_slips_the_entries_are_the_truth(told_all: Truth) -> None:
    starts = {(e.machine, e.at) for e in told_all.entries if e.kind == "PrintStarted"}
    removals = {(e.machine, e.at): e.scrap for e in told_all.entries if e.kind == "PartsOff"}
    prints = told_all.prints
    assert set(prints.select("machine", "started").iter_rows()) <= starts
    assert removals == {
        (machine, off): scrap for machine, off, scrap in prints.select("machine", "off", "scrap").iter_rows()
    }
    seen = {"proving": "printing", "waiting": "down"}
    looks = [e for e in told_all.entries if e.kind == "Looked"][:300]
    assert [e.saw for e in looks] == [seen.get(s := state_at(told_all, e.machine, e.at), s) for e in looks]


def test_a_round_sees_every_machine_of_a_rack_once(told_all: Truth) -> None:
    rounds = Counter((e.round, e.machine) for e in told_all.entries if e.kind == "Looked" and e.round)
    assert set(rounds.values()) == {1}
    sizes = Counter(Counter(walk for walk, _ in rounds).values())
    assert sizes.most_common(1)[0][0] == 4, "four machines on each of three racks, unless one is out of sight"


def test_one_entry_in_five_is_missing(told_all: Truth) -> None:
    careless = imagine(machines=12, weeks=8, seed=4, until=UNTIL, slips=replace(NO_SLIPS, missing=0.2))
    for kinds in (("PrintStarted", "PartsOff"), ("Looked",)):
        told, happened = (sum(e.kind in kinds for e in truth.entries) for truth in (careless, told_all))
        assert told / happened == pytest.approx(0.8, abs=0.04)


def test_late_taps_go_back_by_a_step_and_miss_by_minutes(shop: Truth) -> None:
    back = [round((e.noted_at - e.at).total_seconds() / 60, 3) for e in shop.entries]
    late = [minutes for minutes in back if minutes > 5]
    assert 0.06 < len(late) / len(back) < 0.10
    steps = sum(minutes in (10, 30, 60, 120, 180, 240) for minutes in late)
    assert steps / len(late) > 0.98, "all but those put back to the opening of the shop and the restated ones"


@pytest.mark.parametrize("machines", [1, 2, 37, 99])
def test_any_number_of_machines_makes_a_shop(machines: int) -> None:
    truth = imagine(machines=machines, weeks=1, seed=2, until=UNTIL)
    assert truth.stretches["machine"].n_unique() == machines
    assert truth.prints["machine"].n_unique() == machines


@pytest.mark.parametrize(
    ("machines", "weeks", "rule"), [(0, 4, "demo_machines"), (100, 4, "demo_machines"), (4, 0, "demo_weeks")]
)
def test_a_shop_that_cannot_be_is_refused(machines: int, weeks: int, rule: str) -> None:
    with pytest.raises(Refused) as refused:
        imagine(machines=machines, weeks=weeks, until=UNTIL)
    assert refused.value.rule == rule


def test_set_up_keeps_its_history() -> None:
    setup = Setup(shop_rows(36, UNTIL, weeks=26))
    second = [row for row in setup.history(PrintFile) if row.revision == 2]
    assert len(second) == 3
    assert all(UNTIL < row.since < UNTIL + timedelta(weeks=26) for row in second)
    assert setup.all(Machine, UNTIL - timedelta(seconds=1)) == []
    assert [m.machine for m in setup.machines(UNTIL)] == [f"P{n:02d}" for n in range(1, 37)]


@pytest.mark.parametrize("slips", [NO_SLIPS, ONE_IN_FIVE])
def test_the_log_takes_every_entry(tmp_path: Path, slips: Slips) -> None:
    told: list[float] = []
    truth = make(tmp_path / "shop.duckdb", 9, 4, seed=3, until=UNTIL, slips=slips, progress=told.append)
    assert told[-1] == 1.0
    with Log.open(tmp_path / "shop.duckdb") as log:
        assert log.everything().height == len(truth.entries)
        assert set(log.setup().rows) == set(truth.rows)
