"""Run-outs are told of before they happen. `python -m tests.simulated.run_outs` measures it on many shops."""

import pytest

from tests.simulated.run_outs import Tally, family_room, shop


@pytest.fixture(scope="module")
def tally() -> Tally:
    """Two small rooms over a week each."""
    return sum((shop(seed, most=12, weeks=1) for seed in (4, 9)), Tally())


def test_nearly_every_print_that_starved_was_told_of_before(tally: Tally) -> None:
    assert tally.run_outs >= 5
    assert tally.listed + tally.asked >= 0.8 * tally.run_outs


def test_few_spools_are_listed_in_vain(tally: Tally) -> None:
    assert tally.announced >= 20
    assert tally.false <= 0.2 * tally.announced


def test_the_range_of_what_is_left_holds_the_truth(tally: Tally) -> None:
    assert 0.85 <= tally.held / tally.looks <= 0.99


def test_run_outs_are_told_of_in_a_room_where_nobody_checks_a_spool() -> None:
    _, nobody_checks, found = family_room("rounds", 4, 0.0, [9])
    assert nobody_checks
    assert found.run_outs >= 15
    assert found.listed + found.asked >= 0.8 * found.run_outs
    assert found.false <= 0.2 * found.announced
