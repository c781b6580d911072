"""How sure the figures are, in tests/ACCURACY.md: `python -m tests.accuracy [NAME ...]` measures and writes it.

Every section is what one command printed, with the command, the day, and nothing in between.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tests import tiers

PAPER = Path(__file__).with_name("ACCURACY.md")
HEAD = """# How sure the figures are

Measured on invented shops whose truth is known; each section is what its command printed. `python -m tests.accuracy`
writes all of them anew, `python -m tests.accuracy run_outs` one. What was measured before the reckoning last changed
stands until it is measured anew: the dates, and Changes in DEVELOPERS.md, say which. Constants were found on some of
these shops, so rooms made by another hand may fare worse; on the families called set apart nothing was ever tuned.
"""
#: What the solver prints by itself, whatever it is asked to keep quiet.
NOISE = "HighsMipSolverData::"


@dataclass(frozen=True)
class Measured:
    """A section: what it asks, and the command that answers, after `python -m`."""

    asks: str
    command: tuple[str, ...]

    def written(self, printed: str) -> str:
        """The section as it stands in the paper."""
        command, day = "python -m " + " ".join(self.command), date.today()  # noqa: DTZ011 - a day to read
        lines = "\n".join(line for line in printed.strip().splitlines() if not line.startswith(NOISE))
        return f"## {self.asks}\n\n`{command}`, {day:%d %b %Y}:\n\n```\n{lines}\n```\n"


MEASURED = {
    "how_sure": Measured("How far off hours and files are", ("dashboard", "report", "--how-sure", "--rooms", "20")),
    "taught_reader": Measured("How far off what can be said is", ("tests.simulated.taught_reader", "6", "100")),
    "run_outs": Measured("Are prints that starve foretold", ("tests.simulated.run_outs", "20")),
    "stock_years": Measured("Do deliveries come in time", ("tests.simulated.stock_years",)),
    "promises": Measured("Do promises hold", ("tests.simulated.promises", "20")),
    "loading_lists": Measured("What the loading list gives", ("tests.simulated.loading_lists", "6")),
    "bad_actors": Measured("How soon a bad machine is named", ("tests.simulated.bad_actors", "120")),
    "failure_bounds": Measured("How often machines fail", ("tests.simulated.failure_bounds", "8")),
    "false_calls": Measured("How many changes are called that are none", ("tests.simulated.false_calls", "10")),
}


def sections(paper: str) -> dict[str, str]:
    """The sections of the paper by the question they ask, as they stand."""
    parts = paper.split("\n## ")[1:]
    return {part.split("\n", 1)[0]: f"## {part.rstrip()}\n" for part in parts}


def measure(names: list[str]) -> None:
    """Run the commands of these sections, one by one, and write each as it is done; the others stay."""
    tiers.take_one_thread()
    for name in names:
        one = MEASURED[name]
        ran = subprocess.run([sys.executable, "-m", *one.command], check=True, stdout=subprocess.PIPE, text=True)
        kept = sections(PAPER.read_text(encoding="utf-8")) if PAPER.exists() else {}
        kept[one.asks] = one.written(ran.stdout)
        stand = [kept[known.asks] for known in MEASURED.values() if known.asks in kept]
        PAPER.write_text("\n".join([HEAD, *stand]), encoding="utf-8")


if __name__ == "__main__":
    measure(sys.argv[1:] or list(MEASURED))
