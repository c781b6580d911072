"""What happened earlier: the quiet button for it, and its choices."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import partial

import streamlit as st

from core.epoch import utc_now
from core.window import midnight
from dashboard.kit import data
from dashboard.kit.parts import button, session
from dashboard.words import floor_words as words

#: What happened earlier did so today or in the days before, so many in all.
DAYS_BACK = 8


def when(shift_began: datetime | None) -> None:
    """The quiet button for what happened earlier, and its choices."""
    mine = session()
    if button("quiet-earlier", words.earlier_label(mine.earlier, data.clock())):
        mine.asks_when, mine.asks_hour = not mine.asks_when, None
        st.rerun()
    if not mine.asks_when:
        return
    with st.container(key="tiles-when"):
        if mine.asks_hour:
            for hour in _hours(mine.asks_hour):
                label = f"{data.clock().local(hour):%H:%M}"
                button(f"tile-when-{hour:%d-%H}", label, before=partial(_happened, hour))
            return
        for name, (label, at) in _moments(shift_began).items():
            button(f"tile-when-{name}", label, before=partial(_happened, at))
        today = data.clock().local(utc_now()).date()
        for day in (today - timedelta(days=n) for n in range(DAYS_BACK)):
            button(f"tile-when-{day}", words.day_back(day, today), before=partial(setattr, mine, "asks_hour", day))


def _happened(at: datetime | None) -> None:
    mine = session()
    mine.earlier, mine.asks_when = at, False


def _hours(day: date) -> list[datetime]:
    """The whole hours of a day on the shop's clock that are over."""
    begin, end = (midnight(one, data.setup().zone) for one in (day, day + timedelta(days=1)))
    every = (begin + timedelta(hours=n) for n in range(25))
    return [at for at in every if at < min(end, utc_now())]


def _moments(shift_began: datetime | None) -> dict[str, tuple[str, datetime | None]]:
    now = utc_now()
    moments: dict[str, tuple[str, datetime | None]] = {"now": ("Now", None)}
    for minutes, label in words.MINUTES_AGO.items():
        moments[str(minutes)] = (label, now - timedelta(minutes=minutes))
    if shift_began:
        moments["shift"] = (words.shift_start(shift_began, data.clock()), shift_began)
    return moments
