"""Nothing of a page is forgotten: pages planted with something missing are told from those there are."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
from streamlit.testing.v1 import AppTest

from core.answer_tables import TABLES
from core.answers import ANSWERS
from core.errors import Refused
from core.log.store import Log
from core.setup import Person
from dashboard.charts.drawn import DRAWINGS, Each
from dashboard.kit import data, keeping, menu, shop
from dashboard.kit.behind import Behind
from dashboard.kit.menu import CHECK_IN, DOWNLOADS, OWNER, PAGES, PLAN, REVIEW, STORES, UPKEEP, OfOne, Page
from dashboard.words import download_words as said
from demo.make import make
from tests.dashboard.serving import make_shop
from tests.patience import DEADLINE

DASHBOARD = Path(menu.__file__).parents[1]
README = (DASHBOARD.parent / "README.md").read_text(encoding="utf-8")
VIEWS = {f"views/{file.name}" for file in (DASHBOARD / "views").glob("*.py") if "def page()" in file.read_text()}

#: A line of README's list of pages: the title, and the address, with what it may ask for.
LISTED = re.compile(r"^- \*\*(.+?)\*\* \(`/([^?`]*)[^`]*`\)", re.MULTILINE)


def asked_for(page: Page) -> list[str]:
    """The names of all answers that a page is drawn from."""
    return [*page.answers, *(one.answer for one in page.of_one.values())]


def of_page(name: str, each: str | None, page: Page) -> bool:
    """Whether a table or a chart of this name is a page's. Of models and tasks it has all there are, one by one."""
    return (name.partition("-")[0] if each in {None, "model", "task"} else each) in page.files


def of_more_or_less_than_one(pages: Sequence[Page]) -> Iterator[str]:
    """The tables and charts that are no page's, or of several."""
    files = [(name, None) for name in TABLES] + [(name, one.each) for name, one in DRAWINGS.items()]
    for name, each in files:
        if sum(of_page(name, each, page) for page in pages) != 1:
            yield f"{name} is not one page's"


def not_drawn_from(pages: Sequence[Page]) -> Iterator[str]:
    """The tables and charts of answers that their page is not drawn from."""
    for page in pages:
        kinds = {ANSWERS[name].kind for name in asked_for(page) if name in ANSWERS}
        files = [(one.name, None, one.answer) for one in TABLES.values()]
        files += [(one.name, one.each, one.answer) for one in DRAWINGS.values()]
        for name, each, kind in files:
            if of_page(name, each, page) and kind not in kinds:
                yield f"{name} is of no answer of {page.title}"


def forgotten(pages: Sequence[Page], views: set[str] = VIEWS, readme: str = README) -> list[str]:
    """What is wrong with these pages, a line each."""
    told = [(page.title, page.address) for page in pages]
    named = {name for page in pages for name in asked_for(page)}
    headings = {name for page in pages for name in page.files} - set(get_args(Each))
    return [
        *(f"{view} is no page's" for view in sorted(views - {page.view for page in pages})),
        *(f"{page.view} is not there" for page in pages if page.view not in views),
        *(f"no page is drawn from {name}" for name in ANSWERS if name not in named),
        *(f"{name} is no answer" for name in sorted(named - ANSWERS.keys())),
        *of_more_or_less_than_one(pages),
        *not_drawn_from(pages),
        *(f"{name} has no words" for name in (TABLES | DRAWINGS) if name not in said.TABLES | said.CHARTS),
        *(f"{name} is words for nothing" for name in said.TABLES | said.CHARTS if name not in TABLES | DRAWINGS),
        *(f"Downloads has no heading for {name}" for name in sorted(headings - said.PAGES.keys())),
        *(f"Downloads has a heading for {name}" for name in sorted(said.PAGES.keys() - headings)),
        *(["README lists other pages"] if LISTED.findall(readme) != told else []),
    ]


def test_nothing_of_a_page_is_forgotten() -> None:
    assert forgotten(PAGES) == []
    assert len({page.address for page in PAGES}) == len({page.title for page in PAGES}) == len(PAGES)


HANDS = Page("hands", "views/hands.py", "Hands", {"report": data.report}, files=("hands",))


def but(page: Page, **other: Any) -> list[Page]:
    """The pages, one of them otherwise."""
    return [replace(one, **other) if one is page else one for one in PAGES]


@pytest.mark.parametrize(
    ("planted", "complaints"),
    [
        ([*PAGES, HANDS], ["views/hands.py is not there", "Downloads has no heading for hands",
                           "README lists other pages"]),
        (PAGES[:-1], ["views/downloads.py is no page's", "README lists other pages"]),
        ((*PAGES[:-2], DOWNLOADS, REVIEW), ["README lists other pages"]),
        (but(STORES, title="Shelf"), ["README lists other pages"]),
        (but(STORES, address="shelf"), ["README lists other pages"]),
        (but(STORES, answers={"shelf": data.stores}), ["no page is drawn from stores", "shelf is no answer",
                                                       "stores-items is of no answer of Stores"]),
        (but(OWNER, answers={"plan": data.plan, "capacity": data.capacity}),
         ["no page is drawn from report", "owner-needs is of no answer of Roundsheet"]),
        (but(UPKEEP, of_one={}), ["no page is drawn from machine_record", "machine-weeks is of no answer of Upkeep"]),
        (but(STORES, files=("stores",)), ["stores-use is not one page's"]),
        (but(UPKEEP, files=("upkeep",)), ["machine-weeks is not one page's", "machine-time is not one page's"]),
        (but(REVIEW, files=()), ["review-weeks is not one page's", "Downloads has a heading for review"]),
    ],
)  # fmt: skip
def test_what_is_forgotten_of_a_planted_page_is_told(planted: Sequence[Page], complaints: list[str]) -> None:
    assert set(complaints) <= set(forgotten(planted))


