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
    Of spools that by the book were too short for a print: `unnoted` is how often nobody noted the change that was
    made, `runs_out` how often, as far as it was noted, the spool ran out in the print and was not changed before it;
    both for prints whose start nobody noted and for those whose start was.
    """

    factor: float = 1.0
    doubt: float = FACTOR_DOUBT
    seen: int = 0
    unnoted: tuple[float, float] = (0.2, 0.1)
    runs_out: tuple[float, float] = (0.5, 0.5)

    def changed_before(self, *, told: bool) -> float:
        """The chance that a spool too short for a print that began was changed before it, where no change was noted.

        Changes are noted as often whether they were made before the print or when the spool had run out.
        """
        before = (1 - self.runs_out[told]) * self.unnoted[told]
        return before / (before + self.runs_out[told])
