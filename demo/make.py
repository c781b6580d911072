"""Make the invented shop: its true life, and a log that tells of it what people tapped."""

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from core.entries import AnyEntry
from core.epoch import utc_now
from core.errors import Refused
from core.log.record import record_many
from core.log.store import Log
from core.setup import Row, Setup
from demo.agreed import agreed
from demo.desk import desk_work
from demo.hands import Hands, staffed_time
from demo.happening import Happening, Span
from demo.life import SLOWER, Life
from demo.people import USUAL, People, Slips
from demo.printer import Print, SpoolChange
from demo.shop import crew, shop_rows
from demo.trade import CustomerOrder, OrderBook, take_orders

UTC_TIME = pl.Datetime("us", "UTC")
#: The people's diary goes on after the span, so that the last visit of the span knows the next shift.
AFTER = timedelta(days=45)
#: The share of the time of making that the imagining takes.
IMAGINED = 0.4
STRETCHES: dict[str, pl.DataType] = {
    "machine": pl.String(), "start": UTC_TIME, "end": UTC_TIME, "state": pl.String(),
}  # fmt: skip
PRINTS: dict[str, pl.DataType] = {
    "machine": pl.String(), "file": pl.String(), "revision": pl.Int64(), "order": pl.String(),
    "proving": pl.Boolean(), "started": UTC_TIME, "ended": UTC_TIME, "off": UTC_TIME, "parts": pl.Int64(),
    "scrap": pl.Int64(), "scrap_cause": pl.String(), "by_itself": pl.Boolean(), "grams": pl.Float64(),
}  # fmt: skip
SPOOLS: dict[str, pl.DataType] = {
    "machine": pl.String(), "at": UTC_TIME, "material": pl.String(), "grams": pl.Float64(), "left": pl.Float64(),
    "ran_out": pl.Boolean(),
}  # fmt: skip
ORDERS: dict[str, pl.DataType] = {
    "order": pl.String(), "product": pl.String(), "quantity": pl.Int64(), "taken": UTC_TIME, "due": UTC_TIME,
    "shipped": UTC_TIME,
}  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """What nobody in the shop knows for sure.

    `stretches`: machine, start, end, state; every machine from `start` to `end` without a gap.
    `prints`: one line a removed print: machine, file, revision, order, proving, started, ended, off (taken
    off), parts, good, scrap, scrap_cause, by_itself, grams (used). `spools`: one line a spool fitted: machine, at,
    material, grams (on it), left (on the old one), ran_out (it had stopped a print). Times are UTC.
    `orders`: one line an order: order, product, quantity, taken, due, shipped (null: not within the span).
    `factors`: true over stated print time by file, revision and model. `entries` are those made, in the order
    of tapping.
    """

    start: datetime
    end: datetime
    stretches: pl.DataFrame
    prints: pl.DataFrame
    spools: pl.DataFrame
    orders: pl.DataFrame
    factors: dict[tuple[str, int, str], float]
    entries: list[AnyEntry]
    rows: list[Row]


def imagine(  # noqa: PLR0913, PLR0917 - what one may say about the invented shop
    machines: int = 36,
    weeks: int = 26,
    seed: int = 1,
    until: datetime | None = None,
    slips: Slips = USUAL,
    shifts: int = 1,
    slower: float = SLOWER,
    busy: float = 1.0,
) -> Truth:
    """The shop's life of `weeks` weeks that ends at `until` (now), and the entries about it; writes nothing.

    `shifts` on a weekday are 1 or 2; prints take `slower` times what their files state, each file in its own way;
    customers order `busy` times as often as usual.

    The same arguments give the same shop to the last id. Raises `Refused`: "demo_machines", "demo_weeks".
    """
    if not 1 <= weeks <= 260:
        raise Refused("demo_weeks", f"The invented shop lives 1 to 260 weeks, not {weeks}: choose fewer or more.")
    end = (until or utc_now()).astimezone(UTC)
    span = Span(end - timedelta(weeks=weeks), end)
    rows = shop_rows(machines, span.start, weeks, shifts)
    hands = Hands(staffed_time(rows, span.start, span.end + AFTER), crew(machines), _rng(seed, "hands"))
    orders = take_orders(span, hands, machines, busy, _rng(seed, "orders"))
    life = Life(rows, span, hands, OrderBook(orders, machines), slower, _rng(seed, "life"))
    life.run()
    happenings = life.happenings + desk_work(life, Setup(rows), orders, _rng(seed, "desk"))
    turns = {printer.code: printer.turns for printer in life.printers}
    people = People(span, Setup(rows), turns, slips, _rng(seed, "people"))
    tried = agreed(span, hands, _rng(seed, "agreed"))
    entries = sorted([*people.entries(happenings), *tried], key=lambda entry: entry.noted_at)
    return Truth(
        span.start, span.end, _stretches(span, turns), _prints(span, life.prints), _spools(span, life.changes),
        _orders(span, orders, happenings), life.factors, entries, rows,
    )  # fmt: skip


