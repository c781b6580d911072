"""What truly happened, before anybody tapped anything. Times are minutes from the start of the span."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any


@dataclass(frozen=True, slots=True)
class Happening:
    """Something a person did or saw; `kind` and `facts` are those of the entry it deserves.

    The kind "Walked" is a round past one rack: it deserves a look for every machine.
    """

    at: float
    by: str
    kind: str
    machine: str | None = None
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Span:
    """The stretch of real time that the simulated minutes stand for."""

    start: datetime
    end: datetime

    @cached_property
    def minutes(self) -> float:
        """Its length."""
        return (self.end - self.start).total_seconds() / 60

    def moment(self, t: float) -> datetime:
        """The instant, in UTC, of minute `t`."""
        return self.start + timedelta(minutes=t)

    def minute(self, moment: datetime) -> float:
        """The minute of an instant."""
        return (moment - self.start).total_seconds() / 60
