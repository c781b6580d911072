"""Check-ins: facts in the past tense, one class a kind, never changed after they are made.

Every entry says when it happened (`at`), when it was tapped (`noted_at`) and by whom (`by`); the log adds when it came
in (`arrived_at`), which is what decides whether it was known at a moment.
The client makes `id` before it sends, so a resend or a double tap is the same entry.
Times are kept in UTC. A mistake is not edited: `EntryVoided` takes an entry out, a new one restates.
"""

from datetime import UTC, datetime
from typing import Annotated, Literal, get_args
from uuid import UUID, uuid4

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
    TypeAdapter,
)


def _in_utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


UtcTime = Annotated[AwareDatetime, AfterValidator(_in_utc)]
Code = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60)]
#: Characters of a note.
NOTE_LENGTH = 500
Note = Annotated[str, StringConstraints(strip_whitespace=True, max_length=NOTE_LENGTH)]
OptionalNote = Annotated[Note | None, AfterValidator(lambda note: note or None)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
Amount = Annotated[float, Field(ge=0, le=1e9, allow_inf_nan=False)]


def _split(value: object) -> object:
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split(";") if part.strip())
    return value


def _joined(codes: tuple[str, ...]) -> str:
    return "; ".join(codes)


#: Several codes in one field; one text with `;` between them in CSV files and in the store.
Codes = Annotated[
    tuple[Annotated[Code, StringConstraints(pattern=r"^[^;]*$")], ...],
    BeforeValidator(_split),
    PlainSerializer(_joined),
]

#: What a person sees on a machine in passing.
Sight = Literal["printing", "done", "stopped", "empty", "down", "upkeep"]
#: The figures of the shop that are watched for changes, and that an action may be meant to move.
Figure = Literal[
    "utilisation", "downtime", "waiting", "good", "scrap", "stops", "faults", "late", "unnoted", "fault cause",
    "scrap cause",
]  # fmt: skip
#: The sights at which a print is on the platform.
PARTS_THERE: tuple[Sight, ...] = ("printing", "done", "stopped")


class Entry(BaseModel):
    """What every entry carries.

    `arrived_at` is for the log to stamp; nothing where a shop brought it along from before its log began: such an entry
    counts as known from when it was noted.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: str
    id: UUID = Field(default_factory=uuid4)
    at: UtcTime
    noted_at: UtcTime
    arrived_at: UtcTime | None = None
    by: Code


class AtMachine(Entry):
    """An entry about one machine."""

    machine: Code


class PrintStarted(AtMachine):
    """A print was started. `order` empty means for stock; `proving` marks a test print."""

    kind: Literal["PrintStarted"] = "PrintStarted"
    file: Code
    revision: Annotated[int, Field(ge=1)]
    order: Code | None = None
    proving: bool = False


class PartsOff(AtMachine):
    """Parts were taken off. Scrap is counted; good is what was on the platform less scrap.

    `on_platform` only where it was not what the print file says. `ended` says whether the print
    ran to its end by itself or was stopped (failed, or a person stopped it).
    """

    kind: Literal["PartsOff"] = "PartsOff"
    scrap: Count = 0
    scrap_cause: Code | None = None
    on_platform: Count | None = None
    ended: Literal["itself", "stopped"] = "itself"


class Looked(AtMachine):
    """Somebody looked at the machine, on a round or in passing. `round` is shared by one round's looks.

    "upkeep" is planned work going on, such as a machine on the bench overnight; its end is `UpkeepDone`.
    `reckoned` is what the reckoning held at an open question, one it did not show; nothing at other looks.
    """

    kind: Literal["Looked"] = "Looked"
    saw: Sight
    round: UUID | None = None
    reckoned: Sight | None = None


class WentDown(AtMachine):
    """The machine needs mending. `spare` names the spare it waits for."""

    kind: Literal["WentDown"] = "WentDown"
    cause: Code
    spare: Code | None = None


class CameBack(AtMachine):
    """The machine is mended and can run; its platform is clear.

    `spares` are those that went in; where none is named, the one it waited for did.
    """

    kind: Literal["CameBack"] = "CameBack"
    spares: Codes = ()
    note: OptionalNote = None


class SpoolFitted(AtMachine):
    """A spool was fitted: net grams on it, and what was left on the old one if it was weighed."""

    kind: Literal["SpoolFitted"] = "SpoolFitted"
    material: Code
    grams: Amount
    left_grams: Amount | None = None


class UpkeepDone(AtMachine):
    """Planned maintenance ended at `at` after `minutes` of work."""

    kind: Literal["UpkeepDone"] = "UpkeepDone"
    task: Code
    minutes: Annotated[float, Field(ge=0, le=7 * 24 * 60, allow_inf_nan=False)]
    spares: Codes = ()
    note: OptionalNote = None


class SetAside(AtMachine):
    """The machine is not meant to run."""

    kind: Literal["SetAside"] = "SetAside"
    note: OptionalNote = None


class PutBack(AtMachine):
    """The machine is meant to run again."""

    kind: Literal["PutBack"] = "PutBack"


class CardLoaded(AtMachine):
    """A card with this revision of a card set went into the machine."""

    kind: Literal["CardLoaded"] = "CardLoaded"
    card_set: Code
    revision: Annotated[int, Field(ge=1)]


class StockCounted(Entry):
    """An item was counted on the shelf."""

    kind: Literal["StockCounted"] = "StockCounted"
    item: Code
    quantity: Amount


class StockOrdered(Entry):
    """An item was ordered from its supplier."""

    kind: Literal["StockOrdered"] = "StockOrdered"
    item: Code
    quantity: Amount
    expected: UtcTime | None = None


class StockReceived(Entry):
    """A delivery came in."""

    kind: Literal["StockReceived"] = "StockReceived"
    item: Code
    quantity: Amount


class OrderTaken(Entry):
    """A customer's order was accepted."""

    kind: Literal["OrderTaken"] = "OrderTaken"
    order: Code
    product: Code
    quantity: Amount
    due: UtcTime


