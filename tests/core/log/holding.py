"""Programs that open a shop's file in a process of their own, for tests of two processes and of sudden ends."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]

#: Owns the file until its input ends.
HOLD = """
import sys
from core.log.store import Log
with Log.open(sys.argv[1]):
    print("open", flush=True)
    sys.stdin.read()
"""

#: Records taps of two entries from the day given on, and prints the two ids when a tap is on disk.
TAP_FOR_EVER = """
import sys
from datetime import timedelta
from core.log.record import record
from core.log.store import Log
from tests.core.larkfield import at_a1, start, when
with Log.open(sys.argv[1]) as log:
    for tap in range(100_000):
        at = when(days=float(sys.argv[2])) + timedelta(minutes=5 * tap)
        done = record(log, [at_a1("PartsOff", at), start(at)], now=at).recorded
        print(*(entry.id for entry in done), flush=True)
"""

#: Opens the file as a user who may not write in its folder.
OPEN_AS_NOBODY = """
import os, sys
from core.errors import Refused
from core.log.store import Log
if os.geteuid() == 0:
    os.setuid(65534)
try:
    Log.open(sys.argv[1])
except Refused as refused:
    print(refused.rule, refused.sentence)
"""


def run(program: str, *arguments: object) -> subprocess.Popen[str]:
    """Start a program of this file; the caller ends it."""
    return subprocess.Popen(
        [sys.executable, "-c", program, *map(str, arguments)],
        cwd=ROOT,
        text=True,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
