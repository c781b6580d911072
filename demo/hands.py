"""Who is in the room when: staffed time and the hands in it. Times are minutes from the start of the span."""

import random
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from core.setup import WEEKDAYS, Row, Setup, Shift, SpecialDay
from demo.shop import ZONE


@dataclass(frozen=True)
class HandsTime:
    """A stretch of staffed time."""

    start: float
    end: float
    hands: int


def staffed_time(rows: Sequence[Row], start: datetime, end: datetime) -> list[HandsTime]:
    """The staffed stretches that touch `start` to `end`, in order."""
    setup = Setup(rows)
    days = {row.day: row for row in setup.history(SpecialDay)}
    weekdays: dict[str, list[Shift]] = {}
    for row in sorted(setup.history(Shift), key=lambda row: row.start):
        weekdays.setdefault(row.weekday, []).append(row)

    def stretches() -> Iterator[HandsTime]:
        day = start.astimezone(ZONE).date()
        while day <= end.astimezone(ZONE).date():
            for row in [days[day]] if day in days else weekdays.get(WEEKDAYS[day.weekday()], []):
                if row.start and row.end and row.hands:
                    yield HandsTime(minutes(day, row.start, start), minutes(day, row.end, start), row.hands)
            day += timedelta(days=1)

    return [stretch for stretch in stretches() if stretch.end > 0]


def minutes(day: date, clock: time, start: datetime) -> float:
    """Minutes from `start` to the shop's `clock` on `day`."""
    return (datetime.combine(day, clock, ZONE) - start).total_seconds() / 60


class Hands:
    """The people on the floor: each does one thing at a time, in staffed time only."""

    def __init__(self, staffed: Sequence[HandsTime], crew: Sequence[str], rng: random.Random) -> None:
        self._staffed = staffed
        self._ends = [stretch.end for stretch in staffed]
        self.crew = crew
        self._free = dict.fromkeys(crew, 0.0)
        self._rng = rng

    def staffed_from(self, t: float) -> HandsTime:
        """The staffed stretch that `t` is in, or else the next one."""
        return self._staffed[bisect_right(self._ends, t)]

    def present(self, t: float) -> bool:
        """Whether anybody is in the room at `t`."""
        return self.staffed_from(t).start <= t

    def take(self, t: float) -> tuple[float, str]:
        """When, from `t` on, the first person is free, and who it is."""
        while True:
            stretch = self.staffed_from(t)
            by = min(self.crew[: stretch.hands], key=self._free.__getitem__)
            start = max(t, stretch.start, self._free[by])
            if start < stretch.end:
                return start, by
            t = stretch.end

    def release(self, by: str, t: float) -> None:
        """`by` is busy until `t`."""
        self._free[by] = t

    def notice(self, t: float) -> float:
        """When somebody notices what happened at `t`: soon while people are there, else in the morning."""
        noticed = t + self._rng.expovariate(1 / 8)
        stretch = self.staffed_from(t)
        if stretch.start <= t and noticed < stretch.end:
            return noticed
        following = self.staffed_from(noticed if stretch.start <= t else t)
        return following.start + self._rng.uniform(0, 10)
