"""What following the loading list gives: one room lived three times, told what to print next by three rules.

`python -m tests.simulated.loading_lists [SHOPS]` prints the measurement. People, orders, mishaps and mending are those
of the invented shop each time, with more orders than it can serve; only the choice of the file differs. The list is
made of what the crew knows (what stands free or will, spools, orders, how long files take), every quarter of an hour.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from core.epoch import micros
from core.plan import room
from core.plan.best_loading import ListLimits, Worth, best_loading
from core.plan.laws import HandsClock, Laws
from core.plan.loading import COUNTS, DAYS, MADE_AHEAD
from core.plan.timing import Free, Loadable, ModelTimes, cases, left, loads, time_worth
from core.setup import PrintFile, Setup
from core.staffed import Staffed, staffed_spells
from core.window import Window
from demo.hands import Hands, staffed_time
from demo.happening import Span
from demo.life import Life
from demo.make import AFTER
from demo.printer import Printer
from demo.shop import PRODUCTS, TRIAL_FILE, crew, shop_rows
from demo.trade import ORDERS_A_WEEK, PIECES, POPULAR, OrderBook, take_orders

UNTIL = datetime(2026, 6, 21, 23, 0, tzinfo=UTC)
#: Weeks lived, and those at the beginning that do not count; times as many orders as usual.
WEEKS, FILLING, BUSY = 10, 2, 1.6
#: Minutes for which a list holds; minutes of hands a change takes; hours until hands come to an ended print.
HOLDS, CHANGE, WAIT = 15.0, 6.0, 0.4
QUANTILES = (np.arange(64) + 0.5) / 64
#: How the shop works, as its crew would say: print times and waits.
LAWS = Laws(ratio=np.array([0.985, 1.0, 1.015]), rush=-0.8 * np.log1p(-QUANTILES), calm=-WAIT * np.log1p(-QUANTILES))
#: Orders due within so many days count as at risk.
SOON = timedelta(days=5)

Rule = Callable[["Told", Printer, float, Sequence[PrintFile]], PrintFile]


@dataclass
class Told:
    """The crew of one room, told by a rule what to print next."""

    rule: Rule
    seed: int
    orders: OrderBook
    setup: Setup
    hands: Hands
    life: Life = field(init=False)
    last: dict[str, PrintFile] = field(default_factory=dict)
    until: dict[str, float] = field(default_factory=dict)
    list: dict[str, str] = field(default_factory=dict)
    made: float = -np.inf
    menus: dict[float, tuple[Loadable, HandsClock]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.rng = random.Random(f"told {self.seed}")

    def __call__(self, m: Printer, t: float, fitting: Sequence[PrintFile]) -> PrintFile:
        file = self.last[m.code] = self.rule(self, m, t, fitting)
        self.until[m.code] = t + 60 * file.hours * self.life.factors[file.file, file.revision, m.model]
        return file


def same_again(told: Told, m: Printer, t: float, fitting: Sequence[PrintFile]) -> PrintFile:
    """What the machine printed before, while that is wanted; then a wanted one, of its material if there is one."""
    last = told.last.get(m.code)
    again = next((file for file in fitting if last and file.file == last.file), None)
    if again and told.orders.wants(again.product, t):
        return again
    wanted = [file for file in fitting if told.orders.wants(file.product, t)] or fitting
    weights = [POPULAR[f.product] * (40 if f.material == m.material else 1) for f in wanted]
    return told.rng.choices(wanted, weights)[0]


def by_habit(told: Told, m: Printer, t: float, fitting: Sequence[PrintFile]) -> PrintFile:
    """What the invented crew chooses by itself, which minds when a print will end."""
    return told.life.by_habit(m, t, fitting)


def by_list(told: Told, m: Printer, t: float, fitting: Sequence[PrintFile]) -> PrintFile:
    """What the list says; by habit where it says nothing."""
    if t - told.made > HOLDS or m.code not in told.list:
        told.list, told.made = listed(told, t), t
    code = told.list.pop(m.code, None)
    return next((file for file in fitting if file.file == code), None) or told.life.by_habit(m, t, fitting)


def listed(told: Told, t: float) -> dict[str, str]:
    """The list at `t`: a file for every machine that can be loaded before people leave."""
    now = told.hands.staffed_from(t)
    files = told.setup.newest_files(told.life.span.moment(t))
    files = [file for file in files if file.file != TRIAL_FILE]
    menu, clock = menu_of(told, now.start, files)
    at = (t - now.start) / 60
    back = (told.hands.staffed_from(now.end + 1).start - now.start) / 60
    free = []
    for m in told.life.printers:
        ends = (told.until.get(m.code, 0.0) - now.start) / 60
        loaded = at if ends <= at else float(clock.after(np.array([ends]), np.array([WAIT]))[0])
        if m.state not in ("down", "waiting", "upkeep", "aside") and loaded < (now.end - now.start) / 60:
            lasts = [float(m.material == f.material and m.grams >= 1.05 * 1.03 * f.grams) for f in files]
            free.append(Free(m.code, sorted({p.model for p in told.life.printers}).index(m.model), loaded,
                             np.array(lasts)))  # fmt: skip
    closes = (now.end - now.start) / 60
    since = [one for one in left(clock, closes) if one.since >= at]
    found = best_loading(
        list(loads(free, menu, clock, (closes, back), CHANGE)), worths(told, files, t), ListLimits(since)
    )
    return {load.machine: load.file for load in found.loads}


def menu_of(told: Told, start: float, files: Sequence[PrintFile]) -> tuple[Loadable, HandsClock]:
    """What can be printed in the days after `start` (minutes), kept for all lists of a shift."""
    if start not in told.menus:
        moment = told.life.span.moment(start)
        window = Window(moment, moment + timedelta(days=1.5 * DAYS + 3))
        clock = room.clock(
            Staffed.of(told.setup, window), staffed_spells(told.setup, window), micros(moment), DAYS * 24.0 + 48
        )
        each = a_part(files)
        models = sorted({p.model for p in told.life.printers})
        fits = [[n for n, file in enumerate(files) if model in file.models] for model in models]
        times = [
            ModelTimes(
                np.array([files[n].hours * told.life.factors[files[n].file, files[n].revision, model] for n in can]),
                np.array([files[n].parts * each[files[n].product] for n in can]), *cases(LAWS),
            )
            for model, can in zip(models, fits, strict=True)
        ]  # fmt: skip
        menu = Loadable(
            [file.file for file in files], [file.product for file in files],
            np.array([float(file.parts) for file in files]), fits, times,
            [time_worth(one, clock, DAYS * 24.0) for one in times], [file.material for file in files],
        )  # fmt: skip
        told.menus = {start: (menu, clock)}
    return told.menus[start]


def a_part(files: Sequence[PrintFile]) -> dict[str, float]:
    """Hours of printing a part of each product, over its files."""
    return {
        product: sum(f.hours for f in files if f.product == product)
        / sum(f.parts for f in files if f.product == product)
        for product in PRODUCTS
    }


def worths(told: Told, files: Sequence[PrintFile], t: float) -> list[Worth]:
    """What parts are worth: those of orders due soon most, then others', then what will be ordered."""
    found, moment = [], told.life.span.moment(t)
    for product, each in a_part(files).items():
        open_ = told.orders.uncovered(product, t)
        soon = sum(parts for due, parts in open_ if due < moment + SOON)
        ahead = MADE_AHEAD * ORDERS_A_WEEK * POPULAR[product] / 100 * PIECES[product] * len(told.life.printers)
        tiers = {"at risk": soon, "ordered": sum(parts for _, parts in open_) - soon, "ahead": ahead, "beyond": np.inf}
        found += [Worth(product, float(parts), COUNTS[name] * each) for name, parts in tiers.items()]  # type: ignore[index]
    return found