def test_a_table_or_a_chart_that_no_page_has_and_nobody_named_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(TABLES, "hands-list", TABLES["owner-needs"])
    monkeypatch.setitem(DRAWINGS, "hands-busy", DRAWINGS["owner-good"])
    lines = [
        f"{name} {what}" for what in ("is not one page's", "has no words") for name in ("hands-list", "hands-busy")
    ]
    assert forgotten(PAGES) == lines


def test_words_for_what_is_not_there_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(said.TABLES, "hands-list", "Who was here")
    assert forgotten(PAGES) == ["hands-list is words for nothing"]


def test_a_view_that_nobody_entered_is_told() -> None:
    assert forgotten(PAGES, {*VIEWS, "views/hands.py"}) == ["views/hands.py is no page's"]


@pytest.fixture(scope="module")
def larkfield(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of a small invented shop."""
    path = tmp_path_factory.mktemp("menu") / "shop.duckdb"
    make(path, machines=2, weeks=1)
    return path


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Callable[[Page, dict[str, str]], list[str]]:
    """Draws a page when all that it is said to stand on was given; tells what it had to wait for all the same."""
    now, made, give = keeping.utc_now(), list[str](), keeping.Kept._give  # noqa: SLF001 - all that is made passes there
    monkeypatch.setattr(keeping, "utc_now", lambda: now)
    monkeypatch.setattr(keeping.Kept, "_give", lambda kept, *rest: made.append(kept.__name__) or give(kept, *rest))
    monkeypatch.setattr(Behind, "begin", lambda *_: None)

    def drawn(page: Page, asked: dict[str, str]) -> list[str]:
        for ask in page.asks(asked):
            ask()
        made.clear()
        app = AppTest.from_file(str(DASHBOARD / "app.py"), default_timeout=DEADLINE)
        app.query_params.update({**asked, "by": "ro"})
        app.switch_page(page.view)
        assert not app.run().exception
        return made

    return drawn


@pytest.fixture
def busy(larkfield: Path) -> Iterator[None]:
    """The pages are the invented shop's."""
    with Log.open(larkfield) as log:
        shop.hold(log)
        yield
        shop.hold(None)


@pytest.fixture
def new(tmp_path: Path) -> Iterator[None]:
    """The pages are those of a shop that has noted nothing yet."""
    with Log.open(make_shop(tmp_path / "new.duckdb", machine="P01")) as log:
        log.append_setup([Person(person="ro", name="Rory")])
        shop.hold(log)
        yield
        shop.hold(None)


#: Every page, as a whole and of one of what it can be of.
ADDRESSES = [(page, {}) for page in PAGES] + [
    (page, {name: {"machine": "P01", "rack": "A"}[name]}) for page in PAGES for name in page.of_one
]


@pytest.mark.parametrize("of", ["busy", pytest.param("new", marks=pytest.mark.full)])
@pytest.mark.parametrize(("page", "asked"), ADDRESSES, ids=lambda one: one.title if isinstance(one, Page) else str(one))
def test_a_page_finds_all_that_it_stands_on(request, drawn, of: str, page: Page, asked: dict[str, str]) -> None:
    request.getfixturevalue(of)
    assert drawn(page, asked) == []


@pytest.mark.usefixtures("busy")
@pytest.mark.parametrize(
    ("page", "asked", "missing"),
    [
        (replace(PLAN, answers={"plan": data.plan, "capacity": data.capacity}), {}, "listed"),
        (replace(REVIEW, charts=()), {}, "review_charts"),
        (replace(DOWNLOADS, answers={}), {}, "review"),
        (replace(CHECK_IN, of_one={}), {"machine": "P01"}, "check_in"),
    ],
    ids=lambda one: one.title if isinstance(one, Page) else None,
)
def test_an_answer_that_is_forgotten_of_a_planted_page_is_waited_for(drawn, page, asked, missing) -> None:
    assert missing in drawn(page, asked)


def test_every_table_and_chart_is_asked_for_as_its_page_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(menu, "PAGES", but(STORES, answers={"stores": lambda: "the shelf"}))
    assert menu.answer(TABLES["stores-items"].answer, {"machine": "P01"}) == "the shelf"
    monkeypatch.setattr(menu, "PAGES", but(UPKEEP, of_one={"machine": OfOne("machine_record", "of {}".format)}))
    assert menu.answer(TABLES["machine-weeks"].answer, {"machine": "P01"}) == "of P01"
    for nothing in ({}, {"machine": ""}):
        with pytest.raises(Refused, match="Which machine"):
            menu.answer(TABLES["machine-weeks"].answer, nothing)
