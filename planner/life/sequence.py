"""From positions to mounts: the most further mounts that one ski can take, each on holes of its own.

A further mount adds at least one hole, and no two further mounts share a hole: a piece may stand on old
holes once, else on fresh ones that keep the asked spacing from everything old and new. So counted, a mount
is what a bench calls one, and a ski's life is not stretched by moving one piece half a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

from planner.life.grid import Roles, looked_up
from planner.life.memory import Memory
from planner.life.packing import bits, largest_set
from planner.life.positions import Position
from planner.life.search import searched_order

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Combination = tuple[int, ...]

STEPS = 100_000
"""Bound of the search for one pattern on one pair; counted, so that every machine answers alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherMount:
    """One mount of the order: sole, offset, and how many holes it adds to a ski."""

    bsl_um: int
    offset_um: int
    adds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLeft:
    """Further mounts of one pattern. ``at_least`` is achieved by ``mounts``; equal to ``at_most``: exact.

    ``greedy``: what taking the nearest legal offset each time leads to.
    """

    pattern: str
    at_least: int
    at_most: int
    greedy: int
    mounts: tuple[FurtherMount, ...]


class CompatibilityGraph:
    """Positions of one pattern on one pair, which of them agree, and which make a mount together."""

    def __init__(self, memory: Memory, positions: Sequence[Position]) -> None:
        self.memory = memory
        self.positions = list(positions)
        self.by_piece: list[list[int]] = [[] for _ in memory.pattern.pieces]
        for v, position in enumerate(self.positions):
            self.by_piece[position.piece].append(v)

    @cached_property
    def combinations(self) -> NDArray[np.int64]:
        """Every mount of agreeing positions that adds a hole: a row each, a column for each piece."""
        return self._ranked[0]

    @cached_property
    def mounts(self) -> list[Combination]:
        """The same as tuples of position numbers."""
        return [tuple(row) for row in self.combinations.tolist()]

    @cached_property
    def from_mark_um(self) -> NDArray[np.int64]:
        """How far from the mark the boot centre of each mount stands at the nearest."""
        return self._ranked[1]

    @cached_property
    def references_um(self) -> NDArray[np.int64]:
        """Where each position stands."""
        import numpy as np

        return np.array([p.reference_um for p in self.positions], dtype=np.int64)

    @cached_property
    def _ranked(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        import numpy as np

        pieces = [np.array(piece, dtype=np.int64) for piece in self.by_piece]
        if not all(len(piece) for piece in pieces):
            return np.zeros((0, len(pieces)), dtype=np.int64), np.zeros(0, dtype=np.int64)
        nearest = self.memory.nearest([self.references_um[piece] for piece in pieces])
        found = np.nonzero(nearest >= 0)
        rows = np.stack([piece[index] for piece, index in zip(pieces, found, strict=True)], axis=1)
        new = np.array([p.is_new for p in self.positions], dtype=bool)
        kept = new[rows].any(axis=1)
        for a, b in combinations(range(len(pieces)), 2):
            kept &= self.agree_matrix[rows[:, a], rows[:, b]]
        return rows[kept], nearest[found][kept]

    @cached_property
    def useful(self) -> int:
        """Positions that some mount uses, as bits."""
        return sum(1 << v for v in set(self.combinations.ravel().tolist()))

    @cached_property
    def agree_matrix(self) -> NDArray[np.bool_]:
        """Whether two positions may be used in the same life; no position twice."""
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
                table = self.memory.agreement(one, other)
                fine = looked_up(table, self.references_um[ones], self.references_um[others])
                matrix[np.ix_(ones, others)] = fine
                matrix[np.ix_(others, ones)] = fine.T
        for upon in standing_on.values():
            matrix[np.ix_(upon, upon)] = False
        np.fill_diagonal(matrix, val=False)
        return matrix

    @cached_property
    def agrees(self) -> list[int]:
        """For every position a bit for each other one that may be used in the same life."""
        import numpy as np

        packed = np.packbits(self.agree_matrix, axis=1, bitorder="little")
        return [int.from_bytes(row.tobytes(), "little") for row in packed]

    def fits_beside(self, mount: Combination, standing: int) -> bool:
        """Whether a mount shares nothing with what stands and keeps its distance."""
        return all(standing & ~self.agrees[v] == 0 for v in mount)

    def upper_bound(self, achieved: int = 0) -> int:
        """No life is longer than the largest set of agreeing positions of its scarcest piece.

        Looks no further once a piece allows no more than what is ``achieved``.
        """
        bound: int | None = None
        for piece in sorted(self.by_piece, key=len):
            allowed = sum(1 << v for v in piece) & self.useful
            size = largest_set(self.agrees, allowed).bit_count()
            bound = size if bound is None else min(bound, size)
            if bound <= achieved:
                break
        return bound or 0

    def describe(self, order: Iterable[Combination]) -> tuple[FurtherMount, ...]:
        """The mounts in a person's terms, the ones nearest the mark first."""
        told = []
        for mount in order:
            placed = self.memory.place(tuple(self.positions[v].reference_um for v in mount))
            assert placed is not None  # an order holds mounts of `mounts` only
            adds = sum(len(self.positions[v].drilled_um) for v in mount)
            told.append(FurtherMount(bsl_um=placed[0], offset_um=placed[1], adds=adds))
        return tuple(sorted(told, key=lambda m: (abs(m.offset_um), m.bsl_um)))


def longest_life(field: CompatibilityGraph, *, seconds: float = 1.0, steps: int = STEPS) -> LifeLeft:
    """The most further mounts; exact where ``at_least`` equals ``at_most``, else both are told.

    The search of ``steps`` steps comes first; ``seconds`` bounds the exact model after it (the solver's
    own deterministic seconds, so that every run and machine answers alike).
    """
    greedy = greedy_order(field)
    edges = edge_order(field, rising=True), edge_order(field, rising=False)
    best = max(greedy, *edges, key=len)
    bound = field.upper_bound(len(best))
    if len(best) < bound:
        best, bound = searched_order(field, best, bound, steps=steps)
    if len(best) < bound and seconds > 0:
        from planner.life.exact import exact_order

        best, bound = exact_order(field, best, bound, seconds=seconds)
    return LifeLeft(
        pattern=field.memory.pattern.name,
        at_least=len(best),
        at_most=bound,
        greedy=len(greedy),
        mounts=field.describe(best),
    )


def greedy_order(field: CompatibilityGraph) -> list[Combination]:
    """Always the legal mount nearest the mark: what a bench without a plan does."""
    return _taken(field, field.from_mark_um)


def edge_order(field: CompatibilityGraph, *, rising: bool) -> list[Combination]:
    """Always the mount closest to one edge of what is free, which leaves the rest in one stretch."""
    middle = field.references_um[field.combinations].sum(axis=1)
    return _taken(field, middle if rising else -middle)


def _taken(field: CompatibilityGraph, rank: NDArray[np.int64]) -> list[Combination]:
    """Mounts by rising rank, equal ones in their own order, each if it fits beside those before it."""
    import numpy as np

    rows = field.combinations[np.argsort(rank, kind="stable")]
    order: list[Combination] = []
    while len(rows):
        mount = tuple(rows[0].tolist())
        order.append(mount)
        beside: NDArray[np.bool_] = np.logical_and.reduce(field.agree_matrix[list(mount)], axis=0)
        rows = rows[beside[rows].all(axis=1)]
    return order


def opened(order: Iterable[Combination]) -> list[int]:
    """The positions that an order uses."""
    mask = 0
    for mount in order:
        for v in mount:
            mask |= 1 << v
    return bits(mask)
