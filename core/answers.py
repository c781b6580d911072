"""One question, one function: read the log, calculate, give a frozen, typed answer.

Pages and the command line ask only here. `at` is the moment asked about: only entries noted by then
count, so an earlier moment gives the answer as it stood.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Literal, get_args
from uuid import UUID

import polars as pl

from core.entries import AnyEntry, QuestionClosed, SpoolFitted, entry_adapter
from core.errors import Refused
from core.habits.learned import Pace
from core.hours import account
from core.hours.account import FORMULAS, TimeAccount
from core.hours.printed_hours import Worked
from core.log.store import Log, entries_from
from core.plan.capacity import capacity, gains
from core.plan.loading import loaded_since, loading, with_plan
from core.plan.outlook import Outlook
from core.plan.planning import plan, promise
from core.reading import periods
from core.reading.reading import Reading, pace_at
from core.reading.types import (
    AnswerChoice,
    Choice,
    Expected,
    FileChoice,
    Frozen,
    Hours,
    MachineNow,
    MachinePage,
    PartSpoolNow,
    Question,
    RackNow,
    RackRound,
    Report,
    Stores,
    TaskChoice,
)
from core.review.actions import actions, agree, end
from core.review.comparing import compare
from core.review.quarter import Past, last_quarter
from core.review.review import review
from core.setup import Machine, Material, PrintFile, Product, Rack, Setup, Spare, UpkeepTask, is_for
from core.stores.stores import order_now, spares_out, stores
from core.timeline import counts, possible
from core.timeline.reckon import Reckoned
from core.upkeep.machine_record import (
    WeeksBefore,
    by_fours,
    machine_record,
    weeks_before,
)
from core.upkeep.reliability import reliability
from core.upkeep.watch import Watch, worked_before
from core.window import Window, last_days

__all__ = [
    "FORMULAS", "Outlook", "Pace", "Past", "TimeAccount", "Watch", "WeeksBefore", "Worked", "actions", "agree",
    "all_answers", "by_fours", "capacity", "compare", "end", "entries_for", "floor", "gains", "hours", "last_quarter",
    "loaded_since", "loading", "machine_page", "machine_record", "open_question", "pace_at", "part_spools", "plan",
    "promise", "rack_round", "reliability", "report", "review", "spares_out", "stores", "weeks_before", "with_plan",
    "worked_before",
]  # fmt: skip

By = Literal["machine", "model", "rack", "day", "week"]

#: The owner's page looks back so many whole days to say what is usual.
USUAL_DAYS = 28
#: A spool lasts so many days at most, as far as the entries are asked.
SPOOL_DAYS = 28
#: A machine's state needs no more of the past than this; what was declared earlier keeps its beginning.
STATE_DAYS = 7


def report(log: Log, at: datetime, pace: Pace | None = None, shelf: Stores | None = None) -> Report:
    """The owner's page as it stands at `at`. `pace` and `shelf` as of `pace_at` and `stores`, if kept by the caller."""
    setup = log.setup()
    shop = setup.shop(at)
    days = last_days(at, USUAL_DAYS, setup.zone)
    read = Reading(log, Window(days.start, at), at, pace)
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
        racks=_racks(setup, now, at),
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


def all_answers(log: Log, at: datetime, progress: Callable[[float], None] | None = None) -> Iterator[Frozen]:
    """Every answer that a page is drawn from, as it stood at `at`, one after the other; a record of each machine.

    `progress` is called with the share given, 0 to 1.
    """
    pace, shelf = pace_at(log, at), stores(log, at)
    outlook, watch = Outlook(log, at, pace), Watch(log, at, pace)
    asked: list[Callable[[], Frozen]] = [
        lambda: report(log, at, pace, shelf), lambda: shelf, lambda: plan(outlook), lambda: loading(outlook, shelf),
        lambda: capacity(outlook), lambda: reliability(watch, shelf), lambda: review(last_quarter(log, at, pace)),
    ]  # fmt: skip
    machines = log.setup().all(Machine, at)
    asked += [partial(machine_record, log, row.machine, at, pace, watch) for row in machines]
    for given, ask in enumerate(asked, start=1):
        yield ask()
        if progress:
            progress(given / len(asked))


