"""A round of one rack: what should be seen is shown; only where it differs is anything tapped.

Of one machine nothing is shown: what is seen of it tells how right the reckoning is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import streamlit as st

from core.answers import open_question
from core.entries import AnyEntry, Sight
from core.floor.types import Expected, RackRound
from dashboard.kit import data, parts
from dashboard.words import floor_words as words
from dashboard.words import receipt_words

#: More machines than this are not confirmed by one tap: nobody has looked at them all.
MOST_AT_ONCE = 12


@dataclass(frozen=True)
class Going:
    """Who goes round which rack, as it is shown; `held` is what the reckoning holds of the machine asked openly."""

    rack: RackRound
    by: str
    held: Mapping[str, Sight | None]


def page() -> None:
    """The rack named in the address, or the racks to choose from."""
    parts.about("rack", pick_rack, go_round)


def pick_rack() -> None:
    """The racks, as big tiles."""
    parts.text("ask", words.WHICH_RACK, tag="h2")
    for rack in parts.racks():
        if parts.button(f"main-rack-{rack.rack}", rack.name, words.machines(len(rack.machines))):
            open_rack(rack.rack)


def open_rack(rack: str) -> None:
    """Go on to a rack."""
    st.query_params["rack"] = rack
    parts.go(None)


def go_round(rack: str, by: str) -> None:
    """The rack as it stands, and below it what to tap for the machine picked or for all the rest."""
    place = f"rack {rack}"
    parts.start_round(rack)
    head, slot = st.container(key="head-rack"), st.container(key="slot")
    with slot:
        parts.receipt(place, by, lambda: parts.Said(place, words.ROUND_BEGINS))
    going = hide(parts.shown(place, partial(data.rack_round, rack)), by)
    with head:
        parts.text("code", going.rack.name, tag="h1")
    draw_rack(going.rack)
    with st.container(key=f"acts-{parts.turn()}"):
        if step := parts.session().step:
            ask_sight(step.told["machine"], going)
        else:
            confirm(going)
    parts.heal()


def hide(answer: RackRound, by: str) -> Going:
    """The rack with nothing told of the machine that is asked about openly."""
    asked = open_question(answer, parts.session().round)
    if asked is None:
        return Going(answer, by, {})
    machines = [m.model_copy(update={"expected": None}) if m == asked else m for m in answer.machines]
    return Going(answer.model_copy(update={"machines": machines}), by, {asked.machine: asked.expected})


def draw_rack(answer: RackRound) -> None:
    """Every machine in its place; an empty place where one is set aside or missing."""
    places = {machine.place: machine for machine in answer.machines}
    with st.container(key=f"rack-{answer.across}-{answer.rack}"):
        for place in range(1, max(places, default=0) + 1):
            if place in places:
                draw_machine(places[place])
            else:
                parts.text("gap", "")


def draw_machine(machine: Expected) -> None:
    """A machine's tile: its code, and what it should be doing or was seen doing."""
    mine = parts.session()
    code, seen = machine.machine, mine.seen.get(machine.machine)
    picked = mine.step is not None and mine.step.told["machine"] == code
    look = "picked" if picked else "seen" if seen else "place" if machine.expected else "unknown"
    if parts.button(f"{look}-{code}", *words.sight_label(machine, seen)):
        parts.go("look", machine=code)


def ask_sight(code: str, going: Going) -> None:
    """What a machine can be seen doing."""
    parts.text("ask", words.what_is_on(code), tag="h2")
    with st.container(key="tiles-sight"):
        for sight, label in words.SIGHTS.items():
            if parts.button(f"tile-{sight}", label):
                look(f"tile-{code}-{sight}", going, {code: sight})
    if parts.button("quiet-back", words.BACK):
        parts.go(None)
    st.page_link("views/checkin.py", label=words.open_machine(code), query_params={"machine": code, "by": going.by})


def confirm(going: Going) -> None:
    """One tap for all machines that are as expected; those nobody can predict are asked one by one."""
    seen = parts.session().seen
    left = [machine for machine in going.rack.machines if machine.machine not in seen]
    expected = {m.machine: m.expected for m in left if m.expected}
    asked = [m.machine for m in left if not m.expected]
    if expected:
        at_once = dict(list(expected.items())[:MOST_AT_ONCE])
        if parts.button("main-expected", words.bulk_label(list(at_once), len(expected), len(seen)), primary=True):
            look("main-expected", going, at_once)
    if asked and expected:
        parts.text("hands", words.tap_and_say(asked))
    elif asked:
        ask_sight(asked[0], going)
    elif not expected:
        offer_next(going.rack)
    parts.change_who(going.by)


def look(name: str, going: Going, sights: Mapping[str, str]) -> None:
    """Record what was seen, all of one round under one id."""
    mine = parts.session()
    fields = [
        {"kind": "Looked", "machine": m, "saw": saw, "round": mine.round, "reckoned": going.held.get(m)}
        for m, saw in sights.items()
    ]

    def say(kept: Sequence[AnyEntry]) -> str:
        mine.seen |= sights
        return receipt_words.round_receipt(kept, data.clock())

    parts.tap(name, f"rack {going.rack.rack}", parts.entries(fields, going.by), say)


def offer_next(answer: RackRound) -> None:
    """The rack after this one."""
    racks = data.racks()
    here = next((i for i, rack in enumerate(racks) if rack.rack == answer.rack), 0)
    parts.text("ask", words.rack_done(answer.name), tag="h2")
    following = racks[(here + 1) % len(racks)]
    if parts.button("main-next", words.next_rack(following.name), primary=True):
        open_rack(following.rack)


if __name__ == "__main__":
    page()
