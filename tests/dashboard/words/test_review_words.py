"""What the weekly review says, line by line."""

import math
from datetime import UTC, date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest

from core.estimate import Estimate
from core.reading.types import Tally
from core.review.types import (
    Action,
    Called,
    Chart,
    ComparedFigure,
    ComparedGroup,
    LateOrder,
    LossChange,
    MaterialUse,
    Meanwhile,
    ModelsCompared,
    Moved,
    PromiseWeek,
)
from dashboard.words import review_words as said
from dashboard.words.names import Names
from dashboard.words.written import Clock

CLOCK = Clock(ZoneInfo("Europe/Dublin"), datetime(2026, 11, 26, tzinfo=UTC))
NAMES = Names(
    products={}, materials={"petg-black": "PETG black"}, down={"belt": "Belt loose"}, scrap={"warped": "Warped"},
    spares={"fan": "Cooling fan"}, tasks={"oil": "Oil"}, people={"MK": "Maeve K."},
    models={"bench-220": "Bench 220"}, racks={"a": "Rack A"},
)  # fmt: skip


#: A seldom cause that came more often.
OFTENER = "from 900 to 200 printing hours between two since Thu 12 Nov: more often (small differences that add up)"


def estimate(low: float, best: float, high: float) -> Estimate:
    return Estimate(low=low, best=best, high=high)


def chart(figure: str, kind: str, of: str | None = None, unit: str = "prints") -> Chart:
    return Chart.model_validate({
        "figure": figure, "of": of, "kind": kind, "unit": unit, "days": [], "values": [], "of_each": [], "centre": [],
        "lower": [], "upper": [], "called": [],
    })  # fmt: skip


def call(rule: str, before: float, after: float) -> Called:
    return Called.model_validate({
        "rule": rule, "at": date(2026, 11, 20), "since": date(2026, 11, 12), "upward": after > before,
        "before": before, "after": after, "new": True, "meanwhile": [],
    })  # fmt: skip


@pytest.mark.parametrize(
    ("of", "told", "sentence"),
    [
        (chart("scrap", "p", "F-002"), call("adds up", 0.07, 0.14),
         ("Scrap, F-002", "from 7 % to 14 % since Thu 12 Nov (small differences that add up)")),
        (chart("good", "individuals"), call("beyond", 670, 122),
         ("Good parts", "122 on Fri 20 Nov, where 670 is usual (one day far out)")),
        (chart("fault cause", "t", "belt"), call("adds up", 900, 200),
         ("Faults, Belt loose", OFTENER)),
        (chart("faults", "u"), call("beyond", 0.35, 2.1),
         ("Faults", "2.1 on Fri 20 Nov, where 0.35 is usual (one day far out)")),
    ],
)  # fmt: skip
def test_a_change_names_its_figure_its_size_since_when_and_the_rule(
    of: Chart, told: Called, sentence: tuple[str, str]
) -> None:
    assert said.called(of, told, NAMES) == sentence


def test_what_happened_meanwhile_is_told_in_one_line() -> None:
    def one(what: str, code: str, times: float) -> Meanwhile:
        return Meanwhile.model_validate({"what": what, "code": code, "at": date(2026, 11, 9), "times": times})

    told = [one("delivery", "petg-black", 1), one("revision", "F-002", 3), one("heat", "room", 4.4)]
    assert said.meanwhile(told, NAMES) == (
        "PETG black came in, first on 9 Nov; revision 3 of F-002 on 9 Nov; "
        "the room was up to 4 degrees warmer than usual from 9 Nov on"
    )


def action(moved: Moved | None) -> Action:
    return Action(
        id=UUID(int=1), what="Dry the spools", who="MK", agreed=datetime(2026, 11, 9, 9, tzinfo=UTC),
        due=datetime(2026, 12, 7, 17, tzinfo=UTC), figure="scrap", of=None, ended=None, answer=None, moved=moved,
    )  # fmt: skip


