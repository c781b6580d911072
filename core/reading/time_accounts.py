"""Time accounting of any window, in all and by group."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Literal, get_args

import polars as pl

from core.errors import Refused
from core.hours import account
from core.hours.account import FORMULAS
from core.log.store import Log
from core.reading.reading import Reading
from core.reading.types import Hours
from core.setup import Machine, Setup
from core.window import Window

By = Literal["machine", "model", "rack", "day", "week"]


def hours(log: Log, window: Window, by: By | None, as_of: datetime) -> Hours:
    """Time accounting of `window`, in all and by group, from what was known at `as_of`.

    A machine counts to the model and rack it has at the end of the window.
    Raises `Refused` for a window that is empty or reaches beyond `as_of`.
    """
    _check_window(window, by, as_of, log)
    read = Reading(log, window, as_of)
    parts = _parts(window, by, read.setup)
    spent = read.state_hours(parts)
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
    """The name of every group and which rows of `state_hours` are its."""
    if by in ("day", "week"):
        zone = read.setup.zone
        return [(f"{p.start.astimezone(zone):%Y-%m-%d}", pl.col("window") == i) for i, p in enumerate(parts)]
    members: dict[str, list[str]] = {}
    last = read.window.end - timedelta(microseconds=1)
    for machine in read.reckoned.stretches["machine"].unique(maintain_order=True) if by else []:
        row = read.setup.get(Machine, machine, at=last)
        members.setdefault(str(getattr(row, str(by))), []).append(machine)
    return [(name, pl.col("machine").is_in(mine)) for name, mine in members.items()]
