"""Small stories of spools: what prints leave on them, what weighing teaches.

A clip takes two hours and 60 g, a grille a day and 300 g of PETG black, a brace four hours and 90 g of PETG white.
"""

import math
import random
from collections.abc import Sequence
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.entries import AnyEntry
from core.epoch import HOUR, micros
from core.estimate import Estimate
from core.habits.habits import Habits
from core.habits.learned import Learned
from core.habits.usage import FACTOR_DOUBT, Usage
from core.log.frames import entry_frame
from core.spools.book import (
    STANDS,
    Spool,
    SpoolStory,
    lasts,
    left,
)
from core.spools.spools import learn_usage
from core.staffed import Staffed
from core.timeline.reckon import reckon
from core.window import Window
from tests.core.larkfield import EXACT, look, start, when
from tests.core.spools.stories import SETUP, fit, grille, off, rest, told
from tests.tiers import examples

#: The grams either side of the best that hold nine in ten of a normal law.
NINE_IN_TEN = 1.6449


def usage_of(story: Sequence[AnyEntry], at: datetime) -> Usage:
    window, entries = Window(when(-1), at), entry_frame(story)
    gaps = reckon(entries, SETUP, window, Staffed.of(SETUP, window), EXACT).gaps
    return learn_usage(gaps, entries.filter(kind="SpoolFitted"), SETUP, micros(at))


def width(estimate: Estimate) -> float:
    return estimate.high - estimate.low


# What prints leave on a spool


@pytest.mark.parametrize(("factor", "grams"), [(1.0, 700.0), (1.1, 670.0)])
def test_a_print_that_ended_used_its_grams_times_the_factor(factor: float, grams: float) -> None:
    usage = Usage(factor=factor, doubt=0.0)
    found = rest([fit(when(0, 7)), *grille(0)], when(1, 10), usage)
    # A full spool is off by 10 g, a print by 2 % of what it used.
    off_by = NINE_IN_TEN * math.hypot(10, 0.02 * 300 * factor)
    assert (found.low, found.best, found.high) == pytest.approx((grams - off_by, grams, grams + off_by), abs=0.1)


def test_a_print_that_failed_used_up_to_where_it_stopped_give_or_take() -> None:
    story = [fit(when(0, 7)), start(when(0, 8)), off(when(0, 20), ended="stopped")]
    found = rest(story, when(0, 21), Usage(doubt=0.0))
    # It stopped somewhere in the first half of its 24 hours: a quarter of 300 g, the half evenly spread.
    off_by = NINE_IN_TEN * math.hypot(10, 0.02 * 75, 150 / math.sqrt(12))
    assert (found.low, found.best, found.high) == pytest.approx((925 - off_by, 925, 925 + off_by), abs=0.5)
    # Seen going on after six hours it stopped between then and twelve: three eighths.
    seen = rest([*story, look(when(0, 14), "printing")], when(0, 21), Usage(doubt=0.0))
    assert seen.best == pytest.approx(1000 - 3 / 8 * 300, abs=0.5)
    assert width(seen) < width(found)


def test_a_print_running_now_has_used_its_share() -> None:
    story = [fit(when(0, 7)), start(when(0, 8))]
    spool, _ = told(story, when(0, 14))
    assert spool.running is not None
    assert (spool.running.share, spool.running.grams) == (0.25, 300)
    assert rest(story, when(0, 14)).best == pytest.approx(1000 - 300 / 4)
    # A day after its start it has used everything, though nobody has said so.
    assert told(story, when(1, 8))[0].running is None
    assert rest(story, when(1, 12)).best == pytest.approx(700)


def test_of_a_spool_nobody_noted_nothing_is_said() -> None:
    spool, shelf = told(grille(0), when(1, 10))
    assert (spool.material, spool.lines, shelf) == (None, (), [])
    assert left(spool, Usage()) is None
    assert lasts(spool, 1.0, Usage()) is None


def test_a_spool_fitted_for_a_print_is_the_one_it_uses_even_if_noted_after_its_start() -> None:
    assert rest([fit(when(0, 7), 400), start(when(0, 8)), fit(when(0, 8, 20)), off(when(1, 9))], when(1, 10)).best == (
        pytest.approx(700, abs=0.1)
    )


def test_a_spool_fitted_into_a_print_feeds_the_rest_of_it() -> None:
    found = rest([fit(when(0, 7), 400), start(when(0, 8)), fit(when(0, 14)), off(when(1, 9))], when(1, 10))
    # It had run out before the new one came, six hours after the start; by 25 hours all was off, so that at least 5 of
    # 24 hours were printed by then.
    assert found.best == pytest.approx(1000 - (24 - 5.5) / 24 * 300, abs=0.5)


