"""The clock, read here alone, and moments as whole microseconds since 1970, by which the reckoning counts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

#: A minute, an hour, a day of 24 and a week of 7 of them in microseconds.
MINUTE = 60_000_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR
WEEK = 7 * DAY
#: Hours of a week.
WEEK_HOURS = 168.0
#: Later than any time in a log, in microseconds; far from the limit of the type.
FAR = 2**62


def utc_now() -> datetime:
    """The clock of this computer."""
    return datetime.now(UTC)


def micros(moment: datetime) -> int:
    """An aware time as whole microseconds since 1970, exactly."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def instant(moment: int) -> datetime:
    """The time in UTC of whole microseconds since 1970, exactly: what `micros` counts."""
    return datetime.fromtimestamp(moment // 1_000_000, UTC).replace(microsecond=moment % 1_000_000)
