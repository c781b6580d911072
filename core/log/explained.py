"""What every column of the exchange files means, and one worked line a file from the invented shop."""

from datetime import date, datetime, time
from inspect import cleandoc
from uuid import UUID

from core.entries import KINDS
from core.log.sheets import ENTRIES, SETUP_SHEETS, Sheet
from core.setup import TABLES

#: The worked lines fit together: a folder that `template` wrote can be imported as it is.
WORKED_LINES: dict[str, dict[str, str]] = {
    "shop": {
        "name": "Larkfield Hive Fittings",
        "zone": "Europe/Dublin",
        "planning_downtime": "0.15",
        "word_holds": "10",
        "review_days": "7",
        "order_cost": "10",
        "holding": "0.25",
        "promise": "0.9",
        "change_minutes": "6",
        "hand_cost": "18",
    },
    "models": {"model": "bench-220", "name": "Bench 220", "price": "380", "hour_cost": "1.50"},
    "racks": {"rack": "A", "name": "Rack A, by the door", "across": "4"},
    "machines": {"machine": "A1", "model": "bench-220", "rack": "A", "place": "1", "in_service": "yes"},
    "products": {"product": "entrance-block", "name": "Entrance block", "keep": "120"},
    "files": {
        "file": "entrance-block-x6",
        "revision": "1",
        "product": "entrance-block",
        "parts": "6",
        "hours": "6.2",
        "grams": "186",
        "material": "petg-black",
        "models": "bench-220",
    },
    "people": {"person": "RT", "name": "Robin", "active": "yes"},
    "shifts": {"weekday": "mon", "shift": "1", "start": "07:30", "end": "16:00", "hands": "2"},
    "special_days": {"day": "2025-12-24", "start": "07:30", "end": "12:00", "hands": "1", "note": "Half day"},
    "materials": {
        "material": "petg-black",
        "name": "PETG black",
        "pack": "1000",
        "price": "19.50",
        "least_packs": "5",
        "lead_days": "6",
        "lead_spread": "2",
        "service": "0.98",
    },
    "spares": {
        "spare": "nozzle-0.4",
        "name": "Nozzle 0.4 mm",
        "pack": "5",
        "price": "12",
        "lead_days": "14",
        "lead_spread": "5",
        "models": "bench-220",
    },
    "supplies": {
        "supply": "box-small",
        "name": "Small box",
        "pack": "25",
        "price": "8.75",
        "lead_days": "5",
        "pinned_min": "40",
        "unit": "piece",
    },
    "causes": {"about": "down", "cause": "clogged", "name": "Nozzle clogged", "place": "1", "spare": "nozzle-0.4"},
    "upkeep": {
        "task": "clean-plate",
        "name": "Clean the plate",
        "minutes": "10",
        "models": "bench-220",
        "every_hours": "50",
        "every_days": "14",
        "says": "maker",
    },
    "entries": {
        "kind": "PrintStarted",
        "at": "2025-05-05T08:10",
        "by": "RT",
        "machine": "A1",
        "file": "entrance-block-x6",
        "revision": "1",
        "proving": "no",
    },
}

_MODELS = "The models it is for, by their codes"

#: What every item on the shelf has.
_BOUGHT = {
    "name": "Its name as people say it.",
    "pack": "How many units the supplier sells at once.",
    "price": "What one pack costs, in the shop's currency.",
    "least_packs": "The fewest packs the supplier sends.",
    "lead_days": "How many days pass from ordering it to having it on the shelf.",
    "lead_spread": "By how many days that usually differs, earlier or later (one standard deviation).",
    "service": "The share of deliveries before which it should not run out, 0.5 to 0.999.",
    "pinned_min": "Order when no more than so many units are there or on order; empty to have it worked out.",
    "pinned_max": "Order up to so many units; empty to have it worked out.",
}