def test_a_spool_that_ran_out_in_a_print_had_fed_what_it_held() -> None:
    # Fitted the morning after, seventeen hours later: 100 g were a third of the print, and stood without any till then.
    found = rest([fit(when(0, 7), 100), start(when(0, 8)), fit(when(1, 1)), off(when(2, 9))], when(2, 10))
    assert found.best == pytest.approx(1000 - 200, abs=10)
    # By the book it held 600 g: then the clock alone tells.
    strange = rest([fit(when(0, 7), 600), start(when(0, 8)), fit(when(1, 1)), off(when(2, 9))], when(2, 10))
    assert strange.best == pytest.approx(1000 - (24 - 17 / 2) / 24 * 300, abs=10)
    assert width(strange) > 2 * width(found)


def test_a_print_that_goes_on_with_another_spool_is_counted_once() -> None:
    story = [fit(when(0, 7), 100), start(when(0, 8)), fit(when(1, 1)), off(when(2, 9))]
    knowing = Learned(best=1.0, low=1.0, high=1.0, habits=Habits())
    assert rest(story, when(2, 10), learned=knowing).best == pytest.approx(1000 - 200, abs=10)


def test_a_spool_fitted_into_a_running_print_cannot_have_lost_more_than_that_print_has_used() -> None:
    found = rest([fit(when(0, 7)), start(when(0, 8)), fit(when(0, 9))], when(0, 10))
    # In two of 24 hours the print used 25 g of both spools together; a full spool is off by 10 g.
    assert found.low >= 1000 - 25 - 2 * 10
    assert found.high <= 1000 + 2 * 10


def test_a_spool_fitted_near_the_end_of_a_print_need_not_feed_the_whole_of_it() -> None:
    # The last two of 24 hours need 25 g, for which 200 g are plenty: nobody needs to have changed it again.
    spool, _ = told([fit(when(0, 7), 275), start(when(0, 8)), fit(when(1, 6), 200)], when(1, 7))
    found, use = left(spool, Usage()), spool.running
    assert found is not None
    assert use is not None
    assert use.grams * (1 - use.share) < 100
    assert 170 <= found.low <= found.high <= 205


def test_a_print_of_another_material_means_a_change_nobody_noted() -> None:
    story = [fit(when(0, 7)), start(when(0, 8), file="brace"), off(when(0, 13))]
    spool, _ = told(story, when(0, 14))
    assert (spool.material, spool.since) == ("petg-white", None)
    # Any spool of the other material, 700 g on average, less 90 g.
    found = rest(story, when(0, 14))
    assert found.best == pytest.approx(700 - 90, abs=10)
    assert width(found) > 500


def test_a_spool_that_could_not_have_fed_a_print_that_ended_was_changed_unnoted() -> None:
    spool, _ = told([fit(when(0, 7), 250), *grille(0)], when(1, 10), Usage(runs_out=(0.5, 0.3)))
    before, ran_out, other = spool.lines
    # A full one took its place before or when it had run out, or the 250 g just did for 300. It came off an hour later
    # than the print takes: to stand without material for no more is less likely.
    assert before.weight / ran_out.weight == pytest.approx(0.7 / (0.3 * (1 - math.exp(-HOUR / STANDS))))
    assert before.weight + ran_out.weight > 0.95
    assert (before.grams, ran_out.grams) == pytest.approx((700, 950))
    assert 0 <= other.grams < 20
    assert len(told([fit(when(0, 7), 900), *grille(0)], when(1, 10))[0].lines) == 1


def test_a_spool_that_nobody_noted_is_as_full_as_most_that_were_fitted() -> None:
    # The set-up says 1000 g, and people fit spools of 3 kg.
    story = [*(fit(when(-1, hour), 3000) for hour in range(12)), fit(when(0, 7), 250), *grille(0)]
    before, *_ = told(story, when(1, 10), Usage(runs_out=(0.5, 0.0)))[0].lines
    assert before.grams == pytest.approx(3000 - 300)


def test_a_spool_too_short_for_a_running_print_runs_out_or_was_changed() -> None:
    usage = Usage(runs_out=(0.5, 0.2), unnoted=(0.2, 0.5))
    spool, _ = told([fit(when(0, 7), 100), start(when(0, 8))], when(0, 14), usage)
    changed, short = spool.lines
    # Of ten too short two run out and eight are changed before, four of them unnoted. A quarter used 75 g of either.
    assert (changed.weight, changed.grams) == pytest.approx((4 / 6, 1000 - 75), abs=0.001)
    assert (short.weight, short.grams) == pytest.approx((2 / 6, 100 - 75), abs=0.001)


