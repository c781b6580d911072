"""One question, one function: read the log, calculate, give a frozen, typed answer.

Pages and the command line ask only here. `at` is the moment asked about: only entries noted by then
count, so an earlier moment gives the answer as it stood.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any, Literal, get_args

import numpy as np
import polars as pl

from core.answer_types import (
    AnswerChoice,
    Change,
    Choice,
    Due,
    Expected,
    FileChoice,
    Hours,
    Loss,
    MachineNow,
    MachinePage,
    NeedsHand,
    Period,
    Question,
    RackNow,
    RackRound,
    Report,
    Series,
    Trust,
)
from core.calc import account, changes, counts, pace, possible, questions, standing
from core.calc.facts import facts
from core.calc.reckon import Reckoned, find_gaps, reckon
from core.calc.staffed import Staffed, micros, spells
from core.entries import KINDS, AnyEntry, QuestionClosed, entry_adapter, from_memory
from core.errors import Refused
from core.estimate import Estimate
from core.log.store import Log, entries_from
from core.setup import Machine, Material, PrintFile, Product, Rack, Setup, Spare, UpkeepTask
from core.window import Window, last_days

By = Literal["machine", "model", "rack", "day", "week"]

#: The pace is learned from the prints of so many days before the moment asked about.
PACE_DAYS = 60
#: The owner's page looks back so many whole days to say what is usual.
USUAL_DAYS = 28
#: Older questions are not asked any more.
QUESTION_DAYS = 7
#: A machine's state needs no more of the past than this; what was declared earlier keeps its beginning.
STATE_DAYS = 7


def report(log: Log, at: datetime) -> Report:
    """The owner's page as it stands at `at`."""
    setup = log.setup()
    shop = setup.shop(at)
    days = last_days(at, USUAL_DAYS, setup.zone)
    read = _Reading(log, Window(days.start, at), at)
    now = read.machines_now()
    out = sum(machine.state in account.UNSCHEDULED_DOWN for machine in now)
    in_service = sum(machine.state != "aside" for machine in now)
    week = last_days(at, 7, setup.zone)
    return Report(
        shop=shop.name,
        zone=shop.zone,
        at=at,
        trust=_trust(read, now, week),
        needs=read.needs(),
        racks=_racks(setup, now, at),
        out_now=out,
        out_now_share=out / in_service if in_service else 0.0,
        planning_downtime=shop.planning_downtime,
        yesterday=_period(read, last_days(at, 1, setup.zone)),
        week=_period(read, week),
        series=_series(read, days),
        questions=read.questions(),
    )


def floor(log: Log, at: datetime) -> list[RackNow]:
    """Every rack with its machines as they stand at `at`."""
    read = _Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at)
    return _racks(read.setup, read.machines_now(), at)


def hours(log: Log, window: Window, by: By | None, as_of: datetime) -> Hours:
    """Time accounting of `window`, in all and by group, from what was known at `as_of`.

    A machine counts to the model and rack it has at the end of the window.
    Raises `Refused` for a window that is empty or reaches beyond `as_of`.
    """
    _check_window(window, by, as_of, log)
    read = _Reading(log, window, as_of)
    parts = _parts(window, by, read.setup)
    spent = account.spent(read.reckoned.stretches, parts)
    faults = account.faults_begun(read.reckoned.gaps, parts)
    return Hours(
        start=window.start,
        end=window.end,
        by=by,
        groups=[
            account.account(name, spent.filter(mine), faults.filter(mine).height)
            for name, mine in _groups(read, by, parts)
        ],
        whole=account.account("shop", spent, faults.height),
        formulas=account.FORMULAS,
    )


def machine_page(log: Log, machine: str, at: datetime) -> MachinePage:
    """All that a check-in at one machine needs. Raises `Refused` for an unknown machine."""
    read = _Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at)
    now = next((m for m in read.machines_now() if m.machine == machine), None)
    if now is None:
        raise Refused("machine_is_known", f"There is no machine {machine} in the set-up: pick one from its rack.")
    setup = read.setup
    fits = [s for s in setup.all(Spare, at) if not s.models or now.model in s.models]
    tasks = [t for t in setup.all(UpkeepTask, at) if not t.models or now.model in t.models]
    mine = read.entries.filter(pl.col("machine") == machine)
    return MachinePage(
        now=now,
        acts=list(possible.acts(now.state)),
        files=_files_for(setup, now, read.reckoned, at),
        down_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("down", at)],
        scrap_causes=[Choice(code=c.cause, name=c.name) for c in setup.causes("scrap", at)],
        spares=[Choice(code=s.spare, name=s.name) for s in fits],
        materials=_materials(setup, mine, at),
        tasks=[Choice(code=t.task, name=t.name) for t in tasks],
        recent=_recent(mine),
        questions=[q for q in read.questions() if q.machine == machine],
    )


