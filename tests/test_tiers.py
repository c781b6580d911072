"""The two tiers: what is left to the full one, and that what they go by is there."""

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from tests.tiers import JUDGE, SMOKE, is_full, long_files_first

TESTS = Path(__file__).parent

pytest_plugins = ("pytester",)


def told(
    path: str, fixtures: tuple[str, ...] = (), marker: str = "", module: object = None, **parameters: object
) -> pytest.Item:
    """A test of a file, with what it asks for, its marker and its parameters."""
    return cast(
        "pytest.Item",
        SimpleNamespace(
            path=TESTS / path,
            fixturenames=fixtures,
            module=module,
            callspec=SimpleNamespace(params=parameters),
            get_closest_marker=lambda name: marker if name == marker else None,
        ),
    )


@pytest.mark.parametrize(
    ("item", "full"),
    [
        (told("core/test_window.py"), False),
        (told("core/test_window.py", marker="full"), True),
        (told("core/test_window.py", marker="browser"), False),
        (told("core/test_window.py", ("chromium",)), True),
        (told("floor/test_new.py", ("hand", "chromium")), True),
        (told("dashboard/test_new.py", ("serving", "start")), True),
        (told("core/test_new.py", ("start",), start=8), False),
        (told("smoke/test_pages.py", ("screen", "chromium")), False),
        (told("smoke/test_pages.py", marker="full"), True),
        (told("simulated/test_new.py"), True),
        (told("demo/rooms/test_new.py"), True),
    ],
)
def test_what_runs_programs_what_judges_and_what_is_marked_is_left_to_the_full_tier(item, full):
    assert is_full(item) == full


@pytest.mark.parametrize("folder", [*JUDGE, SMOKE])
def test_the_folders_that_the_tiers_go_by_hold_tests(folder):
    assert list(TESTS.rglob(f"{folder}/test_*.py"))


def test_files_that_start_programs_come_first_all_of_their_tests():
    starts = SimpleNamespace(subprocess="of the standard library")
    items = [
        told("a.py"), told("b.py", module=starts), told("simulated/c.py"),
        told("d.py"), told("d.py", ("chromium",)), told("b.py", module=starts),
    ]  # fmt: skip
    assert [item.path.name for item in long_files_first(items)] == ["b.py", "d.py", "d.py", "b.py", "c.py", "a.py"]


@pytest.mark.full
@pytest.mark.parametrize(("more", "ran"), [([], 1), (["--full"], 2), (["test_two.py"], 2)])
def test_processes_run_the_tier_that_is_asked_for(pytester, more, ran):
    pytester.makepyfile(
        test_two="""
            import pytest

            def test_quick():
                pass

            @pytest.mark.full
            def test_full():
                pass
        """
    )
    pytester.makeconftest((TESTS / "conftest.py").read_text(encoding="utf-8"))
    pytester.makeini("[pytest]\nmarkers = full browser\npythonpath = " + str(TESTS.parent))
    pytester.runpytest_subprocess("-n", "1", *more).assert_outcomes(passed=ran)
