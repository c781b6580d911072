"""What a cell of an exchange file says: times, days and clock times out of text."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from core.errors import Refused
from core.window import parse_time


def read_cell(text: str, kind: type, zone: ZoneInfo | None) -> object:
    """The value of a cell whose column holds values of `kind`; what Pydantic reads by itself stays text.

    Raises `Refused`: "not_a_time", "hour_skipped", "hour_twice", "zone_unknown", "not_a_day",
    "not_a_clock_time".
    """
    if kind is datetime:
        return _moment(text, zone)
    reader = _READERS.get(kind)
    return reader(text) if reader else text


def _moment(text: str, zone: ZoneInfo | None) -> datetime:
    """A time in UTC. Without an offset it is the shop's clock, and must name one instant of it."""
    moment = parse_time(text, zone or ZoneInfo("UTC"))
    local = datetime.fromisoformat(text)
    if local.tzinfo is None:
        _check_local(text, local, zone)
    return moment


def _check_local(text: str, local: datetime, zone: ZoneInfo | None) -> None:
    """Refuse a clock time that the change of the clocks skips or repeats: nobody may guess an hour."""
    if zone is None:
        raise Refused(
            "zone_unknown",
            f"'{text}' has no offset and the shop's zone is not known: put the shop into shop.csv, "
            f"or write the time with its offset, such as {text}+00:00.",
        )
    first, second = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first == second:
        return
    if first.astimezone(zone).replace(tzinfo=None) != local:
        raise Refused("hour_skipped", f"'{text}' was skipped when the clocks changed in {zone}: correct the time.")
    choices = " or ".join(moment.astimezone(zone).isoformat() for moment in (first, second))
    raise Refused(
        "hour_twice",
        f"'{text}' happened twice when the clocks changed in {zone}: write it with its offset, {choices}.",
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused("not_a_day", f"'{text}' is not a date: write it as 2026-05-03.") from None


def _clock(text: str) -> time:
    try:
        clock = time.fromisoformat(text.zfill(5) if ":" in text[:2] else text)
    except ValueError:
        clock = None
    if clock is None or clock.tzinfo or ":" not in text:
        raise Refused("not_a_clock_time", f"'{text}' is not a clock time: write it as 07:30.")
    return clock


_READERS: dict[type, Callable[[str], object]] = {date: _day, time: _clock}
