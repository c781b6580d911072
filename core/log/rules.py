"""What an entry must satisfy: one named check a function.

A check gets an entry and what the log knows, and returns a sentence when it is broken, else None.
What breaks one of `REFUSALS` cannot be true of the shop as set up, or contradicts itself, or names what nobody has
told of. What contradicts no more than other entries, or what is reckoned from them, is taken: see `remarks`.
"""

from collections.abc import Callable
from datetime import datetime, timedelta

from core.entries import (
    MOST_ACTIONS,
    ActionAgreed,
    ActionEnded,
    AirRead,
    AnyEntry,
    AtMachine,
    CameBack,
    EntryVoided,
    OrderPacked,
    OrderShipped,
    OrderTaken,
    PartsOff,
    PrintStarted,
    SpoolFitted,
    StockCounted,
    StockOrdered,
    StockReceived,
    UpkeepDone,
    WentDown,
)
from core.log.known import Known
from core.setup import DONT_KNOW, Cause, Machine, Material, Person, Product, Spare, UpkeepTask

Rule = Callable[[AnyEntry, Known], str | None]

#: Clocks of two devices may differ by this much.
CLOCK_SLACK = timedelta(minutes=2)
#: The heaviest spool anybody fits to a desktop machine, net grams; more is grams and kilograms mixed up.
HEAVIEST_SPOOL = 10_000
LIGHTEST_SPOOL = 20
#: More packs of one item are a slip of the finger.
MOST_PACKS = 10_000


def not_in_the_future(entry: AnyEntry, known: Known) -> str | None:
    limit = known.now + CLOCK_SLACK
    if entry.at > limit or entry.noted_at > limit:
        late = max(entry.at, entry.noted_at)
        return (
            f"The entry is for {clock(late, known)}, which has not come yet "
            f"(it is {clock(known.now, known)}): correct the time."
        )
    return None


def noted_after_it_happened(entry: AnyEntry, known: Known) -> str | None:
    if entry.noted_at < entry.at - CLOCK_SLACK:
        return (
            f"The entry says it was noted at {clock(entry.noted_at, known)}, before it happened "
            f"at {clock(entry.at, known)}: correct one of the two times."
        )
    return None


def machine_is_known(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, AtMachine):
        return None
    row = known.setup.get(Machine, entry.machine, at=entry.at)
    if row is None:
        return (
            f"There is no machine {entry.machine} in the set-up at {clock(entry.at, known)}: "
            "correct the code, or add the machine."
        )
    if not row.in_service:
        return f"{entry.machine} is out of the set-up since {clock(row.since, known)}: correct the code or the time."
    return None


def file_is_known(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PrintStarted) and known.file_of(entry) is None:
        return (
            f"There is no print file {entry.file} revision {entry.revision} in the set-up: "
            "correct it, or add that revision."
        )
    return None


def file_fits_machine(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, PrintStarted):
        return None
    file = known.file_of(entry)
    machine = known.setup.get(Machine, entry.machine, at=entry.at)
    if file and machine and file.models and machine.model not in file.models:
        return (
            f"{file.file} is made for {', '.join(file.models)}, and {machine.machine} is a {machine.model}: "
            "pick another file, or add the model to the file."
        )
    return None


def scrap_within_platform(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PartsOff) and entry.on_platform is not None and entry.scrap > entry.on_platform:
        return (
            f"{entry.scrap} of {entry.on_platform} parts of {entry.machine} cannot be scrap: "
            "correct one of the two numbers."
        )
    return None


def platform_within_any_file(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, PartsOff):
        return None
    number = max(entry.scrap, entry.on_platform or 0)
    machine = known.setup.get(Machine, entry.machine, at=entry.at) if number else None
    most = known.setup.most_parts(machine.model) if machine else number
    if number > most:
        return (
            f"{number} parts cannot come off {entry.machine}: no print file for it puts more than {most} "
            "on a platform. Change the number, or correct the print file."
        )
    return None


def scrap_has_a_cause(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, PartsOff) and entry.scrap and not entry.scrap_cause:
        return f"{entry.scrap} scrap needs a cause: give one, or '{DONT_KNOW}'."
    return None


def cause_is_known(entry: AnyEntry, known: Known) -> str | None:
    about, cause = _cause(entry)
    if cause and cause != DONT_KNOW and known.setup.get(Cause, about, cause, at=entry.at) is None:
        return f"'{cause}' is not one of the shop's {about} causes: pick one of them, or '{DONT_KNOW}'."
    return None


def material_is_known(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, SpoolFitted) and known.setup.get(Material, entry.material, at=entry.at) is None:
        return f"There is no material {entry.material} in the set-up: correct the code, or add it."
    return None


def spool_weight_is_possible(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, SpoolFitted):
        return None
    if entry.grams < LIGHTEST_SPOOL:
        return (
            f"A spool of {entry.grams:g} g is next to nothing (is that kilograms?): "
            f"give the net weight in grams, {LIGHTEST_SPOOL} or more."
        )
    heaviest = max(entry.grams, entry.left_grams or 0)
    if heaviest > HEAVIEST_SPOOL:
        return f"{heaviest:g} g is more than any spool holds: give the net weight in grams, at most {HEAVIEST_SPOOL}."
    return None


def spare_is_known(entry: AnyEntry, known: Known) -> str | None:
    used = entry.spares if isinstance(entry, UpkeepDone | CameBack) else ()
    for spare in (entry.spare,) if isinstance(entry, WentDown) else used:
        if spare and known.setup.get(Spare, spare, at=entry.at) is None:
            return f"There is no spare {spare} in the set-up: correct the code, or add it."
    return None


