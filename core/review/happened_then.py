"""What else happened when a figure changed: told beside it, never as its cause. Persons are never named."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from statistics import median

import polars as pl

from core.entries import Figure
from core.review.quarter import Past
from core.review.types import Happened, Meanwhile
from core.setup import ALWAYS, Machine, Material, PrintFile, SpecialDay

#: What may bear on a figure.
BEARS: dict[Figure, tuple[Happened, ...]] = {
    "utilisation": ("days off", "machine", "upkeep"),
    "downtime": ("upkeep", "machine", "heat"),
    "waiting": ("days off", "machine"),
    "good": ("days off", "machine", "revision"),
    "scrap": ("delivery", "revision", "upkeep", "heat"),
    "stops": ("delivery", "revision", "upkeep", "heat"),
    "faults": ("upkeep", "machine", "heat"),
    "fault cause": ("upkeep", "machine", "heat"),
    "scrap cause": ("delivery", "revision", "upkeep", "heat"),
    "late": ("days off", "machine"),
    "unnoted": ("days off",),
}
#: The room is hot when it is so many degrees Celsius above its median of the past.
HOT = 3.0
#: Upkeep is told if a task was done so many times, and so many times as often as usual.
FEWEST, UNUSUAL = 3, 2.0
#: So many things are told at most.
MOST = 4


class Happenings:
    """What happened in a past, by day."""

    def __init__(self, past: Past) -> None:
        self._past = past
        self._files = {file.file: file for file in past.setup.newest_files(past.end)}
        self._all = sorted(self._told(), key=lambda told: told.at)

    def around(self, figure: Figure, of: str | None, start: date, end: date) -> list[Meanwhile]:
        """What may bear on a figure from `start` to `end`: that of a file alone goes by it and its material."""
        found: dict[tuple[str, str], Meanwhile] = {}
        for told in self._all:
            if start <= told.at <= end and told.what in BEARS[figure] and self._concerns(told, figure, of):
                first = found.get((told.what, told.code), told.model_copy(update={"times": 0.0}))
                found[told.what, told.code] = first.model_copy(update={"times": _more(told, first)})
        days = (end - start).days + 1
        return [told for told in found.values() if told.what != "upkeep" or self._unusual(told, days)][:MOST]

    def _unusual(self, upkeep: Meanwhile, days: int) -> bool:
        """Whether a task was done much more often than it usually is in so many days."""
        often = sum(told.times for told in self._all if (told.what, told.code) == ("upkeep", upkeep.code))
        usual = often * days / len(self._past.days)
        return upkeep.times >= max(FEWEST, UNUSUAL * usual)

    def _concerns(self, told: Meanwhile, figure: Figure, of: str | None) -> bool:
        if figure != "scrap" or of is None:
            return True
        file = self._files.get(of)
        if told.what == "delivery":
            return file is not None and told.code == file.material
        return told.code == of if told.what == "revision" else told.what == "heat"

    def _told(self) -> Iterator[Meanwhile]:
        past, log = self._past, self._past.log
        came = log.entries_of(["StockReceived"], past.window, past.at)
        materials = {row.material for row in past.setup.all(Material, past.end)}
        for at, item in came.select("at", "item").iter_rows():
            if item in materials:
                yield self._one("delivery", item, at.astimezone(past.zone).date())
        done = log.entries_of(["UpkeepDone"], past.window, past.at)
        for at, task in done.select("at", "task").iter_rows():
            yield self._one("upkeep", task, at.astimezone(past.zone).date())
        yield from self._set_up()
        yield from self._heat()

    def _set_up(self) -> Iterator[Meanwhile]:
        past = self._past
        for file in past.setup.history(PrintFile):
            if file.since > ALWAYS and file.revision > 1:
                yield self._one("revision", file.file, file.since.astimezone(past.zone).date(), file.revision)
        for machine in past.setup.history(Machine):
            if machine.since > past.window.start:
                yield self._one("machine", machine.machine, machine.since.astimezone(past.zone).date())
        for special in past.setup.history(SpecialDay):
            if not special.hands:
                yield self._one("days off", special.note or "day off", special.day)

    def _heat(self) -> Iterator[Meanwhile]:
        """Days on which the room was hotter than usual, by its own readings."""
        past = self._past
        read = past.log.entries_of(["AirRead"], past.window, past.at).drop_nulls("celsius")
        if read.is_empty():
            return
        usual = median(read["celsius"])
        days = read.with_columns(day=pl.col("at").dt.convert_time_zone(str(past.zone)).dt.date())
        for day, celsius in days.group_by("day").agg(pl.col("celsius").max()).sort("day").iter_rows():
            if celsius - usual >= HOT:
                yield self._one("heat", "room", day, celsius - usual)

    @staticmethod
    def _one(what: Happened, code: str, at: date, times: float = 1.0) -> Meanwhile:
        return Meanwhile(what=what, code=code, at=at, times=times)


def _more(told: Meanwhile, first: Meanwhile) -> float:
    """How often so far; of a revision its number, of heat the most degrees."""
    if told.what in {"delivery", "upkeep", "machine", "days off"}:
        return first.times + 1
    return max(first.times, told.times)
