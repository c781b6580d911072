"""How a shop uses spools: what it has learned of that."""

from __future__ import annotations

from dataclasses import dataclass

#: What is known of the usage factor before any spool was weighed: 1, give or take this.
FACTOR_DOUBT = 0.05
#: Before a print that a spool feeds less likely than this, it is changed, or another file is printed.
LASTS = 0.9
#: Minutes of hands that a new spool takes (common practice, no source).
SPOOL_MINUTES = 4.0


@dataclass(frozen=True, slots=True)
class Usage:
    """How this shop uses spools.

    `factor`: grams used for each stated, give or take `doubt`, from `seen` spools weighed when they came off.
    Of spools that by the book were too short for a print: `unnoted` is how often a change was made that nobody
    noted, `runs_out` how often, where no change was noted, the spool ran out in the print; both for prints whose
    start nobody noted and for those whose start was.
    """

    factor: float = 1.0
    doubt: float = FACTOR_DOUBT
    seen: int = 0
    unnoted: tuple[float, float] = (0.2, 0.1)
    runs_out: tuple[float, float] = (0.5, 0.5)
