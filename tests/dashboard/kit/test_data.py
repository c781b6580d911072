"""The pace of prints is kept for the day, and learned anew where what was known at midnight has changed."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from threading import Event

import pytest
import streamlit as st

from core import answers
from core.entries import PrintStarted
from core.epoch import utc_now
from core.errors import Refused
from core.log.record import record
from core.log.store import Log
from core.setup import Person
from dashboard.kit import data, shop, streamlit_inside
from demo.make import make

Learned = list[object]


@pytest.fixture
def learned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Log, Learned]]:
    """The log of an invented shop that the pages read, and the times its pace was learned for."""
    path = tmp_path / "shop.duckdb"
    make(path, machines=2, weeks=1)
    times: Learned = []
    pace_at = answers.pace_at
    monkeypatch.setattr(answers, "pace_at", lambda log, at: times.append(at) or pace_at(log, at))
    st.cache_resource.clear()
    with Log.open(path) as log:
        shop.hold(log)
        yield log, times
        shop.hold(None)


def ask_every_page(log: Log) -> None:
    data.report()
    (rack, *_) = data.racks()
    data.rack_round(rack.rack)
    data.machine_page(rack.machines[0].machine)


def test_the_pace_is_learned_once_for_all_pages(learned):
    ask_every_page(learned[0])
    assert len(learned[1]) == 1


def test_an_entry_of_today_leaves_the_pace_as_it_is(learned):
    log, times = learned
    machine = data.racks()[0].machines[0].machine
    now = utc_now()
    record(log, [PrintStarted(at=now, noted_at=now, by="ro", machine=machine, file="F-001", revision=1)])
    ask_every_page(log)
    assert len(times) == 1


def test_an_entry_noted_before_midnight_or_a_new_row_of_the_set_up_has_it_learned_anew(learned):
    log, times = learned
    data.report()
    machine = data.racks()[0].machines[0].machine
    then = utc_now() - timedelta(days=2)
    record(log, [PrintStarted(at=then, noted_at=then, by="ro", machine=machine, file="F-001", revision=1)])
    data.report()
    assert len(times) == 2
    log.append_setup([Person(person="zo", name="Zoe")])
    data.report()
    assert len(times) == 3


def test_a_kept_pace_changes_no_answer(learned):
    report = data.report()
    alone = answers.report(learned[0], report.at)
    assert alone == report


class Tapped(BaseException):
    """What Streamlit raises in a run that a tap ends."""


def test_a_tap_does_not_wait_for_a_long_answer(monkeypatch):
    def tapped() -> None:
        raise Tapped

    monkeypatch.setattr(streamlit_inside, "draws_a_page", lambda: True)
    monkeypatch.setattr(streamlit_inside, "give_way", tapped)
    never = Event()
    with pytest.raises(Tapped):
        data.patient(never.wait)()
    never.set()
    assert data.patient(lambda each: each + 1)(2) == 3


def test_a_refusal_of_a_long_answer_reaches_the_page(monkeypatch):
    monkeypatch.setattr(streamlit_inside, "draws_a_page", lambda: True)

    def refuse() -> None:
        raise Refused("rule", "Not so: do it otherwise.")

    with pytest.raises(Refused, match="do it otherwise"):
        data.patient(refuse)()
