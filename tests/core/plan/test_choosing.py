"""What hands start next, learned from starts drawn by known habits."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from core.arrays import Numbers
from core.epoch import micros
from core.plan.choosing import APART, BEFOREHAND, DOUBT, Habit, Starts, learned, share_printing
from core.staffed import Staffed
from tests.core.larkfield import when

#: Six files of two materials and three products.
MATERIAL, PRODUCT = np.array([0, 0, 0, 1, 1, 1]), np.array([0, 1, 2, 0, 1, 2])
TRUE = Habit(np.array([0.5, -0.4, 0.0, 0.9, -0.2, -0.8]), loaded=2.0, wanted=0.8, suits=2.5, doubt=np.zeros((8, 8)))


def seen(count: int, seed: int, habit: Habit = TRUE) -> Starts:
    """So many starts by this habit; a file in five does not fit its machine."""
    draw = np.random.default_rng(seed)
    fits = draw.random((count, 6)) < 0.8
    fits[np.arange(count), draw.integers(0, 6, count)] = True
    loaded = draw.integers(-1, 2, count)[:, None] == MATERIAL
    wanted = (draw.random((count, 3)) < 0.3)[:, PRODUCT]
    prints = draw.uniform(0.2, 1, (count, 6))
    value = habit.files + habit.loaded * loaded + habit.wanted * wanted + habit.suits * np.log(prints)
    # The largest of values with a Gumbel law added is a draw from the logit.
    file = np.where(fits, value + draw.gumbel(size=value.shape), -np.inf).argmax(axis=1)
    return Starts(file, fits, loaded, wanted, prints)


def numbers(habit: Habit) -> Numbers:
    return np.array([habit.loaded, habit.wanted, habit.suits, *habit.files])


def likelihood(guess: Numbers, starts: Starts) -> float:
    """The logarithm of how likely a habit is after these starts, start by start."""
    told = norm.logpdf(guess[:3], BEFOREHAND, DOUBT).sum() + norm.logpdf(guess[3:], 0, APART).sum()
    for n, file in enumerate(starts.file):
        weights = [
            math.exp(guess[3 + f] + guess[0] * starts.loaded[n, f] + guess[1] * starts.wanted[n, f])
            * starts.prints[n, f] ** guess[2] if starts.fits[n, f] else 0.0
            for f in range(starts.fits.shape[1])
        ]  # fmt: skip
        told += math.log(weights[file] / sum(weights))
    return float(told)


def test_known_habits_are_found_again() -> None:
    found = np.array([numbers(learned(seen(3000, seed))) for seed in range(16)])
    # Only the differences of the files' weights tell anything.
    found[:, 3:] -= found[:, 3:].mean(axis=1, keepdims=True)
    error = found.std(axis=0, ddof=1) / len(found) ** 0.5
    assert (error < 0.03).all()
    assert (abs(found.mean(axis=0) - numbers(TRUE)) < 4 * error).all()


@pytest.mark.full
def test_habits_differ_from_the_true_one_as_much_as_their_doubt_says() -> None:
    found = [learned(seen(300, seed)) for seed in range(60)]
    true = np.array([*TRUE.files, TRUE.loaded, TRUE.wanted])
    # What two files' weights differ by, and both factors; a normal law's squares are one on average.
    tell = np.vstack([np.eye(8)[:5] - np.eye(8)[1:6], np.eye(8)[6:]])
    off = np.array([tell @ (np.array([*one.files, one.loaded, one.wanted]) - true) for one in found])
    said = np.array([np.diag(tell @ one.doubt @ tell.T) for one in found])
    assert (off**2 / said).mean() == pytest.approx(1.0, abs=0.2)


def test_habits_are_drawn_about_the_likeliest_one_as_its_doubt_says() -> None:
    habit = learned(seen(200, seed=4))
    drawn = np.log(np.column_stack(habit.drawn(20_000, seed=1)))
    likeliest = np.array([*habit.files, habit.loaded, habit.wanted])
    assert drawn.mean(axis=0) + drawn.var(axis=0) / 2 == pytest.approx(likeliest, abs=0.05)
    assert np.cov(drawn.T) == pytest.approx(habit.doubt, abs=0.03)


def test_more_starts_leave_less_doubt() -> None:
    few, more = learned(seen(60, seed=1)), learned(seen(2000, seed=1))
    assert (np.diag(more.doubt)[-2:] < np.diag(few.doubt)[-2:] / 4).all()


def test_before_any_start_habits_are_the_usual_ones() -> None:
    nothing = np.zeros((0, 4), dtype=bool)
    found = learned(Starts(np.zeros(0, dtype=np.int64), nothing, nothing, nothing, nothing * 1.0))
    assert numbers(found) == pytest.approx([3, 1, 3, 0, 0, 0, 0])


@pytest.mark.parametrize("count", [1, 12, 60])
def test_no_habit_near_the_one_found_is_likelier(count: int) -> None:
    starts = seen(count, seed=count)
    found = numbers(learned(starts))
    best = likelihood(found, starts)
    steps = 0.03 * np.vstack([np.eye(9), -np.eye(9), np.random.default_rng(1).standard_normal((20, 9))])
    assert all(likelihood(found + step, starts) < best for step in steps)


def test_the_slope_is_nothing_at_the_habit_found() -> None:
    starts = seen(60, seed=3)
    found, step = numbers(learned(starts)), 1e-4
    slope = [likelihood(found + way, starts) - likelihood(found - way, starts) for way in step * np.eye(9)]
    assert np.array(slope) / (2 * step) == pytest.approx(np.zeros(9), abs=0.02)


def two_files(loaded: tuple[int, int], usual: tuple[int, int]) -> Habit:
    """How often either of two files was started while the material of the first was loaded, and none."""
    counts = [*loaded, *usual]
    file = np.repeat([0, 1, 0, 1], counts)
    has = np.zeros((len(file), 2), dtype=bool)
    has[: sum(loaded), 0] = True
    same = np.ones(has.shape)
    return learned(Starts(file, same > 0, has, same < 0, same))


def test_of_two_files_the_factor_is_the_odds_ratio() -> None:
    found = two_files(loaded=(60_000, 20_000), usual=(30_000, 50_000))
    # Its standard error is 0.011: so many starts leave nothing of what was thought beforehand.
    assert found.loaded == pytest.approx(math.log(60 / 20 / (30 / 50)), abs=1e-3)
    assert found.files[0] - found.files[1] == pytest.approx(math.log(30 / 50), abs=1e-3)
    # Nothing was told of these.
    assert (found.wanted, found.suits) == pytest.approx((1, 3))


def test_a_few_starts_move_a_habit_a_little() -> None:
    few, more = two_files((3, 1), (3, 5)), two_files((300, 100), (300, 500))
    assert 3 > few.loaded > more.loaded > math.log(5)


def widened(starts: Starts, fits: bool) -> Starts:
    """The same starts with one more file, that always or never fits and nobody ever starts."""
    more = np.full((len(starts.file), 1), fits)
    return Starts(
        starts.file, np.hstack([starts.fits, more]), np.hstack([starts.loaded, ~more]),
        np.hstack([starts.wanted, ~more]), np.hstack([starts.prints, np.where(more, 0.5, np.nan)]),
    )  # fmt: skip


def test_a_file_that_does_not_fit_tells_nothing() -> None:
    starts = seen(400, seed=5)
    found, wider = learned(starts), learned(widened(starts, fits=False))
    assert numbers(wider)[:-1] == pytest.approx(numbers(found), abs=2e-3)
    assert wider.files[-1] == pytest.approx(0, abs=1e-6)
    assert learned(widened(starts, fits=True)).files[-1] < -2


def test_a_start_of_a_file_that_does_not_fit_tells_nothing() -> None:
    starts = seen(200, seed=6)
    known = learned(starts)
    fits = np.vstack([starts.fits, starts.fits[:1]])
    fits[-1, starts.file[0]] = False
    odd = Starts(
        np.append(starts.file, starts.file[0]), fits,
        *(np.vstack([of, of[:1]]) for of in (starts.loaded, starts.wanted, starts.prints)),
    )  # fmt: skip
    assert numbers(learned(odd)) == pytest.approx(numbers(known), abs=1e-9)


# The share of the time to the next hands that prints


DAILY = Staffed([(micros(when(day, 8)), micros(when(day, 17))) for day in range(7)])


@pytest.mark.parametrize(
    ("begun", "hours", "share"),
    [
        (8, 6, 6 / 6.5),  # ends at 14:00, while people are in
        (8, 12, 12 / 24.5),  # ends at 20:00 and stands till 08:00
        (8, 8.5, 8.5 / 9),
        (8, 9, 9 / 24.5),  # ends as people leave
        (16, 16, 16 / 16.5),  # ends as they come
        (16, 15, 15 / 16.5),
        (7, 0.5, 0.5 / 1.5),
    ],
)
def test_the_share_that_prints_is_of_the_time_to_the_next_hands(begun: float, hours: float, share: float) -> None:
    found = share_printing(np.array([[micros(when(0, begun))]]), np.array([[hours]]), DAILY)
    assert found.tolist() == [[pytest.approx(share)]]


def test_every_start_is_told_of_every_file_and_what_fits_nowhere_has_no_share() -> None:
    begun = np.array([[micros(when(0, hour))] for hour in (8, 11)])
    found = share_printing(begun, np.array([[6, 12, np.nan]]), DAILY)
    assert found[:, :2] == pytest.approx(np.array([[6 / 6.5, 12 / 24.5], [6 / 21.5, 12 / 21.5]]))
    assert np.isnan(found[:, 2]).all()
