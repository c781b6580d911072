"""The true life of the print room: exact, and known to nobody in the shop.

Every machine's life is a story told in order; each `yield` asks for a hand and goes on when one is there.
The room lands where small rooms do: 5 to 10 % of the machines out of service, 10 to 15 % downtime in all,
about half the time printing. Times are minutes from the start of the span.
"""

import random
from bisect import bisect_right
from collections.abc import Callable, Generator, Sequence
from datetime import time
from heapq import heapify, heappop, heappush
from math import inf, log

from core.setup import DONT_KNOW, Model, PrintFile, Row, Setup
from demo import mishaps
from demo.hands import Hands, minutes
from demo.happening import Happening, Span
from demo.mishaps import FaultKind, Trouble
from demo.printer import Print, Printer, SpoolChange
from demo.shop import FILES, TRIAL_FILE, ZONE
from demo.stock import SPOOL_GRAMS, SpareShelf
from demo.trade import POPULAR, OrderBook, demand

#: Files take this much longer than they say.
SLOWER = 1.05
#: Each file, each model and each revision in its own way (spreads of the logarithm), no two prints quite the same.
FILE_SPREAD, MODEL_SPREAD, REVISION_SPREAD, PRINT_SPREAD = 0.03, 0.015, 0.01, 0.01
#: How often somebody notices that a spool will not last.
SEES_SHORT_SPOOL = 0.9
#: Hours a print that ends in staffed time usually waits for somebody.
USUAL_WAIT = 0.5
#: Minutes somebody stays after the shift to start one more print.
STAYS_ON = 10.0
#: Minutes a print that somebody saw failing runs on at most until it is stopped.
RUNS_ON = 15.0
#: Prints use so much more material than their files state, and a spool's weight is not quite the one on its label.
USES_MORE, SPOOL_SPREAD = 1.03, 0.004
#: A spool with less on it than this is thrown away; others go back on the shelf, and are taken so often if they fit.
WORTH_KEEPING, TAKES_PART_SPOOL = 50.0, 0.7

#: (busy until, wanted from) asks for a hand; the answer is (there from, who).
Story = Generator[tuple[float, float], tuple[float, str], tuple[float, str]]
#: Chooses the file that a machine prints at a time, of those that fit.
Chooser = Callable[[Printer, float, Sequence[PrintFile]], PrintFile]


