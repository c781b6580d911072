"""The calibration report as text: what is judged by hand must come out as it is."""

import re
from typing import Any

import pytest
from click.testing import CliRunner

from dashboard.cli import roundsheet
from dashboard.commands import how_sure
from dashboard.commands.trials import Judged, JudgedHours, JudgedWeek, Trial
from demo.rooms.families import FAMILIES


def judged(off: float, held: bool = True) -> Judged:
    reach = abs(off) + (0.1 if held else -0.1)
    return Judged(50.0, 50.0 + off - reach, 50.0 + off, 50.0 + off + reach)


GOOD, BAD = judged(0.2), judged(0.2, held=False)


def week(printing: Judged = GOOD, down: Judged = GOOD, kind: str = "usual", plain: float = 0.0) -> JudgedWeek:
    return JudgedWeek(kind, JudgedHours(printing, down), [JudgedHours(printing, down)] * 3, plain)


def room(family: str, weeks: list[JudgedWeek], pattern: str = "one shift", missing: float = 0.2) -> Trial:
    return Trial(family, pattern, missing, weeks, [])


def line(text: str, begins: str) -> str:
    return next(line for line in text.splitlines() if line.strip().startswith(begins))


def numbers(line: str) -> list[str]:
    return re.findall(r"[+-]?\d+\.\d+%?", line)


def test_a_range_holds_its_ends_and_nothing_beyond() -> None:
    assert Judged(1.0, 1.0, 2.0, 3.0).held
    assert Judged(3.0, 1.0, 2.0, 3.0).held
    assert not Judged(3.01, 1.0, 2.0, 3.0).held
    assert [judged(1.0).held, judged(1.0, held=False).held] == [True, False]


def test_the_table_says_how_far_off_and_how_often_held() -> None:
    weeks = [week(judged(off, held=off < 1), judged(-0.4)) for off in (0.2, -0.4, 1.6, 0.2)]
    files = [Judged(1.0, 0.98, 1.015, 1.02), Judged(1.0, 0.98, 1.03, 1.04)]
    text = how_sure.report([Trial("queues", "one shift", 0.2, weeks, files)])
    assert "queues: 1 room\n" in text
    shop = line(text, "a shop's week")
    assert numbers(shop) == ["0.30", "1.42", "+0.40", "1.30", "75.0%", "0.40", "0.40", "-0.40", "1.00", "100.0%"]
    assert shop.endswith(" 4")
    assert numbers(line(text, "a machine's week, h"))[4::5] == ["75.0%", "100.0%"]
    assert line(text, "a machine's week, h").endswith(" 12")
    assert line(text, "what a file takes").endswith("within 2 % in 50.0%, held in 100.0% of 2")


def test_a_plain_reader_stands_beside_the_reckoning() -> None:
    text = how_sure.report([room("queues", [week(plain=off) for off in (-2.0, -1.0, 0.5)])])
    assert numbers(line(text, "to a plain reader")) == ["1.00", "1.90", "-0.83"]


def test_the_family_of_which_some_shifts_fare_worst_comes_first() -> None:
    good = [week()] * 4
    found = [
        room("queues", good),
        room("spread", [week(down=BAD), *[week()] * 3]),
        room("rounds", good, "one shift"),
        room("rounds", [week(printing=BAD)] * 2 + [week()] * 2, "late rounds"),
        room("crews", [week(printing=BAD)] * 4, missing=0.0),
    ]
    text = how_sure.report(found)
    with_one_in_five_missing = text.split("20% of the entries missing")[1]
    titles = [line for line in with_one_in_five_missing.splitlines() if re.fullmatch(r".*: \d+ rooms?", line)]
    assert titles == ["rounds: 2 rooms", "spread, set apart: 1 room", "queues: 1 room"]


def test_the_worst_of_all_is_told_first_whatever_it_is() -> None:
    found = [
        room("rounds", [week()] * 4),
        room("rounds", [week(printing=BAD), *[week()] * 3], "late rounds"),
        room("crews", [week(down=judged(-3.0, held=False)), week(down=BAD)], missing=0.4),
        room("crews", [week()] * 2, missing=0.0),
    ]
    assert how_sure.report(found).splitlines()[0] == (
        "worst: crews, one shift, 40% missing: the range of downtime held 0% of 2 shop-weeks, off by 1.60 points, "
        "95th 2.86"
    )


def test_every_pattern_of_shifts_and_kind_of_week_has_a_line_for_printing_and_downtime() -> None:
    found = [
        room("rounds", [week(kind="a day off"), week(down=BAD)], "two shifts"),
        room("rounds", [week(printing=BAD), week(printing=BAD)], "late rounds"),
    ]
    text = how_sure.report(found)
    shares = {name: numbers(line(text, name))[4::5] for name in ("two shifts", "late rounds", "a day off", "usual")}
    assert shares == {
        "two shifts": ["100.0%", "50.0%"],
        "late rounds": ["0.0%", "100.0%"],
        "a day off": ["100.0%", "100.0%"],
        "usual": ["33.3%", "66.7%"],
    }
    machines = text.split("a machine's week, h")[1]
    assert numbers(line(machines, "late rounds"))[4::5] == ["0.0%", "100.0%"]


def test_where_no_file_was_seen_often_it_says_so() -> None:
    assert how_sure.report([room("lone", [week()])]).endswith("what a file takes, seen 20 times or more: no file was")


def test_the_command_judges_what_it_is_asked_to(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def told(*what: Any) -> list[Trial]:
        asked.append(what[:4])
        return [room("rounds", [week()])]

    monkeypatch.setattr(how_sure, "trials", told)
    chosen = ["--rooms", "2", "--family", "rounds", "--missing", "0.1", "--missing", "0.3", "--weeks", "1"]
    ran = CliRunner().invoke(roundsheet, ["report", "--how-sure", *chosen])
    assert ran.stdout.startswith("worst: rounds, one shift, 20% missing")
    CliRunner().invoke(roundsheet, ["report", "--how-sure"])
    assert asked == [(2, ("rounds",), (0.1, 0.3), 1), (20, FAMILIES, (0.0, 0.2, 0.4), 4)]


def test_a_family_that_there_is_not_is_refused_with_those_there_are() -> None:
    ran = CliRunner().invoke(roundsheet, ["report", "--how-sure", "--family", "round"])
    assert ran.exit_code != 0
    assert ran.exception
    assert "larkfield, queues, bursts, rounds, crews" in str(ran.exception) + ran.output
