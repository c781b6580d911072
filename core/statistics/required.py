"""How many machines a demand takes, by the planning rule of the trade."""

from __future__ import annotations

import numpy as np

from core.arrays import Numbers


def machines_required(
    demand: Numbers, hours: Numbers, lot: Numbers, between: Numbers, available: float, cushion: float
) -> float:  # fmt: skip
    """Machines for the `demand` of every product, in parts: each takes so many `hours`, and so many more pass `between`
    two lots of it; a machine is `available` so many hours, of which the share `cushion` is held back.

    Krajewski and Ritzman, Operations Management: (sum of D p + D / Q s) / (N (1 - C)), not rounded up.
    """
    return float(np.sum(demand * hours + demand / lot * between) / (available * (1 - cushion)))