class OrderPacked(Entry):
    """Part or all of an order was packed; `minutes` of one person's work if somebody timed it."""

    kind: Literal["OrderPacked"] = "OrderPacked"
    order: Code
    quantity: Amount
    minutes: Annotated[float, Field(ge=0, le=24 * 60, allow_inf_nan=False)] | None = None


class OrderShipped(Entry):
    """An order left the shop."""

    kind: Literal["OrderShipped"] = "OrderShipped"
    order: Code


class AirRead(Entry):
    """The room's air was read off an instrument: degrees Celsius, per cent relative humidity, ug/m3."""

    kind: Literal["AirRead"] = "AirRead"
    place: Code
    celsius: Annotated[float, Field(ge=-40, le=80)] | None = None
    humidity_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    pm25_ug_m3: Amount | None = None


class EntryVoided(Entry):
    """An earlier entry is not true. `which` is its id."""

    kind: Literal["EntryVoided"] = "EntryVoided"
    which: UUID
    why: Note


class QuestionClosed(Entry):
    """Somebody answered an open question without a new fact, such as "nobody knows any more"."""

    kind: Literal["QuestionClosed"] = "QuestionClosed"
    question: Code
    answer: Note


class ActionAgreed(Entry):
    """Something is tried: `note` says what, `who` does it by `due`, and `figure` should move.

    `of` says of which file, model, rack or cause the figure is; empty means of the shop.
    """

    kind: Literal["ActionAgreed"] = "ActionAgreed"
    note: Annotated[Note, Field(min_length=1)]
    who: Code
    due: UtcTime
    figure: Figure
    of: Code | None = None


class ActionEnded(Entry):
    """Nothing more is done about an action; `which` is its id, `answer` whether it was done or dropped."""

    kind: Literal["ActionEnded"] = "ActionEnded"
    which: UUID
    answer: Literal["done", "dropped"]


AnyEntry = (
    PrintStarted
    | PartsOff
    | Looked
    | WentDown
    | CameBack
    | SpoolFitted
    | UpkeepDone
    | SetAside
    | PutBack
    | CardLoaded
    | StockCounted
    | StockOrdered
    | StockReceived
    | OrderTaken
    | OrderPacked
    | OrderShipped
    | AirRead
    | EntryVoided
    | QuestionClosed
    | ActionAgreed
    | ActionEnded
)

KINDS: dict[str, type[Entry]] = {cls.__name__: cls for cls in get_args(AnyEntry)}
entry_adapter: TypeAdapter[AnyEntry] = TypeAdapter(Annotated[AnyEntry, Field(discriminator="kind")])


def columns() -> list[str]:
    """Every field of every kind, once, in a fixed order: the columns of `entries.csv` and of the store."""
    first = [*Entry.model_fields, "machine"]
    others = {name for cls in KINDS.values() for name in cls.model_fields}
    return first + sorted(others.difference(first))


#: What comes first when two entries of one machine carry the same time: parts come off before
#: the next print starts, whichever was tapped first.
SAME_MOMENT = (
    "Looked done", "Looked stopped", "PartsOff", "Looked empty", "WentDown", "Looked down", "Looked upkeep",
    "UpkeepDone", "CameBack", "PutBack", "SetAside", "SpoolFitted", "CardLoaded", "PrintStarted", "Looked printing",
)  # fmt: skip


#: A removal noted up to so long after the next start is taken to belong before it: the two are one
#: visit, and a time told from memory is off by minutes.
OUT_OF_ORDER_MINUTES = 30
#: So many actions at once get done; more are a list of wishes.
MOST_ACTIONS = 3
#: What was tapped later than this after it happened was told from memory.
FROM_MEMORY_MINUTES = 20


def moment(entry: Entry) -> tuple[datetime, int, str]:
    """Where an entry stands in time: ties go by `SAME_MOMENT`, then by id, never by order of writing."""
    name = f"Looked {entry.saw}" if isinstance(entry, Looked) else entry.kind
    return (entry.at, SAME_MOMENT.index(name) if name in SAME_MOMENT else 0, str(entry.id))
