"""What goes wrong, and how often. With `Life` these rates make the room land where small rooms do."""

import random
from dataclasses import dataclass

from core.setup import DONT_KNOW
from demo.shop import FAULTS

#: Of 1000 prints: come loose, stop by a fault of the machine, are stopped by somebody who sees a fault.
CAME_LOOSE, FAULT_STOPS, FAULT_SEEN = 17, 13, 7
#: Of 1000 starts: those at which the machine turns out not to run.
FOUND_AT_START = 14
#: Of 100 prints that end by themselves: those with some scrap.
SOME_SCRAP = 5
#: Hours until somebody gets round to a machine that is down, and how often of 100: soon, next day, later.
UNTIL_MENDED = (((0.2, 3.0), 40), ((3.0, 26.0), 32), ((26.0, 96.0), 28))


@dataclass(frozen=True, slots=True)
class FaultKind:
    """What is wrong with a machine, and the spare that mends it, if one is needed."""

    cause: str
    spare: str | None


@dataclass(frozen=True, slots=True)
class Trouble:
    """What ends a print after `share` of it; `fault` if the machine is to blame, `seen` by a passer-by."""

    share: float
    scrap_cause: str
    fault: FaultKind | None = None
    seen: bool = False


def fault(rng: random.Random) -> FaultKind:
    """A fault of the usual kinds."""
    cause, _, _, spare, needs = rng.choices(FAULTS, [row[2] for row in FAULTS])[0]
    return FaultKind(cause, spare if rng.random() < needs else None)


def trouble(rng: random.Random) -> Trouble | None:
    """What ends a print early, seldom anything."""
    draw = 1000 * rng.random()
    if draw >= CAME_LOOSE + FAULT_STOPS + FAULT_SEEN:
        return None
    share = min(0.97, max(0.02, rng.betavariate(1.1, 1.6)))
    if draw < CAME_LOOSE:
        return Trouble(share, rng.choice(("came-loose", "came-loose", "strings", DONT_KNOW)))
    found = fault(rng)
    cause = found.cause if found.cause == "nozzle-blocked" else "machine-fault"
    return Trouble(share, cause, found, seen=draw < CAME_LOOSE + FAULT_SEEN)


def found_at_start(rng: random.Random) -> bool:
    """Whether the machine that somebody comes to start does not run."""
    return 1000 * rng.random() < FOUND_AT_START


def scrap(parts: int, rng: random.Random) -> tuple[int, str | None]:
    """Scrap in a print that ended by itself, and its cause."""
    if 100 * rng.random() >= SOME_SCRAP:
        return 0, None
    count = min(parts, 1 + int(rng.expovariate(0.6)))
    return count, rng.choice(("warped", "strings", "broken-taking-off", "layers-shifted", DONT_KNOW))


def until_mended(rng: random.Random) -> float:
    """Minutes until somebody gets round to a machine that is down."""
    low, high = rng.choices([hours for hours, _ in UNTIL_MENDED], [often for _, often in UNTIL_MENDED])[0]
    return 60 * rng.uniform(low, high)
