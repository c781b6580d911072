"""From entries to what every machine did: stretches of time with a state, a basis and the doubt at their ends.

Entries become facts (`facts`), facts leave gaps between them (`gaps`), and every gap is laid out here in
the states of its shape. Nothing depends on the order in which entries were written, and nothing reaches
back beyond the last start.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from core.epoch import FAR, micros
from core.habits.learned import Learned
from core.setup import Machine, Setup
from core.staffed import Staffed
from core.timeline.facts import facts, upkeep
from core.timeline.gaps import DECLARED, SHAPES, find_gaps
from core.window import Window

STATES = ("printing", "proving", "done", "stopped", "empty", "upkeep", "down", "waiting", "aside", "no word")

_TIMES = ("start", "start_low", "start_high", "end", "end_low", "end_high")


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What the entries come to.

    `stretches`: machine, start, end, start_low, start_high, end_low, end_high (microseconds), state,
    basis ("seen", "reckoned", "no word"), print (id of its start, or null), cause, spare. Half-open,
    sorted by machine and time, disjoint, covering every machine's time of service in the window.
    `gaps`: a row a gap: the fact before it, the fact after it (`next_...`, null at the open end), its shape.
    """

    stretches: pl.DataFrame
    gaps: pl.DataFrame


def reckon(entries: pl.DataFrame, setup: Setup, window: Window, staffed: Staffed, learned: Learned) -> Reckoned:
    """Reckon every machine over `window` from entries that reach as far around it as `Log.machine_entries` gives.

    `window` must not reach beyond the moment the entries were known at.
    """
    gaps = find_gaps(facts(entries, setup, learned), staffed, learned)
    rows = _fade(_waited(_stretches(gaps)), staffed, setup.shop(window.end).word_holds)
    rows = _cover(rows, _service(setup, window))
    rows = _lay_over(rows, upkeep(entries))
    return Reckoned(_normal_form(rows), gaps)


def spells(stretches: pl.DataFrame) -> pl.DataFrame:
    """Stretches with neighbours in the same state made one, whatever confirmed it on the way; the newest basis."""
    on_it = pl.when(~pl.col("state").is_in(DECLARED)).then("print")
    told = pl.struct("machine", "state", on_it, "cause", "spare")
    run = ((told != told.shift(1)) | (pl.col("start") != pl.col("end").shift(1))).fill_null(value=True).cum_sum()
    return _merged(stretches, run)


def _stretches(gaps: pl.DataFrame) -> pl.DataFrame:
    """The gaps laid out in their shapes: a row a state that lasted."""
    now = pl.when((pl.col("leaves") == "printing") & pl.col("proving")).then(pl.lit("proving")).otherwise("leaves")
    seen = pl.when((pl.col("shape") == "same") & _confirmed()).then(pl.lit("seen")).otherwise(pl.lit("reckoned"))
    told = gaps.lazy().with_columns(now=now, basis=seen, t_low=pl.col("t"), t_high=pl.col("t"))
    rows = [
        _laid_out(told.filter(pl.col("shape") == name), state, start=cut_before, end=cut)
        for name, shape in SHAPES.items()
        for (state, cut), cut_before in zip(shape, ["t", *(cut for _, cut in shape)], strict=False)
    ]
    return pl.concat(rows).filter(pl.col("start") < pl.col("end")).collect()


def _laid_out(gaps: pl.LazyFrame, state: str, start: str, end: str) -> pl.LazyFrame:
    mine = state == "now"
    of_its_print = mine or start in ("end", "stop", "cease")
    return gaps.select(
        "machine",
        start=start, start_low=f"{start}_low", start_high=f"{start}_high",
        end=end, end_low=f"{end}_low", end_high=f"{end}_high",
        state=pl.col(state) if state in ("now", "then") else pl.lit(state),
        basis="basis",
        print=pl.col("print") if of_its_print and state != "then" else pl.lit(None, pl.String),
        cause=pl.col("cause") if mine else pl.lit(None, pl.String),
        spare=pl.col("spare") if mine else pl.lit(None, pl.String),
        came=pl.col("came") if mine else pl.lit(None, pl.Int64),
    )  # fmt: skip


