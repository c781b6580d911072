"""The controls of the floor pages, and the only session state.

What a session remembers is what its screen shows and who taps; everything that matters is in the log.
A tap is judged against the answer its button was drawn from, so no change in between can lose it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial
from threading import RLock
from typing import Any, TypeVar
from uuid import UUID, uuid4, uuid5

import altair as alt
import streamlit as st

from core.entries import AnyEntry, EntryVoided, entry_adapter
from core.epoch import utc_now
from core.errors import Refused
from core.floor.types import RackNow
from core.log.record import record
from dashboard.charts.charts import Spec
from dashboard.kit import blocks, data
from dashboard.kit.shop import current_log
from dashboard.words import floor_words as words
from dashboard.words import receipt_words
from dashboard.words.acts import Fields
from dashboard.words.owner_words import NO_MACHINES

#: The same button again within so many seconds is one tap with a nervous finger.
SECOND_TAP = 2.0
#: How often an open page looks whether it is still true, also after the server was away.
HEAL_SECONDS = 30

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Said:
    """What came of the last tap at a place: its sentence, and the entries Undo would take back."""

    place: str
    sentence: str
    remarks: tuple[str, ...] = ()
    entries: tuple[AnyEntry, ...] = ()
    refused: bool = False


@dataclass(slots=True)
class AskedAct:
    """A tap that asks something before it records, and what was told so far."""

    act: str
    told: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shown:
    """The answer the buttons on the screen were drawn from, and when it was true."""

    moment: data.Moment
    answer: Any


@dataclass(slots=True)
class Remembered:
    """All a session remembers."""

    by: str | None = None
    place: str = ""
    shown: Shown | None = None
    step: AskedAct | None = None
    said: Said | None = None
    earlier: datetime | None = None
    asks_when: bool = False
    asks_hour: date | None = None
    tap: UUID = field(default_factory=uuid4)
    turns: int = 0
    pressed: tuple[str, float] = ("", 0.0)
    round: UUID = field(default_factory=uuid4)
    round_rack: str = ""
    seen: dict[str, str] = field(default_factory=dict)
    tapped: set[str] = field(default_factory=set)
    recording: RLock = field(default_factory=RLock)


def session() -> Remembered:
    """What this session remembers, as soon as no tap of it is being recorded.

    Streamlit answers a second tap in a thread of its own while the first is still at work.
    """
    mine: Remembered = st.session_state.setdefault("floor", Remembered())
    with mine.recording:
        return mine


def shown(place: str, ask: Callable[[], T]) -> T:
    """The answer on the screen for this place; asked for anew where another or none was shown."""
    mine = session()
    if mine.place != place:
        mine.place, mine.shown, mine.step, mine.asks_when = place, None, None, False
        mine.tapped.clear()
    if mine.shown is None:
        mine.shown = Shown(data.moment(), ask())
    return mine.shown.answer


@st.fragment(run_every=HEAL_SECONDS)
def heal() -> None:
    """Draw the page anew when the log or the clock has moved on; never while something is being asked."""
    mine = session()
    if mine.step is None and (mine.shown is None or mine.shown.moment != data.moment()):
        mine.shown = None
        st.rerun()


def go(act: str | None, **told: Any) -> None:
    """Ask what an act needs, or go back with None."""
    mine = session()
    mine.step = AskedAct(act, told) if act else None
    mine.turns += 1
    st.rerun()


def text(kind: str, *lines: str, tag: str = "p") -> None:
    """Lines to read, in the style of their kind (see `look`); nothing where there are none."""
    blocks.put(blocks.lines(kind, *lines, tag=tag))


def chart(drawn: alt.LayerChart | Spec, told: str) -> None:
    """A chart as wide as its place; `told` says what it shows to who cannot see it."""
    spec = drawn if isinstance(drawn, dict) else drawn.to_dict()
    st.vega_lite_chart(spec=spec, theme=None, width="stretch", alt=told)


def turn() -> str:
    """Changes whenever other buttons come to stand where a finger may still be."""
    return "ab"[session().turns % 2]


def button(
    name: str, label: str, more: str = "", primary: bool = False, before: Callable[[], None] | None = None
) -> bool:
    """A button across its place; the beginning of its name gives its size (see `look`).

    What `before` does is done before the page is drawn: never a record, which a restart would lose.
    """
    both = f"**{label}**  \n{more}" if more else f"**{label}**"
    return pressed(name, both, before, width="stretch", type="primary" if primary else "secondary")


def pressed(name: str, label: str, before: Callable[[], None] | None = None, **look: Any) -> bool:
    """A button of any look, and whether it was tapped.

    A second tap ends the run of the first, be it before the first was acted on. So a tap is remembered before
    the page is drawn, until its button is come to; after a restart, which remembers nothing, the button tells.
    """
    mine = session()

    def remember() -> None:
        # Nothing of Streamlit's is asked here: any question may end the run, and the tap with it.
        mine.tapped.add(name)
        if before:
            before()

    now = st.button(label, key=name, on_click=remember, **look)
    remembered = name in mine.tapped
    mine.tapped.discard(name)
    return now or remembered


def drawn() -> None:
    """The page is drawn to its end: what was tapped and is no longer on it was not meant for it."""
    session().tapped.clear()


def stepper(step: AskedAct, name: str, low: int, high: int, counted: str, each: int = 1) -> None:
    """A count with a big minus and plus, by so many `each` time; its value is kept in the step under its name.

    A quick tap on a cause cuts short the drawing that followed the plus, so the plus must count before it.
    """

    def count(by: int) -> None:
        step.told[name] = min(max(step.told[name] + by, low), high)

    with st.container(key=f"stepper-{name}", horizontal=True, vertical_alignment="center"):
        button(f"step-{name}-less", "\N{MINUS SIGN}", before=partial(count, -each))
        text("count", counted)
        button(f"step-{name}-more", "+", before=partial(count, each))


def entries(fields: Sequence[Fields], by: str) -> list[AnyEntry]:
    """Entries of one tap: noted now, happened now or when the person said."""
    now = utc_now()
    stamp = {"at": session().earlier or now, "noted_at": now, "by": by}
    return [entry_adapter.validate_python(stamp | each) for each in fields]


def tap(
    name: str, place: str, made: Sequence[AnyEntry], say: Callable[[Sequence[AnyEntry]], str],
    outdated: Callable[[], bool] = lambda: False,
) -> None:  # fmt: skip
    """Record the entries of one tap, all or none, and remember what to say; draws the page anew.

    The ids were made when the button was drawn, so the same tap sent twice is one record. A refusal
    is said in the place of the receipt, and what was asked stays on the screen to be corrected. Nothing is recorded
    from a page that others have `outdated`.
    """
    mine = session()
    with mine.recording:
        before, mine.pressed = mine.pressed, (f"{place} {name}", time.monotonic())
        if before[0] == mine.pressed[0] and mine.pressed[1] - before[1] <= SECOND_TAP:
            pass
        elif outdated():
            mine.said, mine.shown = Said(place, words.MEANWHILE, refused=True), None
        else:
            _record(mine, place, made, say)
    st.rerun()


def refuse(place: str, sentence: str) -> None:
    """Say why a tap records nothing; draws the page anew."""
    mine = session()
    mine.said, mine.shown, mine.step = Said(place, sentence, refused=True), None, None
    st.rerun()


def _record(mine: Remembered, place: str, made: Sequence[AnyEntry], say: Callable[[Sequence[AnyEntry]], str]) -> None:
    sent = [entry.model_copy(update={"id": uuid5(mine.tap, str(i))}) for i, entry in enumerate(made)]
    try:
        receipt = record(current_log(), sent)
    except Refused as refused:
        mine.said, mine.shown = Said(place, refused.sentence, refused=True), None
    else:
        kept = (*receipt.already, *receipt.recorded)
        mine.said = Said(place, say(kept), receipt.remarks, kept)
        _settle(mine)


def _settle(mine: Remembered) -> None:
    """After a record: new ids, the answer asked for anew, nothing half asked."""
    mine.tap, mine.shown, mine.step, mine.earlier, mine.asks_when = uuid4(), None, None, None, False
    mine.turns += 1


def undo(said: Said, by: str) -> None:
    """Take back every entry of a tap; draws the page anew. The ids follow from what is taken back."""
    now = utc_now()
    voids = [
        EntryVoided(id=uuid5(e.id, "undone"), at=now, noted_at=now, by=by, which=e.id, why=words.WHY_UNDONE)
        for e in said.entries
    ]
    mine = session()
    with mine.recording:
        try:
            record(current_log(), voids)
        except Refused as refused:
            mine.said, mine.shown = Said(said.place, refused.sentence, refused=True), None
        else:
            mine.said, mine.pressed = Said(said.place, receipt_words.taken_back(said.sentence)), ("", 0.0)
            mine.tapped.clear()
            for entry in said.entries:
                mine.seen.pop(getattr(entry, "machine", ""), None)
            _settle(mine)
    st.rerun()


def calm(asked: float) -> bool:
    """Whether a tap is none that meant what stood in its place when this was `asked` (on the clock `monotonic`)."""
    return time.monotonic() - asked > SECOND_TAP


def receipt(place: str, by: str, otherwise: Callable[[], Said] | None = None) -> None:
    """What the last tap here recorded, with Undo; it stays until the next one.

    `otherwise` is asked where this session has not tapped here last: drawing the receipt of a tap
    must not wait for anything to be reckoned.
    """
    mine = session()
    if mine.earlier:
        said = Said(place, words.earlier_line(mine.earlier, data.clock()))
    elif mine.said and mine.said.place == place:
        said = mine.said
    else:
        said = otherwise() if otherwise else Said(place, words.NOTHING_YET)
    with st.container(key="receipt", horizontal=True, vertical_alignment="center"):
        text("refused" if said.refused else "said", said.sentence, *said.remarks)
        if said.entries and button("undo", words.UNDO):
            undo(said, by)


def who() -> str | None:
    """Whose initials taps carry: chosen once, kept in the session and in the address."""
    mine = session()
    people = {person.person for person in data.people()}
    mine.by = next((by for by in (mine.by, st.query_params.get("by")) if by in people), None)
    if mine.by and st.query_params.get("by") != mine.by:
        st.query_params["by"] = mine.by
    return mine.by


def about(kind: str, pick: Callable[[], None], show: Callable[[str, str], None]) -> None:
    """A page about what the address names, drawn by `show(name, by)`; before that, who is here and which one."""
    if refused := data.no_shop():
        text("refused", refused.sentence)
        return
    named, by = st.query_params.get(kind), who()
    try:
        if named and by:
            show(named, by)
            return
    except Refused as refused:
        text("refused", refused.sentence)
    with st.container(key="pick"):
        if by:
            pick()
        else:
            ask_who()


def racks() -> list[RackNow]:
    """The racks to pick from, and a sentence where there are none."""
    if not (known := data.racks()):
        text("refused", NO_MACHINES)
    return known


def ask_who() -> None:
    """Tiles of the people of the shop."""
    text("ask", words.WHO, tag="h2")
    if not (people := data.people()):
        text("refused", words.NOBODY_YET)
    with st.container(key="tiles-who"):
        for person in people:
            if button(f"tile-who-{person.person}", person.person.upper(), person.name):
                session().by = person.person
                st.rerun()


def change_who(by: str) -> None:
    """The quiet button for a device that goes to another hand."""
    if button("quiet-who", words.tapping_as(by, data.names())):
        session().by = None
        st.query_params.pop("by", None)
        st.rerun()


def start_round(rack: str) -> None:
    """A round of another rack is a round of its own."""
    mine = session()
    if mine.round_rack != rack:
        mine.round, mine.round_rack, mine.seen = uuid4(), rack, {}
