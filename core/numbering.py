"""The names that calculations number: models and materials."""

from __future__ import annotations

from dataclasses import dataclass

from core.setup import Machine, PrintFile, Setup


@dataclass(frozen=True)
class Numbering:
    """The models there are machines of and the materials there are files of, in order."""

    models: tuple[str, ...]
    materials: tuple[str, ...]


def numbering_of(setup: Setup) -> Numbering:
    """The names that the set-up gives."""
    models = {row.model for row in setup.history(Machine)}
    materials = {row.material for row in setup.history(PrintFile)}
    return Numbering(tuple(sorted(models)), tuple(sorted(materials)))
