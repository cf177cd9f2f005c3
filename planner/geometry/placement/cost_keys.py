"""The costs of a way as one whole number: holes, minutes, offset, clearance lost. Less is better."""

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
    """``least`` (pairs, soles, rungs): the best key of each rung, `NO_WAY` where there is none."""

    def __init__(self, pairs: int, soles: int, cap_um: int) -> None:
        """``cap_um``: clearance as counted, below 2**14."""
        self._cap = cap_um
        self.least = np.full((pairs, soles, len(Rung)), NO_WAY, np.int64)

    def of(self, drilled: Long, minutes: Long, offset_um: Long, clearance_um: Long | int) -> Long:
        """The key of each way; ``offset_um`` is its size, ``clearance_um`` capped."""
        key = (drilled << _MINUTES) | minutes
        key = (key << _OFFSET) | offset_um
        found: Long = (key << _LOST) | (self._cap - clearance_um)
        return found

    def add(self, pair: npt.NDArray[np.intp], sole: npt.NDArray[np.intp], rung: Long, key: Long) -> None:
        """Ways that count where they are the best of their rung so far."""
        np.minimum.at(self.least, (pair, sole, rung), key)

    def put(self, pairs: npt.NDArray[np.intp], soles: npt.NDArray[np.intp], part: Keys) -> None:
        """A part of the pairs with some of the soles."""
        self.least[pairs[:, None], soles] = part.least

    def parts(self) -> tuple[Bools, Long, Long, Long, Long]:
        """(there, drilled, minutes, offset, clearance) of the best of each rung."""
        there: Bools = self.least != NO_WAY
        key = np.where(there, self.least, 0)
        lost = key & ((1 << _LOST) - 1)
        key = key >> _LOST
        offset = key & ((1 << _OFFSET) - 1)
        key = key >> _OFFSET
        return there, key >> _MINUTES, key & ((1 << _MINUTES) - 1), offset, self._cap - lost