def floor(log: Log, at: datetime, pace: Pace | None = None) -> list[RackNow]:
    """Every rack with its machines as they stand at `at`."""
    read = Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at, pace)
    return _racks(read.setup, read.machines_now(), at)


def hours(log: Log, window: Window, by: By | None, as_of: datetime) -> Hours:
    """Time accounting of `window`, in all and by group, from what was known at `as_of`.

    A machine counts to the model and rack it has at the end of the window.
    Raises `Refused` for a window that is empty or reaches beyond `as_of`.
    """
    _check_window(window, by, as_of, log)
    read = Reading(log, window, as_of)
    parts = _parts(window, by, read.setup)
    spent = read.spent(parts)
    faults = account.faults_begun(read.reckoned.gaps, parts)
    return Hours(
        zone=str(read.setup.zone),
        start=window.start,
        end=window.end,
        by=by,
        groups=[
            account.account(name, spent.of(mine), faults.filter(mine).height) for name, mine in _groups(read, by, parts)
        ],
        whole=account.account("shop", spent, faults.height),
        formulas=FORMULAS,
    )


def machine_page(log: Log, machine: str, at: datetime, pace: Pace | None = None) -> MachinePage:
    """All that a check-in at one machine needs. Raises `Refused` for an unknown machine."""
    read = Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at, pace)
    now = next((m for m in read.machines_now() if m.machine == machine), None)
    if now is None:
        raise Refused("machine_is_known", f"There is no machine {machine} in the set-up: pick one from its rack.")
    setup = read.setup
    fits = [s for s in setup.all(Spare, at) if is_for(s, now.model)]
    tasks = [t for t in setup.all(UpkeepTask, at) if is_for(t, now.model)]
    mine = read.entries.filter(pl.col("machine") == machine)
    fitted = log.newest(SpoolFitted, machine, at)
    alone = Reading(log, Window(at - timedelta(days=SPOOL_DAYS), at), at, read.pace, [machine])
    return MachinePage(
        now=now,
        acts=list(possible.acts(now.state)),
        files=_files_for(setup, now, read.reckoned, alone),
        down_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("down", at)],
        scrap_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("scrap", at)],
        spares=[Choice(code=s.spare, name=s.name) for s in fits],
        materials=_materials(setup, fitted, at),
        spool=alone.spool(machine),
        spool_grams=fitted.grams if fitted else None,
        shift_began=read.shift_began(),
        tasks=[TaskChoice(code=t.task, name=t.name, minutes=t.minutes, spare=t.spare) for t in tasks],
        recent=_recent(mine),
        questions=[q for q in read.questions() if q.machine == machine],
    )


def part_spools(log: Log, at: datetime, pace: Pace | None = None) -> list[PartSpoolNow]:
    """The part-spools on the shelf, fullest first."""
    return Reading(log, Window(at - timedelta(days=SPOOL_DAYS), at), at, pace).part_spools()


def rack_round(log: Log, rack: str, at: datetime, pace: Pace | None = None) -> RackRound:
    """What a round of one rack should find. Raises `Refused` for an unknown rack, or one without a machine."""
    found = next((r for r in floor(log, at, pace) if r.rack == rack), None)
    if found is None:
        raise Refused("rack_is_known", f"There is no rack {rack} with a machine in it: pick one from the list.")
    looked_at = [m for m in found.machines if m.state != "aside"]
    return RackRound(
        rack=found.rack,
        name=found.name,
        across=found.across,
        machines=[
            Expected(machine=m.machine, place=m.place, state=m.state, due=m.due,
                     expected=possible.expected_sight(m.state))
            for m in looked_at
        ],
    )  # fmt: skip


def open_question(answer: RackRound, walk: UUID) -> Expected | None:
    """The machine that this round asks about without a hint, so that the reckoning is tested; chance picks it.

    The round's id is the chance: the same machine all through a round. None where nothing is held of it anyway.
    """
    if not answer.machines:
        return None
    asked = answer.machines[walk.int % len(answer.machines)]
    return asked if asked.expected else None