def rack_round(log: Log, rack: str, at: datetime) -> RackRound:
    """What a round of one rack should find. Raises `Refused` for an unknown rack."""
    found = next((r for r in floor(log, at) if r.rack == rack), None)
    if found is None:
        raise Refused("rack_is_known", f"There is no rack {rack} in the set-up: pick one from the list.")
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


def entries_for(question: Question, choice: AnswerChoice, by: str, now: datetime) -> list[AnyEntry]:
    """The entries that record this answer, to be given to `core.log.record.record`."""
    if not choice.entries:
        return [QuestionClosed(at=now, noted_at=now, by=by, question=question.id, answer=choice.name)]
    return [entry_adapter.validate_python({**fields, "noted_at": now, "by": by}) for fields in choice.entries]


class _Reading:
    """One read of the log for one window: entries, set-up, staffed clock, pace, and the reckoning of them."""

    def __init__(self, log: Log, window: Window, at: datetime) -> None:
        self.log = log
        self.window = window
        self.at = at
        self.setup = log.setup()
        self.setup.shop(at)
        self.staffed = Staffed.of(self.setup, window)
        self.entries = log.machine_entries(window, at)

    @cached_property
    def pace(self) -> pace.Pace:
        """The shop's pace, from the same span of days whatever the window, so that windows agree."""
        return learn_pace(self.log, self.at)

    @cached_property
    def reckoned(self) -> Reckoned:
        return reckon(self.entries, self.setup, self.window, self.staffed, self.pace)

    @cached_property
    def standing(self) -> pl.DataFrame:
        return standing.standing(self.reckoned)

    def machines_now(self) -> list[MachineNow]:
        rows = {row["machine"]: row for row in self.standing.iter_rows(named=True)}
        return [_machine_now(m, rows[m.machine], self.setup) for m in self.setup.machines(self.at) if m.machine in rows]

    def needs(self) -> list[NeedsHand]:
        racks = {m.machine: m.rack for m in self.setup.machines(self.at)}
        rows = self.standing.filter(pl.col("machine").is_in(list(racks)))
        return [
            NeedsHand(
                level=need.level,  # type: ignore[arg-type]
                state=need.state,
                rack=need.rack,
                machines=list(need.machines),
                since=_time(need.since),
                waited_hours=need.waited_hours,
                cause=need.cause,
                spare=need.spare,
            )
            for need in standing.needs(rows, racks, micros(self.at))
        ]

    def questions(self) -> list[Question]:
        recent = Window(self.at - timedelta(days=2 * QUESTION_DAYS), self.at + timedelta(days=1))
        closed = self.log.entries_of([QuestionClosed.__name__], recent, self.at)["question"].to_list()
        causes = [c.cause for c in self.setup.causes("down", self.at)]
        since = micros(self.at - timedelta(days=QUESTION_DAYS))
        return [_question(q) for q in questions.questions(self.reckoned, since, closed, causes)]


def learn_pace(log: Log, at: datetime) -> pace.Pace:
    """How long prints really take against their files, from the last `PACE_DAYS` days before `at`."""
    setup = log.setup()
    window = Window(at - timedelta(days=PACE_DAYS), at)
    stated = [f.hours for f in setup.newest_files(at)]
    usual = float(np.median(stated)) if stated else pace.Pace().usual
    as_stated = pace.Pace(usual=usual)
    told = facts(log.machine_entries(window, at), setup, as_stated)
    staffed = Staffed.of(setup, window)
    seen = pace.telling_removals(find_gaps(told, staffed, as_stated), staffed)
    return pace.learn(seen["stated"].to_numpy(), seen["took"].to_numpy(), usual)


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


def _groups(read: _Reading, by: str | None, parts: Sequence[Window]) -> Iterable[tuple[str, pl.Expr]]:
    """The name of every group and which rows of `spent` are its."""
    if by in ("day", "week"):
        zone = read.setup.zone
        return [(f"{p.start.astimezone(zone):%Y-%m-%d}", pl.col("window") == i) for i, p in enumerate(parts)]
    members: dict[str, list[str]] = {}
    rows = {row.machine: row for row in read.setup.history(Machine)}
    for machine in read.reckoned.stretches["machine"].unique(maintain_order=True) if by else []:
        members.setdefault(str(getattr(rows[machine], str(by))), []).append(machine)
    return [(name, pl.col("machine").is_in(mine)) for name, mine in members.items()]