@dataclass(frozen=True)
class Gave:
    """What a room gave a week: good printing hours and the parts of each product."""

    hours: float
    parts: dict[str, float]


def room_told(rule: Rule, seed: int, machines: int = 36, shifts: int = 1) -> Gave:
    """One room lived by one rule."""
    span = Span(UNTIL - timedelta(weeks=WEEKS), UNTIL)
    rows = shop_rows(machines, span.start, WEEKS, shifts)
    stream = {name: random.Random(f"{seed} {name}") for name in ("hands", "orders", "life")}
    hands = Hands(staffed_time(rows, span.start, span.end + AFTER), crew(machines), stream["hands"])
    orders = OrderBook(take_orders(span, hands, machines, BUSY, stream["orders"]), machines)
    told = Told(rule, seed, orders, Setup(rows), hands)
    told.life = Life(rows, span, hands, orders, 1.05, stream["life"], told)
    told.life.run()
    done = [p for p in told.life.prints if not p.proving and p.by_itself and FILLING * 10080 <= p.off < span.minutes]
    weeks = WEEKS - FILLING
    hours = sum((p.ended - p.started) / 60 * (p.file.parts - p.scrap) / p.file.parts for p in done) / weeks
    parts = {
        product: sum(p.file.parts - p.scrap for p in done if p.file.product == product) / weeks for product in PRODUCTS
    }
    return Gave(hours, parts)


def one_shop(seed: int) -> list[Gave]:
    """The room of a seed by each rule."""
    return [room_told(rule, seed) for rule in (same_again, by_habit, by_list)]


def main(shops: int = 6) -> None:
    """Print what each rule gave, and what the list gave more, shop by shop and on average."""
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(one_shop, range(1, shops + 1)))
    for seed, (same, habit, by) in enumerate(found, start=1):
        sys.stdout.write(
            f"shop {seed}: {same.hours:.0f} good printing hours a week with the same file again, {habit.hours:.0f} by "
            f"habit, {by.hours:.0f} by the list: {by.hours / same.hours - 1:+.1%}, {by.hours / habit.hours - 1:+.1%}\n"
        )
    more = [by.hours / same.hours - 1 for same, _, by in found]
    over_habit = [by.hours / habit.hours - 1 for _, habit, by in found]
    sys.stdout.write(f"on average {np.mean(more):+.1%} and {np.mean(over_habit):+.1%}; the least {min(more):+.1%}\n")
    for product in PRODUCTS:
        parts = [np.mean([gave[n].parts[product] for gave in found]) for n in range(3)]
        sys.stdout.write(f"{product}: {parts[0]:.0f}, {parts[1]:.0f}, {parts[2]:.0f} good parts a week\n")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:2]))
