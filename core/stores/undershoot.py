"""How far below min an item is at the review at which it is ordered.

Nobody sees the moment at which min is passed: the shelf is gone through at reviews, and the position then is below min
by what was used since. A lot that lasts a little longer than a whole number of reviews is nearly always seen late, one
that lasts a little less nearly always at once: so the law is reckoned, not taken as even over a review. Laws are on the
grid of `amounts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, rfft

from core.arrays import Flags, Numbers, Rows
from core.stores.amounts import CELLS

#: Orders that the rest of a pack is followed over, and the last of them that are taken together: what is left may come
#: back every second or third order.
TURNS, TOGETHER = 6, 4
#: How much a damped series has faded over twice the cells; its square root is how much that blows up rounding.
FADED = 1e-10


def undershoot(use: Numbers, lot: Rows, pack: Rows, single: Flags) -> Numbers:
    """The law of how far below min the position is at the review at which it is ordered [items, cells].

    `use` is the law of the use between two reviews, `lot` what lies between min and max and `pack` what an order is
    a multiple of, both [items] in cells, `lot` less than `CELLS`; where cells are `single` units all is ordered that
    is in the cell of min, else half, for what is in a cell of many units lies anywhere in it.

    After an order the position is max less a rest that fills no pack, and goes down by one use at a time until it is
    at min or below (the renewal argument of Veinott and Wagner, Management Science 11 (1965) 525-552, from memory);
    what it is below then leaves the next rest.
    """
    walk = _Walk(use, lot, np.where(single, 0.0, 0.5))
    # Of a lot of one pack, and of one of very many, the rest has this law already.
    turns = [_tail(use)]
    for _ in range(TURNS):
        turns.append(walk.below(_rest(turns[-1], pack)))
    return np.asarray(np.mean(turns[-TOGETHER:], axis=0))


def visits(use: Numbers) -> Numbers:
    """How many reviews on average find so many cells used since the start [items, cells]: 1 / (1 - use) as a series.

    By a transform on a circle inside the unit circle (Abate and Whitt, Operations Research Letters 12 (1992) 245-251,
    from memory).
    """
    fade = FADED ** (np.arange(CELLS) / (2 * CELLS))
    return np.asarray(irfft(1 / (1 - rfft(use * fade, 2 * CELLS)), 2 * CELLS)[:, :CELLS] / fade)


def _tail(use: Numbers) -> Numbers:
    """What is below min long after the start, seen at any moment alike: the chance of more use than that, scaled."""
    more = np.maximum(1 - np.cumsum(use, axis=1), 0) + 1e-12
    return np.asarray(more / more.sum(axis=1, keepdims=True))


def _rest(below: Numbers, pack: Rows) -> Numbers:
    """What fills no pack of an order that is so much below min [items, cells]."""
    items = len(below)
    place = np.arange(items)[:, None] * CELLS + np.arange(CELLS) % pack[:, None]
    return np.asarray(np.bincount(place.ravel(), below.ravel(), items * CELLS), float).reshape(below.shape)


@dataclass(frozen=True)
class _Walk:
    """The position from one order to the next; `stays` is the share of the cell of min that is still above it."""

    use: Numbers
    lot: Rows
    stays: Numbers

    @cached_property
    def used(self) -> npt.NDArray[np.complex128]:
        """The transform of the use between two reviews."""
        return np.asarray(rfft(self.use, 2 * CELLS))

    @cached_property
    def seen(self) -> npt.NDArray[np.complex128]:
        """The transform of how often each amount used is found."""
        return np.asarray(rfft(visits(self.use), 2 * CELLS))

    @cached_property
    def above(self) -> Numbers:
        """The share of each amount used since an order up to max at which the position is above min."""
        cell, edge = np.arange(CELLS), self.lot[:, None]
        return np.where(cell < edge, 1.0, np.where(cell == edge, self.stays[:, None], 0.0))

    def below(self, rest: Numbers) -> Numbers:
        """What is below min at the first review that finds the position there, after an order that left a rest."""
        found = irfft(rfft(rest, 2 * CELLS) * self.seen, 2 * CELLS)[:, :CELLS]
        passed = irfft(rfft(found * self.above, 2 * CELLS) * self.used, 2 * CELLS)
        passed = np.take_along_axis(passed, self.lot[:, None] + np.arange(CELLS), axis=1)
        # Of the reviews that find the cell of min, so many are the first to.
        at_min = np.take_along_axis(found, self.lot[:, None], axis=1)[:, 0]
        passed[:, 0] = (1 - self.stays) * at_min * (1 - self.use[:, 0])
        passed = np.maximum(passed, 0)
        return np.asarray(passed / passed.sum(axis=1, keepdims=True))
