"""What can be noted at a machine now, most likely first, and what a round should find there."""

from core.entries import Sight

_PRINT_OVER = ("off_next", "off", "off_scrap")

#: Acts by state. off_next: parts off, all good, next one started; off_scrap: some were scrap;
#: failed: the print failed, parts cleared; started_same / started_other; goes_on: new spool, print goes on;
#: of a machine that is taken as empty parts may come off all the same, where nobody noted their start;
#: back_fitted: running again, and spares of the shelf went in;
#: upkeep: planned work was done; upkeep_begun: it begins and will take a while.
ACTS: dict[str, tuple[str, ...]] = {
    "printing": (*_PRINT_OVER, "failed", "spool", "down"),
    "proving": (*_PRINT_OVER, "failed", "spool", "down"),
    "done": (*_PRINT_OVER, "spool", "down"),
    "stopped": ("failed", "goes_on", "off_scrap", "down"),
    "empty": (
        "started_same",
        "started_other",
        "spool",
        "upkeep",
        "upkeep_begun",
        "off",
        "off_scrap",
        "down",
        "set_aside",
    ),
    "upkeep": ("upkeep", "started_same", "started_other", "spool", "down", "set_aside"),
    "down": ("back", "back_fitted", "waits_for_spare", "cause_known", "set_aside"),
    "waiting": ("back", "cause_known", "set_aside"),
    "aside": ("put_back",),
    "no word": (
        "started_same",
        "started_other",
        "off",
        "off_scrap",
        "failed",
        "spool",
        "upkeep",
        "down",
        "set_aside",
    ),
}

_SIGHTS: dict[str, Sight] = {
    "printing": "printing",
    "proving": "printing",
    "done": "done",
    "stopped": "stopped",
    "empty": "empty",
    "upkeep": "upkeep",
    "down": "down",
    "waiting": "down",
}


def acts(state: str) -> tuple[str, ...]:
    """What can be noted at a machine in this state, most likely first."""
    return ACTS[state]


def expected_sight(state: str) -> Sight | None:
    """What a round should see; None where it is not known (no word) or nobody looks (set aside)."""
    return _SIGHTS.get(state)