def make(  # noqa: PLR0913, PLR0917 - what one may say about the invented shop
    path: Path,
    machines: int = 36,
    weeks: int = 26,
    seed: int = 1,
    until: datetime | None = None,
    slips: Slips = USUAL,
    shifts: int = 1,
    slower: float = SLOWER,
    busy: float = 1.0,
    progress: Callable[[float], None] | None = None,
) -> Truth:
    """The shop of `imagine`, its set-up and entries written to the file `path` like anybody's.

    `progress` is called with the share done, 0 to 1. Raises `Refused` as `imagine` and `Log.open` do,
    and "demo_entries" where the log turns away an entry of the demo, which would be a fault of the demo.
    """
    tell = progress or (lambda _: None)
    tell(0.0)
    truth = imagine(machines, weeks, seed, until, slips, shifts, slower, busy)
    tell(IMAGINED)
    with Log.open(path) as log:
        log.append_setup(truth.rows, noted_at=truth.start)
        outcome = record_many(log, truth.entries, lambda done: tell(IMAGINED + done * (1 - IMAGINED)), now=truth.end)
        log.call_made()
    if outcome.problems:
        raise Refused("demo_entries", f"The log turned the demo away: {outcome.problems[0].sentence}")
    return truth


def _rng(seed: int, purpose: str) -> random.Random:
    """One stream of chance a purpose: a change in one leaves the others as they were."""
    return random.Random(f"{seed} {purpose}")


def _stretches(span: Span, turns: Mapping[str, Sequence[tuple[float, str]]]) -> pl.DataFrame:
    """The true states as stretches that cover the span."""
    rows = []
    for machine, steps in turns.items():
        ends = [*(t for t, _ in steps[1:]), span.minutes]
        for (start, state), end in zip(steps, ends, strict=True):
            if start < min(end, span.minutes):
                rows.append((machine, span.moment(start), span.moment(min(end, span.minutes)), state))
    return pl.DataFrame(rows, schema=STRETCHES, orient="row")


def _prints(span: Span, prints: Sequence[Print]) -> pl.DataFrame:
    """The prints whose parts were taken off within the span, in that order."""
    done = sorted((run for run in prints if run.off < span.minutes), key=lambda run: run.off)
    columns: dict[str, list[object]] = {
        "file": [run.file.file for run in done],
        "revision": [run.file.revision for run in done],
        "parts": [run.file.parts for run in done],
    }
    for name in ("started", "ended", "off"):
        columns[name] = [span.moment(getattr(run, name)) for run in done]
    for name in PRINTS.keys() - columns.keys():
        columns[name] = [getattr(run, name) for run in done]
    frame = pl.DataFrame(columns, schema_overrides=PRINTS)
    return frame.select(*PRINTS, good=pl.col("parts") - pl.col("scrap"))


def _spools(span: Span, changes: Sequence[SpoolChange]) -> pl.DataFrame:
    """The spools fitted within the span, in that order."""
    rows = [
        (c.machine, span.moment(c.t), c.material, c.grams, c.left, c.ran_out)
        for c in sorted(changes, key=lambda c: c.t) if c.t < span.minutes
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=SPOOLS, orient="row")


def _orders(span: Span, orders: Sequence[CustomerOrder], happenings: Sequence[Happening]) -> pl.DataFrame:
    """The orders taken within the span, in that order, and when each was shipped."""
    sent = {h.facts["order"]: h.at for h in happenings if h.kind == "OrderShipped" and h.at < span.minutes}
    left = {code: span.moment(t) for code, t in sent.items()}
    rows = [(o.code, o.product, o.quantity, span.moment(o.taken), o.due, left.get(o.code)) for o in orders]
    return pl.DataFrame(rows, schema=ORDERS, orient="row")
