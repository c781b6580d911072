"""What set-up rows must satisfy together: one named rule a function.

A rule gets the whole set-up, the new rows included, and the new rows; it yields each new row that
breaks it with a sentence. What one row alone must satisfy stands in `core.setup`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from core.setup import (
    Cause,
    Machine,
    Material,
    Model,
    PrintFile,
    Product,
    Rack,
    Row,
    Setup,
    Shift,
    Spare,
    SpecialDay,
    Supply,
    UpkeepTask,
)

Finding = tuple[Row, str]
Rule = Callable[[Setup, Sequence[Row]], Iterator[Finding]]


@dataclass(frozen=True, slots=True)
class Broken:
    """A row that cannot be taken: its place among the rows given, the rule and the sentence."""

    index: int
    rule: str
    sentence: str


class Reference(NamedTuple):
    """A field that names something of another table."""

    row: type[Row]
    field: str
    target: type[Row]


REFERENCES = (
    Reference(Machine, "model", Model),
    Reference(Machine, "rack", Rack),
    Reference(PrintFile, "product", Product),
    Reference(PrintFile, "material", Material),
    Reference(PrintFile, "models", Model),
    Reference(Spare, "models", Model),
    Reference(UpkeepTask, "models", Model),
    Reference(UpkeepTask, "spare", Spare),
    Reference(Cause, "spare", Spare),
)


def check(known: Setup, rows: Sequence[Row]) -> list[Broken]:
    """The rows of `rows` that must not be added to `known`, in order; all others may be, together.

    A row that leans on a bad row is bad as well, so the rules are asked again until nothing changes.
    """
    good = dict(enumerate(rows))
    broken: dict[int, Broken] = {}
    while found := _found(known, good):
        broken |= found
        good = {index: row for index, row in good.items() if index not in found}
    return [broken[index] for index in sorted(broken)]


def _found(known: Setup, good: dict[int, Row]) -> dict[int, Broken]:
    places = {id(row): index for index, row in good.items()}
    rows = list(good.values())
    setup = Setup([*known.rows, *rows])
    return {
        places[id(row)]: Broken(places[id(row)], rule.__name__, sentence)
        for rule in RULES
        for row, sentence in rule(setup, rows)
    }


def refers_to_known_things(setup: Setup, rows: Sequence[Row]) -> Iterator[Finding]:
    """A machine's model and rack, a file's product, material and models ... stand in their own tables."""
    known = {target: {row.identity()[0] for row in setup.history(target)} for _, _, target in REFERENCES}
    for row in rows:
        for field, code, target in _named_by(row):
            if code not in known[target]:
                sentence = f"{field} is '{code}', which {target.table} does not have: correct it, or add '{code}'."
                yield row, sentence


def _named_by(row: Row) -> Iterator[tuple[str, str, type[Row]]]:
    for about, field, target in REFERENCES:
        if isinstance(row, about):
            codes = getattr(row, field)
            yield from ((field, code, target) for code in ([codes] if isinstance(codes, str) else codes or ()))


def one_machine_a_place(setup: Setup, rows: Sequence[Row]) -> Iterator[Finding]:
    """No two machines in service stand in the same place of a rack at the same time."""
    new = {id(row) for row in rows}
    noted = {id(row): place for place, row in enumerate(setup.rows)}
    for moment in sorted({row.since for row in setup.history(Machine)}):
        taken: dict[tuple[str, int], Machine] = {}
        for machine in setup.machines(moment):
            other = taken.setdefault((machine.rack, machine.place), machine)
            first, later = sorted((machine, other), key=lambda row: noted[id(row)])
            if first is not later and id(later) in new:
                sentence = (
                    f"Place {machine.place} of rack {machine.rack} would hold {first.machine} and "
                    f"{later.machine} from {moment:%Y-%m-%d}: give one of them another place."
                )
                yield later, sentence


def shift_has_a_length(setup: Setup, rows: Sequence[Row]) -> Iterator[Finding]:
    """Staffed time from a minute to the same minute may mean nothing or a whole day: nobody guesses."""
    for row in rows:
        if isinstance(row, Shift | SpecialDay) and row.hands and row.start and row.start == row.end:
            sentence = (
                f"The shift starts and ends at {row.start:%H:%M}: give its end, two shifts for a day "
                "round the clock, or 0 hands where nobody works."
            )
            yield row, sentence


def one_item_a_code(setup: Setup, rows: Sequence[Row]) -> Iterator[Finding]:
    """A code is a material, a spare or a supply, never two: stock entries name items by their code."""
    new = {id(row) for row in rows}
    owner: dict[object, type[Row]] = {}
    for row in setup.rows:
        if isinstance(row, Material | Spare | Supply):
            (code,) = row.identity()
            first = owner.setdefault(code, type(row))
            if first is not type(row) and id(row) in new:
                sentence = (
                    f"'{code}' is in {first.table} already, and stock entries could not tell the two apart: "
                    "give this one another code."
                )
                yield row, sentence


RULES: tuple[Rule, ...] = (
    refers_to_known_things,
    one_machine_a_place,
    shift_has_a_length,
    one_item_a_code,
)
