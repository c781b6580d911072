"""Small stories of the spool of A1, and what is made of them.

A clip takes two hours and 60 g, a grille a day and 300 g of PETG black, a brace four hours and 90 g of PETG white.
"""

from collections.abc import Sequence
from datetime import datetime, time

from core.entries import AnyEntry
from core.epoch import micros
from core.estimate import Estimate
from core.habits.learned import Learned
from core.habits.usage import Usage
from core.hours.state_hours import replayed
from core.log.frames import entry_frame
from core.setup import WEEKDAYS, Material, PrintFile, Setup, Shift
from core.spools.book import PartSpool, Spool, left
from core.spools.spools import spools
from core.staffed import Staffed
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.larkfield import EXACT, a1_alone, at_a1, start, when

SETUP = Setup([
    *a1_alone(),
    Material(material="petg-white", name="PETG white"),
    PrintFile(file="brace", revision=1, product="grille", parts=1, hours=4, grams=90,
              material="petg-white", models=()),
    *(Shift(weekday=day, start=time(8), end=time(18), hands=1) for day in WEEKDAYS[:5]),
])  # fmt: skip
Told = tuple[Spool, list[PartSpool]]


def fit(at: datetime, grams: float = 1000, **fields: object) -> AnyEntry:
    return at_a1("SpoolFitted", at, **{"material": "petg-black", "grams": grams, **fields})


def off(at: datetime, **fields: object) -> AnyEntry:
    return at_a1("PartsOff", at, **fields)


def grille(day: float) -> list[AnyEntry]:
    """A grille begun at eight and taken off the morning after."""
    return [start(when(day, 8)), off(when(day + 1, 9))]


def told(story: Sequence[AnyEntry], at: datetime, usage: Usage | None = None, learned: Learned = EXACT) -> Told:
    """The spool of A1 and the shelf."""
    window = Window(when(-1), at)
    entries, staffed = entry_frame(story), Staffed.of(SETUP, window)
    found = reckon(entries, SETUP, window, staffed, learned)
    replays = replayed(found, SETUP, staffed, learned, window, micros(at))
    fitted = entries.filter(kind="SpoolFitted")
    (spool,), shelf = spools(found.gaps, replays, fitted, SETUP, micros(at), usage or Usage())
    return spool, shelf


def rest(story: Sequence[AnyEntry], at: datetime, usage: Usage | None = None, learned: Learned = EXACT) -> Estimate:
    """What is left on the spool of A1."""
    found = left(told(story, at, usage, learned)[0], usage or Usage())
    assert found is not None
    return found
