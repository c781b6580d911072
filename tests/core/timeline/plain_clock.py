"""Times of the plain reckoner: whole microseconds since 1970, staffed time, and what a print usually takes.

Like `plain_reckoner`, written from the text of the reckoning, not from `core`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from core.habits.learned import Learned

HOUR = 3_600_000_000
EVER = 2**62

Span = tuple[int, int]


class Clock:
    """Staffed time, span by span."""

    def __init__(self, spans: Sequence[Span]) -> None:
        self.spans = joined(spans)

    def worked(self, t: int) -> int:
        return sum(min(b, t) - a for a, b in self.spans if a < t)

    def reaching(self, staffed: int) -> int:
        """The earliest moment before which there is so much staffed time."""
        if staffed <= 0:
            return -EVER
        for a, b in self.spans:
            if staffed <= b - a:
                return a + staffed
            staffed -= b - a
        return EVER

    def after(self, t: int, staffed: int) -> int:
        """The moment by which so much staffed time has passed since `t`."""
        return self.reaching(self.worked(t) + staffed)

    def middle(self, a: int, b: int) -> int:
        gone = self.worked(a)
        staffed = self.worked(b) - gone
        if staffed == 0:
            return a + (b - a) // 2
        return max(a, self.reaching(gone + staffed // 2))

    def hours_left(self, t: int) -> int:
        """Whole hours until people leave; none while nobody is in."""
        return next(((b - t) // HOUR for a, b in self.spans if a <= t <= b), 0)


class Usual:
    """What a print takes that nobody announced, by the whole hours of the shift left when it began."""

    def __init__(self, clock: Clock, learned: Learned) -> None:
        self.clock = clock
        self.learned = learned

    def at(self, t: int) -> int:
        left = min(self.clock.hours_left(t), len(self.learned.usual) - 1)
        return int(self.learned.usual[left] * self.learned.best * HOUR)


def joined(spans: Sequence[Span]) -> list[Span]:
    """The spans in order, those that touch or overlap made one."""
    found: list[Span] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        elif start < end:
            found.append((start, end))
    return found


def micros(t: datetime) -> int:
    return (t - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