def test_the_longer_ago_a_print_used_its_spool_up_the_likelier_it_went_on_with_one_that_nobody_noted() -> None:
    def goes_on(hour: float) -> float:
        # 50 g last four hours.
        usage = Usage(runs_out=(0.5, 1.0), unnoted=(0.2, 0.5))
        spool, _ = told([fit(when(0, 7), 50), start(when(0, 8))], when(0, hour), usage)
        return sum(line.weight for line in spool.lines if line.grams > 500)

    assert goes_on(11) == 0
    assert 0 < goes_on(13) < 0.2 < goes_on(18) < 0.7 < goes_on(31)


def test_prints_that_nobody_announced_use_so_many_grams_an_hour_and_widen_the_range() -> None:
    knowing = Learned(best=1.0, low=1.0, high=1.0, habits=Habits())
    story = [fit(when(0, 7)), start(when(0, 8), file="clip"), off(when(0, 10))]
    # Prints of six hours, as by these habits all are that nobody announced, must have filled the time in between.
    ends = [when(0, 16, 30), when(1, 8, 30), when(1, 15)]
    found = [rest([*story, *map(off, ends[:n])], [when(0, 10), *ends][n], learned=knowing) for n in range(4)]
    # The files of the material state 60, 300 and 340 g for 2, 24 and 12 hours.
    each = 6 * (60 + 300 + 340) / (2 + 24 + 12)
    assert [one.best for one in found] == pytest.approx([940 - each * n for n in range(4)], abs=8)
    assert width(found[0]) < width(found[1]) < width(found[2]) < width(found[3])
    assert rest([*story, off(ends[0])], ends[0]).best == pytest.approx(940, abs=0.1)


def test_the_order_in_which_entries_came_in_does_not_matter() -> None:
    story = [fit(when(0, 7)), *grille(0), *grille(2), fit(when(4, 7), left_grams=390), *grille(4), start(when(6, 8))]
    for seed in range(5):
        mixed = random.Random(seed).sample(story, len(story))
        assert told(mixed, when(6, 12)) == told(story, when(6, 12))


