"""From entries to what every machine did: stretches of time with a state, a basis and the doubt at their ends.

Between two successive facts of a machine lies a gap. What happened in it follows from what the first
fact left and what the second one found: a table of shapes, each one to three states with cuts between.
Nothing depends on the order in which entries were written, and nothing reaches back beyond the last start.

Words used below. A print *takes* its file's hours times the shop's pace; it is *due* at its start plus
that. A print still seen printing after five quarters of it is *another* print; one gone before three
quarters was cut short. A print nobody announced takes what the machine's last announced print took
(else the usual print); where nothing but a sighting is known of it, the sighting is its half-way point.
The *middle* of a time is that of its staffed part, since only hands change anything but the end of a print.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from core.calc.facts import HOUR, facts, upkeep
from core.calc.pace import Pace
from core.calc.staffed import FAR, Staffed, micros
from core.setup import Machine, Setup
from core.window import Window

STATES = ("printing", "proving", "done", "stopped", "empty", "upkeep", "down", "waiting", "aside", "no word")

#: Conditions that somebody declared; they hold until somebody says otherwise.
DECLARED = ("down", "waiting", "aside")

#: The states of a gap in order, each with the column that holds the moment it ended. "now" is what the
#: fact before the gap left, "then" what the fact after it found.
SHAPES: dict[str, tuple[tuple[str, str], ...]] = {
    "same": (("now", "until"),),
    "ended": (("now", "end"), ("done", "until")),
    "stopped": (("now", "stop"), ("stopped", "until")),
    "another": (("now", "end"), ("done", "swap"), ("printing", "until")),
    "emptied": (("now", "end"), ("done", "swap"), ("empty", "until")),
    "stopped and emptied": (("now", "stop"), ("stopped", "clear"), ("empty", "until")),
    "broke": (("now", "cease"), ("done", "mid"), ("then", "until")),
    "moved": (("now", "mid"), ("then", "until")),
    "unseen start": (("now", "next_begin"), ("printing", "until")),
    "unseen print": (("now", "next_begin"), ("printing", "finish"), ("done", "until")),
    "unseen failure": (("now", "next_begin"), ("printing", "fail"), ("stopped", "until")),
}

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


def reckon(entries: pl.DataFrame, setup: Setup, window: Window, staffed: Staffed, pace: Pace) -> Reckoned:
    """Reckon every machine over `window` from entries that reach as far around it as `Log.machine_entries` gives.

    `window` must not reach beyond the moment the entries were known at.
    """
    gaps = find_gaps(facts(entries, setup, pace), staffed, pace)
    rows = _fade(_stretches(gaps), staffed, setup.shop(window.end).word_holds)
    rows = _cover(rows, _service(setup, window))
    rows = _lay_over(rows, upkeep(entries))
    return Reckoned(_normal_form(rows), gaps)


def find_gaps(told: pl.DataFrame, staffed: Staffed, pace: Pace) -> pl.DataFrame:
    """Each machine's gaps, one after every fact of `facts`, with their shape and the cuts it may use."""
    told = _with_due(_with_prints(told, staffed, pace), pace)
    after = {
        f"next_{name}": pl.col(name).shift(-1).over("machine")
        for name in ("id", "kind", "found", "file", "begin", "begin_low")
    }
    gaps = told.with_columns(until=pl.col("t").shift(-1).over("machine").fill_null(FAR), **after)
    return _with_cuts(gaps, staffed).with_columns(shape=_shape(), then=pl.col("next_found").replace("clear", "empty"))


