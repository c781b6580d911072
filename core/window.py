"""Windows of time: half-open, in UTC, cut into the shop's own days and weeks."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from core.errors import Refused


@dataclass(frozen=True, slots=True)
class Window:
    """The time from `start` (inside) to `end` (outside); both aware, kept in UTC."""

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        object.__setattr__(self, "start", self.start.astimezone(UTC))
        object.__setattr__(self, "end", self.end.astimezone(UTC))
        if self.end < self.start:
            raise Refused(
                "window_backwards",
                f"The window ends ({self.end.isoformat()}) before it begins "
                f"({self.start.isoformat()}): swap the two times.",
            )

    @property
    def hours(self) -> float:
        """Length in hours; a day with a clock change has 23 or 25."""
        return (self.end - self.start).total_seconds() / 3600

    def days(self, zone: ZoneInfo) -> list["Window"]:
        """The window cut at the shop's local midnights, in order; the first and last may be part days."""
        return self._cut(zone, step_days=1, first=self.start.astimezone(zone).date())

    def weeks(self, zone: ZoneInfo) -> list["Window"]:
        """The window cut at the shop's Monday midnights (ISO 8601 weeks)."""
        first = self.start.astimezone(zone).date()
        return self._cut(zone, step_days=7, first=first - timedelta(days=first.weekday()))

    def _cut(self, zone: ZoneInfo, step_days: int, first: date) -> list["Window"]:
        edges = [self.start]
        day = first + timedelta(days=step_days)
        while (edge := midnight(day, zone)) < self.end:
            edges.append(edge)
            day += timedelta(days=step_days)
        edges.append(self.end)
        return [Window(a, b) for a, b in pairwise(edges) if a < b]


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The instant in UTC at which `day` begins in `zone`.

    In a zone whose clocks skip midnight on that day, this is the moment the clocks jump.
    """
    return datetime.combine(day, time(), zone).astimezone(UTC)


def last_midnight(now: datetime, zone: ZoneInfo) -> datetime:
    """The last midnight before `now`: that of the day before where it is midnight itself."""
    return midnight((now - timedelta(microseconds=1)).astimezone(zone).date(), zone)


def last_days(now: datetime, days: int, zone: ZoneInfo) -> Window:
    """The `days` whole local days that ended at the last midnight before `now`."""
    today = now.astimezone(zone).date()
    return Window(midnight(today - timedelta(days=days), zone), midnight(today, zone))


def parse_time(text: str, zone: ZoneInfo) -> datetime:
    """An ISO 8601 time in UTC; read in the shop's zone unless it carries an offset.

    Raises `Refused` when the text is not a time.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Refused(
            "not_a_time",
            f"'{text}' is not a time: write it as 2026-05-03T14:30 (the shop's clock) "
            "or with an offset, 2026-05-03T14:30+02:00.",
        ) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return moment.astimezone(UTC)
