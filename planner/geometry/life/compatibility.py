"""The compatibility graph of a pattern on a pair: positions that agree, and positions that make a mount."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

from planner.geometry.life.cache import AgreementCache
from planner.geometry.life.grid import Roles, looked_up
from planner.geometry.life.packing import most_agreeing
from planner.geometry.life.positions import Position

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Combination = tuple[int, ...]
"""A mount as the numbers of its positions, one for each piece."""


class CompatibilityGraph:
    """Positions of one pattern on one pair. Two agree if both may be used; some together make a mount."""

    def __init__(self, cache: AgreementCache, positions: Sequence[Position]) -> None:
        self.cache = cache
        self.positions = list(positions)
        self.by_piece: list[list[int]] = [[] for _ in cache.pattern.pieces]
        for v, position in enumerate(self.positions):
            self.by_piece[position.piece].append(v)

    @cached_property
    def combinations(self) -> NDArray[np.int64]:
        """Every mount of agreeing positions that adds a hole: one row a mount, one column a piece."""
        return self._ranked[0]

    @cached_property
    def mounts(self) -> list[Combination]:
        """The rows of ``combinations`` as tuples of position numbers."""
        return [tuple(row) for row in self.combinations.tolist()]

    @cached_property
    def from_mark_um(self) -> NDArray[np.int64]:
        """The smallest distance of the boot centre from the mark for each mount, µm."""
        return self._ranked[1]

    @cached_property
    def references_um(self) -> NDArray[np.int64]:
        """The place of each position, µm from the pair's reference."""
        import numpy as np

        return np.array([p.reference_um for p in self.positions], dtype=np.int64)

    @cached_property
    def _ranked(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        import numpy as np

        pieces = [np.array(piece, dtype=np.int64) for piece in self.by_piece]
        if not all(len(piece) for piece in pieces):
            return np.zeros((0, len(pieces)), dtype=np.int64), np.zeros(0, dtype=np.int64)
        nearest = self.cache.nearest([self.references_um[piece] for piece in pieces])
        found = np.nonzero(nearest >= 0)
        rows = np.stack([piece[index] for piece, index in zip(pieces, found, strict=True)], axis=1)
        new = np.array([p.is_new for p in self.positions], dtype=bool)
        kept = new[rows].any(axis=1)
        for a, b in combinations(range(len(pieces)), 2):
            kept &= self.agree_matrix[rows[:, a], rows[:, b]]
        return rows[kept], nearest[found][kept]

    @cached_property
    def useful(self) -> int:
        """The positions that some mount uses, as a bit set."""
        return sum(1 << v for v in set(self.combinations.ravel().tolist()))

    @cached_property
    def agree_matrix(self) -> NDArray[np.bool_]:
        """The (positions, positions) table: True if both may be used in one life; False on the diagonal."""
        import numpy as np

        matrix = np.ones((len(self.positions), len(self.positions)), dtype=bool)
        alike: dict[Roles, list[int]] = {}
        standing_on: dict[str, list[int]] = {}
        for v, position in enumerate(self.positions):
            if position.is_new:
                alike.setdefault(position.roles, []).append(v)
            for hole in position.reuses:
                standing_on.setdefault(hole, []).append(v)
        classes = list(alike.items())
        for index, (one, ones) in enumerate(classes):
            for other, others in classes[: index + 1]:
                table = self.cache.agreement(one, other)
                fine = looked_up(table, self.references_um[ones], self.references_um[others])
                matrix[np.ix_(ones, others)] = fine
        matrix &= matrix.T
        for upon in standing_on.values():
            matrix[np.ix_(upon, upon)] = False
        np.fill_diagonal(matrix, val=False)
        return matrix

    @cached_property
    def agrees(self) -> list[int]:
        """A bit set for each position: the other positions that may be used in the same life."""
        import numpy as np

        packed = np.packbits(self.agree_matrix, axis=1, bitorder="little")
        return [int.from_bytes(row.tobytes(), "little") for row in packed]

    def upper_bound(self, achieved: int = 0) -> int:
        """Return an upper bound: the largest set of agreeing positions of the piece that has the fewest.

        Looks no further once a piece allows no more than what is ``achieved``.
        """
        bound: int | None = None
        for piece in sorted(self.by_piece, key=len):
            allowed = sum(1 << v for v in piece) & self.useful
            size = most_agreeing(self.agrees, allowed, {})
            bound = size if bound is None else min(bound, size)
            if bound <= achieved:
                break
        return bound or 0
