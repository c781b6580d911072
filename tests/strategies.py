"""Hypothesis strategies for a small shop and its entries, small ones composed; all of them, in one file."""

from datetime import UTC, date, datetime, time, timedelta
from string import printable
from typing import get_args

from hypothesis import strategies as st

from core.entries import KINDS, ActionAgreed, ActionEnded, AnyEntry, AtMachine, EntryVoided, Figure
from core.log.rules import LIGHTEST_SPOOL, MOST_PACKS
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
    Setup,
    Shift,
    Shop,
    Spare,
    SpecialDay,
    Supply,
    UpkeepTask,
)

#: Every generated entry happens after this and long before today.
OPENED = datetime(2024, 1, 1, tzinfo=UTC)

#: The name of the one order.
ORDER = '0007; "große" =1'

#: What breaks careless files: separators, quotes, line ends, formulas, umlauts, leading zeros.
_AWKWARD = "\"',;=+-@\n\r\t007äöüßéŁ日 "

_letters = st.sampled_from(_AWKWARD + printable.strip()) | st.characters(exclude_categories=("C", "Z"))


def _texts(min_size: int, max_size: int) -> st.SearchStrategy[str]:
    whole = st.text(_letters, min_size=min_size, max_size=max_size)
    return whole.map(str.strip).filter(lambda text: len(text) >= min_size)