def task_is_known(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, UpkeepDone) and known.setup.get(UpkeepTask, entry.task, at=entry.at) is None:
        return f"There is no upkeep task {entry.task} in the set-up: correct the code, or add it."
    return None


def item_is_known(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, StockCounted | StockOrdered | StockReceived):
        return None
    made = isinstance(entry, StockCounted) and known.setup.get(Product, entry.item, at=entry.at)
    if known.setup.item(entry.item, entry.at) is None and not made:
        return f"There is no material, spare or supply {entry.item} in the set-up: correct the code, or add it."
    return None


def stock_quantity_is_possible(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, StockCounted | StockOrdered | StockReceived):
        return None
    item, counted = known.setup.item(entry.item, entry.at), isinstance(entry, StockCounted)
    if item is None or (counted and not entry.quantity):
        return None
    if not entry.quantity:
        return f"0 of {entry.item} is no delivery and no order: give how much it was."
    if isinstance(item, Material) and entry.quantity < LIGHTEST_SPOOL:
        return (
            f"{entry.quantity:g} g of {entry.item} is next to nothing (is that kilograms, or spools?): "
            f"give grams, {LIGHTEST_SPOOL} or more."
        )
    if entry.quantity > MOST_PACKS * item.pack:
        return (
            f"{entry.quantity:g} {item.unit} of {entry.item} is more than {MOST_PACKS} packs of {item.pack:g}: "
            "correct the number, or the pack in the set-up."
        )
    return None


def expected_after_ordered(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, StockOrdered) and entry.expected and entry.expected < entry.at:
        return (
            f"{entry.item} is expected at {clock(entry.expected, known)}, before it was ordered "
            f"at {clock(entry.at, known)}: correct one of the two."
        )
    return None


def product_is_known(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, OrderTaken) and known.setup.get(Product, entry.product, at=entry.at) is None:
        return f"There is no product {entry.product} in the set-up: correct the code, or add it."
    return None


def due_after_taken(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, OrderTaken) and entry.due < entry.at:
        return (
            f"Order {entry.order} is due {clock(entry.due, known)}, before it was taken "
            f"at {clock(entry.at, known)}: correct one of the two."
        )
    return None


def order_is_new(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, OrderTaken) or known.is_withdrawn(entry):
        return None
    earlier = known.order(entry.order)
    if earlier and not known.is_withdrawn(earlier):
        return f"There is an order {entry.order} already: give this one another name, or take the first back."
    return None


def order_is_known(entry: AnyEntry, known: Known) -> str | None:
    code = entry.order if isinstance(entry, PrintStarted | OrderPacked | OrderShipped) else None
    if code and known.order(code) is None:
        return f"There is no order {code}: correct the name, or enter the order first."
    return None


def air_says_something(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, AirRead) and entry.celsius is entry.humidity_pct is entry.pm25_ug_m3 is None:
        return f"The air reading at {entry.place} has no figure: give degrees, humidity or dust."
    return None


def actions_are_few(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, ActionAgreed) and not known.is_withdrawn(entry):
        others = [action for action in known.actions.values() if action.id != entry.id]
        if len(others) >= MOST_ACTIONS:
            return f"{len(others)} actions are agreed on already: end one of them before '{entry.note}'."
    return None


def action_has_a_person(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, ActionAgreed) and known.setup.get(Person, entry.who, at=entry.at) is None:
        return f"There is nobody called {entry.who} in the set-up: correct the initials, or add the person."
    return None


def action_ends_after_it_began(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, ActionAgreed) and entry.due <= entry.at:
        return (
            f"'{entry.note}' cannot be done by {clock(entry.due, known)}, before it was agreed on "
            f"({clock(entry.at, known)}): correct the date."
        )
    return None


def action_is_open(entry: AnyEntry, known: Known) -> str | None:
    if isinstance(entry, ActionEnded) and not known.is_withdrawn(entry) and entry.which not in known.actions:
        return f"There is no action {entry.which} that is still open: nothing to end."
    return None


def void_is_possible(entry: AnyEntry, known: Known) -> str | None:
    if not isinstance(entry, EntryVoided):
        return None
    voided = known.by_id(entry.which)
    if voided is None:
        return f"There is no entry {entry.which} to take back: correct the id."
    if isinstance(voided, EntryVoided):
        return "What was taken back stays so: enter the fact again instead."
    if known.is_voided(entry.which):
        return f"Entry {entry.which} is taken back already: nothing to do."
    return None


REFUSALS: tuple[Rule, ...] = (
    not_in_the_future,
    noted_after_it_happened,
    machine_is_known,
    file_is_known,
    file_fits_machine,
    scrap_within_platform,
    platform_within_any_file,
    scrap_has_a_cause,
    cause_is_known,
    material_is_known,
    spool_weight_is_possible,
    spare_is_known,
    task_is_known,
    item_is_known,
    stock_quantity_is_possible,
    expected_after_ordered,
    product_is_known,
    due_after_taken,
    order_is_new,
    order_is_known,
    air_says_something,
    actions_are_few,
    action_has_a_person,
    action_ends_after_it_began,
    action_is_open,
    void_is_possible,
)


def _cause(entry: AnyEntry) -> tuple[str, str | None]:
    if isinstance(entry, PartsOff):
        return "scrap", entry.scrap_cause
    return "down", entry.cause if isinstance(entry, WentDown) else None


def clock(moment: datetime, known: Known) -> str:
    """The moment on the shop's clock, as sentences tell it."""
    return f"{moment.astimezone(known.setup.zone):%d %b %Y %H:%M}"