def test_an_action_says_who_until_when_and_whether_its_figure_moved() -> None:
    moved = Moved(
        before=estimate(0.06, 0.08, 0.10), after=estimate(0.03, 0.04, 0.05), change=estimate(-0.06, -0.04, -0.02),
        says="less",
    )  # fmt: skip
    assert said.action(action(moved), NAMES, CLOCK)[1] == "Maeve K., agreed Mon 9 Nov, by Mon 7 Dec"
    assert said.moved(action(moved), NAMES) == "Scrap: 8 % (6-10) before, 4 % (3-5) since: it went down."
    assert said.moved(action(None), NAMES) == "Scrap: cannot tell yet, too few days before or since."


def test_a_group_is_named_as_in_the_set_up_with_what_of_it_changed() -> None:
    def figure(name: str, says: str) -> ComparedFigure:
        return ComparedFigure.model_validate(
            {"figure": name, "unit": "prints", "before": None, "after": None, "change": None, "says": says}
        )

    figures = [figure("utilisation", "more"), figure("good", "cannot tell"), figure("scrap", "less")]
    changed = ComparedGroup(code="bench-220", figures=figures)
    assert said.group(changed, "model", NAMES) == "Bench 220: Printing more, Scrap less"
    assert said.group(changed, "machine", NAMES).startswith("bench-220: ")
    assert said.group(ComparedGroup(code="P01", figures=figures[1:2]), "machine", NAMES) == "P01: cannot tell"


def test_one_day_has_no_range_and_a_period_its_year() -> None:
    assert said.level("good", estimate(-math.inf, 795, math.inf)) == "795"
    assert said.level("downtime", estimate(-math.inf, 0.071, math.inf)) == "7 %"
    assert said.days(date(2026, 11, 20), date(2026, 11, 20)) == "Fri 20 Nov 2026"
    assert said.days(date(2026, 12, 28), date(2027, 1, 3)) == "Mon 28 Dec to Sun 3 Jan 2027"


def test_a_share_of_hours_says_of_which_days_it_is() -> None:
    assert said.by_week("downtime") == ("Downtime", "share of the hours meant to run")
    assert said.by_day("downtime")[1] == said.chart_title(chart("downtime", "individuals"), NAMES)[1]
    assert said.by_day("downtime")[1] == "share of the hours, days with people in"
    assert said.on_paper(chart("downtime", "individuals"), NAMES) == "Downtime, days with people in"
    assert said.on_paper(chart("stops", "p"), NAMES) == "Prints that stopped, share of prints"


def test_orders_materials_losses_and_models_are_told_as_people_read_them() -> None:
    week = PromiseWeek(start=datetime(2026, 11, 19, tzinfo=UTC), due=7, kept=5, late=2, open=0, unpacked=0)
    assert said.promises(week, CLOCK) == ("Wed 25 Nov", "5 of 7", "2", "-")
    due = datetime(2026, 11, 24, 12, tzinfo=UTC)
    order = LateOrder(order="1007", product="clip", quantity=5, due=due, left=None, days=2.0)
    assert said.late(order, CLOCK) == "Order 1007: due Tue 12:00, not left yet."
    used = MaterialUse(material="petg-black", name="PETG black", used=14_000, expected=10_000)
    assert said.material(used) == ("PETG black", "14.0 kg", "10.0 kg", "40 % more")
    nothing = Estimate.exact(0.0)
    loss = LossChange(reason="waiting", detail="fan", hours=estimate(9, 10, 11), times=1, before=nothing)
    assert said.loss(loss, NAMES)[1] == "10 h, before 0"
    slow = ModelsCompared(fast="a", slow="b", faster=1.25, more=estimate(-4.0, 1.0, 6.0))
    assert "80 % of the time of B" in said.compared(slow, {"a": "A", "b": "B"})
    assert "cannot be told" in said.compared(slow, {"a": "A", "b": "B"})
    assert said.tally(Tally(hits=0, of=0, share=None)) == "-"