def entries_for(question: Question, choice: AnswerChoice, by: str, now: datetime) -> list[AnyEntry]:
    """The entries that record this answer, to be given to `core.log.record.record`."""
    if not choice.entries:
        return [QuestionClosed(at=now, noted_at=now, by=by, question=question.id, answer=choice.name)]
    return [entry_adapter.validate_python({**fields, "noted_at": now, "by": by}) for fields in choice.entries]


def _check_window(window: Window, by: str | None, as_of: datetime, log: Log) -> None:
    if by is not None and by not in get_args(By):
        raise Refused("by_is_known", f"Hours by '{by}' are not kept: use one of {', '.join(get_args(By))}.")
    zone = log.setup().zone
    if window.end > as_of:
        raise Refused(
            "window_in_the_future",
            f"The window ends at {window.end.astimezone(zone):%d %b %Y %H:%M}, which has not come yet "
            f"(it is {as_of.astimezone(zone):%d %b %Y %H:%M}): end it sooner.",
        )
    if window.hours == 0:
        raise Refused(
            "window_empty",
            f"The window begins and ends at {window.start.astimezone(zone):%d %b %Y %H:%M}: give it some length.",
        )


def _parts(window: Window, by: str | None, setup: Setup) -> list[Window]:
    if by == "day":
        return window.days(setup.zone)
    return window.weeks(setup.zone) if by == "week" else [window]


def _groups(read: Reading, by: str | None, parts: Sequence[Window]) -> Iterable[tuple[str, pl.Expr]]:
    """The name of every group and which rows of `spent` are its."""
    if by in ("day", "week"):
        zone = read.setup.zone
        return [(f"{p.start.astimezone(zone):%Y-%m-%d}", pl.col("window") == i) for i, p in enumerate(parts)]
    members: dict[str, list[str]] = {}
    last = read.window.end - timedelta(microseconds=1)
    for machine in read.reckoned.stretches["machine"].unique(maintain_order=True) if by else []:
        row = read.setup.get(Machine, machine, at=last)
        members.setdefault(str(getattr(row, str(by))), []).append(machine)
    return [(name, pl.col("machine").is_in(mine)) for name, mine in members.items()]


def _racks(setup: Setup, now: Sequence[MachineNow], at: datetime) -> list[RackNow]:
    names = {rack.rack: rack for rack in setup.all(Rack, at)}
    groups: dict[str, list[MachineNow]] = {code: [] for code in names}
    for machine in now:
        groups.setdefault(machine.rack, []).append(machine)
    return [
        RackNow(
            rack=code,
            name=names[code].name if code in names else code,
            across=names[code].across if code in names else 4,
            machines=machines,
        )
        for code, machines in groups.items()
        if machines
    ]


def _files_for(setup: Setup, now: MachineNow, reckoned: Reckoned, alone: Reading) -> list[FileChoice]:
    """The newest files that fit the machine: its last one first, then those the room started most lately."""
    fits = [f for f in setup.newest_files(alone.at) if is_for(f, now.model)]
    lately = counts.starts(reckoned.gaps).group_by("file").agg(pl.col("began").max())
    when = dict(lately.iter_rows())
    fits.sort(key=lambda f: (f.file != now.last_file, -when.get(f.file, 0), f.file))
    return [_file_choice(f, now.machine, alone) for f in fits]


def _file_choice(file: PrintFile, machine: str, alone: Reading) -> FileChoice:
    product = alone.setup.get(Product, file.product, at=alone.at)
    return FileChoice(
        file=file.file,
        revision=file.revision,
        product=file.product,
        name=product.name if product else file.product,
        parts=file.parts,
        hours=file.hours,
        grams=file.grams * alone.pace.usage.factor,
        material=file.material,
        lasts=alone.lasts(machine, file),
    )


def _materials(setup: Setup, fitted: SpoolFitted | None, at: datetime) -> list[Choice]:
    """Every material, the one last fitted here first."""
    rows = sorted(setup.all(Material, at), key=lambda m: fitted is None or m.material != fitted.material)
    return [Choice(code=m.material, name=m.name) for m in rows]


def _recent(mine: pl.DataFrame, most: int = 8) -> list[dict[str, Any]]:
    newest = mine.sort("noted_at", "at", descending=True).head(most)
    return [entry.model_dump(mode="json") for entry in entries_from(newest)]
