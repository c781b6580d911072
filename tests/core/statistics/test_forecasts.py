import numpy as np
import numpy.typing as npt
import pytest

from core.statistics.forecasts import METHODS, SHORT, Forecast, forecast, intermittent, smoothed
from core.statistics.seasons import seasons

Numbers = npt.NDArray[np.float64]
WEEKS = np.arange(156)
SPRING = np.exp(0.6 * np.cos(2 * np.pi * (WEEKS - 15) * 7 / 365.25))
NAN = float("nan")


def told(use: Numbers, bridge: float = 2.5, groups: list[int] | None = None, ahead: int = 8) -> Forecast:
    shared = np.array(groups) if groups else np.zeros(len(use), np.int64)
    return forecast(use, np.full(len(use), bridge), shared, ahead)


def busy(items: int = 12, seed: int = 3) -> Numbers:
    """Items that grow by a third a year and sell in spring."""
    rng = np.random.default_rng(seed)
    return rng.poisson(rng.uniform(5, 40, (items, 1)) * SPRING * 1.33 ** (WEEKS / 52)).astype(float)


def test_steady_use_goes_on() -> None:
    found = told(np.full((1, 60), 7.0))
    assert found.weekly == pytest.approx(np.full((1, 8), 7.0))
    assert found.total == pytest.approx([17.5])


def test_the_total_is_what_the_weeks_come_to() -> None:
    found = told(busy())
    assert found.total == pytest.approx(found.weekly[:, :2].sum(axis=1) + found.weekly[:, 2] / 2)


def test_a_season_shared_by_all_is_foreseen() -> None:
    use = busy()
    found = told(use[:, :115], bridge=4.0)
    assert set(found.method) <= {"season", "season and trend"}
    # Spring is two weeks over, so use falls; without the season it would be taken to go on.
    came = use[:, 115:119].sum()
    assert found.total.sum() == pytest.approx(came, rel=0.1)
    later = told(use[:, :100], bridge=12.0)
    assert later.total.sum() == pytest.approx(use[:, 100:112].sum(), rel=0.15)
    assert later.weekly[:, 7].sum() > 1.1 * later.weekly[:, 0].sum()


def test_the_second_spring_is_foreseen_before_any_past_could_judge_a_season() -> None:
    use = busy()
    found = told(use[:, :53], bridge=8.0)
    assert set(found.method) <= {"season", "season and trend"}
    assert found.total.sum() == pytest.approx(use[:, 53:61].sum(), rel=0.15)


def test_before_a_year_is_known_a_season_may_be_to_come() -> None:
    steady = np.full((1, 60), 1000.0)
    early, late = told(steady[:, :50]), told(steady)
    assert early.total == pytest.approx(late.total)
    assert early.sd[0] > 0.2 * early.total[0] > 2 * late.sd[0]


def test_no_season_is_told_of_less_than_a_year() -> None:
    assert not {"season", "season and trend"} & set(told(busy()[:, :50]).method)
    assert seasons(busy()[:, :51], np.zeros(12, np.int64), 51, 60) == pytest.approx(np.ones((1, 60)))


def test_a_season_is_known_by_what_came_before_only() -> None:
    use = busy()
    changed = use.copy()
    changed[:, 110:] *= 5
    groups = np.zeros(12, np.int64)
    assert seasons(use, groups, 110, 160) == pytest.approx(seasons(changed, groups, 110, 160))


def test_where_there_is_no_season_none_is_made_up() -> None:
    use = np.random.default_rng(8).poisson(20.0, (20, 156)).astype(float)
    assert seasons(use, np.zeros(20, np.int64), 156, 156) == pytest.approx(np.ones((1, 156)), abs=0.05)


def test_growth_is_followed() -> None:
    use = np.linspace(10, 60, 51)[None, :]
    found = told(use)
    assert found.method == ("trend",)
    assert found.weekly[0] == pytest.approx(np.arange(61, 69), rel=0.1)


@pytest.mark.parametrize("weeks", [1, 5, SHORT - 1])
def test_short_histories_take_the_mean_of_eight_weeks_or_of_what_there_is(weeks: int) -> None:
    use = np.random.default_rng(1).poisson(9.0, (4, weeks)).astype(float)
    found = told(use)
    assert found.method == ("mean",) * 4
    assert found.short.all()
    assert found.total == pytest.approx(2.5 * use[:, -8:].mean(axis=1))