#: One sentence a column; the page adds what kind of value it holds and whether it may be empty.
SETUP_COLUMNS: dict[str, dict[str, str]] = {
    "shop": {
        "name": "The name of the business, as it stands on the pages.",
        "zone": "The time zone of the shop's clocks and calendar, by its IANA name.",
        "planning_downtime": "The share of machine time you plan to lose to downtime, between 0 and 1.",
        "word_holds": "For how many staffed hours an entry is believed when no other follows.",
        "review_days": "Every how many days the shelf is gone through for what to order.",
        "order_cost": "What one more order costs besides the goods: placing, receiving and paying it, and carriage.",
        "holding": "What it costs to keep goods for a year, as a share of their price: 0.25 is a quarter.",
        "promise": "How likely a date must be before you promise it, 0.5 to 0.99.",
        "change_minutes": "How many minutes of work lie between two prints on a machine: parts off, next one on.",
        "hand_cost": "What an hour of one person costs; empty if you do not want to say.",
    },
    "models": {
        "model": "A short code for this kind of machine; machines and files name it.",
        "name": "Its name as people say it.",
        "price": "What one machine costs; empty if you do not want to say.",
        "hour_cost": (
            "What it costs you when one is out of service for an hour, such as what its parts would have brought "
            "less their material; empty if you do not want to say."
        ),
    },
    "racks": {
        "rack": "A short code for the rack; machines name it.",
        "name": "Its name as people say it.",
        "across": "How many machines stand side by side on it.",
    },
    "machines": {
        "machine": "The code on the machine's label, as people tap it.",
        "model": "The model it is, as in models.csv.",
        "rack": "The rack it stands on, as in racks.csv.",
        "place": "Its place on the rack, counted from 1 along each shelf, the top shelf first.",
        "in_service": "No from the day the machine is gone for good.",
    },
    "products": {
        "product": "A short code for something the shop sells; files and orders name it.",
        "name": "Its name as people say it.",
        "keep": "How many finished parts the shop wants to have besides those ordered.",
    },
    "files": {
        "file": "The name of the print file, without its revision.",
        "revision": "The number of this revision; a change to the file gets the next number and a new row.",
        "product": "The product it makes, as in products.csv.",
        "parts": "How many parts one print puts on the platform.",
        "hours": "How many hours one print takes, as the file states it.",
        "grams": "How many grams of material one print takes, as the file states it.",
        "material": "The material it is made for, as in materials.csv.",
        "models": f"{_MODELS}; empty for any model.",
    },
    "people": {
        "person": "What somebody taps for themselves, such as initials.",
        "name": "The name others know them by.",
        "active": "No once they make no more entries.",
    },
    "shifts": {
        "weekday": "The day of the week on which the shift starts: mon, tue, wed, thu, fri, sat or sun.",
        "shift": "1 for the day's first shift, 2 for its second, and so on.",
        "start": "When it starts, on the shop's clock.",
        "end": "When it ends; earlier than the start means the next day.",
        "hands": "How many people work it; 0 for a shift that is no longer worked.",
    },
    "special_days": {
        "day": "A date that differs from its weekday.",
        "start": "When work starts that day; empty with an empty end for a day off.",
        "end": "When work ends that day; empty with an empty start for a day off.",
        "hands": "How many people work that day.",
        "note": "Why the day is special.",
    },
    "materials": {
        "material": "A short code for one kind and colour of feedstock.",
        **_BOUGHT,
        "pack": "The net weight of a full spool, in grams.",
    },
    "spares": {
        "spare": "A short code for the spare part.",
        **_BOUGHT,
        "models": f"{_MODELS}; empty for all of them.",
    },
    "supplies": {
        "supply": "A short code for something bought besides material and spares.",
        **_BOUGHT,
        "unit": "What it is counted in, such as piece or roll.",
    },
    "causes": {
        "about": "Whether it is a cause of a machine being down or of scrap: down or scrap.",
        "cause": "A short code for the cause.",
        "name": "What stands on its button.",
        "place": "Its place among the buttons, 1 to 8; it stays there.",
        "spare": "The spare that mends it, as in spares.csv; empty where it takes none.",
    },
    "upkeep": {
        "task": "A short code for a planned maintenance task.",
        "name": "Its name as people say it.",
        "minutes": "How many minutes of work it usually takes.",
        "models": f"{_MODELS}; empty for all of them.",
        "every_hours": "After how many hours of printing it is due again; empty: not by hours.",
        "every_days": "After how many days it is due again; empty: not by days.",
        "every_prints": "After how many prints it is due again; empty: not by prints. Whichever comes first counts.",
        "says": "Who wants it so, maker or shop: the maker's instructions go first.",
        "spare": "The spare it usually takes, as in spares.csv: offered first when it is noted as done.",
    },
}

SINCE = "From when the row holds, empty for always; a later row about the same thing takes its place from then."

