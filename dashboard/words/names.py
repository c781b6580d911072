"""What the set-up calls its codes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from core.setup import DONT_KNOW, Material, Model, Person, Product, Rack, Row, Setup, Spare, UpkeepTask


@dataclass(frozen=True, slots=True)
class Names:
    """What the set-up calls its codes, table by table. A code it does not name is read out as it is."""

    products: Mapping[str, str]
    materials: Mapping[str, str]
    down: Mapping[str, str]
    scrap: Mapping[str, str]
    spares: Mapping[str, str]
    tasks: Mapping[str, str]
    people: Mapping[str, str]
    models: Mapping[str, str]
    racks: Mapping[str, str]

    @classmethod
    def of(cls, known: Setup, at: datetime) -> Names:
        """What a set-up called them at a time."""
        return cls(
            products=_named(known.all(Product, at)),
            materials=_named(known.all(Material, at)),
            down={cause.cause: cause.name for cause in known.causes("down", at)},
            scrap={cause.cause: cause.name for cause in known.causes("scrap", at)},
            spares=_named(known.all(Spare, at)),
            tasks=_named(known.all(UpkeepTask, at)),
            people=_named(known.all(Person, at)),
            models=_named(known.all(Model, at)),
            racks=_named(known.all(Rack, at)),
        )


def _named(rows: Iterable[Row]) -> dict[str, str]:
    return {str(row.identity()[0]): row.name for row in rows}  # type: ignore[attr-defined]


def named(code: str, names: Mapping[str, str]) -> str:
    """The name of a code, or the code."""
    return "Don't know yet" if code == DONT_KNOW else names.get(code, code)
