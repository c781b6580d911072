"""The owner's page, as it is told."""

from __future__ import annotations

from datetime import datetime

from core.floor.types import RackNow
from core.frozen import Frozen
from core.reading.types import (
    Mending,
    NeedsHand,
    Period,
    PrintTime,
    Question,
    RunsOut,
    Series,
    StopRate,
    Trust,
    Unnoted,
)
from core.stores.types import OrderNow


class Report(Frozen):
    """The owner's page: the answers to its questions in their order.

    `out_now` machines of `in_service`, those not set aside, are out of service now. `print_times` are those of
    the files in use that were seen through, the ones furthest from what they state first.
    """

    shop: str
    zone: str
    at: datetime
    trust: Trust
    needs: list[NeedsHand]
    racks: list[RackNow]
    in_service: int
    out_now: int
    out_now_share: float
    planning_downtime: float
    yesterday: Period
    week: Period
    series: list[Series]
    questions: list[Question]
    print_times: list[PrintTime]
    unnoted: list[Unnoted]
    stops: list[StopRate]
    mending: Mending
    runs_out: RunsOut
    order_now: list[OrderNow]
