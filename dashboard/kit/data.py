"""What the pages ask of the open log: one function a question, each kept until its answer may differ."""

from datetime import date, timedelta

from core import answers
from core.epoch import utc_now
from core.errors import Refused
from core.floor.types import MachinePage, RackNow, RackRound
from core.morning.types import Report
from core.plan.types import Capacity, Loading, Plan
from core.reading.types import PartSpoolNow
from core.review.types import Action, ComparedBy, Comparison, Review
from core.setup import Material, Person, Setup, Spare, Supply, is_for
from core.stores.types import Stores
from core.upkeep.types import MachineRecord, RoomUpkeep
from dashboard.charts import drawn
from dashboard.charts.charts import Spec
from dashboard.kit import keeping
from dashboard.kit.behind import Behind
from dashboard.kit.keeping import AsOf, KeptAnswer, day, hour, kept, minute, quarter
from dashboard.kit.shop import current_log
from dashboard.words import review_words
from dashboard.words.names import Names
from dashboard.words.written import Clock

Moment = keeping.Key
Days = tuple[date, date]
#: Machines that are down, with their state and the spare they wait for.
Down = tuple[tuple[str, str, str | None], ...]
#: The long look at the machines, and upkeep and repairs of the room, which rest on it.
Watched = tuple[answers.Watch, RoomUpkeep]

#: A loading list is old after this time, and still shown for the other.
OLD, SHOWN = timedelta(minutes=15), timedelta(minutes=45)

#: What is made behind the pages: the day's answers, and a loading list.
_behind = Behind(2)


def moment() -> Moment:
    """Changes whenever an answer that is kept for a minute does."""
    return minute(keeping.as_of_now())


@kept(day)
def learned(as_of: AsOf) -> answers.Learned:
    """How long prints really take, and the habits here: learned once a day."""
    return answers.learned_at(as_of.log, as_of.midnight)


@kept(minute, patient=True)
def report(as_of: AsOf) -> Report:
    """The owner's page as it stands."""
    return answers.report(as_of.log, as_of.at, learned.of(as_of), stores.of(as_of))


@kept(minute)
def racks(as_of: AsOf) -> list[RackNow]:
    """Every rack as it stands."""
    return answers.floor(as_of.log, as_of.at, learned.of(as_of))


def machine_page(machine: str) -> MachinePage:
    """A check-in page, with what the loading list says if one is kept. Raises `Refused` for an unknown machine."""
    page, found = check_in(machine), kept_loading()
    return answers.with_plan(page, found) if found else page


@kept(minute, most=100)
def check_in(as_of: AsOf, machine: str) -> MachinePage:
    """A check-in page without it."""
    return answers.machine_page(as_of.log, machine, as_of.at, learned.of(as_of))


@kept(minute, most=20)
def rack_round(as_of: AsOf, rack: str) -> RackRound:
    """A round of one rack. Raises `Refused` for an unknown rack."""
    return answers.rack_round(as_of.log, rack, as_of.at, learned.of(as_of))


@kept(minute)
def stores(as_of: AsOf) -> Stores:
    """The shelf as it stands."""
    return answers.stores(as_of.log, as_of.at)


@kept(minute)
def _spares_out(as_of: AsOf) -> set[str]:
    return answers.spares_out(as_of.log, as_of.at)


@kept(minute)
def _part_spools(as_of: AsOf) -> list[PartSpoolNow]:
    return answers.part_spools(as_of.log, as_of.at, learned.of(as_of))


@kept(quarter)
def outlook(as_of: AsOf) -> answers.Outlook:
    """The shop played forward."""
    return answers.Outlook(as_of.log, as_of.at, learned.of(as_of))


@kept(quarter, patient=True)
def plan(as_of: AsOf) -> Plan:
    """What is due, as the outlook has it."""
    return answers.plan(outlook.of(as_of))


@kept(quarter, patient=True)
def capacity(as_of: AsOf) -> Capacity:
    """What the room gave and will give."""
    return answers.capacity(outlook.of(as_of))


def loading() -> Loading:
    """The loading list of this quarter of an hour."""
    as_of = keeping.as_of_now()
    return listed.of(as_of, listed.before(as_of))


@kept(quarter, most=4, patient=True)
def listed(as_of: AsOf, before: KeptAnswer[Loading] | None) -> Loading:
    """A list that differs from the one people walked with before only where that is worth it."""
    return answers.loading(outlook.of(as_of), stores.of(as_of), before.answer if before else None)


def kept_loading() -> Loading | None:
    """The newest loading list, never waited for: an old one is made anew behind the pages, and still shown a while."""
    now = keeping.as_of_now()
    known = listed.newest(now)
    if known is None or now.at - known.answer.at > OLD:
        _behind.begin("a loading list", loading)
    return known.answer if known and now.at - known.answer.at < SHOWN else None


def loaded() -> set[str]:
    """The machines of the list on which a print was begun since."""
    return answers.loaded_since(loading(), [machine for rack in racks() for machine in rack.machines])


def reliability() -> RoomUpkeep:
    """Upkeep and repairs of the room."""
    now = keeping.as_of_now()
    return watched.of(now, _down(now))[1]


