"""Larkfield Hive Fittings, an invented shop: its set-up as rows. Nothing in it is real."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from core.errors import Refused
from core.setup import (
    DONT_KNOW,
    Cause,
    Machine,
    Material,
    Model,
    Person,
    PrintFile,
    Product,
    Rack,
    Row,
    Shift,
    Shop,
    Spare,
    SpecialDay,
    Supply,
    UpkeepTask,
)
from core.window import midnight

ZONE = ZoneInfo("Europe/Dublin")
OWNER = "ha"
#: Two work on the floor; a room of more than 40 machines has one more for every 20.
CREW = {"ro": "Rory", "mi": "Mika", "te": "Tess", "jo": "Jonas", "an": "Anouk"}
SMALL, LARGE = "bench-220", "bench-300"
BOTH = (SMALL, LARGE)

PRODUCTS = {
    "entrance-block": "Entrance block",
    "frame-spacer": "Frame spacer",
    "feeder-cap": "Feeder cap",
    "vent-grille": "Vent grille",
    "cage-clip": "Queen-cage clip",
}
MATERIALS = {
    "petg-green": "PETG green",
    "petg-grey": "PETG grey",
    "petg-black": "PETG black",
    "pla-yellow": "PLA yellow",
    "pla-white": "PLA white",
}
#: file, product, parts, nominal hours, grams, material, models
FILES = (
    ("F-001", "entrance-block", 5, 3.4, 78, "petg-green", BOTH),
    ("F-002", "entrance-block", 10, 6.6, 152, "petg-green", BOTH),
    ("F-003", "entrance-block", 20, 13.5, 310, "petg-green", BOTH),
    ("F-004", "frame-spacer", 6, 3.3, 70, "petg-grey", BOTH),
    ("F-005", "frame-spacer", 12, 6.4, 138, "petg-grey", BOTH),
    ("F-006", "frame-spacer", 24, 13.1, 286, "petg-grey", BOTH),
    ("F-007", "feeder-cap", 6, 3.8, 88, "petg-black", BOTH),
    ("F-008", "feeder-cap", 12, 7.5, 174, "petg-black", BOTH),
    ("F-009", "feeder-cap", 22, 13.9, 325, "petg-black", (LARGE,)),
    ("F-010", "vent-grille", 2, 5.6, 118, "petg-black", BOTH),
    ("F-011", "vent-grille", 5, 14.0, 294, "petg-black", BOTH),
    ("F-012", "cage-clip", 24, 4.1, 71, "pla-yellow", BOTH),
    ("F-013", "cage-clip", 10, 1.8, 30, "pla-white", BOTH),
    ("F-014", "entrance-block", 1, 1.5, 16, "pla-white", BOTH),
)
#: A short print to try out a machine that was mended.
TRIAL_FILE = "F-014"
#: file, share of the weeks after which revision 2 holds, its nominal hours and grams
REVISIONS = (("F-005", 0.3, 5.7, 131), ("F-008", 0.5, 7.5, 168), ("F-011", 0.7, 13.3, 281))

#: cause, name, how often of 100 faults, the spare that mends it, how often it takes the spare
FAULTS = (
    ("nozzle-blocked", "Nozzle blocked", 34, "nozzle", 0.5),
    ("feed-slipping", "Feed slipping", 18, "feed-gear", 0.4),
    ("not-heating", "Not heating", 14, "heater", 0.7),
    ("fan", "Fan noisy or stopped", 11, "fan", 0.8),
    ("belt", "Belt loose or worn", 10, "belt", 0.6),
    ("sensor", "Sensor or wiring", 8, "sensor", 0.5),
    ("platform", "Platform worn", 5, "platform", 0.9),
)
SCRAP_CAUSES = {
    "came-loose": "Came loose",
    "nozzle-blocked": "Nozzle blocked",
    "machine-fault": "Machine fault",
    "warped": "Warped",
    "strings": "Strings or blobs",
    "layers-shifted": "Layers shifted",
    "broken-taking-off": "Broken taking off",
}
SPARES = {
    "nozzle": "Nozzle 0.4 mm",
    "feed-gear": "Feed gear",
    "heater": "Heater cartridge",
    "fan": "Cooling fan",
    "belt": "Belt",
    "sensor": "Temperature sensor",
    "platform": "Platform sheet",
}
SPARE_PRICES = {"nozzle": 4, "feed-gear": 9, "heater": 7, "fan": 6, "belt": 5, "sensor": 4, "platform": 24}
#: What the owner orders at and up to, in a room of 36 machines: of some spares too few are kept, so machines wait.
SPARE_LEVELS = {
    "nozzle": (4, 12), "feed-gear": (0, 2), "heater": (0, 2), "fan": (0, 2), "belt": (3, 7), "sensor": (2, 6),
    "platform": (0, 1),
}  # fmt: skip
SUPPLIES = {"box-small": "Box, small", "box-large": "Box, large", "tape": "Packing tape"}
#: task, name, usual minutes, printing hours and days after which it is due, who says so, the spare it may take
UPKEEP = (
    ("clean-oil", "Clean and oil", 20, 200, 45, "maker", None),
    ("level-platform", "Level the platform", 15, 200, None, "shop", None),
    ("overhaul", "Overhaul and calibrate on the bench", 900, 320, None, "maker", "nozzle"),
)


def shop_rows(machines: int, opened: datetime, weeks: int = 26, shifts: int = 1) -> list[Row]:
    """The set-up of the shop with `machines` machines (1 to 99) and 1 or 2 shifts, in service from `opened` on.

    Revisions take effect and special days fall within `weeks` weeks after that.
    """
    if not 1 <= machines <= 99:
        raise Refused("demo_machines", f"The invented shop has 1 to 99 machines, not {machines}: choose fewer or more.")
    return [
        Shop(name="Larkfield Hive Fittings", zone=ZONE.key, change_minutes=4, hand_cost=18),
        Model(model=SMALL, name="Bench 220", price=380, hour_cost=1.5),
        Model(model=LARGE, name="Bench 300", price=620, hour_cost=2),
        *(Rack(rack=rack, name=f"Rack {rack}", across=4) for rack in "ABC"),
        *_machines(machines, opened),
        *(Product(product=code, name=name) for code, name in PRODUCTS.items()),
        *(Material(material=code, name=name, price=19, least_packs=5, lead_days=6) for code, name in MATERIALS.items()),
        *_files(opened, weeks),
        Person(person=OWNER, name="Hanna"),
        *(Person(person=code, name=CREW[code]) for code in crew(machines)),
        *_shifts(len(crew(machines)), shifts),
        *_special_days(opened, weeks, len(crew(machines))),
        *(Spare(spare=code, name=name, models=BOTH, price=SPARE_PRICES[code]) for code, name in SPARES.items()),
        *(Supply(supply=code, name=name, price=0.6, lead_days=6) for code, name in SUPPLIES.items()),
        *_causes("down", {code: name for code, name, *_ in FAULTS}, {code: spare for code, _, _, spare, _ in FAULTS}),
        *_causes("scrap", SCRAP_CAUSES, {}),
        *_tasks(),
    ]


def crew(machines: int) -> tuple[str, ...]:
    """Who works on the floor, in the order they are there: with one hand in the room it is the first."""
    return tuple(CREW)[: max(2, -(-machines // 20))]


def _machines(count: int, opened: datetime) -> Iterator[Row]:
    a_rack = -(-count // 3)
    for index in range(count):
        rack = "ABC"[index // a_rack]
        yield Machine(
            machine=f"P{index + 1:02d}",
            model=LARGE if rack == "C" else SMALL,
            rack=rack,
            place=index % a_rack + 1,
            since=opened,
        )


def _files(opened: datetime, weeks: int) -> Iterator[Row]:
    names = ("file", "product", "parts", "hours", "grams", "material", "models")
    files = {row[0]: dict(zip(names, row, strict=True)) for row in FILES}
    for fields in files.values():
        yield PrintFile.model_validate(fields | {"revision": 1})
    for (file, _, hours, grams), since in zip(REVISIONS, revision_days(opened, weeks), strict=True):
        changed = {"revision": 2, "hours": hours, "grams": grams, "since": since}
        yield PrintFile.model_validate(files[file] | changed)


def revision_days(opened: datetime, weeks: int) -> list[datetime]:
    """When each of `REVISIONS` takes effect: a midnight of the shop."""
    return [midnight(_day_after(opened, weeks * share), ZONE) for _, share, *_ in REVISIONS]


def _day_after(opened: datetime, weeks: float) -> date:
    return opened.astimezone(ZONE).date() + timedelta(days=round(weeks * 7))


def _shifts(hands: int, shifts: int) -> Iterator[Row]:
    """The day shift, and a late one of half the people if there are two."""
    turns = [(time(8), time(17), hands), (time(17), time(23, 30), -(-hands // 2))][:shifts]
    for weekday in ("mon", "tue", "wed", "thu", "fri"):
        for shift, (start, end, there) in enumerate(turns, start=1):
            told = {"weekday": weekday, "shift": shift, "start": start, "end": end, "hands": there}
            yield Shift.model_validate(told)
    yield Shift(weekday="sat", start=time(9), end=time(12, 30), hands=hands // 2)


def _special_days(opened: datetime, weeks: int, hands: int) -> Iterator[Row]:
    first, last = _day_after(opened, 0), _day_after(opened, weeks + 2)
    holidays = [day for year in range(first.year, last.year + 1) for day in _holidays(year)]
    for day in holidays:
        if first <= day <= last:
            yield SpecialDay(day=day, note="Bank holiday")
    evening = _day_after(opened, weeks * 0.4)
    while evening.weekday() > 3 or evening in holidays:
        evening += timedelta(days=1)
    yield SpecialDay(day=evening, start=time(8), end=time(21, 30), hands=hands, note="Stayed on for a big order")


def _holidays(year: int) -> list[date]:
    fixed = [date(year, 1, 1), date(year, 3, 17), date(year, 12, 25), date(year, 12, 26)]
    mondays = [_monday_from(date(year, month, 1)) for month in (2, 5, 6, 8)]
    return [*fixed, *mondays, _monday_from(date(year, 10, 25))]


def _monday_from(day: date) -> date:
    return day + timedelta(days=-day.weekday() % 7)


def _causes(about: str, names: dict[str, str], spares: dict[str, str]) -> Iterator[Row]:
    for place, (cause, name) in enumerate((names | {DONT_KNOW: "Don't know yet"}).items(), start=1):
        told = {"about": about, "cause": cause, "name": name, "place": place, "spare": spares.get(cause)}
        yield Cause.model_validate(told)


def _tasks() -> Iterator[Row]:
    names = ("task", "name", "minutes", "every_hours", "every_days", "says", "spare")
    for row in UPKEEP:
        yield UpkeepTask.model_validate(dict(zip(names, row, strict=True)))
