"""The room played forward, against printed tables and closed forms of machines that wait for hands.

In print a machine that stopped waits in the queue, then is in service. `WAITED` hours are both: hands take the parts
off and start the next print at one visit. The queue is therefore `WAITED` less the visits times the mean work at one.

Every play begins with all machines printing (or one empty machine) and forgets that: the same play is played to the
end of the warm-up and to its own end, and what is judged is the difference. The warm-up is at least 50 times the work
at a visit, ten times as long as the rooms below take to settle. A finding is judged by its own standard error over
the replications, which must be small enough to tell 2 % of it.
"""

import math

import numpy as np
import numpy.typing as npt
import pytest

from core.plan.forward import Played, play
from core.plan.laws import PRINTED, WAITED, HandsClock, Laws, Now, Preferences, Wanted, Work

Numbers = npt.NDArray[np.float64]

#: Standard errors that a finding may lie off, and how large one may be of what is expected.
ERRORS, SMALL = 4, 0.005


def exponential(mean: float) -> Numbers:
    table = -np.log1p(-(np.arange(4096) + 0.5) / 4096)
    return np.asarray(mean * table / table.mean())


def round_the_clock(hands: int, end: float) -> HandsClock:
    at, one = np.array([0, end]), np.zeros(1, np.int64)
    return HandsClock(at, at, one + hands, one > 0)


def by_day(opens: float, closes: float, days: int) -> HandsClock:
    """One pair of hands, in between two whole hours of every day; now is midnight."""
    edges = (24.0 * np.arange(days)[:, None] + [0, opens, closes, 24]).ravel()
    worked = ((closes - opens) * np.arange(days)[:, None] + [0, 0, closes - opens, closes - opens]).ravel()
    none = np.zeros(1, np.int64)
    return HandsClock(edges, worked, none + 1, none > 0)


def played(clock: HandsClock, ends: Numbers, runs: float, laws: Laws, end: float, *, busy: bool = True) -> Played:
    """One product of one file on one model; `ends` [replications, machines] are also the first visits."""
    nothing = np.zeros(ends.shape, np.int64)
    now = Now(nothing[0], ends, ends, nothing - (not busy), nothing == 0, nothing)
    one = np.zeros(1, np.int64)
    work = Work(one, one, np.ones(1), np.array([[runs]]))
    choice = Preferences(np.ones((1, 1, 2, 1)), np.ones(1), np.ones((1, 1, 1)))
    return play(now, clock, work, choice, laws, Wanted.nothing(1), end, seed=7)


class Room:
    """Machines that print `runs` hours on average, and what they do once the start is forgotten [replications]."""

    def __init__(self, machines: int, hands: int, runs: float, change: Numbers, replications: int, hours: float):
        warm_up, work = 50 * change.mean(), change.mean()
        ends = np.random.default_rng(1).exponential(runs, (replications, machines))
        clock, laws = round_the_clock(hands, warm_up + hours), Laws(change=change, ratio=exponential(1))
        start, whole = (played(clock, ends, runs, laws, end) for end in (warm_up, warm_up + hours))
        states = (whole.hours - start.hours) / hours
        visits = ((whole.off < warm_up + hours).sum(axis=0) - (start.off < warm_up).sum(axis=0)) / hours
        self.running, self.queue = states[PRINTED], states[WAITED] - visits * work
        self.idle = 1 - visits * work / hands


def agrees(found: Numbers, printed: float, unit: float, small: float = SMALL) -> None:
    """The mean over replications is the printed value, to half a unit of its last digit."""
    error = found.std(ddof=1) / math.sqrt(len(found))
    assert error < small * printed, "too few replications to tell"
    assert found.mean() == pytest.approx(printed, abs=ERRORS * error + unit / 2)


# MI-1. Feller, An Introduction to Probability Theory, vol. 1, XVII.7: the tables from memory, recomputed. A machine
# runs ten times as long as its service takes.


@pytest.mark.parametrize(
    ("machines", "hands", "size", "loss", "idle"),
    [(6, 1, (4000, 600), 0.05494, 0.48451), (20, 3, (4000, 650), 0.01694, 0.40421)],
    ids=["6 machines, one operator", "20 machines, three operators"],
)
def test_mi_1_machines_of_a_gang(machines: int, hands: int, size: tuple[int, float], loss: float, idle: float) -> None:
    room = Room(machines, hands, 10, exponential(1), *size)
    agrees(room.queue / machines, loss, 1e-5)
    agrees(room.idle, idle, 1e-5)
    # Those that neither wait nor are served; hands serve the rest of their time.
    agrees(room.running / machines, 1 - loss - (1 - idle) * hands / machines, 3e-5)


