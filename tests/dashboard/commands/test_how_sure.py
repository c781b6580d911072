"""The calibration report as text: what is judged by hand must come out as it is."""

import re

from dashboard.commands import how_sure
from dashboard.commands.how_sure import Judged, Trial


def week(off: float, held: bool = True) -> Judged:
    reach = abs(off) + (0.1 if held else -0.1)
    return Judged(50.0, 50.0 + off - reach, 50.0 + off, 50.0 + off + reach)


def test_a_range_holds_its_ends_and_nothing_beyond() -> None:
    assert Judged(1.0, 1.0, 2.0, 3.0).held
    assert Judged(3.0, 1.0, 2.0, 3.0).held
    assert not Judged(3.01, 1.0, 2.0, 3.0).held
    assert [week(1.0).held, week(1.0, held=False).held] == [True, False]


def test_the_table_says_how_far_off_and_how_often_held() -> None:
    weeks = [week(0.2), week(-0.4), week(1.6, held=False), week(0.2)]
    files = [Judged(1.0, 0.98, 1.015, 1.02), Judged(1.0, 0.98, 1.03, 1.04)]
    trials = [Trial("queues", "one shift", 0.2, weeks, weeks[:2], weeks * 5, weeks[:2] * 3, files)]
    text = how_sure._of(trials)  # noqa: SLF001 - what the command prints
    assert text.startswith("queues: 1 room, 4 weeks of each")
    printing = next(line for line in text.splitlines() if "printing, a shop" in line)
    assert re.findall(r"[+-]?\d+\.\d+", printing)[:3] == ["0.30", "1.42", "+0.40"]
    assert printing.endswith("75.0% of 4")
    assert "a machine's week: printing held in 75.0% of 20, downtime in 100.0% of 6" in text
    assert "within 2 % in 50.0%, held in 100.0% of 2" in text
    bars = {line.split()[0]: line.split()[-1] for line in text.splitlines() if "#" in line}
    assert bars == {"+0.0": "2", "-0.5": "1", "+1.5": "1"}


def test_the_family_whose_ranges_hold_least_often_comes_first_and_says_by_which_shifts() -> None:
    good, bad = [week(0.2)] * 4, [week(0.2, held=False), *[week(0.2)] * 3]
    trials = [
        Trial("queues", "one shift", 0.2, good, good),
        Trial("spread", "one shift", 0.2, good, bad),
        Trial("rounds", "one shift", 0.2, [*bad, *bad[:1]], good),
        Trial("rounds", "late rounds", 0.2, good, good),
        Trial("rounds", "late rounds", 0.0, bad, bad),
    ]
    text = how_sure._of_share(trials, 0.2)  # noqa: SLF001 - what the command prints
    titles = [line for line in text.splitlines() if " of each" in line]
    assert titles == [
        "spread, set apart: 1 room, 4 weeks of each",
        "rounds: 2 rooms, 4 weeks of each",
        "queues: 1 room, 4 weeks of each",
    ]
    by_shifts = [line.split("  ")[-1].strip() for line in text.splitlines() if line.startswith("    ")]
    assert by_shifts == ["100.0% of 4", "60.0% of 5"]


def test_an_error_beyond_the_chart_is_drawn_at_its_end() -> None:
    bars = how_sure._bars([9.0, -9.0, -9.0])  # noqa: SLF001
    assert (bars[0].split()[-1], bars[-1].split()[-1]) == ("2", "1")
