"""What goes back on the shelf and leaves it again."""

from core.entries import AnyEntry
from core.epoch import micros
from core.habits.usage import Usage
from core.log.frames import entry_frame
from core.setup import Material, Setup
from core.spools.spools import spools
from core.staffed import Staffed
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.larkfield import EXACT, ROWS, start, tell, when
from tests.core.spools.stories import fit, grille, off, told


def shelf(*story: AnyEntry) -> list[tuple[str, float]]:
    return [(part.material, round(part.grams.best)) for part in told(story, when(9))[1]]


def test_what_comes_off_goes_on_the_shelf_as_weighed_or_as_reckoned() -> None:
    assert shelf(fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=690)) == [("petg-black", 690)]
    assert shelf(fit(when(0, 7)), *grille(0), fit(when(2, 7))) == [("petg-black", 700)]


def test_less_than_fifty_grams_are_not_kept() -> None:
    assert shelf(fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=49)) == []
    assert shelf(fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=50)) == [("petg-black", 50)]


def test_a_spool_that_was_fed_to_its_end_by_a_print_is_not_kept() -> None:
    assert shelf(fit(when(0, 7), 900), start(when(0, 8)), fit(when(0, 14)), off(when(1, 9))) == []


def test_a_part_spool_leaves_the_shelf_when_it_is_fitted() -> None:
    first = [fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=690), *grille(2)]
    assert shelf(*first, fit(when(4, 7), 690, left_grams=400)) == [("petg-black", 400)]
    # Weighed nearly the same it is the same; 300 g are no 690.
    assert shelf(*first, fit(when(4, 7), 650, left_grams=0)) == []
    assert shelf(*first, fit(when(4, 7), 300, left_grams=0)) == [("petg-black", 690)]


def test_a_part_spool_of_another_material_stays_on_the_shelf() -> None:
    first = [fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=690), *grille(2)]
    assert shelf(*first, fit(when(4, 7), 690, material="petg-white", left_grams=0)) == [("petg-black", 690)]


def test_a_part_spool_may_go_from_one_machine_to_another() -> None:
    setup = Setup([*ROWS, Material(material="petg-white", name="PETG white")])
    story = [fit(when(0, 7)), *grille(0), fit(when(2, 7), left_grams=690)]
    story.append(tell("PrintStarted", when(3, 8), machine="A2", file="clip", revision=1))

    def kept(*more: AnyEntry) -> list[str]:
        entries, window = entry_frame([*story, *more]), Window(when(-1), when(9))
        gaps = reckon(entries, setup, window, Staffed.of(setup, window), EXACT).gaps
        _, parts = spools(gaps, [], entries.filter(kind="SpoolFitted"), setup, micros(when(9)), Usage())
        return [part.machine for part in parts]

    assert kept() == ["A1"]
    assert kept(tell("SpoolFitted", when(3, 7), machine="A2", material="petg-black", grams=690)) == []