def _down(as_of: AsOf) -> Down:
    """The machines that are down, and what they wait for: a look or a start tells as much of that as a repair."""
    now = [machine for rack in racks.of(as_of) for machine in rack.machines]
    return tuple((one.machine, one.state, one.spare) for one in now if one.state in ("down", "waiting"))


@kept(hour, patient=True)
def watched(as_of: AsOf, down: Down) -> Watched:  # noqa: ARG001 - it is kept for these
    """The long look at the machines that they rest on, and what it came to."""
    watch = answers.Watch(as_of.log, as_of.at, learned.of(as_of), _worked.of(as_of))
    return watch, answers.reliability(watch, stores.of(as_of))


def kept_reliability() -> RoomUpkeep | None:
    """The newest of them, never waited for."""
    known = watched.newest(keeping.as_of_now())
    return known.answer[1] if known else None


@kept(day)
def _worked(as_of: AsOf) -> answers.PrintedHours:
    return answers.printed_before(as_of.log, as_of.midnight, learned.of(as_of))


def machine_record(machine: str) -> MachineRecord:
    """The record of a machine; compared with others where these are known. Raises `Refused` for an unknown one."""
    now = keeping.as_of_now()
    return record.of(now, machine, watched.newest(now))


@kept(minute, most=50, patient=True)
def record(as_of: AsOf, machine: str, looked: KeptAnswer[Watched] | None) -> MachineRecord:
    """The record of a machine, compared with others as they were when the room was `looked` at."""
    watch, before = looked.answer[0] if looked else None, _weeks_before.of(as_of, machine)
    return answers.machine_record(as_of.log, machine, as_of.at, learned.of(as_of), watch, before)


@kept(day, most=100)
def _weeks_before(as_of: AsOf, machine: str) -> answers.WeeksBefore:
    return answers.weeks_before(as_of.log, machine, as_of.midnight, learned.of(as_of))


@kept(day, patient=True)
def review(as_of: AsOf) -> Review:
    """The weekly review as of the last midnight."""
    return answers.review(answers.last_quarter(as_of.log, as_of.midnight, learned.of(as_of)))


@kept(day, patient=True)
def review_charts(as_of: AsOf) -> dict[str, Spec]:
    """The charts that the review always shows (`drawn.of_review`)."""
    found, known = review.of(as_of), as_of.log.setup()
    return drawn.of_review(found, Names.of(known, as_of.at), Clock(known.zone, found.end))


@kept(day, most=8, patient=True)
def compare(as_of: AsOf, first: Days, second: Days, by: ComparedBy) -> Comparison:
    """Two periods side by side. Raises `Refused` for periods that cannot be."""
    return answers.compare(as_of.log, first, second, by, as_of.midnight, learned.of(as_of))


@kept(day)
def _day(as_of: AsOf) -> None:
    """What is looked through once a day."""
    review_charts.of(as_of)
    watched.of(as_of, _down(as_of))
    for machine in as_of.log.setup().machines(as_of.at):
        _weeks_before.of(as_of, machine.machine)


def prepare() -> None:
    """Begin the answers of the day behind the pages, so that nobody waits for them."""
    _behind.begin("the day", _day)


def actions(found: Review) -> list[Action]:
    """What is tried, as it stands."""
    now = keeping.as_of_now()
    return answers.actions(now.log, found.charts, now.at)


def figures() -> dict[str, str]:
    """The name of every figure that the review watches, by its code."""
    return {chart.code: ", ".join(review_words.chart_title(chart, names())) for chart in review().charts}


def usual_spare(cause: str | None) -> str | None:
    """The spare that mends a cause, if any."""
    return next((row.spare for row in setup().causes("down", utc_now()) if row.cause == cause), None)


def missing_for(cause: str, model: str) -> str | None:
    """The spare that mends a cause on a model, where none is on the shelf."""
    usual = usual_spare(cause)
    spare = setup().get(Spare, usual, at=utc_now()) if usual else None
    return spare.spare if spare and is_for(spare, model) and spare.spare in _spares_out() else None


def part_spools_for(material: str, grams: float) -> list[PartSpoolNow]:
    """The part-spools of a material that feed so many grams, the least full first."""
    fit = [p for p in _part_spools() if p.material == material and p.left.low >= grams]
    return sorted(fit, key=lambda part: part.left.best)


def spool_weight(material: str) -> float:
    """Net grams of a full spool."""
    row = setup().get(Material, material, at=utc_now())
    return row.pack if row else Material.model_fields["pack"].default


def setup() -> Setup:
    """The set-up, history included."""
    return current_log().setup()


def no_shop() -> Refused | None:
    """Why there is nothing to draw a page of; None where there is a shop."""
    try:
        setup().shop(utc_now())
    except Refused as refused:
        return refused
    return None


def clock() -> Clock:
    """The shop's clock now."""
    return Clock(setup().zone, utc_now())


def people() -> list[Person]:
    """Who may be tapping."""
    return [person for person in setup().all(Person, utc_now()) if person.active]


def names() -> Names:
    """What the set-up calls its codes now."""
    return Names.of(setup(), utc_now())


def items() -> dict[str, str]:
    """The name of everything bought, by its code."""
    known, now = setup(), utc_now()
    found = {row.material: row.name for row in known.all(Material, now)}
    found |= {row.spare: row.name for row in known.all(Spare, now)}
    return found | {row.supply: row.name for row in known.all(Supply, now)}