@examples(25)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["clip", "grille", "brace"]),
            st.none() | st.tuples(st.integers(50, 1000), st.integers(-2, 25)),
            st.sampled_from(["itself", "stopped"]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_the_stories_of_a_spool_are_few_and_their_chances_add_up_to_one(
    prints: list[tuple[str, tuple[int, int] | None, str]],
) -> None:
    story = [fit(when(0, 1))]
    for number, (file, fitted, ended) in enumerate(prints):
        story += [start(when(2 * number, 8), file=file), off(when(2 * number + 1, 9), ended=ended)]
        if fitted:
            story.append(fit(when(2 * number, 8 + fitted[1]), fitted[0]))
    spool, _ = told(story, when(2 * len(prints)))
    assert 1 <= len(spool.lines) <= 4
    assert sum(line.weight for line in spool.lines) == pytest.approx(1)
    assert rest(story, when(2 * len(prints))).low >= 0


# Whether a spool feeds a print


@given(
    lines=st.lists(st.tuples(st.floats(1, 9), st.floats(0, 1000), st.floats(1, 1e4)), min_size=1, max_size=4),
    grams=st.lists(st.floats(1, 2000), min_size=2, max_size=2).map(sorted),
)
def test_the_more_a_print_needs_the_less_likely_a_spool_feeds_it(
    lines: list[tuple[float, float, float]], grams: list[float]
) -> None:
    whole = sum(weight for weight, *_ in lines)
    spool = Spool("A1", "petg-black", None, tuple(SpoolStory(w / whole, g, v, 1000 - g) for w, g, v in lines))
    less, more = (lasts(spool, need, Usage()) for need in grams)
    assert less is not None
    assert more is not None
    assert 1 + 1e-9 >= less >= more - 1e-12 >= -1e-12


def test_a_spool_feeds_what_it_just_has_half_the_time() -> None:
    spool = Spool("A1", "petg-black", None, (SpoolStory(1.0, 330.0, 100.0),))
    assert lasts(spool, 300.0, Usage(factor=1.1)) == pytest.approx(0.5)


# What weighing teaches


def weighed(spools_used: Sequence[float], prints: int = 1) -> list[AnyEntry]:
    """Spools that fed so many grilles each, weighed when they came off: so many grams were gone from each."""
    story, day = [fit(when(0, 7))], 0
    for used in spools_used:
        for _ in range(prints):
            story += grille(day)
            day += 2
        story.append(fit(when(day, 7), left_grams=1000 - used))
    return story


@pytest.mark.parametrize("count", [1, 10, 30])
def test_spools_weighed_when_they_came_off_teach_the_factor(count: int) -> None:
    usage = usage_of(weighed([315] * count), when(100))
    assert usage.seen == count
    # 315 g for 300 stated; what was known beforehand, 1, counts as two, each spool as a half.
    assert usage.factor == pytest.approx((1.05 * count / 2 + 1.0 * 2) / (count / 2 + 2))


def test_many_weighed_spools_make_the_factor_surer() -> None:
    few, many = (usage_of(weighed([312, 318] * n), when(100)).doubt for n in (1, 10))
    assert many < few < FACTOR_DOUBT


def test_one_spool_with_a_print_that_nobody_noted_does_not_move_the_factor() -> None:
    usual = usage_of(weighed([315] * 10), when(100))
    # A grille more than was noted: 630 g gone.
    strange = usage_of(weighed([315] * 4 + [630] + [315] * 5), when(100))
    assert strange.factor == pytest.approx(usual.factor)


def test_a_spool_that_was_nearly_used_up_teaches_the_factor_as_well() -> None:
    # Three grilles used 945 g for the 900 stated, and 55 g came off.
    usage = usage_of(weighed([945] * 5, prints=3), when(100))
    assert usage.seen == 5
    assert usage.factor == pytest.approx((1.05 * 5 / 2 + 2) / (5 / 2 + 2), abs=0.002)


def test_a_spool_of_which_a_print_stopped_somewhere_teaches_nothing() -> None:
    story = [fit(when(0, 7)), start(when(0, 8)), off(when(0, 20), ended="stopped"), fit(when(1, 7), left_grams=900)]
    assert usage_of(story, when(2)).seen == 0


def test_a_shop_that_never_weighed_a_spool_knows_no_more_than_before() -> None:
    usage = usage_of([fit(when(0, 7)), *grille(0)], when(2))
    assert (usage.factor, usage.seen) == (1.0, 0)
    assert usage.doubt == pytest.approx(FACTOR_DOUBT)


def test_what_becomes_of_spools_too_short_is_learned() -> None:
    # Ten times 100 g are on and a grille is begun: a new spool is noted with its start, during it, or never.
    def noted(*when_fitted: float) -> Usage:
        story = []
        for number in range(10):
            story += [fit(when(2 * number, 6), 100), *grille(2 * number)]
            story += [fit(when(2 * number, hour)) for hour in when_fitted]
        return usage_of(story, when(30))

    at_start, during, never = noted(8), noted(13), noted()
    # Ten of ten, and two more that go as usual: one in ten unnoted, every other one run out.
    assert at_start.unnoted[1] == pytest.approx(0.2 / 12, abs=0.01)
    assert at_start.runs_out[1] == pytest.approx(1 / 12, abs=0.01)
    assert during.runs_out[1] == pytest.approx(11 / 12, abs=0.01)
    assert never.unnoted[1] == pytest.approx(10.2 / 12, abs=0.01)
    # What was never noted tells nothing of when it was.
    assert never.runs_out[1] == pytest.approx(0.5, abs=0.01)


def test_spools_that_ran_out_teach_the_factor_where_none_is_ever_weighed() -> None:
    def story(count: int, held: float) -> list[AnyEntry]:
        told = [fit(when(0, 7), held)]
        for day in range(0, 6 * count, 6):
            # Two grilles of 300 g, and a third that stood without material from six hours on till the new one came.
            told += [*grille(day), *grille(day + 2), start(when(day + 4, 8)), fit(when(day + 4, 14), held)]
            told += [off(when(day + 5, 9)), fit(when(day + 6, 7), held)]
        return told

    # By the clock they had fed 600 g and 63 to 75 of the third: 735 g make it 1.1.
    usage = usage_of(story(8, 735), when(60))
    assert usage.seen == 0
    assert usage.factor == pytest.approx(735 / 669, abs=0.02)
    assert usage.doubt < FACTOR_DOUBT / 3
    # Half of them with a grille nobody noted: they tell of something else.
    strange = usage_of([*story(8, 735), *(fit(when(50 + n, 1), 735) for n in range(3))], when(60))
    assert strange.factor == pytest.approx(usage.factor, abs=0.01)
