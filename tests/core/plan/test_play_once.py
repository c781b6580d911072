"""What is compiled of a course, and what is kept of it: once for every room, also where nothing can be kept."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from numba.core import caching

from core.plan import forward, laws
from core.plan import play_once as compiled
from tests.core.plan.test_forward import Room


@pytest.fixture
def untouched(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The course as a process finds it that has played nothing yet."""
    course = compiled.kept(compiled.play_once.py_func)
    assert course.signatures == []
    monkeypatch.setattr(compiled, "play_once", course)
    return course


def brought(course: Any) -> int:
    """How many times it was compiled, or read from what was kept."""
    return int(course.stats.cache_hits.total() + course.stats.cache_misses.total())


def test_a_room_is_played_by_what_stands_ready(untouched: Any) -> None:
    forward.ready_to_play()
    assert brought(untouched) == 1
    Room().play()
    assert brought(untouched) == len(untouched.signatures) == 1


def test_whoever_asks_while_it_is_compiled_waits_for_the_same(untouched: Any) -> None:
    with ThreadPoolExecutor(3) as threads:
        for asked in [threads.submit(forward.ready_to_play), threads.submit(Room().play), threads.submit(Room().play)]:
            asked.result()
    assert brought(untouched) == 1


def test_where_nothing_can_be_kept_it_is_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    assert compiled.kept(lambda number: number + 1)(1) == 2


def test_what_is_kept_is_not_used_when_a_constant_of_another_file_changes() -> None:
    used = {name: of for name, of in vars(laws).items() if isinstance(of, int) and vars(compiled).get(name) is of}
    assert used == compiled.HELD, (
        "The compiled code is kept by the text of play_once.py alone and holds the old value of what differs here: "
        "change it in play_once.HELD too, and it is compiled anew."
    )
