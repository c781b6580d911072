"""The morning sheet of a log, without playing the room forward: that takes long, and its answers are told by hand."""

from datetime import datetime, timedelta

from core import answers
from core.estimate import Estimate
from core.log.store import Log
from core.plan.types import Leaves, OrderDue, Plan
from core.upkeep.types import RoomUpkeep, TaskDue
from dashboard.paper.morning_paper import morning
from dashboard.words.names import Names

ZONE = "Europe/Dublin"


def sheet_of(log: Log, at: datetime, crowd: int = 0) -> str:
    """The sheet, with so many orders and upkeep tasks."""
    plan = Plan(at=at, zone=ZONE, weeks=8, promise=0.9, learned=True, unpacked=[], unprintable=[], products=[],
                orders=[_order(at, n) for n in range(crowd)])  # fmt: skip
    room = RoomUpkeep(at=at, zone=ZONE, weeks=8, waits=[], lost_waiting=0, models=[], cumulative=[], causes=[],
                stands_out=[], advice=[], spares=[], lost_cost=None,
                by_hours=[], due=[_task(at, n) for n in range(crowd)])  # fmt: skip
    return morning(answers.report(log, at), plan, room, Names.of(log.setup(), at))


def _order(at: datetime, number: int) -> OrderDue:
    due = at + timedelta(days=number - 2)
    leaves = Leaves(low=due, best=due + timedelta(days=1), high=due + timedelta(days=3))
    soon = Estimate(low=600, best=700, high=800)
    return OrderDue(order=str(7000 + number), product="entrance-block", name="Entrance block", quantity=1200,
                    due=due, there=250, by_due=soon, chance=0.4, leaves=leaves)  # fmt: skip


def _task(at: datetime, number: int) -> TaskDue:
    hours = Estimate(low=300, best=320, high=340)
    return TaskDue(machine=f"P{number:02d}", task="overhaul", name="Overhaul and calibrate on the bench", minutes=900,
                   says="maker", last=at - timedelta(days=40), hours=hours, days=40, prints=50, by="hours", every=200,
                   share=hours.scaled(1 / 200), due=None, stands=True)  # fmt: skip
