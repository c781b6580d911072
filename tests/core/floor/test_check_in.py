"""The page of a machine."""

from datetime import datetime

import pytest

from core.entries import AnyEntry
from core.errors import Refused
from core.floor.check_in import machine_page
from core.floor.room import floor
from core.floor.types import Choice
from core.log.store import Log
from core.timeline.possible import acts
from tests.core.larkfield import EXACT, tell, when
from tests.core.seven_machines import AT, EVERY_MACHINE, LAST_WEEK, MONDAY, TUESDAY, machines, on, started


@pytest.mark.parametrize("machine", EVERY_MACHINE)
def test_what_can_be_noted_goes_by_the_state(log: Log, machine: str) -> None:
    page = machine_page(log, machine, AT, EXACT)
    assert page.now == machines(floor(log, AT, EXACT))[machine]
    assert page.acts == list(acts(page.now.state))


def test_the_files_that_fit_a_machine_its_last_one_first_then_those_started_lately(log: Log) -> None:
    # Yesterday A1 started a grille at 9:00, B2 a feeder at 12:00 and A2 a clip at 13:30; nobody ever a brace.
    files = {code: [file.file for file in machine_page(log, code, AT, EXACT).files] for code in EVERY_MACHINE}
    assert files["A1"] == ["grille", "clip", "brace"]
    assert files["A2"] == files["A4"] == ["clip", "grille", "brace"]
    assert files["B2"] == ["feeder", "clip", "grille", "brace"]
    assert files["B3"] == ["clip", "feeder", "grille", "brace"]
    earlier = machine_page(log, "B3", when(7, 13), EXACT).files
    assert [file.file for file in earlier] == ["feeder", "clip", "grille", "brace"]


def test_only_the_newest_revision_in_force_is_offered(log: Log) -> None:
    (clip,) = (file for file in machine_page(log, "A2", AT, EXACT).files if file.file == "clip")
    assert (clip.revision, clip.product, clip.name, clip.parts, clip.hours, clip.material) == (
        2, "clip", "Queen-cage clip", 14, 2.2, "petg-black",
    )  # fmt: skip
    (clip,) = (file for file in machine_page(log, "A2", when(9), EXACT).files if file.file == "clip")
    assert clip.revision == 3


def test_only_spares_and_tasks_that_fit_the_model_are_offered(log: Log) -> None:
    small, large = (machine_page(log, machine, AT, EXACT) for machine in ("A1", "B2"))
    assert [spare.code for spare in small.spares] == ["belt-220", "plate"]
    assert [spare.code for spare in large.spares] == ["rod-300", "plate"]
    assert [task.code for task in small.tasks] == ["clean"]
    assert [task.code for task in large.tasks] == ["clean", "rods"]


def test_causes_are_offered_in_their_places(log: Log) -> None:
    page = machine_page(log, "A1", AT, EXACT)
    assert page.down_causes == [Choice(code="nozzle", name="Nozzle"), Choice(code="belt", name="Belt")]
    assert page.scrap_causes == [Choice(code="warped", name="Warped"), Choice(code="loose", name="Came loose")]


def spool(machine: str, at: datetime, material: str, grams: float) -> AnyEntry:
    return on(machine, "SpoolFitted", at, material=material, grams=grams)


def test_the_spool_last_fitted_to_the_machine_comes_first(log: Log) -> None:
    log.append([spool("A1", when(7, 9), "petg-black", 1000), spool("A1", when(7, 10), "petg-white", 750),
                spool("A2", when(7, 10), "petg-black", 500)])  # fmt: skip
    pages = {code: machine_page(log, code, AT, EXACT) for code in ("A1", "A2", "A3")}
    assert {code: page.spool_grams for code, page in pages.items()} == {"A1": 750, "A2": 500, "A3": None}
    assert [choice.code for choice in pages["A1"].materials] == ["petg-white", "petg-black"]
    assert [choice.code for choice in pages["A2"].materials] == ["petg-black", "petg-white"]


def test_a_spool_fitted_long_ago_is_still_the_last_one(log: Log) -> None:
    # Ten days ago, and the machine has printed since.
    prints = [started("A1", when(day, 8), "clip") for day in range(-1, 7)]
    log.append([spool("A1", when(-2, 8), "petg-white", 750), *prints])
    page = machine_page(log, "A1", AT, EXACT)
    assert page.spool_grams == 750
    assert page.materials[0].code == "petg-white"


def test_when_the_shift_began(log: Log) -> None:
    assert machine_page(log, "A1", AT, EXACT).shift_began == when(8, 8)


def test_the_newest_entries_come_first_as_they_were_noted(log: Log) -> None:
    late = on("A2", "Looked", when(7, 9), saw="printing", noted_at=when(8, 10))
    log.append([late, tell("EntryVoided", when(8, 10), which=MONDAY[4].id, why="slip")])
    recent = machine_page(log, "A2", AT, EXACT).recent
    mine = [late, TUESDAY[2], MONDAY[3], MONDAY[2], MONDAY[1], LAST_WEEK[1], LAST_WEEK[0]]
    assert [entry["id"] for entry in recent[:2]] == [str(entry.id) for entry in mine[:2]]
    # The removal and the start at 11:00 were noted in one tap: either may come first.
    assert {entry["id"] for entry in recent} == {str(entry.id) for entry in mine}
    noted = [entry["noted_at"] for entry in recent]
    assert noted == sorted(noted, reverse=True)
    assert recent[0] == late.model_dump(mode="json")


def test_a_machine_that_is_not_there_is_refused(log: Log) -> None:
    with pytest.raises(Refused, match=r"no machine Z9 .*: pick") as refused:
        machine_page(log, "Z9", AT, EXACT)
    assert refused.value.rule == "machine_is_known"
