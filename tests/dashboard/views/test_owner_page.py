"""The owner's page put together: what is drawn from which answer, and what a tap records."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core import answers
from core.entries import KINDS, Looked, PartsOff, PrintStarted, QuestionClosed, SetAside, WentDown
from core.epoch import utc_now
from core.log.frames import entries_from
from core.log.record import record
from core.log.store import Log
from core.setup import Cause, Machine, Model, Person, PrintFile, Product, Rack, Row, Shop
from core.window import Window
from dashboard.kit import shop
from dashboard.words import owner_words
from tests.patience import DEADLINE

PAGE = Path(owner_words.__file__).parents[1] / "views" / "owner.py"
SHOP: list[Row] = [
    Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin"),
    Model(model="B220", name="Bench 220"),
    Rack(rack="A", name="<b>Rack</b> A", across=3),
    *(Machine(machine=f"P0{n}", model="B220", rack="A", place=n) for n in (1, 2, 3, 5)),
    Product(product="clip", name="Queen-cage clip"),
    PrintFile(file="F-1", revision=1, product="clip", parts=12, hours=2, grams=30, material="pla", models=("B220",)),
    Person(person="ha", name="Hanna"),
    Cause(about="down", cause="fan", name="Fan noisy", place=1),
]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """The open log that the pages read."""
    with Log.open(tmp_path / "shop.duckdb") as opened:
        shop.hold(opened)
        yield opened
        shop.hold(None)


@pytest.fixture
def room(log: Log) -> Log:
    """P01 needs nothing, P02's parts were never counted, P03 is down, P05 nobody ever spoke of."""
    now = utc_now()
    log.append_setup(SHOP)

    def told(hours: float) -> dict[str, object]:
        at = now - timedelta(hours=hours)
        return {"at": at, "noted_at": at, "by": "ha"}

    for entry in (
        SetAside(machine="P01", **told(1)),
        PrintStarted(machine="P02", file="F-1", revision=1, **told(5)),
        Looked(machine="P02", saw="empty", **told(1)),
        WentDown(machine="P03", cause="fan", **told(3)),
    ):
        record(log, [entry])
    return log


def opened(by: str | None = "ha") -> AppTest:
    app = AppTest.from_file(str(PAGE), default_timeout=DEADLINE)
    if by:
        app.query_params["by"] = by
    app.run()
    assert not app.exception
    return app


def html(app: AppTest) -> str:
    return "\n".join(element.proto.body for element in app.get("html"))


def newest(log: Log, kind: type) -> list:
    now = utc_now()
    window = Window(now - timedelta(days=2), now + timedelta(minutes=1))
    return [entry for entry in entries_from(log.entries_of(list(KINDS), window, utc_now())) if isinstance(entry, kind)]


def test_the_questions_are_asked_in_their_order(room):
    page = html(opened())
    asked = [
        owner_words.TRUST,
        owner_words.NEEDS,
        owner_words.WHERE,
        owner_words.GAVE,
        owner_words.CHANGING,
        owner_words.ASKED,
    ]
    places = [page.index(f">{title}<") for title in asked]
    assert places == sorted(places)


def test_what_needs_a_hand_leads_to_its_check_in_with_who_is_here(room):
    page = html(opened())
    assert 'href="/checkin?machine=P03&amp;by=ha">P03</a>' in page
    assert "mend: fan noisy" in page
    assert page.index("mend: fan noisy") > page.index(f">{owner_words.NEEDS}<")


def test_every_machine_stands_in_its_place_and_only_what_is_not_normal_is_marked(room):
    page = html(opened())
    rack = page[page.index("rs-cells") : page.index("rs-note")]
    order = [rack.index(f"<b>P0{n}</b>") for n in (1, 2, 3, 5)]
    assert order == sorted(order)
    assert rack.count("rs-hole") == 1
    cell = dict(zip(("P01", "P02", "P03", "P05"), rack.split('class="rs-cell ')[1:], strict=True))
    assert cell["P01"].startswith('rs-normal"')
    assert "Aside" in cell["P01"]
    assert cell["P03"].startswith('rs-today"')
    assert "Down" in cell["P03"]
    assert "No word" in cell["P05"]


def test_what_was_typed_in_is_text_and_never_markup(room):
    page = html(opened())
    assert "&lt;b&gt;Rack&lt;/b&gt; A" in page
    assert "<b>Rack" not in page


def test_one_tap_answers_a_question(room):
    app = opened()
    assert "P02: the parts of the print started" in html(app)
    button = next(b for b in app.button if b.label == "All 12 good")
    button.click().run()
    assert not app.exception
    (off,) = newest(room, PartsOff)
    assert (off.machine, off.on_platform, off.scrap, off.by) == ("P02", 12, 0, "ha")
    assert "P02: the parts of the print started" not in html(app)
    assert "P02 recorded: all 12 good." in html(app)


def test_nobody_knows_closes_the_question_and_changes_nothing(room):
    app = opened()
    next(b for b in app.button if b.label == "Nobody knows").click().run()
    assert not app.exception
    (closed,) = newest(room, QuestionClosed)
    assert closed.by == "ha"
    assert newest(room, PartsOff) == []
    assert "were never counted" not in html(app)


def test_an_answer_can_be_undone(room):
    app = opened()
    next(b for b in app.button if b.label == "All 12 good").click().run()
    next(b for b in app.button if "Undo" in b.label).click().run()
    assert not app.exception
    assert "P02: the parts of the print started" in html(app)


@pytest.mark.parametrize("by", [None, "zz"])
def test_who_answers_is_asked_first(room, by):
    app = opened(by)
    assert not any(b.label == "All 12 good" for b in app.button)
    next(b for b in app.button if "HA" in b.label).click().run()
    assert any(b.label == "All 12 good" for b in app.button)
    assert "machine=P03&amp;by=ha" in html(app)


def test_the_figures_are_those_of_the_answer(room):
    page = html(opened())
    report = answers.report(room, utc_now())
    figures = owner_words.figures(report)
    assert figures
    for name, yesterday, week in figures:
        assert f'<th scope="row">{name}</th><td>{yesterday}</td><td>{week}</td>' in page


def test_a_quiet_room_says_so(log):
    log.append_setup(SHOP)
    now = utc_now()
    for number in (1, 2, 3, 5):
        record(log, [SetAside(at=now, noted_at=now, by="ha", machine=f"P0{number}")])
    page = html(opened())
    assert owner_words.NOTHING_NEEDED in page
    assert owner_words.NOTHING_ASKED in page
    assert "rs-cell rs-now" not in page


def test_a_file_without_a_shop_gets_a_sentence(log):
    page = html(opened())
    assert owner_words.NO_SHOP in page
    assert "roundsheet template FOLDER" in page


def test_a_shop_without_machines_is_no_error(log):
    log.append_setup(SHOP[:3])
    page = html(opened())
    assert owner_words.NO_MACHINES in page
