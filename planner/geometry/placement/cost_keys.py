"""The costs of a way as one whole number: holes, minutes, offset, lost clearance. Less is better."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from planner.geometry.placement.hole_table import Bools
from planner.plan.values import Rung

Long = npt.NDArray[np.int64]
_LOST, _OFFSET, _MINUTES = 14, 15, 20
"""Bits of each part; holes take the rest."""
NO_WAY = np.iinfo(np.int64).max


class Keys:
    """The best key of each rung, ``least`` (pairs, soles, rungs); `NO_WAY` where there is none."""

    def __init__(self, pairs: int, soles: int, cap_um: int) -> None:
        """Take ``cap_um``, the largest clearance that is counted, below 2**14."""
        self._cap = cap_um
        self.least = np.full((pairs, soles, len(Rung)), NO_WAY)

    def of(self, drilled: Long, minutes: Long, offset_um: Long, clearance_um: Long | int) -> Long:
        """Return the key of each way; ``offset_um`` is the size of the offset, ``clearance_um`` is capped."""
        # most important part in the highest bits: comparing two numbers compares the parts in order
        key = (drilled << _MINUTES) | minutes
        key = (key << _OFFSET) | offset_um
        found: Long = (key << _LOST) | (self._cap - clearance_um)
        return found

    def add(self, pair: npt.NDArray[np.intp], sole: npt.NDArray[np.intp], rung: Long, key: Long) -> None:
        """Add ways; each counts where it is the best of its rung so far."""
        np.minimum.at(self.least, (pair, sole, rung), key)

    def put(self, pairs: npt.NDArray[np.intp], soles: npt.NDArray[np.intp], part: Keys) -> None:
        """Put in the keys of a part of the pairs with some of the soles."""
        self.least[pairs[:, None], soles] = part.least

    def parts(self) -> tuple[Bools, Long, Long, Long, Long]:
        """Return (found, drilled, minutes, offset, clearance) of the best way of each rung."""
        there: Bools = self.least != NO_WAY
        key = np.where(there, self.least, 0)
        lost = key & ((1 << _LOST) - 1)
        key = key >> _LOST
        offset = key & ((1 << _OFFSET) - 1)
        key = key >> _OFFSET
        return there, key >> _MINUTES, key & ((1 << _MINUTES) - 1), offset, self._cap - lost
