"""The pages, and what belongs to each: address, view, title, what it is drawn from and what of it can be taken along.

The menu, the answers begun early, the downloads and the tests that look at every page go by `PAGES`.
`tests/dashboard/kit/test_menu.py` says what of a page was forgotten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, NamedTuple

from core.answers import ANSWERS
from core.errors import Refused
from core.frozen import Frozen
from dashboard.kit import data
from dashboard.words import download_words as said


class OfOne(NamedTuple):
    """What a page is drawn from that is asked for one machine or rack: the answer's name, and how pages ask for it."""

    answer: str
    ask: Callable[[str], Any]


@dataclass(frozen=True)
class Page:
    """A page.

    `answers` are those it is drawn from and how pages ask for them, by their names in `core.answers.ANSWERS`; where its
    address has a code of `of_one`, that one alone. `charts` are charts that are made ahead of it. `files` are the
    beginnings of the names of its tables and charts, or what there is one chart of each for (`drawn.Each`).
    """

    address: str
    view: str
    title: str
    answers: Mapping[str, Callable[[], Any]]
    of_one: Mapping[str, OfOne] = field(default_factory=dict)
    charts: tuple[Callable[[], Any], ...] = ()
    files: tuple[str, ...] = ()

    def codes(self, asked: Mapping[str, str]) -> tuple[str | None, ...]:
        """The codes that an address asks for, of those the page has something of."""
        return tuple(asked.get(name) for name in self.of_one)

    def asks(self, asked: Mapping[str, str]) -> list[Callable[[], Any]]:
        """How to ask for all that it stands on at an address."""
        for name, one in self.of_one.items():
            if code := asked.get(name):
                return [partial(one.ask, code)]
        return [*self.answers.values(), *self.charts]


CHECK_IN = Page(
    "checkin", "views/checkin.py", "Check-in", {"floor": data.racks},
    {"machine": OfOne("machine_page", data.machine_page)},
)  # fmt: skip
OWNER = Page(
    "", "views/owner.py", "Roundsheet",
    {"report": data.report, "plan": data.plan, "capacity": data.capacity, "reliability": data.reliability},
    CHECK_IN.of_one,  # the address on a code sticker leads there
    files=("owner",),
)  # fmt: skip
ROUND = Page(
    "round", "views/round.py", "Round", {"floor": data.racks}, {"rack": OfOne("rack_round", data.rack_round)}
)  # fmt: skip
STORES = Page("stores", "views/stores.py", "Stores", {"stores": data.stores}, files=("stores", "item"))
PLAN = Page(
    "plan", "views/plan.py", "Plan",
    {"plan": data.plan, "loading": data.loading, "floor": data.racks, "capacity": data.capacity}, files=("plan",),
)  # fmt: skip
UPKEEP = Page(
    "upkeep", "views/upkeep.py", "Upkeep", {"reliability": data.reliability},
    {"machine": OfOne("machine_record", data.machine_record)}, files=("upkeep", "machine"),
)  # fmt: skip
REVIEW = Page(
    "review", "views/review.py", "Review", {"review": data.review}, charts=(data.review_charts,),
    files=("review", "figure"),
)  # fmt: skip
DOWNLOADS = Page("downloads", "views/downloads.py", "Downloads", {"review": data.review})

#: Every page, in the order of the menu.
PAGES = (OWNER, CHECK_IN, ROUND, STORES, PLAN, UPKEEP, REVIEW, DOWNLOADS)


def answer(kind: type[Frozen], of: Mapping[str, str]) -> Frozen:
    """The answer of this kind as a page shows it; one of a machine takes its code. Raises `Refused` as a page does."""
    for page in PAGES:
        for name, ask in page.answers.items():
            if ANSWERS[name].kind is kind:
                return ask()
        for code, one in page.of_one.items():
            if ANSWERS[one.answer].kind is kind and of.get(code):
                return one.ask(of[code])
    raise Refused("which_machine", said.WHICH)