def _with_prints(told: pl.DataFrame, staffed: Staffed, pace: Pace) -> pl.DataFrame:
    """What is on the platform after each fact: print (id of its start, or null), began, takes, proving."""
    left = pl.col("leaves").shift(1).over("machine")
    started, resumed = pl.col("kind") == "PrintStarted", pl.col("kind") == "SpoolFitted"
    told = told.with_columns(
        usual=pl.col("takes").forward_fill().over("machine").fill_null(int(pace.usual * pace.best * HOUR)),
        left=left,
        fresh=(pl.col("saw") == "printing").fill_null(value=False) & (left != "printing").fill_null(value=True),
        cleared=pl.col("leaves").is_in(["empty", "aside"]),
    )
    told = _with_begin(told, staffed)
    unknown = pl.col("fresh") | pl.col("cleared")
    told = told.with_columns(
        print=_carried(pl.when(started).then("id").when(unknown).then(pl.lit(""))).replace("", None),
        proving=_carried(pl.when(started).then("proving").when(unknown).then(pl.lit(value=False))),
        takes=_carried(pl.when(started).then(pl.coalesce("takes", "usual")).when(unknown).then("usual")),
    ).with_columns(pl.col("takes").fill_null(pl.col("usual")))
    half_way = pl.col("t") - pl.col("takes") // 2
    began = (
        pl.when(started).then("t")
        .when(resumed).then(half_way)
        .when("fresh").then(pl.coalesce("begin", half_way))
    )  # fmt: skip
    paused = resumed.cum_sum().over("machine", "print") > 0
    return told.with_columns(began=_carried(began), paused=paused)


