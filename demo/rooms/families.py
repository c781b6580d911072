"""The families by name, and those on which nothing is ever tuned."""

from collections.abc import Callable

from demo.rooms import bursts, crews, larkfield, lone, queues, rounds, spread
from demo.rooms.told import Told

#: Makes one room of a family from its seed and the share of entries that are missing.
FAMILIES: dict[str, Callable[[int, float], Told]] = {
    "larkfield": larkfield.room,
    "queues": queues.room,
    "bursts": bursts.room,
    "rounds": rounds.room,
    "crews": crews.room,
    "lone": lone.room,
    "spread": spread.room,
}
#: Judged on, but never looked at while a constant or a law is found.
SET_APART = ("lone", "spread")
