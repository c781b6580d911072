"""The same entries give the same answers to the last byte, whatever hash seed and however many threads a process has.

`python -m tests.simulated.same_answers` asks everything; here is what takes a few seconds.
"""

import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from core import answers
from core.log.store import Log
from core.window import Window
from demo.make import make
from tests.core.conftest import UNTIL

#: Seed of Python's hashes, on which the order of a set depends, and threads of Polars and of linear algebra.
PROCESSES = (("1", "1"), ("77", "2"))


def begun(shop: Path, seed: str, threads: str) -> "subprocess.Popen[str]":
    """A process of its own that runs this file for a shop."""
    own = {"PYTHONHASHSEED": seed, "POLARS_MAX_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
    command = [sys.executable, "-m", "tests.core.test_same_answers", shop]
    place = Path(__file__).parents[2]
    return subprocess.Popen(command, env={**os.environ, **own}, cwd=place, stdout=subprocess.PIPE, text=True)


@pytest.mark.full
def test_two_processes_with_other_hashes_and_other_threads_give_the_same_answers(tmp_path: Path) -> None:
    shops = [tmp_path / f"{seed}.duckdb" for seed, _ in PROCESSES]
    make(shops[0], machines=8, weeks=6, seed=4, until=UNTIL)
    shutil.copy(shops[0], shops[1])
    running = [begun(shop, *own) for shop, own in zip(shops, PROCESSES, strict=True)]
    one, other = (process.communicate()[0].splitlines() for process in running)
    assert [process.returncode for process in running] == [0, 0]
    assert len(one) == 3
    assert one == other


def main(shop: str) -> None:
    """Print the report, hours by day and the review of a shop at its end."""
    with Log.open(shop) as log:
        learned = answers.learned_at(log, UNTIL)
        days = Window(UNTIL - timedelta(weeks=6), UNTIL)
        found = (
            answers.report(log, UNTIL, learned),
            answers.hours(log, days, "day", UNTIL),
            answers.review(answers.last_quarter(log, UNTIL, learned)),
        )
    for answer in found:
        sys.stdout.write(f"{answer.model_dump_json()}\n")


if __name__ == "__main__":
    main(sys.argv[1])