def test_the_less_is_known_the_wider_the_error() -> None:
    use = np.tile([8.0, 12.0], 60)[None, :]
    sds = [told(use[:, :weeks]).sd[0] for weeks in (1, 2, 4, 8, 40)]
    assert sds == sorted(sds, reverse=True)
    assert sds[0] > 1.5 * sds[-1]


def test_nothing_is_said_of_an_item_without_a_known_week() -> None:
    found = told(np.array([[NAN] * 30, [3.0] * 30]))
    assert found.method[0] == "none"
    assert np.isnan([found.total[0], found.sd[0], *found.weekly[0]]).all()
    assert found.short.tolist() == [True, False]
    assert found.total[1] == pytest.approx(7.5)


def test_no_weeks_at_all() -> None:
    assert told(np.empty((2, 0))).method == ("none", "none")


def test_of_no_items_nothing() -> None:
    assert told(np.empty((0, 20))).method == ()


def test_what_is_never_used_is_not_expected() -> None:
    found = told(np.zeros((3, 100)))
    assert (found.total.tolist(), found.sd.tolist()) == ([0.0] * 3, [0.0] * 3)


def test_unknown_weeks_are_no_weeks_without_use() -> None:
    use = np.full((1, 80), 6.0)
    use[0, [3, 20, 21, 22, 60, 78, 79]] = NAN
    found = told(use)
    assert found.total == pytest.approx([15.0])
    assert intermittent(use)[0, -1] == pytest.approx(0.95 * 6)


def test_weeks_before_an_item_was_there_change_nothing() -> None:
    use = np.random.default_rng(5).poisson(4.0, (1, 40)).astype(float)
    late = np.pad(use, ((0, 0), (30, 0)), constant_values=NAN)
    first, second = told(use), told(late)
    assert (first.total, first.sd) == (pytest.approx(second.total), pytest.approx(second.sd))


def test_an_item_depends_on_none_of_another_group() -> None:
    use = np.concatenate([busy(6), busy(5, seed=9)[:, ::-1]])
    both, alone = told(use, groups=[0] * 6 + [1] * 5), told(use[:6])
    assert both.method[:6] == alone.method
    assert both.weekly[:6] == pytest.approx(alone.weekly)
    assert both.sd[:6] == pytest.approx(alone.sd)


def test_units_do_not_matter_where_demand_is_not_counted() -> None:
    use = busy()
    grams = told(1000 * use)
    assert grams.method == told(use).method
    assert grams.total == pytest.approx(1000 * told(use).total)


def test_each_item_has_its_own_time_to_bridge() -> None:
    use, groups = busy(3), np.arange(3)
    mixed = forecast(use, np.array([1.0, 3.3, 9.0]), groups, 4)
    for item, bridge in enumerate([1.0, 3.3, 9.0]):
        alone = told(use[item : item + 1], bridge, ahead=4)
        assert mixed.method[item] == alone.method[0]
        assert mixed.total[item] == pytest.approx(alone.total[0])
        assert mixed.sd[item] == pytest.approx(alone.sd[0])


def test_the_errors_are_as_wide_as_told() -> None:
    rng = np.random.default_rng(11)
    use = rng.poisson(rng.uniform(5, 40, (150, 1)) * SPRING).astype(float)
    found = told(use[:, :140], bridge=3.0)
    off = (use[:, 140:143].sum(axis=1) - found.total) / found.sd
    assert 0.8 < np.sqrt((off**2).mean()) < 1.2


def test_the_methods_have_names_for_the_owner() -> None:
    assert set(told(busy()).method) <= set(METHODS)


def test_a_damped_trend_is_corrected_by_the_error_of_each_week() -> None:
    # The error-correction form of Gardner and McKenzie (1985), from memory: b is what is left of the trend.
    use, (alpha, beta, damping) = np.array([12.0, 9.0, 15.0, 20.0]), (0.3, 0.2, 0.8)
    level, trend, told_level, told_trend = 10.0, 2.0, [10.0], [2.0]
    for week in use:
        left = damping * trend
        error = week - (level + left)
        level, trend = level + left + alpha * error, left + alpha * beta * error
        told_level.append(level)
        told_trend.append(trend)
    weights = (np.array(alpha), np.array(beta), np.array(damping))
    levels, trends = smoothed(use, np.ones(4), weights, np.array(10.0), np.array(2.0))
    assert levels == pytest.approx(np.array(told_level))
    assert trends == pytest.approx(np.array(told_trend))
