"""The sentences of upkeep and repairs."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from core.estimate import Estimate
from core.upkeep.types import (
    CardPut,
    CauseHours,
    CostSoFar,
    FailureBand,
    FailuresByHours,
    IntervalAdvice,
    ModelFailures,
    Recurs,
    Restored,
    SpareFitted,
    StandsOut,
    TaskDue,
    WaitsForSpare,
)
from dashboard.words import upkeep_words as say
from dashboard.words.written import Clock
from tests.dashboard.words.test_floor_words import NAMES

NOW = datetime(2026, 11, 25, 11, 42, tzinfo=UTC)
CLOCK = Clock(ZoneInfo("Europe/Dublin"), NOW)
OIL = TaskDue(
    machine="P07", task="oil", name="Clean and oil", minutes=20, says="maker", last=NOW - timedelta(days=50),
    hours=Estimate(low=195, best=210, high=226), days=50, prints=40, by="hours", every=200,
    share=Estimate(low=0.975, best=1.05, high=1.13), due=NOW - timedelta(days=1), stands=True,
)  # fmt: skip


def test_a_task_says_what_it_is_due_by_and_who_wants_it() -> None:
    what, why = say.due(OIL, CLOCK)
    assert what == "P07: Clean and oil"
    assert why == (
        "due, 210 (195-226) h printed since, 200 planned, last Tue 6 Oct; stands now; takes 20 min; the maker says"
    )


def test_a_task_to_come_says_when() -> None:
    soon = OIL.model_copy(update={
        "share": Estimate.exact(0.9), "by": "days", "every": 55.0, "due": NOW + timedelta(days=5), "last": None,
        "stands": False, "says": "shop", "minutes": 900,
    })  # fmt: skip
    assert say.due(soon, CLOCK)[1] == (
        "due Mon 30 Nov, 50 days since, 55 planned, never noted; prints now; takes 15 h; the shop says"
    )
    never = soon.model_copy(update={"due": None})
    assert say.due(never, CLOCK)[1].startswith("not due, ")


def test_a_wait_says_since_when_and_until_when() -> None:
    line = WaitsForSpare(machine="P07", spare="fan", name="Cooling fan", cause="fan", since=NOW - timedelta(days=3),
                 expected=NOW + timedelta(days=2), hours=72, cost=None)  # fmt: skip
    told = say.waits(line, CLOCK, {"fan": "Fan noisy"})
    assert told == ("P07: Cooling fan", "since Sun 22 Nov, 72 h so far; expected Fri 27 Nov; Fan noisy")
    late = line.model_copy(update={"expected": NOW - timedelta(days=1), "cost": 144.2})
    assert say.waits(late, CLOCK, {})[1] == (
        "since Sun 22 Nov, 72 h so far (about 144 in money); late: expected Tue 24 Nov; fan"
    )
    assert "none on order" in say.waits(line.model_copy(update={"expected": None}), CLOCK, {})[1]


def test_money_is_said_only_where_there_is_a_price() -> None:
    line = CauseHours(cause="fan", times=1, hours=40, waited=30, cost=None)
    assert say.cause(line, {}) == ("fan", "40 h, once, 30 h of it for spares")
    priced = line.model_copy(update={"cost": 80.0})
    assert say.cause(priced, {})[1] == "40 h (about 80 in money), once, 30 h of it for spares"
    assert say.cost(CostSoFar(spares=None, upkeep=None, down=None)) == []
    told = say.cost(CostSoFar(spares=22, upkeep=None, down=1800.4))
    assert told == ["Money spent or lost on it, about: 22 for spares, 1,800 for hours down."]


def test_failures_by_hours_say_what_the_hours_do() -> None:
    band = FailureBand(start=1000, end=1500, failures=4, hours=900, per_100_hours=Estimate(low=0.2, best=0.4, high=1))
    line = FailuresByHours(task="oil", name="Clean and oil", bands=[band], trend="worsening")
    assert say.by_hours(line)[:2] == ("Clean and oil", "more failures with the hours")
    assert say.by_hours(line.model_copy(update={"task": None}))[0] == "All machines"
    assert say.band(band) == "1,000"


def test_what_went_in_is_told_by_its_name() -> None:
    assert say.fitted(SpareFitted(at=NOW, spare="fan"), CLOCK, NAMES) == ("Wed 25 Nov", "Cooling fan fitted")
    assert say.card(CardPut(at=NOW, card_set="shop", revision=3), CLOCK) == ("Wed 25 Nov", "Card shop, revision 3")


def test_failures_have_their_bounds_parts_and_trend() -> None:
    restored = Restored(faults=4, hours=20, diagnosed=1.5, waited=10, mended=8.5)
    line = ModelFailures(
        model="b", name="Bench 220", machines=24, hours=8000, failures=40, untold=6.4,
        mtbf=Estimate(low=153, best=200, high=263),
        restored=restored, availability=0.9, trend="steady", slope=Estimate(low=0.9, best=1.05, high=1.2),
        estimator="MIL-HDBK-189",
    )  # fmt: skip
    assert say.model(line) == (
        "Bench 220: 40 failures told in 8,000 h printed, perhaps 6 more", "200 (153-263)",
        "20.0: 1.5 to know why, 10.0 for spares, 8.5 to mend; up 90 %",
        "neither better nor worse (slope 1.05, 0.90-1.20)",
    )  # fmt: skip
    assert say.between(Estimate(low=166, best=math.inf, high=math.inf)) == "none yet, above 166"


def test_who_stands_out_is_told_against_the_others() -> None:
    line = StandsOut(machine="P07", model="b", weeks=12, failures=9, hours=900, others=310.0,
                     times=Estimate(low=1.6, best=3.1, high=5.6))  # fmt: skip
    assert say.stands_out(line) == (
        "P07 failed or stopped a print 9 times in 900 h printed in the last 12 weeks, "
        "the others of its model once in 310 h: at the same files 3.1 times as often (1.6-5.6)."
    )
    again = Recurs(cause="fan", times=3, hours=400, others=2900)
    assert say.recurs(again, {"fan": "Fan noisy"}) == "Fan noisy: 3 times in 400 h printed; the others once in 2,900 h."
    assert "never had it" in say.recurs(again.model_copy(update={"others": math.inf}), {})


def test_advice_about_an_interval_says_what_it_rests_on() -> None:
    line = IntervalAdvice(task="oil", name="Clean and oil", every=200, failures=44, best=118.4, says="too long",
                          slope=Estimate(low=1.2, best=1.5, high=1.9))  # fmt: skip
    assert say.interval(line) == (
        "Clean and oil, every 200 h",
        "it seems too long; about 118 h would cost least (44 failures, slope 1.50, 1.20-1.90)",
    )
    none = line.model_copy(update={"slope": None, "best": None, "says": "cannot tell", "failures": 1})
    assert say.interval(none)[1] == "cannot be told yet (1 failures, no slope yet)"


def test_upkeep_is_summed_up() -> None:
    assert say.upkeep([], -3) == "No upkeep is due."
    later = OIL.model_copy(update={"stands": False})
    assert say.upkeep([OIL, later], -1) == "2 upkeep tasks are due, 1 of them at machines that stand (20 min of work)."
    assert say.upkeep([OIL] * 5, 2).endswith(" 2 more are on the upkeep page.")