def _with_begin(told: pl.DataFrame, staffed: Staffed) -> pl.DataFrame:
    """When the print began that a fact finds and no start announced: `begin`, at the earliest `begin_low`.

    A hand that left the machine empty is taken to have started it; that was a print ago at most if it
    still prints. Otherwise the middle of the time in which it can have begun.
    """
    t, left_at = pl.col("t"), pl.col("t").shift(1).over("machine")
    printing = pl.col("found") == "printing"
    recent = ~printing | (t - left_at <= pl.col("usual") * 5 // 4)
    ready = (pl.col("left") == "empty") & pl.col("hand").shift(1).over("machine") & recent
    floor = pl.when(printing).then(pl.max_horizontal(left_at, t - pl.col("usual"))).otherwise(left_at)
    told = told.with_columns(begin_low=floor, begin=_middle(staffed, floor, t))
    return told.with_columns(
        begin_low=pl.when(ready).then(left_at).otherwise("begin_low"),
        begin=pl.when(ready).then(left_at).otherwise("begin"),
    )


def _with_due(told: pl.DataFrame, pace: Pace) -> pl.DataFrame:
    """When the print after a fact is due (low, best, high); from `late` on a print seen is another one."""
    began, takes, usual, t = pl.col("began"), pl.col("takes"), pl.col("usual"), pl.col("t")
    late = began + takes * 5 // 4
    overdue = (pl.col("saw") == "printing").fill_null(value=False) & (t > late)
    due = pl.min_horizontal(pl.max_horizontal(began + takes, t + takes // 20), late)
    told = told.with_columns(
        overdue=overdue,
        due=pl.when(overdue).then(t + usual // 2).otherwise(due),
        late=pl.when(overdue).then(t + usual * 3 // 4).otherwise(late),
        early=began + takes * 3 // 4,
    )
    # From such a sighting on, what is on the platform is not the print that was announced.
    another = pl.col("overdue").cum_sum().over("machine", "print") > 0
    told = told.with_columns(
        print=pl.when(~another).then("print"),
        proving=pl.col("proving") & ~another,
    )
    # Of a print known by a sighting alone, anything from its last minute to its first may be left.
    guessed = pl.col("overdue") | pl.col("fresh") | (pl.col("kind") == "SpoolFitted")
    early_by = (takes * (1 - pace.low / pace.best)).cast(pl.Int64)
    late_by = (takes * (pace.high / pace.best - 1)).cast(pl.Int64)
    return told.with_columns(
        due_low=pl.when(guessed).then(t).otherwise(pl.max_horizontal(pl.col("due") - early_by, t)),
        due_high=pl.when(guessed).then(pl.col("due") * 2 - t).otherwise(pl.col("due") + late_by),
    )


def _with_cuts(gaps: pl.DataFrame, staffed: Staffed) -> pl.DataFrame:
    """Every cut a shape may use, best and with the earliest and latest it can have been."""
    t, until, usual = pl.col("t"), pl.col("until"), pl.col("usual")
    gaps = gaps.with_columns(
        until_low=until,
        until_high=until,
        end=pl.min_horizontal("due", until),
        end_low=pl.min_horizontal("due_low", until),
        end_high=pl.min_horizontal("due_high", until),
        mid=_middle(staffed, t, until),
        next_begin_high=until,
        finish=pl.min_horizontal(pl.col("next_begin") + usual, until),
    )
    gaps = gaps.with_columns(
        stop=t + (pl.col("end") - t) // 2,
        cease=pl.min_horizontal("end", "mid"),
        fail=pl.col("next_begin") + (pl.col("finish") - pl.col("next_begin")) // 2,
        swap=_middle(staffed, _swap_from(), until),
    ).with_columns(clear=_middle(staffed, pl.col("stop"), until))
    return gaps.with_columns(
        stop_low=t,
        stop_high=pl.col("end_high"),
        swap_low=pl.min_horizontal("end_low", "swap"),
        swap_high=until,
        **{f"{cut}_low": t for cut in ("mid", "cease", "finish", "fail", "clear")},
        **{f"{cut}_high": until for cut in ("mid", "cease", "finish", "fail", "clear")},
    )


def _swap_from() -> pl.Expr:
    """The earliest a next print was begun: after the first one's end, and if it still prints, a print ago."""
    still = pl.col("next_found") == "printing"
    ago = pl.max_horizontal("end", pl.col("until") - pl.col("usual"))
    return pl.when(still).then(ago).otherwise("end")


def _shape() -> pl.Expr:
    """Which shape a gap has, from what was left and what was found."""
    left = pl.col("leaves")
    return (
        pl.when(left == "printing").then(_after_printing())
        .when(left.is_in(["done", "stopped"])).then(_after_parts_left())
        .when(left == "empty").then(_after_empty())
        .otherwise(_after_declared())
    )  # fmt: skip


def _after_printing() -> pl.Expr:
    found, until = pl.col("next_found"), pl.col("until")
    whole = until >= pl.col("early")
    return (
        pl.when(found.is_null() | (found == "done")).then(pl.lit("ended"))
        .when(found == "printing").then(_either(until <= pl.col("late"), "same", "another"))
        .when(found == "clear").then(_either(whole, "ended", "stopped"))
        .when(found == "empty").then(_either(whole, "emptied", "stopped and emptied"))
        .when(found == "any").then(_either(until >= pl.col("due"), "ended", "stopped"))
        .when(found.is_in(["down", "aside"])).then(pl.lit("broke"))
        .otherwise(pl.lit("stopped"))
    )  # fmt: skip


def _after_parts_left() -> pl.Expr:
    found = pl.col("next_found")
    return (
        pl.when(found == "printing").then(pl.lit("unseen start"))
        .when(found.is_in(["empty", "down", "aside"])).then(pl.lit("moved"))
        .otherwise(pl.lit("same"))
    )  # fmt: skip


def _after_empty() -> pl.Expr:
    moved = pl.when(pl.col("next_found").is_in(["down", "aside"])).then(pl.lit("moved"))
    return pl.coalesce(_unseen(), moved, pl.lit("same"))


def _after_declared() -> pl.Expr:
    moved = pl.when(pl.col("next_found") == "empty").then(pl.lit("moved"))
    return pl.coalesce(_unseen(), moved, pl.lit("same"))


def _unseen() -> pl.Expr:
    """A print that nobody announced shows itself."""
    found = pl.col("next_found")
    return (
        pl.when(found == "printing").then(pl.lit("unseen start"))
        .when(found == "done").then(pl.lit("unseen print"))
        .when(found == "stopped").then(pl.lit("unseen failure"))
    )  # fmt: skip


def _either(true: pl.Expr, yes: str, no: str) -> pl.Expr:
    return pl.when(true).then(pl.lit(yes)).otherwise(pl.lit(no))


def _stretches(gaps: pl.DataFrame) -> pl.DataFrame:
    """The gaps laid out in their shapes: a row a state that lasted."""
    now = pl.when((pl.col("leaves") == "printing") & pl.col("proving")).then(pl.lit("proving")).otherwise("leaves")
    seen = pl.when((pl.col("shape") == "same") & _confirmed()).then(pl.lit("seen")).otherwise(pl.lit("reckoned"))
    gaps = gaps.with_columns(now=now, basis=seen, t_low=pl.col("t"), t_high=pl.col("t"))
    rows = [
        _laid_out(gaps.filter(pl.col("shape") == name), state, start=cut_before, end=cut)
        for name, shape in SHAPES.items()
        for (state, cut), cut_before in zip(shape, ["t", *(cut for _, cut in shape)], strict=False)
    ]
    return pl.concat(rows).filter(pl.col("start") < pl.col("end"))


def _laid_out(gaps: pl.DataFrame, state: str, start: str, end: str) -> pl.DataFrame:
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
    )  # fmt: skip


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
    pieces = _cut(rows, edges)
    spans = upkeeps.rename({"machine": "at", "start": "from", "end": "to"})
    within = pieces.with_row_index().join_where(
        spans,
        pl.col("machine") == pl.col("at"),
        pl.col("start") >= pl.col("from"),
        pl.col("end") <= pl.col("to"),
    )
    covered = pl.Series(range(len(pieces))).is_in(within["index"].implode())
    idle = covered & pieces["state"].is_in(["empty", "done", "stopped", "no word"])
    return pieces.with_columns(
        state=pl.when(idle).then(pl.lit("upkeep")).otherwise("state"),
        basis=pl.when(idle).then(pl.lit("seen")).otherwise("basis"),
    )


def _cut(rows: pl.DataFrame, edges: pl.DataFrame) -> pl.DataFrame:
    """The rows cut at the given (machine, edge) where it lies inside them; a cut so made has no doubt."""
    rows = rows.with_row_index("row")
    inside = rows.select("row", "machine", "start", "end").join_where(
        edges.rename({"machine": "at"}),
        pl.col("machine") == pl.col("at"), pl.col("edge") > pl.col("start"), pl.col("edge") < pl.col("end"),
    )  # fmt: skip
    starts = pl.concat([rows.select("row", edge="start"), inside.select("row", "edge")]).sort("row", "edge")
    pieces = starts.join(rows, on="row", maintain_order="left")
    last = pl.col("edge").shift(-1).over("row")
    return pieces.with_columns(
        start="edge",
        start_low=pl.when(pl.col("edge") == pl.col("start")).then("start_low").otherwise("edge"),
        start_high=pl.when(pl.col("edge") == pl.col("start")).then("start_high").otherwise("edge"),
        end=last.fill_null(pl.col("end")),
        end_low=pl.coalesce(last, "end_low"),
        end_high=pl.coalesce(last, "end_high"),
    ).drop("row", "edge")


def _normal_form(rows: pl.DataFrame) -> pl.DataFrame:
    """Sorted by machine and time, with neighbours that tell the same thing made one."""
    rows = rows.sort("machine", "start")
    told = pl.struct("machine", "state", "basis", "print", "cause", "spare")
    run = ((told != told.shift(1)) | (pl.col("start") != pl.col("end").shift(1))).fill_null(value=True).cum_sum()
    return (
        rows.group_by(run.alias("run"), maintain_order=True)
        .agg(
            pl.col("machine", "start", "start_low", "start_high").first(),
            pl.col("end", "end_low", "end_high").last(),
            pl.col("state", "basis", "print", "cause", "spare").first(),
        )
        .drop("run")
    )


def _carried(values: pl.Expr) -> pl.Expr:
    return values.forward_fill().over("machine")


def _middle(staffed: Staffed, start: pl.Expr, end: pl.Expr) -> pl.Expr:
    """The middle of the staffed time between two moments; null where one of them is."""
    both = pl.struct(start.fill_null(0).alias("a"), end.fill_null(0).alias("b"))
    middle = both.map_batches(
        lambda s: pl.Series(staffed.middle(s.struct.field("a").to_numpy(), s.struct.field("b").to_numpy())),
        return_dtype=pl.Int64,
    )
    return pl.when(start.is_not_null() & end.is_not_null()).then(middle)
