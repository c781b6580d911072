"""What the time between facts is replayed by: when people are in, how fast hands go, and the habits of a shop."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from core.epoch import FAR
from core.habits.habits import Habits
from core.habits.learned import Learned
from core.habits.pace import NOBODY_SEEN, Presence
from core.habits.quiet import NEVER_QUIET, Quiet
from core.staffed import Staffed


@dataclass(frozen=True, slots=True)
class Law:
    """What replays go by: the staffed clock, the same at the speed of hands, the habits, the spread of one print.

    What hands do after `known_at` (microseconds) nobody can have noted yet: the future is played by the same law.
    In `quiet` stretches they may have worked and noted nothing; else they went at the pace `unseen` then.
    """

    staffed: Staffed
    hands: Staffed
    habits: Habits
    spread: float
    known_at: int = FAR
    quiet: Quiet = NEVER_QUIET
    unseen: float = 1.0

    @classmethod
    def of(
        cls, learned: Learned, staffed: Staffed, zone: ZoneInfo, known_at: int = FAR, seen: Presence = NOBODY_SEEN
    ) -> Law | None:
        """The law that a shop works by, and hands as they were `seen`; None where no habits are learned yet."""
        if learned.habits is None:
            return None
        quiet = learned.quiet_in(staffed, seen)
        hands = learned.hands(staffed, zone, seen, quiet)
        return cls(staffed, hands, learned.habits, learned.times.spread, known_at, quiet, learned.pace.unseen)
