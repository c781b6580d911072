"""Templates: what they send, what they refuse, and that nothing typed in gets through them as markup."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest
from jinja2 import UndefinedError, nodes
from streamlit.testing.v1 import AppTest

from core import answers
from core.entries import AnyEntry, entry_adapter
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from core.setup import Row
from dashboard.kit import shop
from dashboard.paper import paper
from dashboard.paper.week_paper import week
from dashboard.templates.templating import ENVIRONMENT, TEMPLATES
from dashboard.views import downloads, owner_html, plan_html, review_html, stores_html, upkeep_html
from dashboard.words.names import Names
from dashboard.words.written import Clock
from demo.shop import shop_rows
from tests.dashboard.sheets import sheet_of
from tests.patience import DEADLINE

#: Whoever hands templates their words.
HANDS = (downloads, owner_html, plan_html, review_html, stores_html, upkeep_html, paper)
APP = Path(shop.__file__).parents[1] / "app.py"
NAMES = ENVIRONMENT.list_templates(["html"])
SOURCES = {name: (TEMPLATES / name).read_text(encoding="utf-8") for name in NAMES}

#: Put behind every code and name of a shop, and into every note.
RUDE, NOTE = "<script>alert(1)</script>&\"'", "<img src=x onerror=alert(1)>"
#: Fields of the set-up that are no free words.
FIXED = {"zone", "about", "weekday", "says", "unit"}


def made(source: str, **values: object) -> str:
    return ENVIRONMENT.from_string(source).render(**values)


def test_line_breaks_at_a_tag_are_not_sent_and_those_within_words_are_a_space():
    source = """
      <ul>
        {% for one in (1, 2) %}
          <li class="a"
              id="{{ one }}">
            two
            words <b>3</b> {{ one }}
          </li>
        {% endfor %}
      </ul>
    """
    item = '<li class="a" id="{0}">two words <b>3</b> {0}</li>'
    assert made(source) == f"<ul>{item.format(1)}{item.format(2)}</ul>"


def test_what_is_given_is_escaped_unless_a_template_made_it():
    assert made("{{ it }}", it=RUDE) == "&lt;script&gt;alert(1)&lt;/script&gt;&amp;&#34;&#39;"
    assert made("{% macro b(it) %}<b>{{ it }}</b>{% endmacro %}{{ b('<') }}") == "<b>&lt;</b>"


def test_what_is_not_there_is_an_error_and_never_nothing():
    with pytest.raises(UndefinedError):
        made("<p>{{ misspelt }}</p>")


@pytest.mark.parametrize("name", NAMES)
def test_a_template_takes_nothing_as_it_is_but_the_style_of_a_sheet(name):
    tree = ENVIRONMENT.parse(SOURCES[name])
    safe = [one.node.name for one in tree.find_all(nodes.Filter) if one.name == "safe"]
    assert safe == (["style"] if name == "paper.html" else [])
    assert list(tree.find_all((nodes.MarkSafe, nodes.MarkSafeIfAutoescape, nodes.EvalContextModifier))) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_template_names_only_words_that_there_are(name):
    given = ENVIRONMENT.get_template(name).globals
    missing = [
        f"{one.node.name}.{one.attr}"
        for one in ENVIRONMENT.parse(SOURCES[name]).find_all(nodes.Getattr)
        if isinstance(one.node, nodes.Name)
        and isinstance(module := given.get(one.node.name), ModuleType)
        and not hasattr(module, one.attr)
    ]
    assert missing == []


def test_every_template_that_says_words_was_given_them_by_the_module_of_its_page():
    given = {name for name in NAMES if isinstance(ENVIRONMENT.get_template(name).globals.get("said"), ModuleType)}
    assert given == {name for name, source in SOURCES.items() if "said." in source}


def rude(row: Row) -> Row:
    """The row with markup behind every name and code."""
    changed: dict[str, object] = {}
    for name, value in row:
        if isinstance(value, str) and name not in FIXED:
            changed[name] = value[:30] + RUDE
        elif name == "models":
            changed[name] = [model + RUDE for model in value]
    return type(row).model_validate(row.model_dump() | changed)


def told(now: datetime) -> list[AnyEntry]:
    """A few days of two machines, every code and note of which is markup."""
    one, other, by = f"P01{RUDE}", f"P02{RUDE}", f"ha{RUDE}"
    file = {"file": f"F-001{RUDE}", "revision": 1}
    lines = [
        (200, "UpkeepDone", {"machine": one, "task": f"clean-oil{RUDE}", "minutes": 20, "note": NOTE}),
        (100, "StockCounted", {"item": f"fan{RUDE}", "quantity": 0}),
        (99, "StockCounted", {"item": f"petg-green{RUDE}", "quantity": 200}),
        (90, "CardLoaded", {"machine": one, "card_set": RUDE, "revision": 2}),
        (80, "SpoolFitted", {"machine": one, "material": f"petg-green{RUDE}", "grams": 100}),
        (79, "PrintStarted", {"machine": one, **file}),
        (60, "PartsOff", {"machine": one, "scrap": 2, "scrap_cause": f"warped{RUDE}"}),
        (50, "WentDown", {"machine": one, "cause": f"belt{RUDE}"}),
        (40, "CameBack", {"machine": one, "spares": [f"belt{RUDE}"], "note": NOTE}),
        (30, "OrderTaken", {"order": RUDE, "product": f"entrance-block{RUDE}", "quantity": 60, "due": now}),
        (20, "WentDown", {"machine": other, "cause": f"fan{RUDE}", "spare": f"fan{RUDE}"}),
        (19, "ActionAgreed", {"note": NOTE, "who": by, "due": now + timedelta(days=9), "figure": "scrap"}),
        (9, "PrintStarted", {"machine": one, **file}),
        (1, "Looked", {"machine": one, "saw": "empty"}),
    ]  # fmt: skip
    ats = [(now - timedelta(hours=hours), kind, fields) for hours, kind, fields in lines]
    return [entry_adapter.validate_python({"kind": k, "at": at, "noted_at": at, "by": by, **f}) for at, k, f in ats]


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Log]:
    """The open log of a shop in which whatever can be typed in is markup."""
    now = utc_now()
    with Log.open(tmp_path_factory.mktemp("rude") / "shop.duckdb") as opened:
        opened.append_setup([rude(row) for row in shop_rows(6, now - timedelta(days=90))])
        record(opened, told(now))
        shop.hold(opened)
        yield opened
        shop.hold(None)


class Seen(HTMLParser):
    """What a browser takes out of HTML: its tags, the names of their attributes, and the words."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.words = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes.update(name for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.words += data


