"""The owner's page as it stands at a moment."""

from __future__ import annotations

from datetime import datetime

from core.floor.room import racks_of
from core.habits.learned import Learned
from core.hours import account
from core.log.store import Log
from core.morning.types import Report
from core.reading import periods
from core.reading.reading import Reading
from core.stores.stores import order_now, stores
from core.stores.types import Stores
from core.window import Window, last_days

#: The owner's page looks back so many whole days to say what is usual.
USUAL_DAYS = 28


def report(log: Log, at: datetime, learned: Learned | None = None, shelf: Stores | None = None) -> Report:
    """The owner's page as it stands at `at`. `learned` and `shelf` as of `learned_at` and `stores`, if kept."""
    setup = log.setup()
    shop = setup.shop(at)
    days = last_days(at, USUAL_DAYS, setup.zone)
    read = Reading(log, Window(days.start, at), at, learned)
    now = read.machines_now()
    out = sum(machine.state in account.UNSCHEDULED_DOWN for machine in now)
    in_service = sum(machine.state not in account.NON_SCHEDULED for machine in now)
    week = last_days(at, 7, setup.zone)
    return Report(
        shop=shop.name,
        zone=shop.zone,
        at=at,
        trust=periods.trust(read, now, week),
        needs=read.needs(),
        racks=racks_of(setup, now, at),
        in_service=in_service,
        out_now=out,
        out_now_share=out / in_service if in_service else 0.0,
        planning_downtime=shop.planning_downtime,
        yesterday=periods.period(read, last_days(at, 1, setup.zone)),
        week=periods.period(read, week),
        series=periods.series(read, days),
        questions=read.questions(),
        print_times=read.print_times(),
        unnoted=read.unnoted_by_rack_and_shift(),
        stops=read.stops(),
        mending=read.mending(),
        runs_out=read.runs_out(),
        order_now=order_now(shelf or stores(log, at)),
    )
