"""The owner's page, of the week and the morning of the seven machines."""

import math

import pytest

from core.estimate import NINETY, Estimate
from core.log.store import Log
from core.morning.report import report
from core.reading.types import Period
from tests.core.larkfield import EXACT, when
from tests.core.seven_machines import AT, WEEK, YESTERDAY, machines

#: A sum of many errors, each spread evenly over [-h, +h], stays within so many h nine times in ten (normal limit).
EVEN = NINETY / math.sqrt(3)


def best(found: Period) -> dict[str, float]:
    """The best hours of every state that had any."""
    return {state: part.best for state, part in found.account.hours.items() if part.best}


def lost(found: Period) -> list[tuple[str, str | None, float, int]]:
    return [(loss.reason, loss.detail, round(loss.hours.best, 9), loss.times) for loss in found.losses]


def test_whose_page_it_is(log: Log) -> None:
    page = report(log, AT, EXACT)
    assert (page.shop, page.zone, page.at) == ("Larkfield Hive Fittings", "Europe/Dublin", AT)
    assert page.planning_downtime == 0.2


def test_who_was_heard_from_since_the_shift_began(log: Log) -> None:
    trust = report(log, AT, EXACT).trust
    assert (trust.machines, trust.heard, trust.since) == (6, 3, when(8, 8))  # B1 is set aside: not asked
    assert trust.silent == ["A1", "A3", "A4"]
    assert trust.newest == when(8, 8, 30)


def test_how_word_came_in_over_the_week(log: Log) -> None:
    trust = report(log, AT, EXACT).trust
    # A1 until Monday 9:00 (153 h). A2 until Wednesday 9:00 and, empty for ten staffed hours, from Thursday noon
    # until Monday 8:00 (33 + 92). A3 until Friday noon (84). A4 all week (168). B1 until Wednesday 8:00 (32).
    # B2 and B3 until Monday noon (156 each). Of seven machines' weeks.
    assert trust.no_word == (153 + 33 + 92 + 84 + 168 + 32 + 156 + 156) / (7 * 168)
    # The belt and the count of boxes, of twelve entries of last week and yesterday; twenty minutes is no delay.
    assert trust.from_memory == 2 / 12
    assert (trust.takes, trust.seen) == (Estimate.exact(1.0), 0)


def test_what_needs_a_hand_the_most_urgent_first(log: Log) -> None:
    needs = report(log, AT, EXACT).needs
    assert [(n.level, n.state, n.rack, n.machines, n.since, n.waited_hours, n.cause, n.spare) for n in needs] == [
        # Half-way between its start and midnight, when it was due.
        ("now", "stopped", "B", ["B2"], when(7, 18), 17, None, None),
        ("now", "done", "A", ["A1"], when(8, 9), 2, None, None),
        # No word of it as far back as the page looks, four weeks and the morning.
        ("today", "no word", "A", ["A4"], when(-20), 28 * 24 + 11, None, None),
        ("today", "down", "B", ["B3"], when(7, 12), 23, "nozzle", None),
        ("today", "empty", "A", ["A2"], when(8, 8, 30), 2.5, None, None),
        ("waiting", "waiting", "A", ["A3"], when(4, 12), 95, "belt", "belt-220"),
    ]


def test_how_many_are_out_of_service(log: Log) -> None:
    # A3 waits for its spare and B3 is down; B1 is set aside, so six are in service.
    page = report(log, AT, EXACT)
    assert (page.in_service, page.out_now, page.out_now_share) == (6, 2, 2 / 6)


def test_every_machine_stands_in_its_rack(log: Log) -> None:
    racks = report(log, AT, EXACT).racks
    assert {code: machine.state for code, machine in machines(racks).items()} == {
        "A1": "done", "A2": "empty", "A3": "waiting", "A4": "no word", "B1": "aside", "B2": "stopped", "B3": "down",
    }  # fmt: skip
    grille = machines(racks)["A1"]
    assert (grille.since, grille.due, grille.basis, grille.last_word) == (when(8, 9), None, "reckoned", when(7, 9))
    assert (grille.file, grille.revision, grille.product, grille.parts) == ("grille", 1, "grille", 4)
    empty = machines(racks)["A2"]
    assert (empty.file, empty.product, empty.parts, empty.last_file, empty.last_revision) == (
        None, None, None, "clip", 1,
    )  # fmt: skip