def _trust(read: _Reading, now: Sequence[MachineNow], week: Window) -> Trust:
    since = _last_shift(read.setup, read.at)
    asked = [m for m in now if m.state != "aside"]
    silent = [m.machine for m in asked if m.last_word is None or m.last_word < since]
    spent = account.spent(read.reckoned.stretches, [week])
    whole = spent["best"].sum()
    told = read.log.entries_of(list(KINDS), week, read.at)
    late = (told["noted_at"] - told["at"]).dt.total_seconds() > 20 * 60
    p = read.pace
    return Trust(
        machines=len(asked),
        heard=len(asked) - len(silent),
        since=since,
        silent=silent,
        newest=read.log.last_noted(read.at),
        no_word=spent.filter(pl.col("state") == "no word")["best"].sum() / whole if whole else 1.0,
        from_memory=float(late.sum()) / max(told.height, 1),
        takes=Estimate(low=p.low, best=p.best, high=p.high),
        seen=p.seen,
    )


def _last_shift(setup: Setup, at: datetime) -> datetime:
    """When the last shift began that has given people time for a round: two hours ago, or it is over."""
    before = spells(setup, Window(at - timedelta(days=14), at))
    given = [s.window.start for s in before if s.window.end < at or s.window.hours >= 2]
    return given[-1] if given else at - timedelta(days=1)


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


def _machine_now(machine: Machine, row: dict[str, Any], setup: Setup) -> MachineNow:
    file = setup.file(row["file"], row["revision"]) if row["file"] else None
    due = [row[name] for name in ("due_low", "due", "due_high")]
    return MachineNow(
        machine=machine.machine,
        model=machine.model,
        rack=machine.rack,
        place=machine.place,
        state=row["state"],
        basis=row["basis"],
        since=_time(row["since"]),
        due=Due(low=_time(due[0]), best=_time(due[1]), high=_time(due[2])) if due[1] is not None else None,
        file=row["file"],
        revision=row["revision"],
        product=file.product if file else None,
        parts=row["parts"],
        last_file=row["last_file"],
        last_revision=row["last_revision"],
        cause=row["cause"],
        spare=row["spare"],
        last_word=_time(row["last_word"]) if row["last_word"] is not None else None,
    )


def _period(read: _Reading, window: Window) -> Period:
    spent = account.spent(read.reckoned.stretches, [window])
    faults = account.faults_begun(read.reckoned.gaps, [window]).height
    off = counts.within(counts.removals(read.reckoned.gaps), window, "t")
    missing = counts.within(counts.uncounted(read.reckoned.gaps), window, "gone")
    good = int(off["good"].sum())
    scrapped = off.filter(pl.col("scrap") > 0).group_by("cause").agg(pl.col("scrap").sum()).sort("scrap", "cause")
    return Period(
        start=window.start,
        end=window.end,
        account=account.account("shop", spent, faults),
        good=Estimate(low=good, best=good, high=good + int(missing["parts"].sum())),
        scrap=int(off["scrap"].sum()),
        scrap_by_cause={row[0] or "": row[1] for row in scrapped.reverse().iter_rows()},
        prints_ended=off.filter(pl.col("ended") == "itself").height,
        prints_stopped=off.filter(pl.col("ended") == "stopped").height,
        losses=_losses(read, spent, window),
    )


def _losses(read: _Reading, spent: pl.DataFrame, window: Window) -> list[Loss]:
    """Where the hours went that printed nothing, largest first; finished prints split by whether people were in."""
    idle = spent.filter(~pl.col("state").is_in(["printing", "proving", "done", "aside", "no word"]))
    detail = pl.coalesce(pl.when(pl.col("state") == "waiting").then("spare"), "cause")
    rows = account.summed(idle.with_columns(detail=detail), "state", "detail")
    times = idle.with_columns(detail=detail).group_by("state", "detail").len("times")
    rows = rows.join(times, on=["state", "detail"], how="left", nulls_equal=True)
    losses = [
        Loss(reason=r["state"], detail=r["detail"], times=r["times"],
             hours=Estimate(low=r["low"], best=r["best"], high=r["high"]))
        for r in rows.filter(pl.col("best") > 0).iter_rows(named=True)
    ]  # fmt: skip
    losses += _waits_for_hands(read, spent, window)
    return sorted(losses, key=lambda loss: -loss.hours.best)