def _waited(rows: pl.DataFrame) -> pl.DataFrame:
    """A machine waits for its spare until that is delivered: from then on it is down, and hands can mend it."""
    waits = (pl.col("state") == "waiting") & (pl.col("came") < pl.col("end")).fill_null(value=False)
    waited = rows.filter(waits & (pl.col("start") < pl.col("came")))
    there = pl.max_horizontal("start", "came")
    return pl.concat([
        rows.filter(~waits),
        waited.with_columns(end="came", end_low="came", end_high="came"),
        rows.filter(waits).with_columns(start=there, start_low=there, start_high=there, state=pl.lit("down")),
    ]).drop("came")  # fmt: skip


def _confirmed() -> pl.Expr:
    """Whether both ends of a gap tell of the same state, or somebody declared it."""
    left, found = pl.col("leaves"), pl.col("next_found")
    same = (
        pl.when(left.is_in(["done", "stopped"])).then(found.is_in(["done", "stopped"]))
        .when(left == "empty").then(found.is_in(["clear", "empty"]))
        .otherwise(found == left)
    )  # fmt: skip
    return same.fill_null(value=False) | left.is_in(DECLARED)


def _fade(rows: pl.DataFrame, staffed: Staffed, word_holds: float) -> pl.DataFrame:
    """Word fades: an idle state that nobody confirmed is believed for so many staffed hours, then it is no word.

    Parts seen on the platform and taken off it later were there all the time; an empty machine may have
    run and been emptied again.
    """
    fades = (pl.col("state") == "empty") | (pl.col("state").is_in(["done", "stopped"]) & (pl.col("basis") != "seen"))
    until = pl.col("start").map_batches(lambda s: staffed.after(s.to_numpy(), word_holds), return_dtype=pl.Int64)
    rows = rows.with_columns(until=pl.when(fades).then(until).otherwise(FAR))
    held = rows.with_columns(
        end=pl.min_horizontal("end", "until"),
        end_low=pl.min_horizontal("end_low", "until"),
        end_high=pl.min_horizontal("end_high", "until"),
    )
    lost = rows.filter(pl.col("until") < pl.col("end")).with_columns(
        start="until", start_low="until", start_high="until", end_low="end",
        state=pl.lit("no word"), basis=pl.lit("no word"), print=pl.lit(None, pl.String),
    )  # fmt: skip
    return pl.concat([held, lost]).drop("until")


def _service(setup: Setup, window: Window) -> pl.DataFrame:
    """When each machine was in service within the window: machine, since, till (microseconds)."""
    spans = []
    histories: dict[str, list[Machine]] = {}
    for row in setup.history(Machine):
        histories.setdefault(row.machine, []).append(row)
    for machine, history in histories.items():
        ends = [row.since for row in history[1:]] + [window.end]
        for row, end in zip(history, ends, strict=True):
            since, till = max(row.since, window.start), min(end, window.end)
            if row.in_service and since < till:
                spans.append((machine, micros(since), micros(till)))
    schema = {"machine": pl.String, "since": pl.Int64, "till": pl.Int64}
    return pl.DataFrame(spans, schema=schema, orient="row")


def _cover(rows: pl.DataFrame, service: pl.DataFrame) -> pl.DataFrame:
    """The rows within each machine's service, with no word for the time before its first fact."""
    first = service.select(pl.col("machine").unique(maintain_order=True)).join(
        rows.group_by("machine").agg(first=pl.col("start").min()),
        on="machine",
        how="left",
        maintain_order="left",
    )
    silent = first.select(
        "machine",
        **{name: pl.lit(-FAR, pl.Int64) for name in _TIMES[:3]},
        **{name: pl.col("first").fill_null(FAR) for name in _TIMES[3:]},
        state=pl.lit("no word"), basis=pl.lit("no word"),
        print=pl.lit(None, pl.String), cause=pl.lit(None, pl.String), spare=pl.lit(None, pl.String),
    )  # fmt: skip
    rows = pl.concat([silent, rows.select(silent.columns)])
    rows = rows.join(service, on="machine", how="inner", maintain_order="left")
    rows = rows.with_columns(pl.col(_TIMES).clip(pl.col("since"), pl.col("till"))).drop("since", "till")
    return rows.filter(pl.col("start") < pl.col("end"))