codes = _texts(1, 12)
notes = _texts(1, 40)
#: Codes that may stand beside others in one field.
listed_codes = codes.map(lambda code: code.replace(";", ".")).filter(lambda code: code == code.strip())
maybe_note = st.none() | notes
amounts = st.floats(0, 1e9)
zones = st.sampled_from(["Europe/Dublin", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe"])
since = st.datetimes(datetime(2000, 1, 1), datetime(2023, 12, 31), timezones=st.just(UTC))
much_later = st.datetimes(datetime(2030, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC))
clock_times = st.times().map(lambda clock: clock.replace(second=0, microsecond=0))


def distinct(strategy: st.SearchStrategy[str], at_least: int, at_most: int) -> st.SearchStrategy[list[str]]:
    """Different codes."""
    return st.lists(strategy, min_size=at_least, max_size=at_most, unique=True)


@st.composite
def rooms(draw: st.DrawFn) -> list[Row]:
    """Models, racks and one to four machines, each in a place of its own."""
    models = draw(distinct(listed_codes, 1, 2))
    racks = draw(distinct(codes, 1, 2))
    rows: list[Row] = [Model(model=code, name=draw(codes)) for code in models]
    rows += [Rack(rack=code, name=draw(codes), across=draw(st.integers(1, 6))) for code in racks]
    for place, code in enumerate(draw(distinct(codes, 1, 4)), start=1):
        model, rack = draw(st.sampled_from(models)), draw(st.sampled_from(racks))
        rows.append(Machine(machine=code, model=model, rack=rack, place=place))
    return rows


@st.composite
def items(draw: st.DrawFn, models: list[str]) -> list[Row]:
    """Materials, spares and supplies; no two share a code."""
    material, spare, supply = draw(distinct(listed_codes, 3, 3))
    fits = tuple(draw(st.lists(st.sampled_from(models), unique=True)))
    return [
        Material(material=material, name=draw(codes)),
        Spare(spare=spare, name=draw(codes), models=fits),
        Supply(supply=supply, name=draw(codes), unit=draw(codes), price=draw(st.none() | amounts)),
    ]


@st.composite
def print_files(draw: st.DrawFn, product: str, material: str, models: list[str]) -> list[Row]:
    """One print file in one or two revisions, for every model."""
    file = draw(codes)
    return [
        PrintFile(
            file=file, revision=revision, product=product, parts=draw(st.integers(1, 100)),
            hours=draw(st.floats(0.01, 1000)), grams=draw(st.floats(0.01, 100_000)),
            material=material, models=tuple(models), since=draw(since),
        )
        for revision in range(1, draw(st.integers(2, 3)))
    ]  # fmt: skip


@st.composite
def staffing(draw: st.DrawFn) -> list[Row]:
    """A person, a shift and a special day."""
    start, end = draw(st.lists(clock_times, min_size=2, max_size=2, unique=True))
    off = draw(st.booleans())
    return [
        Person(person=draw(codes), name=draw(codes), active=draw(st.booleans())),
        Shift(weekday="mon", start=start, end=end, hands=draw(st.integers(0, 9))),
        SpecialDay(day=draw(st.dates(date(2000, 1, 1))), note=draw(st.just("") | notes))
        if off
        else SpecialDay(day=draw(st.dates(date(2000, 1, 1))), start=time(0), end=end, hands=0),
    ]


@st.composite
def shops(draw: st.DrawFn) -> list[Row]:
    """The set-up of a small shop: every table has a row, and the shop's own row has a history."""
    room = draw(rooms())
    models = [row.model for row in room if isinstance(row, Model)]
    stock = draw(items(models))
    product = draw(codes)
    zone = draw(zones)
    material = next(row.material for row in stock if isinstance(row, Material))
    return [
        Shop(name=draw(codes), zone=zone),
        Shop(name=draw(codes), zone=zone, since=draw(since), planning_downtime=draw(st.floats(0, 0.99))),
        *room,
        *stock,
        Product(product=product, name=draw(codes)),
        *draw(print_files(product, material, models)),
        *draw(staffing()),
        Cause(about="down", cause=draw(codes), name=draw(codes), place=1),
        Cause(about="scrap", cause=draw(codes), name=draw(codes), place=draw(st.integers(1, 8))),
        UpkeepTask(task=draw(codes), name=draw(codes), minutes=draw(st.floats(0.1, 1440)), models=models),
    ]


Facts = dict[str, st.SearchStrategy[object]]


def print_facts(setup: Setup) -> dict[str, Facts]:
    """What entries about prints may say in this shop, by kind."""
    files = setup.history(PrintFile)
    return {
        "PrintStarted": {
            "file": st.just(files[0].file),
            "revision": st.sampled_from([file.revision for file in files]),
            "order": st.sampled_from([None, ORDER]),
            "proving": st.booleans(),
        },
        "PartsOff": {
            "scrap": st.integers(0, 1),
            "scrap_cause": st.sampled_from([DONT_KNOW, *_causes(setup, "scrap")]),
            "on_platform": st.just(1),
            "ended": st.sampled_from(["itself", "stopped"]),
        },
        "Looked": {
            "saw": st.sampled_from(["printing", "done", "stopped", "empty", "down"]),
            "round": st.none() | st.uuids(),
        },
        "CardLoaded": {"card_set": codes, "revision": st.integers(1, 999)},
    }


def care_facts(setup: Setup) -> dict[str, Facts]:
    """What entries about the state of a machine may say in this shop, by kind."""
    (spare,), (task,) = setup.history(Spare), setup.history(UpkeepTask)
    (material,) = setup.history(Material)
    some_spares = st.lists(st.just(spare.spare), max_size=2).map(tuple)
    return {
        "WentDown": {
            "cause": st.sampled_from([DONT_KNOW, *_causes(setup, "down")]),
            "spare": st.sampled_from([None, spare.spare]),
        },
        "CameBack": {"spares": some_spares, "note": maybe_note},
        "SpoolFitted": {
            "material": st.just(material.material),
            "grams": st.floats(20, 10_000),
            "left_grams": st.none() | st.floats(0, 10_000),
        },
        "UpkeepDone": {
            "task": st.just(task.task),
            "minutes": st.floats(0, 24 * 60),
            "spares": some_spares,
            "note": maybe_note,
        },
        "SetAside": {"note": maybe_note},
        "PutBack": {},
    }


def trade_facts(setup: Setup) -> dict[str, Facts]:
    """What entries about stock, orders and the room may say in this shop, by kind."""
    (product,) = setup.history(Product)
    items = [row.identity()[0] for row in setup.rows if isinstance(row, Material | Spare | Supply)]
    stock: Facts = {"item": st.sampled_from(items), "quantity": st.floats(LIGHTEST_SPOOL, MOST_PACKS)}
    return {
        "StockCounted": stock,
        "StockOrdered": {**stock, "expected": st.none() | much_later},
        "StockReceived": stock,
        "OrderTaken": {
            "order": st.just(ORDER), "product": st.just(product.product),
            "quantity": amounts, "due": much_later,
        },
        "OrderPacked": {
            "order": st.just(ORDER), "quantity": amounts, "minutes": st.none() | st.floats(0, 24 * 60),
        },
        "OrderShipped": {"order": st.just(ORDER)},
        "AirRead": {
            "place": codes,
            "celsius": st.floats(-40, 80),
            "humidity_pct": st.none() | st.floats(0, 100),
            "pm25_ug_m3": st.none() | amounts,
        },
        "QuestionClosed": {"question": codes, "answer": notes},
        "ActionAgreed": {
            "note": codes, "who": st.sampled_from([person.person for person in setup.history(Person)]),
            "due": much_later, "figure": st.sampled_from(get_args(Figure)), "of": st.none() | codes,
        },
    }  # fmt: skip


def _causes(setup: Setup, about: str) -> list[str]:
    return [cause.cause for cause in setup.history(Cause) if cause.about == about]


@st.composite
def entries_in(draw: st.DrawFn, shop: list[Row]) -> list[AnyEntry]:
    """A possible history: an order taken, then every other kind at least once, then some taken back."""
    setup = Setup(shop)
    facts = print_facts(setup) | care_facts(setup) | trade_facts(setup)
    machines = st.sampled_from([machine.machine for machine in setup.history(Machine)])
    others = sorted(facts.keys() - {"OrderTaken"})
    again = [kind for kind in others if kind != "ActionAgreed"]  # of which three at once are too many
    kinds = [
        "OrderTaken",
        *draw(st.permutations(others + draw(st.lists(st.sampled_from(again), max_size=5)))),
    ]
    told = []
    for step, kind in enumerate(kinds):
        machine = {"machine": machines} if issubclass(KINDS[kind], AtMachine) else {}
        told.append(draw(st.builds(KINDS[kind], **_stamps(step), **machine, **facts[kind])))
    (tried,) = (entry for entry in told if isinstance(entry, ActionAgreed))
    answer = draw(st.sampled_from(["done", "dropped"]))
    ended = ActionEnded(**draw(st.fixed_dictionaries(_stamps(len(kinds)))), which=tried.id, answer=answer)
    others_told = [entry for entry in told if entry is not tried]
    back = draw(st.lists(st.sampled_from(others_told), max_size=3, unique_by=lambda entry: entry.id))
    told.append(ended)
    for step, entry in enumerate(back, start=len(kinds) + 1):
        told.append(draw(st.builds(EntryVoided, **_stamps(step), which=st.just(entry.id), why=notes)))
    return told


def _stamps(step: int) -> Facts:
    """What every entry carries; ten minutes lie between two steps, so none repeats the one before."""
    start = OPENED + timedelta(minutes=10 * step)
    seconds = st.timedeltas(timedelta(0), timedelta(minutes=4))
    return {
        "id": st.uuids(),
        "at": seconds.map(lambda late: start + late),
        "noted_at": seconds.map(lambda late: start + timedelta(minutes=5) + late),
        "by": codes,
    }


@st.composite
def histories(draw: st.DrawFn) -> tuple[list[Row], list[AnyEntry]]:
    """A small shop and what was noted in it."""
    shop = draw(shops())
    return shop, draw(entries_in(shop))
