"""What a tap records, and which acts are offered where a loading list has something for the machine."""

import pytest

from core.floor.types import Choice, FileChoice, MachinePage, TaskChoice
from core.timeline.possible import ACTS
from dashboard.words import acts
from tests.dashboard.words.test_floor_words import FILE, now

OTHER = FILE.model_copy(update={"file": "F-006", "revision": 2, "parts": 24})


def page(state: str, planned: str | None = None, parts: int | None = 12, **files: float) -> MachinePage:
    """A machine in a state, whose last file was F-002; `files` are the chances that the spool feeds them."""
    choices = [one.model_copy(update={"lasts": files.get(one.file.replace("-", ""))}) for one in (FILE, OTHER)]
    machine = now(state=state, last_file="F-002", last_revision=1, parts=parts)
    return MachinePage(
        now=machine, acts=list(ACTS[state]), files=choices, most_parts=24, down_causes=[], scrap_causes=[], spares=[],
        materials=[], spool=None, spool_grams=None, shift_began=None, tasks=[], recent=[], questions=[],
        planned=planned,
    )  # fmt: skip


def started(fields: list[acts.Fields] | None) -> list[tuple[str, int]]:
    return [(one["file"], one["revision"]) for one in fields or [] if one["kind"] == "PrintStarted"]


@pytest.mark.parametrize(("state", "act"), [("done", "off_planned"), ("empty", "started_planned")])
def test_what_the_list_has_comes_first_and_the_same_again_after_it(state: str, act: str) -> None:
    offered = acts.offered(page(state, "F-006"))
    assert offered[:2] == [act, acts.PLANNED[act]]
    assert acts.offered(page(state)) == [one for one in offered if one != act]


def test_where_the_list_has_the_same_again_it_is_offered_once() -> None:
    here = page("done", "F-002")
    assert acts.offered(here) == acts.offered(page("done"))
    assert acts.as_listed(here)
    assert not acts.as_listed(page("done"))
    assert not acts.as_listed(page("done", "F-006"))


def test_a_machine_that_is_down_is_not_loaded() -> None:
    assert acts.offered(page("down", "F-006")) == acts.offered(page("down"))


def test_one_tap_starts_what_the_list_has() -> None:
    here = page("done", "F-006")
    assert started(acts.at_once("off_planned", here)) == [("F-006", 2)]
    assert started(acts.at_once("off_next", here)) == [("F-002", 1)]
    assert started(acts.at_once("started_planned", page("empty", "F-006"))) == [("F-006", 2)]
    assert [one["kind"] for one in acts.at_once("off_planned", here) or []] == ["PartsOff", "PrintStarted"]


@pytest.mark.parametrize("act", ["off_planned", "started_planned"])
def test_a_spool_that_will_not_last_is_asked_about_first(act: str) -> None:
    short = page("done" if act == "off_planned" else "empty", "F-006", F006=0.4)
    assert acts.at_once(act, short) is None
    file = acts.file_of(act, short)
    assert isinstance(file, FileChoice)
    begun = acts.begun(act, short, file, 1000.0)
    assert [one["kind"] for one in begun][-2:] == ["SpoolFitted", "PrintStarted"]
    assert (begun[0]["kind"] == "PartsOff") == (act == "off_planned")
    assert started(begun) == [("F-006", 2)]


def test_the_usual_spare_is_offered_first_and_what_went_in_is_noted() -> None:
    spares = [Choice(code=code, name=code.title()) for code in ("belt", "fan", "nozzle")]
    here = page("empty").model_copy(update={"spares": spares})
    assert [spare.code for spare in acts.spares_for(here, "nozzle")] == ["nozzle", "belt", "fan"]
    assert acts.spares_for(here, None) == spares
    (noted,) = acts.upkeep(here, "oil", 25, ["belt", "belt"])
    assert (noted["minutes"], noted["spares"]) == (25, ("belt", "belt"))
    (back,) = acts.back(here, ["belt"])
    assert (back["kind"], back["spares"]) == ("CameBack", ("belt",))


def test_long_tasks_are_told_in_longer_steps() -> None:
    short, long = (TaskChoice(code="oil", name="Oil", minutes=each, spare=None) for each in (20, 900))
    assert acts.minutes_more(short) < acts.minutes_more(long)


def test_parts_that_nobody_counted_are_asked_for_before_the_next_start() -> None:
    unknown = page("done", "F-006", parts=None)
    assert acts.at_once("off_planned", unknown) is None
    assert started(acts.off("off_planned", unknown, 12)) == [("F-006", 2)]