def _lay_over(rows: pl.DataFrame, upkeeps: pl.DataFrame) -> pl.DataFrame:
    """Planned maintenance takes the place of whatever idle time its minutes cover; a print goes on under it."""
    edges = pl.concat([upkeeps.select("machine", edge="start"), upkeeps.select("machine", edge="end")]).unique()
    reach = upkeeps.select("machine", began="start", until=pl.col("end").cum_max().over("machine"))
    pieces = _last_before(_cut(rows, edges), "start", reach, "began")
    covered = (pl.col("start") < pl.col("until")).fill_null(value=False)
    idle = covered & pl.col("state").is_in(["empty", "done", "stopped", "no word"])
    return pieces.with_columns(
        state=pl.when(idle).then(pl.lit("upkeep")).otherwise("state"),
        basis=pl.when(idle).then(pl.lit("seen")).otherwise("basis"),
    ).drop("began", "until")


def _cut(rows: pl.DataFrame, edges: pl.DataFrame) -> pl.DataFrame:
    """The rows cut at the given (machine, edge) where it lies inside them; a cut so made has no doubt."""
    rows = rows.with_row_index("row")
    begun = rows.select("row", "machine", "start", "end")
    inside = _last_before(edges, "edge", begun, "start").filter(
        pl.col("start") < pl.col("edge"), pl.col("edge") < pl.col("end")
    )
    starts = pl.concat([rows.select("row", edge="start"), inside.select("row", "edge")]).sort("row", "edge")
    pieces = starts.join(rows, on="row", maintain_order="left")
    last = pl.when(pl.col("row") == pl.col("row").shift(-1)).then(pl.col("edge").shift(-1))
    return pieces.with_columns(
        start="edge",
        start_low=pl.when(pl.col("edge") == pl.col("start")).then("start_low").otherwise("edge"),
        start_high=pl.when(pl.col("edge") == pl.col("start")).then("start_high").otherwise("edge"),
        end=last.fill_null(pl.col("end")),
        end_low=pl.coalesce(last, "end_low"),
        end_high=pl.coalesce(last, "end_high"),
    ).drop("row", "edge")


def _last_before(rows: pl.DataFrame, moment: str, spans: pl.DataFrame, began: str) -> pl.DataFrame:
    """Each row with the span of its machine that began last by its moment (nulls where there is none)."""
    return rows.sort(moment).join_asof(
        spans.sort(began, maintain_order=True), left_on=moment, right_on=began, by="machine", check_sortedness=False
    )


def _normal_form(rows: pl.DataFrame) -> pl.DataFrame:
    """Sorted by machine and time, with neighbours that tell the same thing made one."""
    rows = rows.sort("machine", "start")
    told = pl.struct("machine", "state", "basis", "print", "cause", "spare")
    run = ((told != told.shift(1)) | (pl.col("start") != pl.col("end").shift(1))).fill_null(value=True).cum_sum()
    return _merged(rows, run)


def _merged(rows: pl.DataFrame, run: pl.Expr) -> pl.DataFrame:
    return (
        rows.group_by(run.alias("run"), maintain_order=True)
        .agg(
            pl.col("machine", "start", "start_low", "start_high").first(),
            pl.col("end", "end_low", "end_high").last(),
            pl.col("state", "print", "cause", "spare").first(),
            pl.col("basis").last(),
        )
        .drop("run")
    )
