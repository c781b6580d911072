"""A machine as it truly is, and a print as it truly was. Times are minutes from the start of the span."""

import random
from dataclasses import dataclass

from core.setup import Machine, PrintFile

#: Printing hours between two cleanings, and between two overhauls.
CLEAN_EVERY, OVERHAUL_EVERY = 80.0, 260.0


@dataclass(frozen=True, slots=True)
class Print:
    """One run; `off` is when its parts were taken off, `by_itself` whether it ran to its end, `grams` what it used."""

    machine: str
    file: PrintFile
    order: str | None
    proving: bool
    started: float
    ended: float
    off: float
    scrap: int
    scrap_cause: str | None
    by_itself: bool
    grams: float


@dataclass(frozen=True, slots=True)
class SpoolChange:
    """A spool fitted at `t` with `grams` on it; `left` was on the old one, `ran_out` if it had stopped a print."""

    machine: str
    t: float
    material: str
    grams: float
    left: float
    ran_out: bool


class Printer:
    """A machine now, and the (time, state) turns it has been through; the spool on it, upkeep that is due."""

    def __init__(self, row: Machine, rng: random.Random) -> None:
        self.code, self.model = row.machine, row.model
        self.material, self.grams = "", 0.0
        self._uncleaned, self._unserviced = rng.uniform(0, CLEAN_EVERY), rng.uniform(0, OVERHAUL_EVERY)
        self.turns: list[tuple[float, str]] = [(0.0, "empty")]

    @property
    def state(self) -> str:
        """What it is doing since its last turn."""
        return self.turns[-1][1]

    def turn(self, state: str, t: float) -> None:
        """From `t` on the machine is in `state`."""
        if self.state != state:
            self.turns.append((t, state))

    def ran(self, hours: float) -> None:
        """Count printing hours toward the next upkeep."""
        self._uncleaned += hours
        self._unserviced += hours

    def wants_cleaning(self) -> bool:
        """Whether a cleaning is due."""
        return self._uncleaned > CLEAN_EVERY

    def wants_overhaul(self) -> bool:
        """Whether an overhaul is due."""
        return self._unserviced > OVERHAUL_EVERY

    def cleaned(self) -> None:
        """The cleaning is done."""
        self._uncleaned = 0.0

    def overhauled(self) -> None:
        """The overhaul, cleaning included, is done."""
        self._uncleaned = self._unserviced = 0.0
