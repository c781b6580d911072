"""What the pages read: the answers of the open log, kept until an answer may differ.

The only caching there is. An answer is kept for the version of the log and the minute it was given in;
it is frozen and shared between sessions, so nobody may change what is in it.
"""

from collections.abc import Callable
from concurrent.futures import Future, wait
from datetime import date, datetime, timedelta
from functools import wraps
from threading import Lock, Thread
from typing import ParamSpec, TypeVar

import streamlit as st

from core import answers
from core.epoch import utc_now
from core.errors import Refused
from core.floor.types import MachinePage, RackNow, RackRound
from core.frozen import Frozen
from core.log.store import Log
from core.morning.types import Report
from core.plan.types import Capacity, Loading, Plan
from core.reading.types import PartSpoolNow
from core.review.types import Action, ComparedBy, Comparison, Review
from core.setup import Material, Person, Setup, Spare, Supply, is_for
from core.stores.types import Stores
from core.upkeep.types import MachineRecord, Room
from core.window import Window, last_midnight
from dashboard.charts import drawn
from dashboard.charts.charts import Spec
from dashboard.kit import streamlit_inside
from dashboard.kit.shop import current_log, is_open
from dashboard.words import review_words
from dashboard.words.floor_words import Names
from dashboard.words.written import Clock

P = ParamSpec("P")
T = TypeVar("T")

Moment = tuple[str, int, int]
Days = tuple[date, date]

#: Seconds for which a play of the shop holds, and what else makes it anew, told within so many weeks.
PLAN_HOLDS = 15 * 60
PLANNED, PLANNED_WEEKS = ("OrderTaken", "OrderPacked", "OrderShipped", "StockCounted", "EntryVoided"), 4
#: The same of upkeep and repairs.
MENDING_HOLDS = 60 * 60
MENDED = ("UpkeepDone", "WentDown", "CameBack", "StockOrdered", "StockReceived", "EntryVoided")

#: Seconds between two looks for taps while an answer is waited for.
ASK_EVERY = 0.1

#: Held while a loading list is made behind the pages.
_making = Lock()


def patient(answer: Callable[P, T]) -> Callable[P, T]:
    """An answer that takes long, given in a thread of its own; the page that waits for it asks for taps meanwhile.

    The runs of a session follow each other, so a tap would have to wait for the answer as well.
    """

    @wraps(answer)
    def waited(*asked: P.args, **more: P.kwargs) -> T:
        if not streamlit_inside.draws_a_page():
            return answer(*asked, **more)  # behind the pages nobody taps
        given: Future[T] = Future()

        def give() -> None:
            try:
                given.set_result(answer(*asked, **more))
            except BaseException as error:  # noqa: BLE001 - it is raised where the answer is waited for
                given.set_exception(error)

        Thread(target=give, daemon=True).start()
        while not wait([given], ASK_EVERY).done:
            streamlit_inside.give_way()
        return given.result()

    return waited


def moment() -> Moment:
    """What an answer depends on besides its question: the shop's file, its version, the minute."""
    log = current_log()
    return str(log.path), log.version(), int(utc_now().timestamp()) // 60


@patient
def report() -> Report:
    """The owner's page as it stands."""
    return _report(moment())


def racks() -> list[RackNow]:
    """Every rack as it stands."""
    return _racks(moment())


def machine_page(machine: str) -> MachinePage:
    """A check-in page, with what the loading list says if one is kept. Raises `Refused` for an unknown machine."""
    page, found = _machine_page(machine, moment()), kept_loading()
    return answers.with_plan(page, found) if found else page


def rack_round(rack: str) -> RackRound:
    """A round of one rack. Raises `Refused` for an unknown rack."""
    return _rack_round(rack, moment())


def stores() -> Stores:
    """The shelf as it stands."""
    return _stores(moment())


