"""Firmware that changes what the prints of a model take: found, and taken for none where there was none."""

import numpy as np
import polars as pl
import pytest

from core.habits.changed_times import as_now
from core.habits.sightings import Sightings
from tests.core.habits.test_print_times import COMMON, MODELS, NAMES, STAFFED, TAKING_OFF, Sim, learn_times


@pytest.mark.parametrize("changed", [0.95, 1.06])
def test_where_firmware_changed_the_times_of_a_model_they_are_those_since(changed: float) -> None:
    prints, truth = Sim(prints=1500, changed=changed).run(8)
    ratios = learn_times(prints).ratios
    for kind in (k for k in COMMON if k[0] != "grille"):
        since = truth[kind] * (changed if kind[2] == MODELS[1] else 1.0)
        assert ratios[kind][0] == pytest.approx(since, rel=0.02)


@pytest.mark.full
def test_times_that_never_changed_are_seldom_taken_to_have() -> None:
    # Were they by the prior alone, one of ten models had: ten rooms of two.
    prints = [Sim(shop=shop, prints=400).run(60 + seed)[0] for seed, shop in enumerate(np.linspace(0.85, 1.3, 10))]
    assert [changed(one) for one in prints] == [False] * 10


def changed(prints: pl.DataFrame) -> bool:
    kinds = {kind: np.flatnonzero([row == kind for row in prints.select(NAMES[:3]).rows()]) for kind in COMMON}
    sightings = Sightings(prints, kinds, STAFFED, TAKING_OFF)
    return not as_now(prints, sightings, sightings.ways()[0]).equals(prints)
