"""Numbers and times as people read them: rounded to what anybody acts on, on the shop's own clock."""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from core.estimate import Estimate

#: A time so many days off is told by its weekday; beyond that the weekday could be another week's.
WEEKDAY_HOLDS = timedelta(days=6)


def count(number: float) -> str:
    """A whole number with thousands apart."""
    return f"{number:,.0f}"


def percent(share: float) -> str:
    """A fraction as a whole percentage; a trace is not rounded to nothing."""
    return "under 1 %" if 0 < share < 0.005 else f"{_half_up(100 * share)} %"


def share(estimate: Estimate | None) -> str:
    """A share with its range, "53 % (52-54)"; a dash where it would divide by nothing."""
    if estimate is None:
        return "-"
    return percent(estimate.best) + _range(estimate.scaled(100), lambda x: str(_half_up(x)))


def hours(estimate: Estimate | None) -> str:
    """Hours with their range, "1,484 h (1,453-1,510)"; one decimal below ten."""
    if estimate is None:
        return "-"
    tell = _tenths if estimate.best < 9.95 else count
    return f"{tell(estimate.best)} h" + _range(estimate, tell)


def grams(estimate: Estimate) -> str:
    """Grams to ten with their range, "440 g (420-460)"."""
    return f"{_tens(estimate.best)} g" + _range(estimate, _tens)


def clocked(length: float) -> str:
    """A length in hours to the minute: "7 h 05"."""
    minutes = _half_up(60 * length)
    return f"{minutes // 60} h {minutes % 60:02d}"


def factor(estimate: Estimate) -> str:
    """A factor with its range, "1.05 (1.01-1.09)"."""
    return f"{estimate.best:.2f}" + _range(estimate, lambda x: f"{x:.2f}")


def counted(estimate: Estimate) -> str:
    """A count that may be higher than what was counted: "871-895"."""
    low, high = count(estimate.low), count(estimate.high)
    return low if low == high else f"{low}-{high}"


def lasting(length: float) -> str:
    """A length in hours: "40 min", "7 h", "5 days", "over a year"."""
    if length > 365 * 24:
        return "over a year"
    if length < 1:
        return f"{_half_up(60 * length)} min"
    return f"{_half_up(length)} h" if length < 48 else f"{_half_up(length / 24)} days"


def codes(machines: Sequence[str]) -> str:
    """Machine codes, three or more in a row as a run: "P13, P17-P24"."""
    return ", ".join(_run(run) for run in _runs(machines))


def day(date: date) -> str:
    """A date on the page: "Tue 24 Nov"."""
    return f"{date:%a} {date.day} {date:%b}"


@dataclass(frozen=True, slots=True)
class Clock:
    """The shop's clock, read at the moment of an answer."""

    zone: ZoneInfo
    at: datetime

    def local(self, moment: datetime) -> datetime:
        """The moment on the shop's clock."""
        return moment.astimezone(self.zone)

    def when(self, moment: datetime) -> str:
        """A time by its weekday within six days ("Tue 08:00"), else by its date ("3 Nov 08:00")."""
        local = self.local(moment)
        if abs(self.at - moment) < WEEKDAY_HOLDS:
            return f"{local:%a %H:%M}"
        year = "" if local.year == self.local(self.at).year else f" {local.year}"
        return f"{local.day} {local:%b}{year} {local:%H:%M}"

    def soon(self, moment: datetime) -> str:
        """A time of today by its hour alone ("08:00"), any other as `when` has it."""
        local = self.local(moment)
        return f"{local:%H:%M}" if local.date() == self.local(self.at).date() else self.when(moment)

    def day(self, moment: datetime) -> str:
        """Its day, with the year where that is another one: "Tue 24 Nov"."""
        local = self.local(moment)
        return day(local.date()) + ("" if local.year == self.local(self.at).year else f" {local.year}")

    def full(self, moment: datetime) -> str:
        """Date and time in full: "Wed 25 Nov 2026, 08:30"."""
        local = self.local(moment)
        return f"{day(local)} {local.year}, {local:%H:%M}"


def _half_up(number: float) -> int:
    return math.floor(number + 0.5)


def _tens(number: float) -> str:
    return f"{10 * _half_up(number / 10):,}"


def _tenths(number: float) -> str:
    return f"{number:.1f}"


def _range(estimate: Estimate, tell: Callable[[float], str]) -> str:
    """The range in brackets, or nothing where it reads like the best value."""
    low, best, high = map(tell, (estimate.low, estimate.best, estimate.high))
    return "" if low == best == high else f" ({low}-{high})"


def _runs(machines: Iterable[str]) -> list[list[str]]:
    runs: list[list[str]] = []
    for machine in machines:
        if runs and _follows(runs[-1][-1], machine):
            runs[-1].append(machine)
        else:
            runs.append([machine])
    return runs


def _run(run: list[str]) -> str:
    return f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(run)


def _follows(before: str, after: str) -> bool:
    """Whether two codes differ in their closing number alone, and by one."""
    (name, number), (other, next_number) = _parted(before), _parted(after)
    return bool(number and next_number) and name == other and int(next_number) == int(number) + 1


def _parted(code: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*?)(\d*)", code, re.DOTALL | re.ASCII)
    return (match[1], match[2]) if match else (code, "")
