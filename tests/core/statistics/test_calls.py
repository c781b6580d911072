"""Changes are called, steady figures seldom; what is called once is not called again."""

import numpy as np
import pytest

from core.arrays import Numbers
from core.statistics import scores
from core.statistics.calls import QUIET, Call, CallRules, _levelled, calls, limit_of, run_length

DAYS = 78


def told(values: Numbers, false_calls: float = 0.1, both: bool = True) -> list[Call]:
    rules = CallRules.of(false_calls, len(values), both)
    return calls(lambda past: scores.individuals(values, past), len(values), rules)


def noise(seed: int, goes_on: float = 0.0) -> Numbers:
    draw = np.random.default_rng(seed).normal(size=DAYS)
    found = np.zeros(DAYS)
    for place in range(DAYS):
        before = found[place - 1] if place else 0.0
        found[place] = goes_on * before + draw[place] * np.sqrt(1 - goes_on**2)
    return found


@pytest.mark.parametrize(("both", "goes_on"), [(True, 0.0), (False, 0.0), (True, 0.3)])
def test_a_steady_figure_is_called_no_oftener_than_is_said(both: bool, goes_on: float) -> None:
    said, rooms = 0.4, 600
    number = sum(len(told(noise(seed, goes_on), said, both)) for seed in range(rooms))
    assert number / rooms < said + 3 * np.sqrt(said / rooms)


def test_a_lasting_change_is_called_with_its_beginning_and_side() -> None:
    found = [told(noise(seed) + 2.0 * (np.arange(DAYS) >= 50)) for seed in range(100)]
    lasting = [[call for call in mine if call.rule == "adds up" and call.at >= 50] for mine in found]
    assert sum(map(bool, lasting)) > 95
    first = [mine[0] for mine in lasting if mine]
    assert all(call.upward for call in first)
    assert np.median([call.since for call in first]) == 50
    assert np.mean([call.at - 50 for call in first]) < 8


def test_a_fall_is_called_only_where_it_is_looked_for() -> None:
    fallen = noise(3) - 3.0 * (np.arange(DAYS) >= 50)
    assert [call.upward for call in told(fallen)] == [False]
    assert told(fallen, both=False) == []


def test_one_wild_value_is_a_call_of_its_own_and_no_past() -> None:
    values = noise(5)
    values[40] = 30.0
    (call,) = told(values)
    assert (call.rule, call.at, call.since, call.upward) == ("beyond", 40, 40, True)


def test_what_goes_back_is_called_again() -> None:
    place = np.arange(DAYS)
    found = told(noise(8) + 2.5 * ((place >= 25) & (place < 50)))
    assert [call.upward for call in found if call.rule == "adds up"] == [True, False]


def test_a_change_that_was_called_is_not_called_anew_every_day() -> None:
    for seed in range(50):
        assert len(told(noise(seed) + 3.0 * (np.arange(DAYS) >= 40))) <= 3


def test_more_false_calls_allowed_make_every_limit_nearer() -> None:
    strict, loose = CallRules.of(0.05, DAYS), CallRules.of(0.5, DAYS)
    assert loose.reach < strict.reach
    assert loose.limit < strict.limit
    assert run_length(limit_of(500.0)) == pytest.approx(500.0)


def test_what_is_far_out_again_at_once_is_no_news_and_is_after_a_while() -> None:
    for apart, times in ((QUIET, 1), (QUIET + 1, 2)):
        z = np.zeros(DAYS)
        z[[40, 40 + apart]] = 8.0
        found = calls(lambda past, z=z: z, DAYS, CallRules(reach=5.0, limit=50.0, both=True))
        assert [call.rule for call in found] == ["beyond"] * times


@pytest.mark.parametrize("goes_on", [0.0, 0.6])
def test_scores_that_go_on_are_levelled_to_a_spread_of_one(goes_on: float) -> None:
    draw = np.random.default_rng(4)
    z = np.zeros(4000)
    for place, chance in enumerate(draw.normal(size=4000)):
        z[place] = goes_on * z[place - 1] + chance * np.sqrt(1 - goes_on**2)
    found = _levelled(z, 0)[500:]
    assert found.std() == pytest.approx(1, abs=0.05)
    assert np.mean(found[1:] * found[:-1]) == pytest.approx(0, abs=0.05)
