"""Faults that left no word at all: how many there are beside those told, and what that does to how often machines fail.

Nothing shows them in the count of failures, so the hours between failures would come out too long, and their bounds
too narrow: exact bounds hold for what was counted, not for what nobody noted.
"""

from __future__ import annotations

import math

from core.estimate import Estimate
from core.habits.learned import Learned
from core.statistics.failures import in_doubt, mtbf

#: The share of faults that leave no word where nobody forgets anything, and what each share of forgotten taps adds: a
#: fault is told by more than one tap. Found on the rooms that are tuned on, where 3 to 24 % left none with every entry
#: kept, 9 to 50 % with two in five missing (`python -m tests.simulated.failure_bounds`).
LEFT_NO_WORD, OF_FORGOTTEN = 0.05, 0.5
#: How far the logarithm of the share told is off from room to room (one standard deviation), and what each share of
#: forgotten taps adds; and that of the hours printed.
TOLD_DOUBT, FORGOTTEN_DOUBT, HOURS_DOUBT = 0.15, 0.3, 0.04
#: Of a shop of which nothing is learned people are taken to forget so many of their taps (common practice, no source).
FORGETS = 0.2


def between_failures(told: int, hours: float, learned: Learned) -> Estimate:
    """Hours of printing between failures, where so many were told in these hours."""
    doubt = math.hypot(TOLD_DOUBT + FORGOTTEN_DOUBT * _forgets(learned), HOURS_DOUBT)
    return in_doubt(mtbf(told, hours), share_told(learned), doubt)


def share_told(learned: Learned) -> float:
    """The share of faults that left a word."""
    return (1 - LEFT_NO_WORD) * (1 - OF_FORGOTTEN * _forgets(learned))


def _forgets(learned: Learned) -> float:
    return learned.habits.forgets if learned.habits else FORGETS