#: All that a page may hold: what the templates write.
WRITTEN = Seen("".join(SOURCES.values()))
TAGS, ATTRIBUTES = WRITTEN.tags | {"h1", "h2", "p"}, WRITTEN.attributes
PAGES = {
    "owner": {}, "plan": {}, "upkeep": {}, "upkeep of one machine": {"machine": f"P01{RUDE}"},
    "upkeep of none": {"machine": RUDE}, "review": {}, "stores": {}, "stores of one item": {"item": f"fan{RUDE}"},
    "downloads": {}, "downloads of one machine": {"machine": f"P01{RUDE}"}, "downloads of none": {"item": RUDE},
    "checkin": {"machine": f"P01{RUDE}"}, "round": {"rack": f"A{RUDE}"},
}  # fmt: skip


def test_no_template_writes_what_the_rude_shop_is_full_of():
    assert TAGS.isdisjoint({"script"})
    assert ATTRIBUTES.isdisjoint({"onerror"})


@pytest.mark.parametrize("page", PAGES)
def test_what_was_typed_in_is_text_on_every_page_and_never_markup(page, log):
    app = AppTest.from_file(str(APP), default_timeout=DEADLINE)
    app.query_params.update({"by": f"ha{RUDE}", **PAGES[page]})
    app.switch_page(f"views/{page.partition(' ')[0]}.py").run()
    assert not app.exception
    seen = Seen("".join(element.proto.body for element in app.get("html")))
    assert (seen.tags - TAGS, seen.attributes - ATTRIBUTES) == (set(), set())
    assert RUDE in seen.words or NOTE in seen.words


def test_what_was_typed_in_is_text_on_paper_and_never_markup(log):
    now, names = utc_now(), Names.of(log.setup(), utc_now())
    review = answers.review(answers.last_quarter(log, now))
    tried = answers.actions(log, review.charts, now)
    sheets = [sheet_of(log, now), week(review, tried, names, Clock(log.setup().zone, review.end))]
    for sheet in sheets:
        seen = Seen(str(paper.document(RUDE, sheet)))
        assert (seen.tags - TAGS, seen.attributes - ATTRIBUTES) == (set(), set())
        assert seen.words.count("<script>") > 1
