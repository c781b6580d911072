"""How often to overhaul a machine that wears and is only mended between: by what an overhaul and a failure cost.

Barlow and Proschan, Mathematical Theory of Reliability (1965), chapter 4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Weibull:
    """Ages at failure: a part outlasts t hours with the chance exp(-(t / `scale`) ** `shape`)."""

    scale: float
    shape: float

    def __post_init__(self) -> None:
        if not (0 < self.scale < math.inf and 0 < self.shape < math.inf):
            raise ValueError(f"scale and shape must be numbers above 0, got {self.scale} and {self.shape}")


@dataclass(frozen=True)
class Costs:
    """What a `planned` overhaul costs and what a `failure` does, hours lost included, in one currency."""

    planned: float
    failure: float

    def __post_init__(self) -> None:
        if not (0 < self.planned < math.inf and 0 < self.failure < math.inf):
            raise ValueError(f"both costs must be numbers above 0, got {self.planned} and {self.failure}")


def minimal_repair(law: Weibull, costs: Costs) -> float:
    """The hours between two overhauls of a machine that is only mended between (policy II of Barlow and Hunter 1960).

    Mending leaves it as bad as old, so failures come as a power law of the hours since the last overhaul:
    scale (planned / (failure (shape - 1))) ** (1 / shape). Infinite for a machine that does not get worse.
    """
    if law.shape <= 1:
        return math.inf
    return float(law.scale * (costs.planned / (costs.failure * (law.shape - 1))) ** (1 / law.shape))