ENTRY_COLUMNS: dict[str, str] = {
    "kind": "What happened, by the name of the kind of entry (see the list below).",
    "id": "The entry's own id; left empty, it is made from the row, which then counts once.",
    "at": "When it happened.",
    "noted_at": "When it was noted; empty means when it happened.",
    "arrived_at": "When the log took it, as an export tells; leave it empty.",
    "by": "Who says so, as in people.csv.",
    "machine": "The machine it is about, as in machines.csv.",
    "answer": "What was answered to an open question, or whether an action was done or dropped.",
    "card_set": "The set of print files on the card that went into the machine.",
    "cause": "Why the machine went down, as in causes.csv, or dont-know.",
    "celsius": "Air temperature in degrees Celsius.",
    "due": "When the order has to leave the shop, or an action has to be done.",
    "ended": "How the print ended: itself, or stopped where it failed or a person stopped it.",
    "expected": "When the delivery is expected.",
    "figure": "The figure of the weekly review that an action should move, such as scrap or downtime.",
    "file": "The print file that was started, as in files.csv.",
    "grams": "Net grams of material on the new spool.",
    "humidity_pct": "Relative humidity of the air in per cent.",
    "item": "The material, spare or supply it is about, by its code.",
    "left_grams": "Net grams that were left on the old spool, if it was weighed.",
    "material": "The material on the new spool, as in materials.csv.",
    "minutes": "Minutes of one person's work it took.",
    "note": "Anything else worth knowing; of an action, what is tried.",
    "of": "Of which print file, model, rack or cause the figure is; empty means of the shop.",
    "on_platform": "How many parts were on the platform, only where it was not what the print file says.",
    "order": "The order it is for or about; empty in a PrintStarted means for stock.",
    "place": "Where the instrument stood.",
    "pm25_ug_m3": "Fine dust (PM2.5) in micrograms per cubic metre.",
    "product": "The product that was ordered, as in products.csv.",
    "proving": "Yes for a test print.",
    "quantity": "How much: grams of a material, pieces of a spare or product, units of a supply.",
    "question": "The open question that was answered.",
    "reckoned": "What the reckoning held when somebody was asked openly; empty at other looks.",
    "revision": "The revision of the print file, or of the card set.",
    "round": "The id that the looks of one walk past every machine share.",
    "saw": "What was seen: printing, done, stopped, empty or down.",
    "scrap": "How many of the parts taken off are scrap.",
    "scrap_cause": "Why they are scrap, as in causes.csv, or dont-know.",
    "spare": "The spare part the machine waits for, as in spares.csv.",
    "spares": "The spare parts that went in, as in spares.csv; with none named, a machine took the one it waited for.",
    "task": "The maintenance task that was done, as in upkeep.csv.",
    "which": "The id of the entry that is taken back, or of the action that ended.",
    "who": "Who does what was agreed, as in people.csv.",
    "why": "Why it is taken back.",
}

_VALUES: dict[type, str] = {
    bool: "yes or no",
    date: "a date, 2026-05-03",
    datetime: "a time, 2026-05-03T14:30",
    float: "a number, 12.5",
    int: "a whole number",
    str: "text",
    time: "a clock time, 07:30",
    tuple: "codes with ; between them",
    UUID: "an id",
}

_INTRODUCTION = """\
# The columns of a shop's files

One CSV file a table, in UTF-8, with a comma between the columns; a file saved with semicolons, and with a
comma in its numbers, is read as well. Leave out the files and the optional columns you do not need. The line
in each file is an example from an invented shop: put your own lines in its place.

- A time without an offset is on the shop's clock; 2026-05-03T14:30+02:00 says the offset itself. Where the
  clocks went back, an hour happened twice: write its times with the offset.
- A later row about the same thing, with a later `since`, changes it from then on and leaves the past alone.
- Give columns of codes the format "text" in a spreadsheet, or it turns 007 into 7.
- A text that begins with = + - or @ is written with a ' before it, so that no spreadsheet runs it as a
  formula; the ' is taken away when the file is read.
"""


def columns_page() -> str:
    """The page beside the blank files, in Markdown: every file, every column."""
    sections = [_section(sheet, _of_table(sheet)) for sheet in SETUP_SHEETS.values()]
    return "\n".join([_INTRODUCTION, *sections, _section(ENTRIES, ENTRY_COLUMNS), _kinds()])


def _of_table(sheet: Sheet) -> dict[str, str]:
    return {"since": SINCE, **SETUP_COLUMNS[sheet.name]}


def _section(sheet: Sheet, sentences: dict[str, str]) -> str:
    about = _first(TABLES[sheet.name]) if sheet is not ENTRIES else "What happened: one row an entry."
    lines = [f"| {name} | {_value(sheet, name)} | {sentences[name]} |" for name in sheet.types]
    table = ["| column | holds | meaning |", "|---|---|---|", *lines]
    return "\n".join([f"## {sheet.file}", "", about, "", *table, ""])


def _first(model: type) -> str:
    """The first paragraph of what a class says about itself, on one line."""
    return " ".join(cleandoc(model.__doc__ or "").split("\n\n")[0].split())


def _value(sheet: Sheet, name: str) -> str:
    return _VALUES[sheet.types[name]] + ("" if name in sheet.needed else "; may be empty")


def _kinds() -> str:
    """Which columns each kind of entry fills."""
    lines = [
        "## The kinds of entry",
        "",
        "Every one fills kind, at and by. Columns in brackets may be empty.",
    ]
    for kind, entry in KINDS.items():
        fields = {name: field for name, field in entry.model_fields.items() if name not in _EVERY}
        filled = [name if field.is_required() else f"({name})" for name, field in fields.items()]
        lines += ["", f"**{kind}**: {', '.join(filled)}.", "", _first(entry)]
    return "\n".join(lines) + "\n"


_EVERY = ("kind", "id", "at", "noted_at", "arrived_at", "by")