def outlook() -> answers.Outlook:
    """The shop played forward, as of this quarter of an hour; anew when an order or finished parts were noted."""
    log, now = current_log(), utc_now()
    told = log.entries_of(PLANNED, Window(now - timedelta(weeks=PLANNED_WEEKS), now), now).height
    return _outlook(str(log.path), int(now.timestamp()) // PLAN_HOLDS, told)


@patient
def plan() -> Plan:
    """What is due, as the outlook has it."""
    return _plan(outlook())


@patient
def capacity() -> Capacity:
    """What the room gave and will give."""
    return _capacity(outlook())


def usual_spare(cause: str | None) -> str | None:
    """The spare that mends a cause, if any."""
    return next((row.spare for row in setup().causes("down", utc_now()) if row.cause == cause), None)


def missing_for(cause: str, model: str) -> str | None:
    """The spare that mends a cause on a model, where none is on the shelf."""
    usual = usual_spare(cause)
    spare = setup().get(Spare, usual, at=utc_now()) if usual else None
    return spare.spare if spare and is_for(spare, model) and spare.spare in _spares_out(moment()) else None


@patient
def loading() -> Loading:
    """The loading list of this quarter of an hour."""
    found = _loading(outlook())
    _lists()[str(current_log().path)] = found
    return found


def kept_loading() -> Loading | None:
    """The newest loading list, never waited for: an old one is made anew behind the pages, and still shown a while."""
    found, now = _lists().get(str(current_log().path)), utc_now()
    if found is None or now - found.at > timedelta(seconds=PLAN_HOLDS):
        _begin(current_log())
    return found if found and now - found.at < timedelta(seconds=3 * PLAN_HOLDS) else None


def loaded() -> set[str]:
    """The machines of the list on which a print was begun since."""
    return answers.loaded_since(loading(), [machine for rack in racks() for machine in rack.machines])


@patient
def reliability() -> Room:
    """Upkeep and repairs of the room, as of this hour; anew when either was noted."""
    log, now = current_log(), utc_now()
    told = log.entries_of(MENDED, Window(now - timedelta(weeks=PLANNED_WEEKS), now), now).height
    found = _rooms()[str(log.path)] = _reliability(str(log.path), int(now.timestamp()) // MENDING_HOLDS, told)
    return found[1]


def kept_reliability() -> Room | None:
    """The newest of them, never waited for."""
    found = _rooms().get(str(current_log().path))
    return found[1] if found else None


@patient
def machine_record(machine: str) -> MachineRecord:
    """The record of a machine; compared with others where these are known. Raises `Refused` for an unknown one."""
    return _machine_record(machine, moment())


def answer(kind: type[Frozen], machine: str) -> Frozen:
    """The answer that the pages show of this kind; of the records that of a machine. Raises `Refused` as they do."""
    if kind is MachineRecord:
        return machine_record(machine)
    shown: dict[type[Frozen], Callable[[], Frozen]] = {
        Report: report, Stores: stores, Plan: plan, Loading: loading, Capacity: capacity, Room: reliability,
        Review: review,
    }  # fmt: skip
    return shown[kind]()


@patient
def review() -> Review:
    """The weekly review as of the last midnight: once a day, anew only where what was known then has changed."""
    return _review(*_last_midnight())


@patient
def review_charts() -> dict[str, Spec]:
    """The charts that the review always shows (`drawn.of_review`), made once a day as well."""
    return _review_charts(*_last_midnight())


def figures() -> dict[str, str]:
    """The name of every figure that the review watches, by its code."""
    return {chart.code: ", ".join(review_words.chart_title(chart, names())) for chart in review().charts}


def prepare() -> None:
    """Begin what is looked through once a day behind the pages, so that nobody waits for it."""
    day = _last_midnight()
    if day not in _prepared():
        _prepared().add(day)
        behind(lambda: _prepare(day))


def behind(work: Callable[[], object]) -> None:
    """Do it in a thread of its own, behind the pages. Where it is refused, the page that asks for it will say so."""
    log = current_log()

    def done() -> None:
        try:
            work()
        except Refused:
            pass
        except Exception:
            # Where the shop was closed meanwhile, nobody waits for it any more.
            if is_open(log):
                raise

    Thread(target=done, daemon=True).start()


def actions(found: Review) -> list[Action]:
    """What is tried, as it stands."""
    return answers.actions(current_log(), found.charts, _as_at(moment()))


@patient
def compare(first: Days, second: Days, by: ComparedBy) -> Comparison:
    """Two periods side by side. Raises `Refused` for periods that cannot be."""
    return _compare(first, second, by, *_last_midnight())


def part_spools_for(material: str, grams: float) -> list[PartSpoolNow]:
    """The part-spools of a material that feed so many grams, the least full first."""
    fit = [p for p in _part_spools(moment()) if p.material == material and p.left.low >= grams]
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


def _pace() -> answers.Pace:
    """How long prints really take: learned once a day, anew only where what was known at midnight has changed."""
    return _pace_known(*_last_midnight())


def _last_midnight() -> tuple[str, datetime, int]:
    """What is kept for a day goes by: the shop's file, its last midnight, and the entries known then."""
    log = current_log()
    known_at = last_midnight(utc_now(), log.setup().zone)
    return str(log.path), known_at, log.noted_by(known_at)


@st.cache_resource(show_spinner=False)
def _lists() -> dict[str, Loading]:
    """The newest loading list of every shop's file."""
    return {}


def _begin(log: Log) -> None:
    """Make a list in a thread of its own, unless one is being made."""
    pace = _pace()
    if _making.acquire(blocking=False):
        behind(lambda: _make(log, pace))


def _make(log: Log, pace: answers.Pace) -> None:
    try:
        outlook = answers.Outlook(log, utc_now(), pace)
        _lists()[str(log.path)] = _listed(outlook, answers.stores(log, outlook.at))
    finally:
        _making.release()


@st.cache_resource(show_spinner=False)
def _prepared() -> set[tuple[str, datetime, int]]:
    """The days whose review was begun behind the pages."""
    return set()


def _prepare(day: tuple[str, datetime, int]) -> None:
    review_charts()
    reliability()
    for machine in setup().machines(utc_now()):
        _weeks_before(machine.machine, *day)


def _listed(outlook: answers.Outlook, shelf: Stores) -> Loading:
    """A list that differs from the one people walk with only where that is worth it."""
    before = _lists().get(str(outlook.log.path))
    return answers.loading(outlook, shelf, before)


@st.cache_resource(max_entries=2, show_spinner=False)
def _pace_known(path: str, known_at: datetime, noted: int) -> answers.Pace:  # noqa: ARG001 - what it is kept by
    return answers.pace_at(current_log(), known_at)


@st.cache_resource(max_entries=4, show_spinner=False)
def _as_at(at: Moment) -> datetime:  # noqa: ARG001 - what it is kept by
    """One time for all answers of a moment, or they would differ by the seconds between them."""
    return utc_now()


@st.cache_resource(max_entries=4, show_spinner=False)
def _report(at: Moment) -> Report:
    return answers.report(current_log(), _as_at(at), _pace(), _stores(at))


@st.cache_resource(max_entries=4, show_spinner=False)
def _racks(at: Moment) -> list[RackNow]:
    return answers.floor(current_log(), _as_at(at), _pace())


@st.cache_resource(max_entries=200, show_spinner=False)
def _machine_page(machine: str, at: Moment) -> MachinePage:
    return answers.machine_page(current_log(), machine, _as_at(at), _pace())


@st.cache_resource(max_entries=2, show_spinner=False)
def _stores(at: Moment) -> Stores:
    return answers.stores(current_log(), _as_at(at))


@st.cache_resource(max_entries=2, show_spinner=False)
def _spares_out(at: Moment) -> set[str]:
    return answers.spares_out(current_log(), _as_at(at))


@st.cache_resource(max_entries=2, show_spinner=False)
def _part_spools(at: Moment) -> list[PartSpoolNow]:
    return answers.part_spools(current_log(), _as_at(at), _pace())


@st.cache_resource(max_entries=20, show_spinner=False)
def _rack_round(rack: str, at: Moment) -> RackRound:
    return answers.rack_round(current_log(), rack, _as_at(at), _pace())


@st.cache_resource(max_entries=2, show_spinner=False)
def _outlook(path: str, quarter: int, told: int) -> answers.Outlook:  # noqa: ARG001 - what it is kept by
    return answers.Outlook(current_log(), utc_now(), _pace())


@st.cache_resource(max_entries=2, show_spinner=False, hash_funcs={answers.Outlook: id})
def _plan(outlook: answers.Outlook) -> Plan:
    return answers.plan(outlook)


@st.cache_resource(max_entries=2, show_spinner=False, hash_funcs={answers.Outlook: id})
def _capacity(outlook: answers.Outlook) -> Capacity:
    return answers.capacity(outlook)


@st.cache_resource(show_spinner=False)
def _rooms() -> dict[str, tuple[answers.Watch, Room]]:
    """The newest watch of every shop's file, and what it came to."""
    return {}


@st.cache_resource(max_entries=2, show_spinner=False)
def _reliability(path: str, hour: int, told: int) -> tuple[answers.Watch, Room]:  # noqa: ARG001 - what it is kept by
    watch = answers.Watch(current_log(), utc_now(), _pace(), _worked(*_last_midnight()))
    return watch, answers.reliability(watch, stores())


@st.cache_resource(max_entries=2, show_spinner=False)
def _worked(path: str, known_at: datetime, noted: int) -> answers.Worked:  # noqa: ARG001 - what it is kept by
    return answers.worked_before(current_log(), known_at, _pace())


@st.cache_resource(max_entries=50, show_spinner=False)
def _machine_record(machine: str, at: Moment) -> MachineRecord:
    known = _rooms().get(str(current_log().path))
    watch, before = known[0] if known else None, _weeks_before(machine, *_last_midnight())
    return answers.machine_record(current_log(), machine, _as_at(at), _pace(), watch, before)


@st.cache_resource(max_entries=200, show_spinner=False)
def _weeks_before(machine: str, path: str, known_at: datetime, noted: int) -> answers.WeeksBefore:  # noqa: ARG001
    return answers.weeks_before(current_log(), machine, known_at, _pace())


@st.cache_resource(max_entries=2, show_spinner=False, hash_funcs={answers.Outlook: id})
def _loading(outlook: answers.Outlook) -> Loading:
    return _listed(outlook, stores())


@st.cache_resource(max_entries=2, show_spinner=False)
def _review(path: str, known_at: datetime, noted: int) -> Review:  # noqa: ARG001 - what it is kept by
    return answers.review(answers.last_quarter(current_log(), known_at, _pace()))


@st.cache_resource(max_entries=2, show_spinner=False)
def _review_charts(path: str, known_at: datetime, noted: int) -> dict[str, Spec]:
    found = _review(path, known_at, noted)
    return drawn.of_review(found, names(), Clock(setup().zone, found.end))


@st.cache_resource(max_entries=8, show_spinner=False)
def _compare(first: Days, second: Days, by: ComparedBy, path: str, known_at: datetime, noted: int) -> Comparison:  # noqa: ARG001 - what it is kept by
    return answers.compare(current_log(), first, second, by, known_at, _pace())
