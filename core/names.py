"""The names that calculations number: models and materials."""

from __future__ import annotations

from dataclasses import dataclass

from core.setup import Machine, PrintFile, Setup


@dataclass(frozen=True)
class Names:
    """The models there are machines of and the materials there are files of, in order."""

    models: tuple[str, ...]
    materials: tuple[str, ...]


def names_of(setup: Setup) -> Names:
    """The names that the set-up gives."""
    models = {row.model for row in setup.history(Machine)}
    materials = {row.material for row in setup.history(PrintFile)}
    return Names(tuple(sorted(models)), tuple(sorted(materials)))
