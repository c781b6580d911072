"""What contradicts no more than other entries: it is taken, with the consequence that its sentence states."""

from __future__ import annotations

from core.entries import (
    AnyEntry,
    AtMachine,
    CameBack,
    Looked,
    OrderPacked,
    OrderShipped,
    PartsOff,
    PrintStarted,
    SpoolFitted,
)
from core.log.known import Known, clears_platform
from core.log.rules import Rule, clock


def start_on_down_machine(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PrintStarted) and (down := _still(entry, known, "WentDown", "CameBack")):
        return (
            f"{entry.machine} was noted as down at {clock(down.at, known)} and never as back: "
            "it is taken as down until this start."
        )
    return None


def start_on_machine_set_aside(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PrintStarted) and (aside := _still(entry, known, "SetAside", "PutBack")):
        return (
            f"{entry.machine} was set aside at {clock(aside.at, known)} and never put back: "
            "it is taken as set aside until this start."
        )
    return None


def start_on_full_platform(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PrintStarted) and (started := known.on_platform(entry)):
        return (
            f"The parts of the print started on {entry.machine} at {clock(started.at, known)} were never counted: "
            "they are taken as off since this start, uncounted."
        )
    return None


def removal_without_a_start(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PartsOff) and known.on_platform(entry) is None:
        return (
            f"No start was noted for the parts taken off {entry.machine}: a print is reckoned "
            "from what was seen, and its file is asked for."
        )
    return None


def more_scrap_than_parts(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, PartsOff) or entry.on_platform is not None:
        return None
    started = known.on_platform(entry)
    file = known.file_of(started) if started else None
    if file and entry.scrap > file.parts:
        return (
            f"{file.file}, the last print noted on {entry.machine}, has {file.parts} parts: "
            f"all {entry.scrap} scrap count, none good with them, and what was printed is asked for."
        )
    return None


def more_left_than_fitted(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, SpoolFitted) or entry.left_grams is None:
        return None
    fitted = next((e for e in known.back_from(entry) if isinstance(e, SpoolFitted)), None)
    if fitted and entry.left_grams > fitted.grams:
        return (
            f"The spool noted on {entry.machine} had {fitted.grams:g} g when it was fitted: "
            f"the {entry.left_grams:g} g are taken as left on another, fitted since and not noted."
        )
    return None


def order_gone_before_taken(entry: AnyEntry, known: Known) -> str | None:
    taken = known.order(entry.order) if isinstance(entry, OrderPacked | OrderShipped) else None
    if taken and entry.at < taken.at:
        return (
            f"Order {taken.order} was noted as taken at {clock(taken.at, known)}, after this: "
            "it is taken as on the book from this entry on."
        )
    return None


def back_without_down(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, CameBack):
        return None
    for earlier in known.back_from(entry):
        if earlier.kind == "WentDown" or getattr(earlier, "saw", "") in ("down", "upkeep"):
            return None
        if earlier.kind != "UpkeepDone":
            break
    return f"{entry.machine} was never noted as down: it is taken as down for part of the time before."


REMARKS: tuple[Rule, ...] = (
    start_on_down_machine,
    start_on_machine_set_aside,
    start_on_full_platform,
    removal_without_a_start,
    more_scrap_than_parts,
    more_left_than_fitted,
    order_gone_before_taken,
    back_without_down,
)


def _still(entry: PrintStarted, known: Known, began: str, ended: str) -> AtMachine | None:
    """The entry that began a spell which nothing has ended by this start."""
    for earlier in known.back_from(entry):
        if earlier.kind == began:
            return earlier
        if earlier.kind in (ended, "PrintStarted") or (isinstance(earlier, Looked) and earlier.saw != "down"):
            return None
        if clears_platform(earlier) and earlier.kind != "PartsOff":
            return None
    return None
