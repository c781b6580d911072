"""How far off the reckoning is and how often its ranges hold the truth, on families of invented rooms, worst first.

Beside it stands a plain reader of the same entries. Constants were found on some of the families; those set apart
nobody looked at meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from typing import TypeVar

import numpy as np

from dashboard.commands.trials import SIGHTINGS, Judged, JudgedHours, JudgedWeek, Trial, trials
from demo.rooms.families import FAMILIES, SET_APART

Item = TypeVar("Item")
Key = TypeVar("Key", bound=Hashable)

COLUMNS = "   off    95th    mean   range    held"
HEAD = [f"{'':28}{'printing':^38}{'downtime':^41}".rstrip(), f"{'':28}{COLUMNS}   {COLUMNS}  number"]


def how_sure(
    rooms: int,
    families: Sequence[str],
    missing: Sequence[float],
    weeks: int,
    progress: Callable[[float], None] = lambda _: None,
) -> str:
    """The report over so many weeks of so many rooms of each of these families (or all), with each of these shares of
    entries missing.

    `progress` is told the share done. Two cores judge 20 rooms of every family, with all shares, in some 40 minutes.
    """
    return report(trials(rooms, families or FAMILIES, missing, weeks, progress))


def report(found: Sequence[Trial]) -> str:
    """What these trials come to: the worst in one line, then every share of entries missing."""
    by_share = grouped(found, lambda trial: trial.missing)
    legend = "off: at the median and the 95th percentile; points of machine time, of a machine's week hours"
    return "\n\n".join([worst(found), legend, *(_of_share(share, by_share[share]) for share in sorted(by_share))])


def worst(found: Sequence[Trial]) -> str:
    """The shop-weeks whose ranges held least often, of all families, patterns of shifts and shares missing."""
    groups = grouped(found, lambda trial: (trial.family, trial.pattern, trial.missing))
    weeks = {(*group, what): of for group, mine in groups.items() for what, of in _shop_weeks(mine)}
    (family, pattern, missing, what), least = min(weeks.items(), key=lambda one: share_held(one[1]))
    off = np.abs([week.off for week in least])
    return (
        f"worst: {family}, {pattern}, {missing:.0%} missing: the range of {what} held {share_held(least):.0%} of "
        f"{len(least)} shop-weeks, off by {np.median(off):.2f} points, 95th {np.quantile(off, 0.95):.2f}"
    )


def grouped(items: Iterable[Item], key: Callable[[Item], Key]) -> dict[Key, list[Item]]:
    """The items that have the same key, each in its order."""
    groups: dict[Key, list[Item]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return groups


def share_held(judged: Sequence[Judged]) -> float:
    """The share of the ranges that hold the truth."""
    return float(np.mean([one.held for one in judged]))


def _shop_weeks(found: Sequence[Trial]) -> list[tuple[str, list[Judged]]]:
    shops = [week.shop for trial in found for week in trial.weeks]
    return [("printing", [shop.printing for shop in shops]), ("downtime", [shop.down for shop in shops])]


def _of_share(missing: float, found: Sequence[Trial]) -> str:
    """All families with this share of entries missing, the one whose ranges hold least often first."""
    worst_first = sorted(grouped(found, lambda trial: trial.family).items(), key=lambda one: _least_held(one[1]))
    told = ["\n".join(_of_family(family, mine)) for family, mine in worst_first]
    return "\n\n".join(["\n".join([f"{missing:.0%} of the entries missing, the worst family first", *HEAD]), *told])


def _least_held(found: Sequence[Trial]) -> float:
    patterns = grouped(found, lambda trial: trial.pattern).values()
    return min(share_held(weeks) for mine in patterns for _, weeks in _shop_weeks(mine))


def _of_family(family: str, found: Sequence[Trial]) -> Iterator[str]:
    """One family: its shops' weeks, by pattern of shifts and by kind of week, its machines' weeks, its files."""
    rooms = "1 room" if len(found) == 1 else f"{len(found)} rooms"
    yield f"{family}{', set apart' if family in SET_APART else ''}: {rooms}"
    weeks = [(trial.pattern, week) for trial in found for week in trial.weeks]
    shops = [(pattern, week.kind, week.shop) for pattern, week in weeks]
    yield _row("a shop's week", [shop for _, _, shop in shops])
    yield from _parts(grouped(shops, lambda one: one[0]))
    yield from _parts(grouped(shops, lambda one: one[1]))
    yield _plain([week for _, week in weeks])
    machines = [(pattern, week.kind, machine) for pattern, week in weeks for machine in week.machines]
    yield _row("a machine's week, h", [machine for _, _, machine in machines])
    yield from _parts(grouped(machines, lambda one: one[0]))
    yield _files([file for trial in found for file in trial.files])


def _parts(groups: dict[str, list[tuple[str, str, JudgedHours]]]) -> Iterator[str]:
    """A line a group, where there are several."""
    for name in sorted(groups) if len(groups) > 1 else []:
        yield _row(f"  {name}", [hours for _, _, hours in groups[name]])


def _row(name: str, hours: Sequence[JudgedHours]) -> str:
    both = [_columns([one.printing for one in hours]), _columns([one.down for one in hours])]
    return f"  {name:26}{'   '.join(both)}  {len(hours):6}"


def _columns(judged: Sequence[Judged]) -> str:
    width = np.mean([one.high - one.low for one in judged])
    return f"{_errors([one.off for one in judged])}  {width:6.2f}  {share_held(judged):6.1%}"


def _errors(off: Sequence[float]) -> str:
    """The median and the 95th percentile either way, and the mean."""
    either = np.abs(off)
    return f"{np.median(either):6.2f}  {np.quantile(either, 0.95):6.2f}  {np.mean(off):+6.2f}"


def _plain(weeks: Sequence[JudgedWeek]) -> str:
    return f"  {'  to a plain reader':26}{_errors([week.plain for week in weeks])}"


def _files(files: Sequence[Judged]) -> str:
    asked = f"  what a file takes, seen {SIGHTINGS} times or more:"
    if not files:
        return f"{asked} no file was"
    close = np.mean([abs(file.best / file.true - 1) <= 0.02 for file in files])
    return f"{asked} within 2 % in {close:.1%}, held in {share_held(files):.1%} of {len(files)}"
