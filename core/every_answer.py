"""Every answer that a page is drawn from: its type, and how it is given as of a moment."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial

from core.floor.check_in import machine_page
from core.floor.room import floor, rack_round
from core.floor.types import MachinePage, RackNow, RackRound
from core.frozen import Frozen
from core.habits.learned import Learned
from core.log.store import Log
from core.morning.report import report
from core.morning.types import Report
from core.plan.capacity import capacity
from core.plan.loading import loading
from core.plan.outlook import Outlook
from core.plan.planning import plan
from core.plan.types import Capacity, Loading, Plan
from core.reading.reading import learned_at
from core.review.quarter import last_quarter
from core.review.review import review
from core.review.types import Review
from core.setup import Machine
from core.stores.stores import stores
from core.stores.types import Stores
from core.upkeep.machine_record import machine_record
from core.upkeep.reliability import reliability
from core.upkeep.types import MachineRecord, RoomUpkeep
from core.upkeep.watch import Watch


class Moment:
    """A shop at a moment, and what several answers rest on, each made once."""

    def __init__(self, log: Log, at: datetime) -> None:
        self.log, self.at = log, at

    @cached_property
    def learned(self) -> Learned:
        """How prints and people go here."""
        return learned_at(self.log, self.at)

    @cached_property
    def shelf(self) -> Stores:
        """What is on the shelf."""
        return stores(self.log, self.at)

    @cached_property
    def outlook(self) -> Outlook:
        """The shop played forward."""
        return Outlook(self.log, self.at, self.learned)

    @cached_property
    def watch(self) -> Watch:
        """The long look at its machines."""
        return Watch(self.log, self.at, self.learned)

    @cached_property
    def racks(self) -> dict[str, RackNow]:
        """Every rack by its code."""
        return {rack.rack: rack for rack in floor(self.log, self.at, self.learned)}

    def in_service(self) -> list[str]:
        """The machines in service."""
        return [machine.machine for rack in self.racks.values() for machine in rack.machines]

    def machines(self) -> list[str]:
        """All machines."""
        return [row.machine for row in self.log.setup().all(Machine, self.at)]


@dataclass(frozen=True)
class Answer:
    """An answer that pages are drawn from: its type, how it is given as of a moment, and the codes if one of each."""

    kind: type[Frozen]
    give: Callable[..., Frozen]
    codes: Callable[[Moment], Iterable[str]] | None = None

    def asks(self, then: Moment) -> list[Callable[[], Frozen]]:
        """All there is of it to be asked as of a moment."""
        return (
            [partial(self.give, then, code) for code in self.codes(then)] if self.codes else [partial(self.give, then)]
        )


#: Every answer that a page is drawn from. `dashboard.kit.menu` says which page, by these names.
ANSWERS = {
    "report": Answer(Report, lambda then: report(then.log, then.at, then.learned, then.shelf)),
    "stores": Answer(Stores, lambda then: then.shelf),
    "plan": Answer(Plan, lambda then: plan(then.outlook)),
    "loading": Answer(Loading, lambda then: loading(then.outlook, then.shelf)),
    "capacity": Answer(Capacity, lambda then: capacity(then.outlook)),
    "reliability": Answer(RoomUpkeep, lambda then: reliability(then.watch, then.shelf)),
    "review": Answer(Review, lambda then: review(last_quarter(then.log, then.at, then.learned))),
    "machine_record": Answer(
        MachineRecord,
        lambda then, machine: machine_record(then.log, machine, then.at, then.learned, then.watch),
        Moment.machines,
    ),
    "floor": Answer(RackNow, lambda then, rack: then.racks[rack], lambda then: then.racks),
    "rack_round": Answer(
        RackRound, lambda then, rack: rack_round(then.log, rack, then.at, then.learned), lambda then: then.racks
    ),
    "machine_page": Answer(
        MachinePage, lambda then, machine: machine_page(then.log, machine, then.at, then.learned), Moment.in_service
    ),
}


def all_answers(
    log: Log,
    at: datetime,
    progress: Callable[[float], None] | None = None,
    kinds: Collection[type[Frozen]] | None = None,
) -> Iterator[Frozen]:
    """Every answer that a page is drawn from, as it stood at `at`, one after the other, or those of these `kinds`.

    `progress` is called with the share given, 0 to 1.
    """
    then, wanted = Moment(log, at), [answer for answer in ANSWERS.values() if kinds is None or answer.kind in kinds]
    asked = [ask for answer in wanted for ask in answer.asks(then)]
    for given, ask in enumerate(asked, start=1):
        yield ask()
        if progress:
            progress(given / len(asked))
