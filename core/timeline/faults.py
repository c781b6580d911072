"""Faults as they were told: when each began and was mended, and what the time between went to.

The time to restore has three parts: until the cause was known, until the spare was there, and the mending itself, with
the wait for hands in it (EN 13306 calls the first two fault diagnosis and logistic delay).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from core.epoch import FAR, HOUR
from core.setup import DONT_KNOW

#: The kinds of entry that tell of faults: they begin, end, or bring a spare.
KINDS = ("WentDown", "CameBack", "PrintStarted", "SetAside", "StockReceived")


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault of a machine: it `began` and `ended` (microseconds; FAR: not yet); `cause` and `spare` as told last.

    `fitted` are the spares that went in: those told when it came back, or else the one it waited for.
    `diagnosed`, `waited` and `mended` are the hours it took to know the cause, to have the spare, and the rest.
    """

    machine: str
    began: int
    ended: int
    cause: str
    spare: str | None
    diagnosed: float
    waited: float
    mended: float
    fitted: tuple[str, ...]

    @property
    def hours(self) -> float:
        """The time to restore, so far where it is not over."""
        return self.diagnosed + self.waited + self.mended


@dataclass(frozen=True, slots=True)
class _Told:
    t: int
    cause: str
    spare: str | None


def faults(rows: Iterable[Mapping[str, Any]], now: int) -> list[Fault]:
    """The faults told by entries of `KINDS` in order of time: rows with kind, machine, t (microseconds), cause, spare,
    spares (a list), item. Oldest first.
    """
    open_: dict[str, list[_Told]] = {}
    came: dict[str, list[int]] = {}
    found: list[tuple[str, list[_Told], int, Sequence[str]]] = []
    for row in rows:
        if row["kind"] == "StockReceived":
            came.setdefault(row["item"], []).append(row["t"])
        elif row["kind"] == "WentDown":
            open_.setdefault(row["machine"], []).append(_Told(row["t"], row["cause"], row["spare"]))
        elif row["machine"] in open_:
            found.append((row["machine"], open_.pop(row["machine"]), row["t"], row["spares"]))
    found += [(machine, told, FAR, ()) for machine, told in open_.items()]
    return sorted((_fault(*one, came, now) for one in found), key=lambda fault: (fault.began, fault.machine))


def _fault(
    machine: str,
    told: Sequence[_Told],
    ended: int,
    fitted: Sequence[str],
    came: Mapping[str, Sequence[int]],
    now: int,
) -> Fault:
    began, end, last = told[0].t, min(ended, now), told[-1]
    known = next((one.t for one in told if one.cause != DONT_KNOW), end)
    waits = next((one for one in told if one.spare), None)
    waited = 0
    if waits and waits.spare:
        there = next((t for t in came.get(waits.spare, ()) if t >= waits.t), end)
        waited = max(min(there, end) - waits.t, 0)
    diagnosed = known - began
    rest = end - began - diagnosed - waited
    spare = next((one.spare for one in reversed(told) if one.spare), None)
    awaited = (spare,) if spare and ended != FAR else ()
    hours = (diagnosed / HOUR, waited / HOUR, max(rest, 0) / HOUR)
    return Fault(machine, began, ended, last.cause, spare, *hours, tuple(fitted) or awaited)