# MI-7. A room of the size of a shop, from the same formula, recomputed: 24 machines print 8 h, a visit takes 10 min.


def test_mi_7_machines_of_a_room() -> None:
    room = Room(24, 1, 8, exponential(1 / 6), 4000, 120)
    agrees(room.queue, 0.38989, 1e-5)
    agrees(1 - room.idle, 0.48184, 1e-5)
    agrees(1 - room.queue / 24, 1 - 0.01625, 1e-5)


# MI-2. Finite queuing table of five machines, Heizer and Render, Operations Management, module D, seen at
# coursehero.com/file/8871054. X is the share of service in a cycle without waits; F that of machines not in the queue.


@pytest.mark.parametrize(
    ("hands", "share", "efficiency"),
    [(1, 0.012, 0.999), (1, 0.05, 0.989), (1, 0.08, 0.969), (1, 0.1, 0.950), (2, 0.06, 0.999), (2, 0.1, 0.997)],
)
def test_mi_2_five_machines_in_the_finite_queuing_table(hands: int, share: float, efficiency: float) -> None:
    room = Room(5, hands, (1 - share) / share, exponential(1), 1000, 800)
    agrees(1 - room.queue / 5, efficiency, 1e-3, small=5e-4)


# MI-3. The same book's example, seen: five machines run 20 h, service takes 2 h. Its table of rounded X gives 4.36 and
# 4.54 running; exactly it is 4.360478 and 4.535205, recomputed.


@pytest.mark.parametrize(("hands", "running"), [(1, 4.360478), (2, 4.535205)])
def test_mi_3_five_machines_of_an_example(hands: int, running: float) -> None:
    agrees(Room(5, hands, 20, exponential(2), 1000, 1600).running, running, 1e-6, small=5e-4)


# MI-6. Ashcroft's closed form for constant service, from memory, checked by an event simulation to three digits (cited
# in Stecke and Aronson, Univ. of Michigan working paper 355, 1983); values recomputed.


def ashcroft(machines: int, rho: float) -> float:
    """Machines running on average, one operator; `rho` is the constant service over the mean run."""
    terms = [
        math.comb(machines - 1, stopped) * math.prod(math.expm1(i * rho) for i in range(1, stopped + 1))
        for stopped in range(machines)
    ]
    none_stopped = 1 / (1 + machines * rho * sum(terms))
    return (1 - none_stopped) / rho


@pytest.mark.parametrize(
    ("machines", "running"), [(4, 3.57907), (6, 5.27786), (8, 6.85317), (10, 8.21003), (15, 9.89379)]
)
def test_mi_6_constant_service(machines: int, running: float) -> None:
    assert ashcroft(machines, 0.1) == pytest.approx(running, abs=5e-6)
    agrees(Room(machines, 1, 10, np.ones(1), 1000, 500).running, ashcroft(machines, 0.1), 0, small=2e-3)


# MI-10. The night wait, derived here, not published: a print that ends while the room is closed waits for the opening.


def test_mi_10_prints_that_end_at_any_time_of_the_day() -> None:
    # A print of 0 to 24 h, all alike likely, ends at any time of the day alike likely, whenever it began.
    cycles, closed, any_time = 100, 14, (np.arange(4096) + 0.5) / 4096
    end = cycles * (24.0 + closed)
    clock = by_day(8, 8 + 24 - closed, math.ceil(end / 24) + 1)
    off = played(clock, np.full((4000, 1), 8.0), 24, Laws(ratio=any_time), end).off
    agrees((off[cycles] - off[0]) / cycles - 12, closed**2 / 48, 0)


@pytest.mark.parametrize(
    ("runs", "printed", "waited"),
    [(6, 12, 12), (10, 10, 14), (18, 18, 6)],
    ids=["08:00 and 14:00, done at 20:00", "done at 18:00", "done at 02:00"],
)
def test_mi_10_the_hours_of_every_day(runs: float, printed: float, waited: float) -> None:
    days = 7
    room = played(by_day(8, 18, days + 1), np.array([[8.0]]), runs, Laws(), 24.0 * days + 8, busy=False)
    assert room.hours[[PRINTED, WAITED], 0].tolist() == [printed * days, waited * days]