def _waits_for_hands(read: _Reading, spent: pl.DataFrame, window: Window) -> list[Loss]:
    done = read.reckoned.stretches.filter(pl.col("state") == "done")
    inside = account.waits(done, window, read.staffed)
    whole = account.combined(spent, ("done",))
    found = []
    for reason, column in (("hands inside", "inside"), ("hands outside", "outside")):
        mine = inside.filter(pl.col(column) > 0)
        share = mine[column].sum() / whole.best if whole.best else 0.0
        if mine.height:
            found.append(Loss(reason=reason, detail=None, hours=whole.scaled(share), times=mine.height))
    return found


def _series(read: _Reading, days: Window) -> list[Series]:
    """The daily figures of the owner's page over the days on which people were in."""
    zone = read.setup.zone
    windows = days.days(zone)
    spent = account.spent(read.reckoned.stretches, windows)
    off = counts.removals(read.reckoned.gaps)
    staffed = [w for w in windows if read.staffed.hours(*_ends(w))[0] > 0]
    figures: dict[str, list[float]] = {"utilisation": [], "downtime": [], "good": [], "scrap_share": []}
    for window in staffed:
        day = account.account("day", spent.filter(pl.col("window") == windows.index(window)), 0)
        mine = counts.within(off, window, "t")
        good, scrap = mine["good"].sum(), mine["scrap"].sum()
        figures["utilisation"].append(day.utilisation.best if day.utilisation else 0.0)
        figures["downtime"].append(day.downtime.best if day.downtime else 0.0)
        figures["good"].append(float(good))
        figures["scrap_share"].append(scrap / (good + scrap) if good + scrap else 0.0)
    dates = [w.start.astimezone(zone).date() for w in staffed]
    return [_one_series(name, dates, values) for name, values in figures.items()]


def _one_series(name: str, dates: list[Any], values: list[float]) -> Series:
    usual = changes.limits(values)
    found = changes.signal(values, usual) if usual else None
    return Series(
        name=name,  # type: ignore[arg-type]
        days=dates,
        values=values,
        mean=usual.mean if usual else None,
        lower=max(usual.lower, 0.0) if usual else None,
        upper=usual.upper if usual else None,
        change=Change(rule=found.rule, since=dates[found.index], upward=found.upward) if found else None,  # type: ignore[arg-type]
    )


def _ends(window: Window) -> tuple[np.ndarray, np.ndarray]:
    return np.array([micros(window.start)]), np.array([micros(window.end)])


def _question(asked: questions.Question) -> Question:
    return Question(
        id=asked.id,
        rule=asked.rule,
        machine=asked.machine,
        about=_time(asked.about),
        seen=_time(asked.seen),
        found=asked.found,
        file=asked.file,
        revision=asked.revision,
        parts=asked.parts,
        choices=[
            AnswerChoice(name=a.name, entries=[{"kind": d.kind, "at": _time(d.at), **d.fields} for d in a.drafts])
            for a in asked.answers
        ],
    )


def _files_for(setup: Setup, now: MachineNow, reckoned: Reckoned, at: datetime) -> list[FileChoice]:
    """The newest files that fit the machine: its last one first, then those the room started most lately."""
    fits = [f for f in setup.newest_files(at) if not f.models or now.model in f.models]
    lately = counts.starts(reckoned.gaps).group_by("file").agg(pl.col("began").max())
    when = dict(lately.iter_rows())
    fits.sort(key=lambda f: (f.file != now.last_file, -when.get(f.file, 0), f.file))
    return [_file_choice(f, setup, at) for f in fits]


def _file_choice(file: PrintFile, setup: Setup, at: datetime) -> FileChoice:
    product = setup.get(Product, file.product, at=at)
    return FileChoice(
        file=file.file,
        revision=file.revision,
        product=file.product,
        name=product.name if product else file.product,
        parts=file.parts,
        hours=file.hours,
        material=file.material,
    )


def _materials(setup: Setup, mine: pl.DataFrame, at: datetime) -> list[Choice]:
    """Every material, the one last fitted here first."""
    fitted = mine.filter(pl.col("kind") == "SpoolFitted")["material"].to_list()
    last = fitted[-1] if fitted else None
    rows = sorted(setup.all(Material, at), key=lambda m: m.material != last)
    return [Choice(code=m.material, name=m.name) for m in rows]


def _recent(mine: pl.DataFrame, most: int = 8) -> list[dict[str, Any]]:
    newest = mine.sort("noted_at", "at", descending=True).head(most)
    return [entry.model_dump(mode="json") for entry in entries_from(newest)]


def _time(moment: int) -> datetime:
    return datetime.fromtimestamp(moment // 1_000_000, UTC).replace(microsecond=moment % 1_000_000)