def test_what_yesterday_gave_and_lost(log: Log) -> None:
    found = report(log, AT, EXACT).yesterday
    assert (found.start, found.end) == (YESTERDAY.start, YESTERDAY.end)
    assert best(found) == {
        "printing": 15 + 6 + 6,  # A1 from 9:00; A2 three clips; B2 from 12:00 to 18:00
        "done": 1 + 0.5 + 8.5,  # A2 at 10:00, at 13:00 and from 15:30 on
        "stopped": 6,
        "down": 12,
        "waiting": 24,
        "aside": 24,
        "no word": 9 + 8 + 24 + 12 + 12,
    }
    account = found.account
    assert (account.window_hours, account.total, account.operations, account.faults) == (168, 103, 79, 1)
    shares = [account.utilisation, account.uptime, account.downtime, account.out_of_service]
    assert [share.best for share in shares if share] == pytest.approx([27 / 79, 43 / 79, 36 / 79, 36 / 79])
    assert account.mttr is not None
    assert account.mttr.best == pytest.approx(36)
    # One clip was never counted: all of its twelve may have been good.
    assert found.good == Estimate(low=9, best=9, high=21)
    assert (found.scrap, found.scrap_by_cause) == (3, {"warped": 3})
    assert (found.prints_ended, found.prints_stopped) == (1, 0)
    assert lost(found) == [
        ("waiting", "belt-220", 24, 1),
        ("down", "nozzle", 12, 1),
        ("hands outside", None, 8, 1),
        ("stopped", None, 6, 1),
        ("hands inside", None, 1 + 0.5 + 0.5, 3),
    ]


def test_what_the_week_gave_and_lost(log: Log) -> None:
    found = report(log, AT, EXACT).week
    assert (found.start, found.end) == (WEEK.start, WEEK.end)
    assert best(found) == {
        "printing": 15 + 6.5 + 6, "done": 10, "stopped": 0.5 + 6, "empty": 26, "down": 12, "waiting": 84,
        "aside": 136, "no word": 874,
    }  # fmt: skip
    assert math.fsum(best(found).values()) == found.account.window_hours == 7 * 168
    assert found.account.faults == 2
    # The feeder stopped within twelve hours, the clip of Wednesday within one.
    reach = EVEN * math.hypot(6, 0.5)
    stopped = found.account.hours["stopped"]
    assert (stopped.low, stopped.high) == pytest.approx((6.5 - reach, 6.5 + reach))
    assert found.good == Estimate(low=9, best=9, high=21)
    assert list(found.scrap_by_cause.items()) == [("loose", 12), ("warped", 3)]
    assert (found.scrap, found.prints_ended, found.prints_stopped) == (15, 1, 1)
    assert lost(found) == [
        ("waiting", "belt-220", 84, 1),
        ("empty", None, 26, 1),
        ("down", "nozzle", 12, 1),
        ("hands outside", None, 8, 1),
        ("stopped", None, 6.5, 2),
        ("hands inside", None, 2, 3),
    ]


def test_the_series_are_of_the_four_weeks_before_today(log: Log) -> None:
    found = {one.name: one for one in report(log, AT, EXACT).series}
    assert list(found) == ["utilisation", "downtime", "good", "scrap_share"]
    # Nobody had word of anything before Wednesday, and on Saturday and Sunday nobody was in.
    assert found["good"].days == [when(day).date() for day in (2, 3, 4, 7)]
    assert found["good"].values == [0, 0, 0, 9]
    assert found["scrap_share"].values == [1, 0, 0, 3 / 12]
