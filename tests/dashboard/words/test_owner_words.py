"""The words of the owner's page and of the terminal, from answers told by hand and from an invented shop."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest

from core import answers
from core.answers import FORMULAS, TimeAccount
from core.estimate import Estimate
from core.log.store import Log
from core.morning.types import Report
from core.reading.types import AnswerChoice, Change, Hours, Loss, NeedsHand, PrintTime, Question, Series
from core.timeline.reckon import STATES
from core.window import Window
from dashboard.words import owner_words, plain, question_words, trust_words, written
from dashboard.words.written import Clock
from demo.make import make

NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)
CLOCK = Clock(ZoneInfo("Europe/Dublin"), NOW)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Report, Hours]:
    """The answers of a small invented shop."""
    path = tmp_path_factory.mktemp("told") / "shop.duckdb"
    make(path, machines=9, weeks=5, until=NOW)
    with Log.open(path) as log:
        week = Window(NOW - timedelta(days=7), NOW)
        return answers.report(log, NOW), answers.hours(log, week, "rack", NOW)


@pytest.mark.parametrize(
    ("low", "best", "high", "text"),
    [
        (0.524, 0.531, 0.536, "53 % (52-54)"),
        (0.08, 0.08, 0.081, "8 %"),
        (0, 0, 0, "0 %"),
        (0.001, 0.002, 0.004, "under 1 %"),
        (0.985, 1, 1, "100 % (99-100)"),
    ],
)
def test_a_share_has_its_range_where_the_range_can_be_seen(low, best, high, text):
    assert written.share(Estimate(low=low, best=best, high=high)) == text


def test_a_share_of_nothing_is_no_number():
    assert written.share(None) == written.hours(None) == "-"


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        ((1453, 1484.4, 1509.9), "1,484 h (1,453-1,510)"),
        ((24, 24, 24), "24 h"),
        ((3.53, 4.41, 5.33), "4.4 h (3.5-5.3)"),
        ((9.4, 9.97, 10.4), "10 h (9-10)"),
    ],
)
def test_hours_have_their_range_and_decimals_only_where_somebody_acts_on_them(estimate, text):
    low, best, high = estimate
    assert written.hours(Estimate(low=low, best=best, high=high)) == text


@pytest.mark.parametrize(
    ("until", "asked"),
    [
        (datetime(2026, 11, 26, 12, tzinfo=UTC), "What runs out by tomorrow noon?"),
        (datetime(2026, 11, 30, 12, tzinfo=UTC), "What runs out by Mon 30 Nov noon?"),
        (datetime(2026, 11, 26, 14, tzinfo=UTC), "What runs out by tomorrow 14:00?"),
    ],
)
def test_run_outs_are_asked_about_until_people_are_back(told, until, asked):
    runs = told[0].runs_out.model_copy(update={"until": until})
    assert owner_words.runs_out(runs, CLOCK) == asked


def test_a_spool_to_be_changed_on_another_day_says_which(told):
    end = told[0].runs_out.spools[0]
    when = end.when.model_copy(update={"best": NOW + timedelta(days=1)})
    for by, said in ((NOW + timedelta(hours=2), "by 10:30"), (when.best, "by Thu 08:30")):
        at_work = end.model_copy(update={"when": when.model_copy(update={"best": by}), "swap_by": by})
        assert owner_words.run_out(at_work, CLOCK, {})[1] == f"change it {said}"


def test_a_spool_that_runs_out_while_nobody_is_in_can_still_be_changed_by_who_reads_it(told):
    end = told[0].runs_out.spools[0]
    night = end.model_copy(update={"when": end.when.model_copy(update={"best": NOW + timedelta(hours=20)})})
    left = night.model_copy(update={"swap_by": NOW})
    assert owner_words.run_out(left, CLOCK, {})[1] == "change it now: empty about Thu 04:30"
    over = left.model_copy(update={"when": left.when.model_copy(update={"best": NOW - timedelta(minutes=1)})})
    assert owner_words.run_out(over, CLOCK, {})[1] == "may have run out: look"


def test_good_parts_are_counted_and_may_be_more():
    assert written.counted(Estimate(low=871, best=871, high=895)) == "871-895"
    assert written.counted(Estimate.exact(1871)) == "1,871"


@pytest.mark.parametrize(
    ("hours", "text"), [(0.2, "12 min"), (1, "1 h"), (6.6, "7 h"), (47.4, "47 h"), (115, "5 days"), (2400, "100 days")]
)
def test_how_long_is_told_in_the_unit_people_use(hours, text):
    assert written.lasting(hours) == text


@pytest.mark.parametrize(
    ("machines", "text"),
    [
        (["P13", "P17", "P18", "P19"], "P13, P17-P19"),
        (["P01", "P02"], "P01, P02"),
        (["P09", "P10", "P11"], "P09-P11"),
        (["P1", "Q2", "Q3", "Q4"], "P1, Q2-Q4"),
        (["left", "right"], "left, right"),
        (["7", "8", "9"], "7-9"),
        ([], ""),
    ],
)
def test_machines_in_a_row_are_told_as_a_run(machines, text):
    assert written.codes(machines) == text


@pytest.mark.parametrize(
    ("moment", "text"),
    [
        (datetime(2026, 11, 24, 8, 0, tzinfo=UTC), "Tue 08:00"),
        (datetime(2026, 11, 19, 8, 31, tzinfo=UTC), "Thu 08:31"),
        (datetime(2026, 11, 18, 8, 31, tzinfo=UTC), "18 Nov 08:31"),
        (datetime(2026, 7, 3, 8, 0, tzinfo=UTC), "3 Jul 09:00"),  # summer time in the shop
        (datetime(2025, 12, 1, 8, 0, tzinfo=UTC), "1 Dec 2025 08:00"),
    ],
)
def test_a_weekday_is_only_told_where_it_can_be_no_other_weeks(moment, text):
    assert CLOCK.when(moment) == text


def test_every_state_has_its_word():
    assert set(owner_words.STATE_WORDS) == set(STATES)
    assert set(owner_words.LEVEL_WORDS) == set(get_args(NeedsHand.model_fields["level"].annotation))


def test_every_formula_has_a_name_in_words():
    assert set(owner_words.FIGURE_WORDS) == set(FORMULAS)


def need(state: str, **told: Any) -> NeedsHand:
    fields = {"level": "today", "rack": "A", "machines": ["P07"], "since": NOW - timedelta(hours=7),
              "waited_hours": 7.0, "cause": None, "spare": None}  # fmt: skip
    return NeedsHand(state=state, **fields | told)


@pytest.mark.parametrize(
    ("needed", "step"),
    [
        (need("done"), "take parts off"),
        (need("stopped"), "clear the print"),
        (need("down", cause="nozzle-blocked"), "mend: nozzle blocked"),
        (need("down", cause="fan"), "mend: fan noisy"),
        (need("down", cause="dont-know"), "find out what is wrong"),
        (need("down"), "find out what is wrong"),
        (need("down", cause="fan", spare="nozzle"), "mend, its spare is here: nozzle 0.4 mm"),
        (need("waiting", spare="nozzle"), "waiting for spare: nozzle 0.4 mm"),
        (need("waiting"), "waiting for a spare"),
        (need("empty"), "start a print or set aside"),
        (need("no word"), "look at it"),
    ],
)
def test_what_needs_a_hand_says_what_the_hand_does(needed, step):
    assert owner_words.next_step(needed, {"fan": "Fan noisy"}, {"nozzle": "Nozzle 0.4 mm"}) == step


def test_a_name_that_is_all_capitals_stays_so():
    assert owner_words.named("x", {"x": "PSU dead"}) == "PSU dead"


def test_one_machine_is_told_since_when_and_several_since_the_first():
    assert owner_words.since(need("done"), CLOCK) == "since Wed 01:30, 7 h"
    several = need("done", machines=["P01", "P02"], waited_hours=12.4)
    assert owner_words.since(several, CLOCK) == "first since Wed 01:30, 12 h in all"


@pytest.mark.parametrize(
    ("reason", "detail", "text"),
    [
        ("hands inside", None, "Done, people in"),
        ("hands outside", None, "Done, nobody in"),
        ("empty", None, "Empty"),
        ("upkeep", None, "Upkeep"),
        ("stopped", None, "Stopped, not dealt with"),
        ("down", None, "Down, cause not noted"),
        ("down", "dont-know", "Down, don't know yet"),
        ("down", "feed-slipping", "Down: feed slipping"),
        ("waiting", "nozzle", "Waiting for nozzle"),
        ("waiting", None, "Waiting for a spare"),
    ],
)
def test_hours_lost_have_a_reason_in_words(reason, detail, text):
    loss = Loss(reason=reason, detail=detail, hours=Estimate.exact(3), times=1)
    assert owner_words.reason(loss, {}, {}) == text


def series(name: str = "good", change: Change | None = None, usual: bool = True) -> Series:
    days = [date(2026, 11, day) for day in range(2, 22)]
    values = [700.0] * 19 + [1100.0]
    limits = (720.0, 400.0, 1044.0) if usual else (None, None, None)
    return Series(name=name, days=days, values=values, mean=limits[0], lower=limits[1], upper=limits[2], change=change)


def test_no_signal_is_one_sentence():
    assert owner_words.changes([series(), series("downtime")]) == ["No change beyond usual."]
    assert owner_words.changes([series(usual=False)]) == ["Too few days with people in yet to say what is usual."]


def test_a_value_beyond_its_limits_is_told_with_the_day_and_the_usual():
    beyond = series(change=Change(rule="limit", since=date(2026, 11, 21), upward=True))
    assert owner_words.changes([series(), beyond]) == [
        "Good parts, a day: 1,100 on Sat 21 Nov is above what is usual (400 to 1,044)."
    ]


def test_a_run_is_told_with_the_day_it_began():
    run = series(change=Change(rule="run", since=date(2026, 11, 12), upward=False))
    assert owner_words.changes([run]) == ["Good parts, a day: below the usual 720 every day since Thu 12 Nov."]


def question(rule: str, found: str, choices: list[AnswerChoice], **told: Any) -> Question:
    fields = {"file": None, "revision": None, "parts": None, "scrap": None}
    about, seen = NOW - timedelta(hours=20), NOW - timedelta(hours=1)
    return Question(id="q", rule=rule, machine="P07", about=about, seen=seen, found=found, choices=choices,
                    **fields | told)  # fmt: skip


ALL_GOOD = AnswerChoice(name="all good", entries=[{"kind": "PartsOff"}])
SCRAP = AnswerChoice(name="all scrap", entries=[{"kind": "PartsOff"}])
OTHER = AnswerChoice(name="f-020", entries=[{"kind": "PrintStarted"}])
SAME = AnswerChoice(name="the same file again", entries=[{"kind": "PrintStarted"}])
BACK = AnswerChoice(name="it was back then", entries=[{"kind": "CameBack"}])
FAN = AnswerChoice(name="fan", entries=[{"kind": "WentDown", "cause": "fan"}])
BELT = AnswerChoice(name="belt-off", entries=[{"kind": "WentDown", "cause": "belt-off"}])
DONT_KNOW = AnswerChoice(name="dont-know", entries=[{"kind": "WentDown", "cause": "dont-know"}])
IDLE = AnswerChoice(name="it had no work", entries=[{"kind": "Looked", "saw": "empty"}])
NOBODY = AnswerChoice(name="nobody knows", entries=[])

ASKED = [
    (
        question("parts not counted", "parts gone", [ALL_GOOD, SCRAP, NOBODY], file="F-014", revision=1, parts=12),
        "P07: the parts of the print started Tue 12:30 (F-014, 12 parts) were never counted.",
        ["All 12 good", "All scrap", "Nobody knows"],
    ),
    (
        question("more scrap than parts", "parts gone", [OTHER, NOBODY], file="F-014", revision=1, parts=6, scrap=8),
        "P07: 8 scrap were noted Wed 07:30, where 6 parts of F-014 were started Tue 12:30: what was printed after it?",
        ["f-020", "Nobody knows"],
    ),
    (
        question("start not noted", "printing", [SAME, NOBODY], file="F-014", revision=1),
        "P07: found printing Wed 07:30, but no start was noted. It began about Tue 12:30: what was it?",
        ["The same file again: F-014", "Nobody knows"],
    ),
    (
        question("return not noted", "done", [BACK, NOBODY]),
        "P07: found done Wed 07:30, but nobody noted that it was back. Was it, from Tue 12:30?",
        ["It was back then", "Nobody knows"],
    ),
    (
        question("fault not noted", "down", [FAN, BELT, DONT_KNOW]),
        "P07: found down Wed 07:30. It went down about Tue 12:30: what was the cause?",
        ["Fan noisy", "Belt off", "Don't know"],
    ),
    (
        question("passed over", "empty", [FAN, DONT_KNOW, IDLE, NOBODY]),
        "P07: nobody has been at it since Tue 12:30, while others were started beside it. Is it down, and why?",
        ["Fan noisy", "Don't know", "It had no work", "Nobody knows"],
    ),
]


@pytest.mark.parametrize(("asked", "sentence", "choices"), ASKED)
def test_a_question_and_its_answers_are_in_words(asked, sentence, choices):
    assert question_words.question_sentence(asked, CLOCK) == sentence
    assert [question_words.choice_words(asked, choice, {"fan": "Fan noisy"}) for choice in asked.choices] == choices


@pytest.mark.parametrize("kept", [True, False])
def test_the_strip_says_who_was_silent(told, kept):
    report = told[0]
    trust = report.trust.model_copy(update={"heard": 7, "silent": [] if kept else ["P01", "P02"]})
    sentences = trust_words.trust_sentences(report.model_copy(update={"trust": trust}))
    assert sentences[0].startswith("Wed 25 Nov 2026, 08:30, newest entry ")
    assert f"7 of {trust.machines} machines heard from since" in sentences[1]
    assert ("No word: P01, P02." in sentences[1]) is not kept


def test_prints_never_seen_through_are_said_to_be_taken_at_their_word(told):
    report = told[0]
    trust = report.trust.model_copy(update={"seen": 0, "newest": None})
    sentences = trust_words.trust_sentences(report.model_copy(update={"trust": trust}))
    assert sentences[0].endswith("no entry yet.")
    takes = trust_words.proof_sentences(trust)[0]
    assert takes.endswith("what their files say.")
    assert not re.search(r"\d", takes)


def test_a_machine_stands_in_its_place_and_a_gap_stays_a_gap(told):
    rack = told[0].racks[0]
    first, second = rack.machines[:2]
    moved = [first.model_copy(update={"place": 2}), second.model_copy(update={"place": 5})]
    slots = owner_words.slots(rack.model_copy(update={"machines": moved}))
    assert [slot and slot.machine for slot in slots] == [None, first.machine, None, None, second.machine]


def test_two_machines_in_one_place_are_both_shown(told):
    rack = told[0].racks[0]
    both = [machine.model_copy(update={"place": 1}) for machine in rack.machines[:2]]
    assert {m.machine for m in owner_words.slots(rack.model_copy(update={"machines": both})) if m} == {
        machine.machine for machine in both
    }


def test_the_report_as_text_answers_in_the_order_of_the_page(told):
    report = told[0]
    text = plain.report_text(report)
    asked = [owner_words.TRUST, owner_words.NEEDS, owner_words.WHERE, owner_words.GAVE, owner_words.CHANGING]
    places = [text.index(f"\n{title}\n") for title in asked]
    assert places == sorted(places)
    assert text.startswith(report.shop)
    for rack in report.racks:
        for machine in rack.machines:
            assert re.search(rf"{machine.machine} ~?{owner_words.STATE_WORDS[machine.state].short}\b", text)
    assert len(report.questions) == sum(
        text.count(question_words.question_sentence(q, CLOCK)[:40]) > 0 for q in report.questions
    )


def test_the_texts_fit_a_terminal(told):
    report, hours = told
    for text in (plain.report_text(report), plain.hours_text(hours)):
        assert max(map(len, text.splitlines())) <= 100


def test_a_quiet_shop_says_so(told):
    text = plain.report_text(told[0].model_copy(update={"needs": [], "questions": []}))
    assert owner_words.NOTHING_NEEDED in text
    assert owner_words.ASKED not in text


def hours_of(line: str) -> list[int]:
    return [int(number.replace(",", "")) for number in line.split()[1:]]


def test_hours_as_text_have_every_state_and_a_line_for_each_group(told):
    hours = told[1]
    text = plain.hours_text(hours)
    assert text.startswith("Wed 18 Nov 2026, 08:30 to Wed 25 Nov 2026, 08:30: 1,512 machine-hours")
    for state in owner_words.STATE_WORDS.values():
        assert state.full in text
    block = text.split("Hours by rack\n")[1].split("\n\n")[0].splitlines()
    assert [line.split()[0] for line in block[1:]] == [group.group for group in hours.groups]
    for line, group in zip(block[1:], hours.groups, strict=True):
        assert hours_of(line) == [round(estimate.best) for estimate in group.hours.values()]
    for formula in FORMULAS.values():
        assert formula.split(";")[0][:60] in " ".join(text.split())


def test_a_figure_that_would_divide_by_nothing_is_a_dash(told):
    whole = told[1].whole
    none: TimeAccount = whole.model_copy(update={"mttr": None, "mtbf": None, "faults": 0})
    text = plain.hours_text(told[1].model_copy(update={"whole": none, "groups": [], "by": None}))
    assert re.search(r"mean time to restore +-\n", text)
    assert "Hours by" not in text.replace("Hours by state", "")


# What prints truly take

TIME = PrintTime(
    file="F-014", revision=1, model="bench-220", product="entrance-block", stated=6 + 2 / 3,
    takes=Estimate(low=7.0, best=7 + 5 / 60, high=7.2), seen=23,
)  # fmt: skip


def test_a_file_that_takes_longer_than_it_states_is_told_with_both_times() -> None:
    assert owner_words.print_time(TIME) == (
        "F-014 on bench-220",
        "takes 7 h 05, not 6 h 40 (7 h 00 to 7 h 12)",
        "seen 23 times",
    )


def test_a_file_that_may_well_take_what_it_states_is_told_so() -> None:
    near = TIME.model_copy(update={"takes": Estimate(low=6.5, best=6.7, high=6.9), "seen": 1})
    assert owner_words.print_time(near)[1:] == ("takes 6 h 40, as it states (6 h 30 to 6 h 54)", "seen once")
