"""The skis of many pairs as arrays, read once for every pattern. Equal skis share a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.policy import Policy
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.hole_table import Bools, HoleTable, Ints, hole_tables

Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiRows:
    """Different skis, a row each. ``of[side]`` (pairs,): the row of that ski of each pair.

    ``shift`` (rows,): added to an x from the pair's reference to get the x from the ski's own mark.
    """

    table: HoleTable
    shift: Ints
    of: dict[Side, Rows]

    def between(self, low_um: int, high_um: int) -> SkiRows:
        """Return the rows with only the holes whose x lies in this range."""
        return replace(self, table=self.table.between(low_um, high_um))

    def pairs_with(self, flagged: Bools) -> Bools:
        """Return (pairs,): True where either ski is among the flagged rows."""
        either: Bools = flagged[self.of[Side.A]] | flagged[self.of[Side.B]]
        return either


class PairTables:
    """Pairs as arrays. ``opened`` (pairs,): open and screwed holes; ``mounted``: a binding is on.

    ``on_grid``: both marks stand a whole number of half millimetres from the pair's reference.
    """

    def __init__(self, pairs: Sequence[Pair], policy: Policy) -> None:
        """Reads every hole once. Raises BadInput for an unset policy."""
        self.pairs = tuple(pairs)
        self._sides = hole_tables(pairs, policy)
        self.shift = np.array(
            [[frame_of(pair).shift_um[side] for side in Side] for pair in pairs], np.int32
        ).reshape(-1, 2)
        self.on_grid: Bools = (self.shift % BENCH_STEP_UM == 0).all(axis=1)
        self.mounted: Bools = np.array([pair.current_mount is not None for pair in pairs], np.bool_)
        self.opened = np.array(
            [sum(h.state.plugged_if_left for ski in pair.skis.values() for h in ski.holes) for pair in pairs],
            np.int32,
        )

    @property
    def asked_um(self) -> Ints:
        """The distances that all the holes ask, µm."""
        return np.concatenate([t.asked[t.asked > 0] for t in self._sides.values()])

    def rows(self, chosen: Rows) -> SkiRows:
        """Return the skis of the chosen pairs; a ski B that is equal to its ski A shares the row."""
        a, b = (self._sides[side].rows(chosen) for side in Side)
        shift = self.shift[chosen]
        alike = shift[:, 0] == shift[:, 1]
        for name in HoleTable.__slots__:
            same = getattr(a, name) == getattr(b, name)
            alike &= same.reshape(len(chosen), -1).all(axis=1)
        other = np.flatnonzero(~alike)
        of_a = np.arange(len(chosen))
        of_b = of_a.copy()
        of_b[other] = len(chosen) + np.arange(len(other))
        both = (a, b.rows(other))
        return SkiRows(
            table=HoleTable(
                **{n: np.concatenate([getattr(table, n) for table in both]) for n in HoleTable.__slots__}
            ),
            shift=np.concatenate([shift[:, 0], shift[other, 1]]),
            of={Side.A: of_a, Side.B: of_b},
        )
