"""Hours between failures are told with the faults that nobody noted. `python -m tests.simulated.failure_bounds`."""

from tests.simulated.failure_bounds import judged


def test_bounds_hold_how_often_machines_fail_in_the_long_run() -> None:
    found = [one for seed in (1, 2, 3) for one in judged("queues", seed, 0.2)]
    assert len(found) >= 4
    assert sum(one.held for one in found) >= 0.7 * len(found)
