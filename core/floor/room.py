"""Every rack with its machines as they stand, and what a round of one should find."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID

from core.errors import Refused
from core.floor.types import Expected, RackNow, RackRound
from core.habits.learned import Learned
from core.log.store import Log
from core.reading.reading import Reading
from core.reading.types import MachineNow
from core.setup import Rack, Setup
from core.timeline import possible
from core.window import Window

#: A machine's state needs no more of the past than this; what was declared earlier keeps its beginning.
STATE_DAYS = 7


def floor(log: Log, at: datetime, learned: Learned | None = None) -> list[RackNow]:
    """Every rack with its machines as they stand at `at`."""
    read = Reading(log, Window(at - timedelta(days=STATE_DAYS), at), at, learned)
    return racks_of(read.setup, read.machines_now(), at)


def rack_round(log: Log, rack: str, at: datetime, learned: Learned | None = None) -> RackRound:
    """What a round of one rack should find. Raises `Refused` for an unknown rack, or one without a machine."""
    found = next((r for r in floor(log, at, learned) if r.rack == rack), None)
    if found is None:
        raise Refused("rack_is_known", f"There is no rack {rack} with a machine in it: pick one from the list.")
    looked_at = [m for m in found.machines if m.state != "aside"]
    return RackRound(
        rack=found.rack,
        name=found.name,
        across=found.across,
        machines=[
            Expected(machine=m.machine, place=m.place, state=m.state, due=m.due,
                     expected=possible.expected_sight(m.state))
            for m in looked_at
        ],
    )  # fmt: skip


def open_question(answer: RackRound, walk: UUID) -> Expected | None:
    """The machine that this round asks about without a hint, so that the reckoning is tested; chance picks it.

    The round's id is the chance: the same machine all through a round. None where nothing is held of it anyway.
    """
    if not answer.machines:
        return None
    asked = answer.machines[walk.int % len(answer.machines)]
    return asked if asked.expected else None


def racks_of(setup: Setup, now: Sequence[MachineNow], at: datetime) -> list[RackNow]:
    """The machines put together by rack, in the order of the set-up's racks."""
    names = {rack.rack: rack for rack in setup.all(Rack, at)}
    groups: dict[str, list[MachineNow]] = {code: [] for code in names}
    for machine in now:
        groups.setdefault(machine.rack, []).append(machine)
    return [
        RackNow(
            rack=code,
            name=names[code].name if code in names else code,
            across=names[code].across if code in names else 4,
            machines=machines,
        )
        for code, machines in groups.items()
        if machines
    ]
