"""Laws that hold of every room played forward, and small rooms whose course is told by hand."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.plan.forward import Played, play
from core.plan.laws import EMPTY, FINE, PRINTED, HandsClock, Laws, Now, Preferences, Wanted, Work  # fmt: skip
from tests.tiers import examples

Numbers = npt.NDArray[np.float64]

OPENS, CLOSES = 8, 18
#: Product, material, parts (they tell the files apart) and hours on either model.
FILES = [(0, 0, 1, 2.5, 2.5), (0, 1, 2, 5, 4), (1, 0, 4, 7, np.nan), (1, 1, 8, np.nan, 9), (1, 1, 16, 12, 11)]
PRODUCT, MATERIAL, PARTS = (np.array(of) for of in list(zip(*FILES, strict=True))[:3])
WORK = Work(PRODUCT, MATERIAL, PARTS.astype(float), np.array([file[3:] for file in FILES], float).T)
FITS = ~np.isnan(WORK.hours)
#: How much likelier a file is on either model before and after 14:00. File 3 is never started then on model 1.
SUITS = np.array([[[1, 1, 2, 0, 1], [0.5, 1, 1, 0, 3]], [[1, 2, 0, 1, 1], [1, 1, 0, 0, 1]]])
CHOICE = Preferences(np.repeat(FITS[:, None], 3, axis=1)[None] * 1.0, np.ones(1), SUITS)
NOTHING = Wanted.nothing(2)
LAWS = Laws(
    rush=np.array([0.2, 0.7, 2.1]), calm=np.array([0.05, 0.6, 1.3]), idle=np.array([0.3, 4.1]),
    change=np.array([0.11, 0.23, 0.57]), down=np.array([3.3, 30.1]), ratio=np.array([0.93, 1.04]),
    at_once=0.8, stops=0.02, breaks=(0.03, 0.3),
)  # fmt: skip


def by_day(hands: int, days: int, opens: float, closes: float, alone: float) -> HandsClock:
    """The same hours every day, closed the last one; now is midnight. From `alone` on one is in, before that all."""
    at = np.append((24.0 * np.arange(days)[:, None] + [0, opens, closes]).ravel(), 24 * days + 24)
    worked = np.append(0, np.cumsum(np.diff(at) * np.append(np.tile([0, 1, 0], days), 0)[:-1]))
    hour = np.arange(24 * days * FINE) / FINE % 24
    staffed = (opens <= hour) & (hour < closes)
    return HandsClock(at, worked, staffed * np.where(hour < alone, hands, 1), ~staffed)


def late(moment: Numbers) -> npt.NDArray[np.int64]:
    """Whether `SUITS` are those after 14:00."""
    return (np.floor(moment * FINE) / FINE % 24 >= 14).astype(np.int64)


def weighted(*weights: float, wanted: float = 1.0) -> Preferences:
    """Files by weight, whatever is loaded at whatever time."""
    return Preferences(np.tile(weights, (1, 2, 3, 1)).astype(float), np.array([wanted]), np.ones((2, 2, len(FILES))))


def steadily(an_hour: list[float]) -> Numbers:
    """So many parts more are wanted every hour (`Wanted.later`)."""
    return np.arange(1000.0)[None, :, None] * an_hour


#: Every print is one of file 1: two parts in 5 h (model 0) or 4 h (model 1).
PLAIN = weighted(0, 1, 0, 0, 0)


@dataclass(frozen=True)
class Room:
    """Machines of two models by turns, or all of the second one, that hands come to as soon as they are in."""

    machines: int = 6
    hands: int = 1
    replications: int = 3
    end: float = 400
    laws: Laws = LAWS
    choice: Preferences = CHOICE
    wanted: Wanted = NOTHING
    one_model: bool = False
    hours: tuple[float, float] = OPENS, CLOSES
    alone: float = 24
    aside: int = 0
    loaded: int = 0
    seed: int = 1

    def play(self, **changes: object) -> Played:
        if changes:
            return replace(self, **changes).play()
        everywhere = np.zeros((self.replications, self.machines), np.int64)
        model = np.arange(self.machines) % 2 | self.one_model
        visit = np.full(everywhere.shape, float(self.hours[0]))
        visit[:, self.machines - self.aside :] = np.inf
        now = Now(model, everywhere * 0.0, visit, everywhere - 1, everywhere == 0, everywhere + self.loaded)
        clock = by_day(self.hands, int(self.end // 24) + 2, *self.hours, self.alone)
        suits = self.choice.suits[:, late(np.arange(len(clock.hands)) / FINE)]
        choice = replace(self.choice, suits=suits)
        return play(now, clock, WORK, choice, self.laws, self.wanted, self.end, self.seed)


ROOMS = st.builds(
    Room, machines=st.integers(1, 9), hands=st.integers(1, 3), end=st.floats(1, 300), seed=st.integers(0, 99),
    one_model=st.booleans(),
    laws=st.builds(
        replace, st.just(LAWS), at_once=st.floats(0, 1), stops=st.floats(0, 2), change=st.just(np.array([0.3, 5.1])),
        breaks=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    ),
)  # fmt: skip
SOME = examples(40)


@SOME
@given(room=ROOMS)
def test_the_hours_of_all_states_add_up(room: Room) -> None:
    hours = room.play().hours
    assert hours.min() >= 0
    assert hours.sum(axis=0) == pytest.approx(room.machines * room.end, rel=1e-12)


@SOME
@given(room=ROOMS)
def test_nothing_comes_off_after_the_end_nor_when_nobody_is_in(room: Room) -> None:
    off = room.play().off
    off = off[np.isfinite(off)]
    assert (off < room.end).all()
    assert ((off % 24 >= OPENS - 1e-9) & (off % 24 <= CLOSES + 1e-9)).all()


@SOME
@given(room=ROOMS)
def test_a_seed_has_one_course_of_which_an_earlier_end_sees_the_beginning(room: Room) -> None:
    whole, again, half = room.play(), room.play(), room.play(end=room.end / 2)
    assert all(np.array_equal(getattr(whole, name), getattr(again, name)) for name in ("off", "product", "hours"))
    for product in range(2):
        assert half.made(product, room.end / 2).tolist() == whole.made(product, room.end / 2).tolist()


# Parts


ONE = Room(machines=1, replications=4000, end=100, hours=(0, 24), laws=Laws())


def test_parts_come_only_of_prints_that_ended_by_themselves() -> None:
    # The prints with parts account for all hours of good prints, but for the last one, which is still on the machine.
    room = ONE.play(choice=PLAIN, laws=replace(LAWS, ratio=np.ones(1)))
    left = room.hours[PRINTED] - 5 * (room.parts > 0).sum(axis=0)
    assert left.min() >= -1e-9
    assert left.max() <= 5 + 1e-9
    assert set(room.parts[room.product == 0].tolist()) == {0, 2}
    assert room.parts[room.product < 0].sum() == 0


def test_prints_stop_as_often_as_the_law_says() -> None:
    room = ONE.play(choice=PLAIN, laws=Laws(stops=0.1), end=301)
    # The first 60 prints: all are off by the end, so none is left out for being long.
    ended = room.parts[1:61] > 0
    assert np.isfinite(room.off[60]).all()
    assert ended.mean() == pytest.approx(np.exp(-0.5), abs=4 * 0.49 / ended.size**0.5)


def test_doubt_of_the_pace_is_one_factor_a_replication() -> None:
    took = np.diff(ONE.play(choice=PLAIN, laws=Laws(doubt=0.1)).off[:6], axis=0) / 5
    assert took.std(axis=0).max() < 1e-9
    assert np.log(took[0]).mean() == pytest.approx(0, abs=4 * 0.1 / 4000**0.5)
    assert np.log(took[0]).std() == pytest.approx(0.1, abs=4 * 0.1 / 8000**0.5)


def test_a_machine_set_aside_gives_nothing() -> None:
    alone, beside, aside = (Room(machines=m, aside=a).play() for m, a in [(2, 0), (3, 1), (3, 3)])
    assert beside.parts.sum() == alone.parts.sum() > aside.parts.sum() == 0
    assert beside.hours[EMPTY] - alone.hours[EMPTY] == pytest.approx(400)
    assert (aside.hours[EMPTY] == 3 * 400).all()


@pytest.mark.parametrize("busy", [1, 12], ids=["enough hands", "too few hands"])
@pytest.mark.parametrize(
    "better",
    [
        {"machines": 8}, {"hands": 2}, {"laws": {"down": LAWS.down / 3}}, {"laws": {"stops": 0.005}},
        {"laws": {"rush": LAWS.rush / 3, "calm": LAWS.calm / 3}}, {"laws": {"idle": LAWS.idle / 3}},
    ],
    ids=["machines", "hands", "downtime", "stops", "waits", "idle waits"],
)  # fmt: skip
def test_what_helps_a_room_never_lowers_its_parts(better: dict, busy: float) -> None:
    laws = replace(LAWS, change=LAWS.change * busy)
    room = Room(replications=400, end=800, choice=PLAIN, laws=laws)
    changed = better | {"laws": replace(laws, **better.get("laws", {}))}
    gain = later_half(room.play(**changed)) - later_half(room.play())
    error = gain.std(ddof=1) / len(gain) ** 0.5
    assert gain.mean() >= -3 * error
    assert busy > 1 or gain.mean() > 3 * error


def later_half(room: Played) -> Numbers:
    """Parts without those of the beginning, when every empty machine more takes hands and gives nothing yet."""
    return room.made(0, 800) - room.made(0, 400)


# What is started


@pytest.mark.parametrize("model", [0, 1])
def test_files_are_started_as_often_as_they_suit_the_model_and_the_time(model: int) -> None:
    room = ONE.play(one_model=bool(model))
    # Hands are in at all hours and need none, so that a print begins when the last one came off.
    there = np.isfinite(room.off[1:8])
    begun, file = late(room.off[:7][there]), np.log2(room.parts[1:8][there]).astype(int)
    for part_of_day in range(2):
        weights = FITS[model] * SUITS[model][part_of_day]
        expected, found = weights / weights.sum(), file[begun == part_of_day]
        share = np.bincount(found, minlength=len(FILES)) / len(found)
        assert (share[expected == 0] == 0).all()
        assert (abs(share - expected) <= 4 * (expected * (1 - expected) / len(found)) ** 0.5).all()


def test_where_nothing_suits_the_time_a_file_that_fits_is_started() -> None:
    room = ONE.play(replications=20, choice=replace(PLAIN, suits=PLAIN.suits * 0), laws=Laws())
    assert set(room.parts[1:][np.isfinite(room.off[1:])].tolist()) == {2}


@pytest.mark.parametrize(("weights", "share"), [((1, 1), 3 / 4), ((2, 1), 6 / 7), ((1, 0), 1), ((0, 1), 0)])
def test_products_of_which_parts_are_wanted_are_started_so_much_oftener(
    weights: tuple[float, float], share: float
) -> None:
    choice = weighted(0, weights[0], 0, 0, weights[1], wanted=3)
    room = ONE.play(choice=choice, wanted=replace(NOTHING, now=np.array([np.inf, 0])))
    # The first seven prints: all are off by the end, so none is left out for being long.
    first = room.product[1:8] == 0
    assert np.isfinite(room.off[7]).all()
    assert first.mean() == pytest.approx(share, abs=4 * (share * (1 - share) / first.size) ** 0.5)


@pytest.mark.parametrize(
    ("an_hour", "breaks", "products"),
    [(0, 0, [0, 0, 0, 1, 1, 1]), (0, 1, [0, -1, 0, -1, 0, -1, 1, -1, 1]), (0.1, 0, [0, 0, 0, 0, 1, 0, 1, 1, 0])],
    ids=["five parts", "five parts, the machine breaks", "five parts and one more every ten hours"],
)
def test_parts_are_wanted_until_they_are_on_machines(an_hour: float, breaks: float, products: list[int]) -> None:
    # Product 0 is as good as never started unless it is wanted: two parts in 5 h; product 1 takes 12 h.
    choice, wanted = weighted(0, 1, 0, 0, 1e9, wanted=1e18), Wanted(np.array([5.0, 0]), steadily([an_hour, 0]))
    room = ONE.play(replications=1, choice=choice, wanted=wanted, laws=Laws(breaks=(breaks, 0), down=np.ones(1)))
    assert room.product[1 : len(products) + 1, 0].tolist() == products


@pytest.mark.full
def test_parts_that_come_to_nothing_are_wanted_again() -> None:
    # Two parts of product 0 are wanted, and no print of 5 h comes to its end: it is tried for ever.
    choice, wanted = weighted(0, 1, 0, 0, 1e9, wanted=1e18), replace(NOTHING, now=np.array([2.0, 0]))
    room = ONE.play(choice=choice, wanted=wanted, laws=Laws(stops=10.0))
    assert (room.product[1:][np.isfinite(room.off[1:])] == 0).all()


def test_replications_want_what_their_own_draw_wants() -> None:
    later = np.zeros((2, 50, 2))
    later[1, 30:, 0] = 2
    choice = weighted(0, 1, 0, 0, 1e9, wanted=1e18)
    room = ONE.play(replications=4, choice=choice, wanted=Wanted(np.zeros(2), later), laws=Laws())
    made = (room.product == 0).sum(axis=0)
    assert made.tolist() == [0, 1, 0, 1]
    # Nobody starts what nobody wants yet.
    assert room.off[room.product == 0].min() > 30


@pytest.mark.parametrize("breaks", [0, 1])
def test_what_is_started_depends_on_the_material_of_the_last_print(breaks: int) -> None:
    # Files 0 and 4, material 0 and 1, while 0 is loaded, then file 4 only. What is not known is the last.
    weights = np.tile([[1.0, 0, 0, 0, 1], [0, 0, 0, 0, 1], [0, 1, 0, 0, 0]], (1, 2, 1, 1))
    choice, laws = replace(PLAIN, weights=weights), Laws(breaks=(breaks, 0), down=np.ones(1))
    room = ONE.play(choice=choice, laws=laws)
    assert (ONE.play(choice=choice, laws=laws, loaded=-1).parts[1] == 2).all()
    for prints in (1, 2, 3):
        share = (room.product[1 + (prints - 1) * (1 + breaks)] == 0).mean()
        assert share == pytest.approx(0.5**prints, abs=4 * (0.5**prints / 4000) ** 0.5)


def test_a_machine_that_was_mended_has_the_material_it_was_tried_out_with() -> None:
    # Material 0 is loaded first, and files 0 and 4, of material 0 and 1, go on with what is loaded.
    choice = replace(PLAIN, weights=np.tile([[1.0, 0, 0, 0, 0], [0, 0, 0, 0, 1], [0, 1, 0, 0, 0]], (1, 2, 1, 1)))
    laws = Laws(breaks=(1.0, 0.0), down=np.ones(1), tried=np.array([0.0, 0.3]))
    room = ONE.play(choice=choice, laws=laws)
    assert (room.product[1] == 0).all()
    # A print and a repair by turns: after each one in three of those that still have material 0 changes.
    for prints in (2, 3, 4):
        share = (room.product[2 * prints - 1] == 0).mean()
        assert share == pytest.approx(0.7 ** (prints - 1), abs=4 * (0.21 / 4000) ** 0.5)


# Courses told by hand: a print of 5 h (model 0) or 4 h (model 1)


def course(**room: object) -> tuple[list[float], list[float]]:
    """When what comes off, and the hours of every state."""
    play = Room(replications=1, choice=PLAIN).play(**room)
    return [round(off, 9) for off in play.off[np.isfinite(play.off)]], play.hours[:, 0].round(9).tolist()


def spent(**hours: float) -> list[float]:
    return [hours.get(state, 0) for state in ("printed", "failed", "waited", "down", "empty")]


def test_machines_queue_for_hands_that_go_home_in_between() -> None:
    # In from 08:00 to 11:00, a visit takes 1 h 45. The second machine's turn is at 09:45; it is started at 08:30 next
    # day, when the first one, done at 14:45, has its turn; that is started at 10:15.
    room = {"machines": 2, "hours": (8, 11), "end": 40, "laws": Laws(change=np.array([1.75]))}
    hours = spent(printed=5 + 5 + 4, waited=19.5 + 0.75 + 3.5, empty=9.75 + 32.5)
    assert course(**room) == ([8, 9.75, 32.5], hours)
    assert course(**room, hands=2)[0][:2] == [8, 8]


def test_no_more_hands_work_than_are_in() -> None:
    # Three hours a visit. The machines are done at 08:00 and 07:00, while two are in, and at 16:00 and 14:00: then one.
    room = {"machines": 2, "hands": 2, "hours": (0, 24), "end": 19, "laws": Laws(change=np.array([3.0]))}
    assert course(**room)[0] == [0, 0, 7, 8, 14, 16]
    assert course(**room, alone=12)[0] == [0, 0, 7, 8, 14, 17]


def test_waits_last_while_hands_are_in() -> None:
    # In from 08:00 to 13:30. A quarter of an hour's wait from 13:00, and an hour and a half of the next morning.
    laws = Laws(calm=np.array([0.25]), rush=np.array([1.5]))
    off, hours = course(machines=1, hours=(8, 13.5), end=34, laws=laws)
    assert (off, hours) == ([8, 13.25, 33.5], spent(printed=10.5, waited=15.5, empty=8))


@pytest.mark.parametrize(("at_once", "idle"), [(1, 0), (0, 1)])
def test_a_machine_out_of_order_is_down_by_the_clock_and_started_as_one_that_was_cleared(
    at_once: float, idle: float
) -> None:
    laws = Laws(breaks=(1, 0), down=np.array([3.0]), idle=np.array([1.0]), at_once=at_once)
    again, room = 8 + idle, Room(machines=1, replications=1, choice=PLAIN, hours=(0, 24), laws=laws)
    play = room.play(end=5 * again)
    assert play.off[:10, 0].tolist() == [begun + hours for begun in np.arange(5) * again for hours in (0, 5)]
    assert play.per_print.tolist() == spent(printed=5, down=3, empty=idle)


def test_a_machine_that_is_not_started_at_once_is_empty() -> None:
    off, hours = course(machines=1, hours=(0, 24), end=21, laws=Laws(at_once=0, idle=np.array([2.0])))
    assert (off, hours) == ([0, 5, 12, 19], spent(printed=15, empty=6))
