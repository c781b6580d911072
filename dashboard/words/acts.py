"""What a tap at a machine records: acts and choices as the fields of entries. No Streamlit here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from core.floor.types import Choice, FileChoice, MachinePage, TaskChoice
from core.setup import DONT_KNOW

#: The fields of one entry, without its id, its times and who noted it.
Fields = dict[str, Any]

#: Net grams a spool may hold; the first is fitted where nothing else is known of the machine.
SPOOLS = (1000, 750, 3000)

#: How full a spool is, as a person can see it.
QUARTERS = {"full": 1.0, "three-quarters": 0.75, "half": 0.5, "a-quarter": 0.25}

#: The minutes of a task of more than `LONG` are told in long steps; no task takes more than a week.
SHORT_STEP, LONG_STEP, LONG, MOST_MINUTES = 5, 30, 120, 7 * 24 * 60

#: Acts that start what the loading list has, and those that start the same again instead.
PLANNED = {"off_planned": "off_next", "started_planned": "started_same"}
STARTS, CLEARS_AND_STARTS = ("started_planned", "started_same"), ("off_planned", "off_next")

_PLAIN = {"back": "CameBack", "set_aside": "SetAside", "put_back": "PutBack"}


def next_file(page: MachinePage) -> FileChoice | None:
    """The file a machine is likely to print next: what it printed last, in its newest revision."""
    last = page.now.file or page.now.last_file
    return next((file for file in page.files if file.file == last), None)


def file_of(act: str, page: MachinePage) -> FileChoice | None:
    """The file that an act starts: what the list has, or the same again."""
    planned = next((file for file in page.files if file.file == page.planned), None)
    return planned if act in PLANNED else next_file(page)


def at_once(act: str, page: MachinePage) -> list[Fields] | None:
    """What an act records by itself; None where something must be asked first."""
    machine = page.now.machine
    if act in _PLAIN:
        return [{"kind": _PLAIN[act], "machine": machine}]
    if act == "upkeep_begun":
        return [{"kind": "Looked", "machine": machine, "saw": "upkeep"}]
    file = file_of(act, page)
    if act in (*STARTS, *CLEARS_AND_STARTS) and file and too_short(file):
        return None
    if act in STARTS:
        return [started(machine, file)] if file else None
    if act in ("off", *CLEARS_AND_STARTS) and page.now.parts:
        return off(act, page, None)
    return None


def offered(page: MachinePage) -> list[str]:
    """The acts to show: those that are possible and for which the set-up has what they need.

    What the loading list has comes first, where that is not the same again.
    """
    needs = {
        "off_next": next_file(page),
        "started_same": next_file(page),
        "started_other": page.files,
        "back_fitted": page.spares,
        "waits_for_spare": page.spares,
        "upkeep": page.tasks,
        "spool": page.materials,
        "goes_on": page.materials,
    }
    possible = [act for act in page.acts if needs.get(act, True)]
    other = page.planned is not None and not as_listed(page)
    return [*(plan for plan, same in PLANNED.items() if other and same in page.acts), *possible]


def as_listed(page: MachinePage) -> bool:
    """Whether the loading list has the same again."""
    again = next_file(page)
    return again is not None and again.file == page.planned


def too_short(file: FileChoice) -> bool:
    """Whether the spool on the machine will hardly feed a print of the file."""
    return file.feeds is False


def fuller(file: FileChoice, full: float) -> dict[str, float]:
    """How full the spool may be seen to be, as a share of `full` grams, and feed the print."""
    return {name: share for name, share in QUARTERS.items() if share * full >= file.grams}


def instead(page: MachinePage, file: FileChoice) -> list[FileChoice]:
    """Other files that the spool on the machine feeds, likeliest first."""
    return [other for other in page.files if other != file and other.feeds]


def begun(act: str, page: MachinePage, file: FileChoice, grams: float | None) -> list[Fields]:
    """A start, after what the act takes off the platform and the spool of so many grams that is on for it."""
    machine = page.now.machine
    cleared = [{"kind": "PartsOff", "machine": machine}] if act in CLEARS_AND_STARTS else []
    fitted = spool("spool", machine, file.material, grams) if grams else []
    return [*cleared, *fitted, started(machine, file)]


def started(machine: str, file: FileChoice) -> Fields:
    """A print was started."""
    return {"kind": "PrintStarted", "machine": machine, "file": file.file, "revision": file.revision}


def off(act: str, page: MachinePage, on_platform: int | None) -> list[Fields]:
    """Parts off, all good; `on_platform` where no start says how many there were."""
    fields: Fields = {"kind": "PartsOff", "machine": page.now.machine, "on_platform": on_platform}
    file = file_of(act, page)
    return [fields, started(page.now.machine, file)] if act in CLEARS_AND_STARTS and file else [fields]


def scrapped(act: str, page: MachinePage, scrap: int, on_platform: int | None, cause: str) -> list[Fields]:
    """Parts off of which some were scrap; all of them where the print failed."""
    return [{
        "kind": "PartsOff", "machine": page.now.machine, "scrap": scrap, "scrap_cause": cause,
        "on_platform": on_platform, "ended": "stopped" if act == "failed" else "itself",
    }]  # fmt: skip


def spool(act: str, machine: str, material: str, grams: float, left: float | None = None) -> list[Fields]:
    """A spool was fitted, and so much was `left` on the old one if it was weighed; a stopped print went on."""
    fitted = {"kind": "SpoolFitted", "machine": machine, "material": material, "grams": grams, "left_grams": left}
    goes_on = {"kind": "Looked", "machine": machine, "saw": "printing"}
    return [fitted, goes_on] if act == "goes_on" else [fitted]


def down(page: MachinePage, cause: str | None = None, spare: str | None = None) -> list[Fields]:
    """The machine is down: what is not told anew stays as it was known."""
    now = page.now
    told = {"cause": cause or now.cause or DONT_KNOW, "spare": spare or now.spare}
    return [{"kind": "WentDown", "machine": now.machine, **told}]


def upkeep(page: MachinePage, task: str, minutes: float, spares: Sequence[str]) -> list[Fields]:
    """An upkeep task was done in so many minutes, and these spares went in."""
    return [
        {"kind": "UpkeepDone", "machine": page.now.machine, "task": task, "minutes": minutes, "spares": tuple(spares)}
    ]


def back(page: MachinePage, spares: Sequence[str]) -> list[Fields]:
    """The machine is mended, and these spares went in."""
    return [{"kind": "CameBack", "machine": page.now.machine, "spares": tuple(spares)}]


def spares_for(page: MachinePage, likely: str | None) -> list[Choice]:
    """The spares that fit the machine, the likely one first."""
    return sorted(page.spares, key=lambda spare: spare.code != likely)


def minutes_more(task: TaskChoice) -> int:
    """The steps in which the minutes of a task are told: longer ones of longer tasks."""
    return LONG_STEP if task.minutes > LONG else SHORT_STEP


def usual_spool(page: MachinePage) -> float:
    """Net grams of the spool last fitted here, or of the commonest."""
    return page.spool_grams or SPOOLS[0]


def likely_parts(page: MachinePage) -> int:
    """How many parts to begin counting from: what is on the platform, or what its likeliest file makes."""
    files = [next_file(page), *page.files]
    return page.now.parts or next((file.parts for file in files if file), 1)
