"""The reader that a bound goes by: what he is shown of a room, and what he can be taught."""

from dataclasses import replace

import numpy as np
import pytest

from core.entries import PrintStarted
from core.window import Window
from dashboard.commands.trials import judged_windows, of_machines, trial, true_hours
from demo.rooms.families import FAMILIES
from demo.rooms.told import OUT_OF_SERVICE, Told
from tests.simulated import taught_reader
from tests.simulated.pieces import OF_A_START, Piece, pieces, seen, truth
from tests.simulated.taught_reader import ALL, FIRST_TEACHER, WITH_PEOPLE, Sums, compared, lesson, taught, true_weeks


@pytest.fixture(scope="module")
def told() -> Told:
    return FAMILIES["queues"](1, 0.2)


@pytest.fixture(scope="module")
def cut(told: Told) -> list[Piece]:
    return pieces(told)


def test_the_pieces_are_all_time_of_all_machines(told: Told, cut: list[Piece]) -> None:
    hours = (told.end - told.start).total_seconds() / 3600
    per_machine = dict.fromkeys(told.turns, 0.0)
    for piece in cut:
        per_machine[piece.machine] += piece.end - piece.start
        assert piece.after <= piece.start < piece.end <= piece.before
    assert per_machine == pytest.approx(dict.fromkeys(told.turns, hours))


def test_what_the_teacher_tells_of_the_pieces_is_what_happened(told: Told, cut: list[Piece]) -> None:
    true = true_hours(told, Window(told.start, told.end))
    sums = [sum(of_machines(true, states).values()) for states in (("printing",), OUT_OF_SERVICE)]
    assert truth(told, cut).sum(axis=0) == pytest.approx(sums)


def test_no_hours_lie_anywhere_that_are_not_in_the_piece(told: Told, cut: list[Piece]) -> None:
    hours = seen(told, cut)
    assert hours[:, ALL] == pytest.approx([piece.end - piece.start for piece in cut])
    assert (hours >= 0).all()
    assert (hours[:, [ALL]] + 1e-9 >= hours).all()
    assert 0 < hours[:, WITH_PEOPLE].sum() < hours[:, ALL].sum()


def test_a_print_is_known_from_its_start_until_something_else_is_said(told: Told, cut: list[Piece]) -> None:
    starts = {(e.machine, e.at) for e in told.entries if isinstance(e, PrintStarted)}
    known = [piece for piece in cut if piece.words[0].endswith(OF_A_START)]
    assert {piece.words[0].removesuffix(OF_A_START) for piece in known} >= {"PrintStarted", "SpoolFitted"}
    begun = {(piece.machine, round(piece.begun * 3600)) for piece in known}
    assert begun <= {(machine, round((at - told.start).total_seconds())) for machine, at in starts}
    assert all(piece.begun == piece.after for piece in cut if not piece.words[0].endswith(OF_A_START))


def test_a_ridge_of_no_strength_finds_the_law_and_one_of_great_strength_what_it_is_drawn_toward() -> None:
    draw = np.random.default_rng(1)
    columns, law = draw.normal(size=(200, 3)), np.array([[1.0], [-2.0], [0.5]])
    sums = Sums.of(columns[:120], columns[:120] @ law) + Sums.of(columns[120:], columns[120:] @ law)
    assert sums.coefficients(0.0) == pytest.approx(law, abs=1e-6)
    assert sums.coefficients(1e12) == pytest.approx(np.zeros((3, 1)), abs=1e-6)
    assert sums.coefficients(1e12, toward=law + 1) == pytest.approx(law + 1, abs=1e-6)
    assert sums.coefficients(50.0, toward=law) == pytest.approx(law)


def test_units_of_columns_do_not_matter() -> None:
    draw = np.random.default_rng(2)
    columns, asked, units = draw.normal(size=(50, 4)), draw.normal(size=(50, 2)), np.array([1, 24, 168, 0.01])
    plain = columns @ Sums.of(columns, asked).coefficients(10.0)
    assert (columns * units) @ Sums.of(columns * units, asked).coefficients(10.0) == pytest.approx(plain, abs=1e-4)


@pytest.fixture(scope="module")
def rooms() -> list[taught_reader.Lesson]:
    return [lesson("rounds", 0.2, seed) for seed in range(FIRST_TEACHER, FIRST_TEACHER + 16)]


def test_the_reader_knows_nothing_of_the_truth_of_the_room_that_he_reads(rooms: list[taught_reader.Lesson]) -> None:
    reader = taught(rooms[:8])
    asked = rooms[8]
    assert (reader.reads(asked._replace(true=asked.true * 0)) == reader.reads(asked)).all()


def test_what_he_was_taught_makes_him_better_than_the_mean_of_his_teachers(rooms: list[taught_reader.Lesson]) -> None:
    reader = taught(rooms[:12])
    true = np.vstack([true_weeks(room)[1:-1] for room in rooms[12:]])
    read = np.vstack([reader.reads(room)[1:-1] for room in rooms[12:]])
    mean = np.vstack([true_weeks(room)[1:-1] for room in rooms[:12]]).mean(axis=0)
    assert (np.abs(read - true).mean(axis=0) < 0.5 * np.abs(mean - true).mean(axis=0)).all()


def test_the_weeks_compared_are_those_that_were_judged(rooms: list[taught_reader.Lesson]) -> None:
    judged, told = trial("rounds", 1, 0.2, weeks=2), FAMILIES["rounds"](1, 0.2)
    one = compared([judged], taught(rooms[:8]), [lesson("rounds", 0.2, 1)])
    assert len(one.printing.taught) == len(one.printing.ours) == len(one.plain) == 2
    points = [
        100 * sum(of_machines(true, ("printing",)).values()) / sum(true.values())
        for true in (true_hours(told, week) for week in judged_windows(told, 2))
    ]
    assert [week.shop.printing.true for week in judged.weeks] == pytest.approx(points)
    assert true_weeks(lesson("rounds", 0.2, 1))[-3:-1, 0] == pytest.approx(points)


def test_times_are_of_the_root_mean_squares_and_the_worst_is_told_first(monkeypatch: pytest.MonkeyPatch) -> None:
    def off(*by: float) -> taught_reader.Beside:
        return taught_reader.Beside(np.array([1.0, -1.0]), np.array(by))

    queues = taught_reader.Compared("queues", 0.2, off(1, 1), off(3, -3), np.array([4.0, 4.0]))
    crews = replace(queues, family="crews", printing=off(-7, 1), down=off(0.5, 0.5))
    assert (queues.worst, crews.worst) == ((3.0, "downtime"), (5.0, "printing"))
    monkeypatch.setattr(taught_reader, "measured", lambda *_: iter([queues, crews]))
    first, *_, last, least = taught_reader.lines(2, 8, ["queues", "crews"])
    assert first == "furthest from what can be said: printing of crews, 20% missing: 5.0 times as far off"
    assert (last.split(",")[0], least.split(",")[0]) == ("crews", "queues")