class Life:
    """The room's life over a span; after `run` the lists hold all that truly happened."""

    def __init__(  # noqa: PLR0913, PLR0917 - all that a room is
        self, rows: Sequence[Row], span: Span, hands: Hands, orders: OrderBook, slower: float, rng: random.Random,
        choose: Chooser | None = None,
    ) -> None:  # fmt: skip
        """`choose`: what the crew goes by to choose a file, if it is not its own habit."""
        setup = Setup(rows)
        machines = setup.machines(span.end)
        self.span, self.hands, self.orders, self.rng = span, hands, orders, rng
        self.printers = [Printer(row, rng) for row in machines]
        self.racks = {
            rack: [m.machine for m in machines if m.rack == rack] for rack in sorted({m.rack for m in machines})
        }
        self.shelf = SpareShelf(len(machines), hands, rng)
        self.factors = _factors(setup, slower, rng)
        edges = sorted({max(row.since, span.start) for row in setup.history(PrintFile)})
        self._edges = [span.minute(edge) for edge in edges]
        self._files = [setup.newest_files(edge) for edge in edges]
        self._choose = choose or self.by_habit
        self._proven = {(file[0], 1) for file in FILES}
        self._part_spools: dict[str, list[float]] = {}
        self.happenings: list[Happening] = []
        self.prints: list[Print] = []
        self.changes: list[SpoolChange] = []

    def run(self) -> None:
        """Live through the span: whoever wants a hand first gets the next free one."""
        aside = self._set_aside_plan()
        stories = [self._story(printer, aside.get(printer.code)) for printer in self.printers] + [self._rounds()]
        queue = [(next(story)[1], index) for index, story in enumerate(stories)]
        heapify(queue)
        while queue and queue[0][0] < self.span.minutes:
            wanted, index = heappop(queue)
            t, by = self.hands.take(wanted)
            busy, wanted = stories[index].send((t, by))
            self.hands.release(by, busy)
            heappush(queue, (wanted, index))

    def _set_aside_plan(self) -> dict[str, tuple[float, float]]:
        """One machine of a bigger room spends a few weeks set aside."""
        if len(self.printers) < 4 or self.span.minutes < 6 * 7 * 24 * 60:
            return {}
        start = self.span.minutes * self.rng.uniform(0.2, 0.5)
        weeks = min(self.rng.uniform(3, 5), self.span.minutes / (7 * 24 * 60) / 4)
        return {self.rng.choice(self.printers).code: (start, start + weeks * 7 * 24 * 60)}

    def _say(self, kind: str, t: float, by: str, m: Printer | None = None, **facts: object) -> None:
        self.happenings.append(Happening(t, by, kind, m.code if m else None, facts))

    def _rounds(self) -> Story:
        """Somebody walks past every rack at the start of the shift and after lunch."""
        busy = 0.0
        for wanted in self._round_times():
            t, by = yield busy, wanted
            for rack, machines in self.racks.items():
                self._say("Walked", t, by, rack=rack)
                t += 0.5 + 0.25 * len(machines)
            busy = t
        t, by = yield busy, inf
        return t, by

    def _round_times(self) -> list[float]:
        times, t = [], 0.0
        while (stretch := self.hands.staffed_from(t)).start < self.span.minutes:
            times.append(max(stretch.start, 0.0) + 1)
            lunch = minutes(self.span.moment(stretch.start).astimezone(ZONE).date(), time(13, 30), self.span.start)
            if times[-1] < lunch < stretch.end:
                times.append(lunch)
            t = stretch.end
        return times

    def _story(self, m: Printer, aside: tuple[float, float] | None) -> Story:
        t, by = yield 0.0, self.hands.notice(0.0)
        while True:
            t, by = yield from self._still_here(t, by)
            if aside and t >= aside[0]:
                t, by = yield from self._set_aside(m, t, by, aside[1])
                aside = None
            elif m.wants_overhaul() and self._quiet(t) and self._back_within_a_day(t):
                t, by = yield from self._overhaul(m, t, by)
            elif m.wants_cleaning() and self._quiet(t):
                t = self._clean(m, t, by)
            elif self.rng.random() > demand(self.span.moment(t)):
                t, by = yield t + 0.5, self._later(t)
            elif mishaps.found_at_start(self.rng):
                t, by = yield from self._mend(m, t, by, mishaps.fault(self.rng))
            else:
                t, by = yield from self._print(m, t, by)

    def _still_here(self, t: float, by: str) -> Story:
        """Goes on at once, or in the next shift when the person has gone home: nobody stays on for long."""
        if self.hands.present(t - STAYS_ON):
            return t, by
        return (yield t, self.hands.notice(t))

    def _later(self, t: float) -> float:
        """When somebody thinks again of a machine left empty because there was no work."""
        later = t + self.rng.uniform(120, 300)
        return max(later, self.hands.staffed_from(later).start + self.rng.uniform(0, 120))

    def _set_aside(self, m: Printer, t: float, by: str, until: float) -> Story:
        self._say("SetAside", t, by, m, note="Not enough work for it")
        m.turn("aside", t)
        t, by = yield t + 1, until
        self._say("PutBack", t, by, m)
        m.turn("empty", t)
        return t + 2, by

    def _clean(self, m: Printer, t: float, by: str) -> float:
        m.turn("upkeep", t)
        spent = self.rng.uniform(10, 40)
        task = self.rng.choice(("clean-oil", "level-platform"))
        self._say("UpkeepDone", t + spent, by, m, task=task, minutes=5 * round(spent / 5))
        m.cleaned()
        m.turn("empty", t + spent)
        return t + spent

    def _quiet(self, t: float) -> bool:
        """Whether the morning's rush is over and there are two people or more: the time for upkeep."""
        stretch = self.hands.staffed_from(t)
        return stretch.hands > 1 and t > stretch.start + 150

    def _back_within_a_day(self, t: float) -> bool:
        return self.hands.staffed_from(t + 9 * 60).start < t + 20 * 60

    def _overhaul(self, m: Printer, t: float, by: str) -> Story:
        """Taken apart on the bench, left to calibrate by itself, closed up when somebody is there again."""
        began = t
        self._say("Looked", t, by, m, saw="upkeep")
        m.turn("upkeep", t)
        t, by = yield t + self.rng.uniform(30, 50), self.hands.notice(t + self.rng.uniform(6, 9) * 60)
        t += self.rng.uniform(15, 30)
        spent = 5 * round((t - began) / 5)
        spares = ("nozzle",) if self.rng.random() < 0.1 and self.shelf.take_if_there("nozzle", t) else ()
        self._say("UpkeepDone", t, by, m, task="overhaul", minutes=spent, spares=spares)
        m.overhauled()
        m.turn("empty", t)
        return t, by

    def _mend(self, m: Printer, t: float, by: str, fault: FaultKind) -> Story:
        """Down until mended; waiting while the spare is not on the shelf; often tried out afterwards."""
        if self.rng.random() < 0.15:
            m.turn("down", t)
            self._say("WentDown", t, by, m, cause=DONT_KNOW)
            t, by = yield t + 3, t + mishaps.until_mended(self.rng) / 4
            t += self.rng.uniform(5, 20)
        ready = self.shelf.take(fault.spare, t) if fault.spare else t
        missing = fault.spare if ready > t else None
        self._say("WentDown", t, by, m, cause=fault.cause, spare=missing)
        m.turn("waiting" if missing else "down", t)
        m.turn("down", ready)
        t, by = yield (
            t + 3,
            (ready + self.rng.uniform(10, 300) if missing else t + mishaps.until_mended(self.rng)),
        )
        t += self.rng.uniform(15, 75)
        from_shelf = fault.spare and not missing
        self._say("CameBack", t, by, m, spares=(fault.spare,) if from_shelf else ())
        m.turn("empty", t)
        if self.rng.random() < 0.5:
            t, by = yield from self._still_here(t + 1, by)
            t, by = yield from self._print(m, t, by, trial=True)
        return t, by

    def _print(self, m: Printer, t: float, by: str, trial: bool = False) -> Story:
        """One run from its start to its removal, and what came of it."""
        file = self._pick(m, t, trial)
        if m.material != file.material or (
            m.grams < 1.05 * USES_MORE * file.grams and self.rng.random() < SEES_SHORT_SPOOL
        ):
            t = self._fit_spool(m, t, by, file.material, 1.05 * USES_MORE * file.grams)
        t += self.rng.uniform(0.8, 2)
        proving = trial or (file.file, file.revision) not in self._proven
        self._proven.add((file.file, file.revision))
        order = None if proving else self.orders.print_for(file.product, file.parts, t)
        told = {"file": file.file, "revision": file.revision, "order": order, "proving": proving}
        self._say("PrintStarted", t, by, m, **told, on_spool=m.grams)
        m.turn("proving" if proving else "printing", t)
        started, trouble = t, mishaps.trouble(self.rng)
        whole = 60 * file.hours * self.factors[file.file, file.revision, m.model] * self.rng.gauss(1, PRINT_SPREAD)
        grams = USES_MORE * file.grams * self.rng.gauss(1, 0.015)
        t, by, ended = yield from self._run(m, t, by, whole, grams, trouble)
        off = t + self.rng.uniform(1, 3)
        scrap, cause = (file.parts, trouble.scrap_cause) if trouble else mishaps.scrap(file.parts, self.rng)
        self.orders.spoilt(file.product, scrap)
        how = "stopped" if trouble else "itself"
        self._say("PartsOff", off, by, m, scrap=scrap, scrap_cause=cause, ended=how, parts=file.parts)
        used = grams * (trouble.share if trouble else 1.0)
        run = Print(m.code, file, order, proving, started, ended, off, scrap, cause, not trouble, used)
        self.prints.append(run)
        m.turn("empty", off)
        if trouble and trouble.fault:
            return (yield from self._mend(m, off + 1, by, trouble.fault))
        return off, by

    def _run(
        self, m: Printer, t: float, by: str, whole: float, grams: float, trouble: Trouble | None
    ) -> Generator[tuple[float, float], tuple[float, str], tuple[float, str, float]]:
        """Until somebody stands before the ended print; a spool that runs out stops it until one is fitted.

        Gives when somebody is there, who, and when the print ended.
        """
        share, done, state = (trouble.share if trouble else 1.0), 0.0, m.state
        if m.grams < grams * share:
            done = m.grams / grams
            m.grams = 0.0
            m.turn("stopped", t + whole * done)
            t, by = yield t, self.hands.notice(t + whole * done)
            t = self._fit_spool(m, t, by, m.material, grams * (share - done), ran_out=True)
            m.turn(state, t)
        ended = t + whole * (share - done)
        m.grams -= grams * (share - done)
        m.ran(whole * share / 60)
        if trouble and trouble.seen and self.hands.present(ended):
            t, by = yield t, ended
            ended = min(t, ended + RUNS_ON, ended + whole * (1 - share))
            m.turn("stopped", ended)
        else:
            m.turn("stopped" if trouble else "done", ended)
            t, by = yield t, self.hands.notice(ended)
        return t, by, ended

    def _pick(self, m: Printer, t: float, trial: bool) -> PrintFile:
        """A file that fits, chosen unless it is to try the machine out."""
        here = self._files[bisect_right(self._edges, t) - 1]
        fitting = [file for file in here if m.model in file.models and (file.file == TRIAL_FILE) is trial]
        return fitting[0] if trial else self._choose(m, t, fitting)

    def by_habit(self, m: Printer, t: float, fitting: Sequence[PrintFile]) -> PrintFile:
        """Rather a file that is ordered, of the spool on the machine, and not standing done long."""

        def weight(file: PrintFile) -> float:
            ends = t + 64 * file.hours + 15
            stands = max(0.0, self.hands.staffed_from(ends).start - ends) / 60
            suits = (file.hours / (file.hours + stands + USUAL_WAIT)) ** 6
            ordered = 4 if self.orders.wants(file.product, t) else 1
            loaded = 40 if file.material == m.material else 1
            return POPULAR[file.product] * suits * ordered * loaded

        return self.rng.choices(fitting, [weight(file) for file in fitting])[0]

    def _fit_spool(self, m: Printer, t: float, by: str, material: str, need: float, ran_out: bool = False) -> float:
        """Another spool, a part-spool if one feeds the print; what is left on the old one goes back on the shelf."""
        left = {"left_grams": round(m.grams)} if m.material and not ran_out and self.rng.random() < 0.5 else {}
        if m.grams >= WORTH_KEEPING:
            self._part_spools.setdefault(m.material, []).append(m.grams)
        grams, label = self._another_spool(material, need)
        t += self.rng.uniform(2, 4)
        self._say("SpoolFitted", t, by, m, material=material, grams=label, **left)
        self.changes.append(SpoolChange(m.code, t, material, grams, m.grams, ran_out))
        m.material, m.grams = material, grams
        return t

    def _another_spool(self, material: str, need: float) -> tuple[float, int]:
        """The grams on it, and what the person who takes it says there are."""
        parts = sorted(grams for grams in self._part_spools.get(material, []) if grams >= need)
        if parts and self.rng.random() < TAKES_PART_SPOOL:
            self._part_spools[material].remove(parts[0])
            return parts[0], round(parts[0])
        return SPOOL_GRAMS * self.rng.gauss(1, SPOOL_SPREAD), SPOOL_GRAMS


def _factors(setup: Setup, slower: float, rng: random.Random) -> dict[tuple[str, int, str], float]:
    """True over stated print time by file, revision and model."""
    models = {row.model: rng.lognormvariate(0, MODEL_SPREAD) for row in setup.history(Model)}
    files = {code: rng.lognormvariate(log(slower), FILE_SPREAD) for code, *_ in FILES}
    return {
        (row.file, row.revision, model): files[row.file] * models[model] * own
        for row in setup.history(PrintFile)
        for own in [rng.lognormvariate(0, REVISION_SPREAD)]
        for model in row.models
    }
