"""The longest order of further mounts on one ski, each mount on holes of its own.

A further mount adds at least one hole, and no two further mounts share a hole: a piece may stand on old
holes once, else on fresh ones that keep the asked spacing from everything old and new. So counted, a mount
is what a bench calls one, and a ski's life is not stretched by moving one piece half a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.geometry.life.compatibility import Combination, CompatibilityGraph
from planner.geometry.life.search import searched_order

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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

    ``nearest_first``: what taking the nearest legal offset each time leads to.
    """

    pattern: str
    at_least: int
    at_most: int
    nearest_first: int
    mounts: tuple[FurtherMount, ...]


def longest_life(graph: CompatibilityGraph) -> LifeLeft:
    """Return the most further mounts. It is exact where ``at_least`` equals ``at_most``."""
    greedy = greedy_order(graph)
    best, bound = longest_order(graph, greedy)
    return LifeLeft(
        pattern=graph.cache.pattern.name,
        at_least=len(best),
        at_most=bound,
        nearest_first=len(greedy),
        mounts=described(graph, best),
    )


def longest_order(
    graph: CompatibilityGraph,
    greedy: list[Combination],
    *,
    more_than: int = 0,
    most: int = 99,
) -> tuple[list[Combination], int]:
    """Return an order with the most further mounts, and what no order is longer than.

    Nobody asks beyond ``most``, nor how far below ``more_than`` it is: there the search ends earlier.
    """
    best, bound = greedy, most
    if len(best) < most:
        edges = edge_order(graph, rising=True), edge_order(graph, rising=False)
        best = max(greedy, *edges, key=len)
    if len(best) < most:
        bound = min(most, graph.upper_bound(max(more_than, len(best))))
    best = best[:most]
    if more_than < bound > len(best):
        best, bound = searched_order(graph, best, bound, steps=STEPS)
    return best, bound


def greedy_order(graph: CompatibilityGraph) -> list[Combination]:
    """Return the order that always takes the legal mount nearest the mark, as a bench without a plan does."""
    return _taken(graph, graph.from_mark_um)


def edge_order(graph: CompatibilityGraph, *, rising: bool) -> list[Combination]:
    """Return the order that always takes the mount nearest one edge, so that the rest stays in one
    stretch.
    """
    middle = graph.references_um[graph.combinations].sum(axis=1)
    return _taken(graph, middle if rising else -middle)


def _taken(graph: CompatibilityGraph, rank: NDArray[np.int64]) -> list[Combination]:
    """Return mounts by rising rank, equal ones in their own order, each if it fits beside those before it."""
    import numpy as np

    rows = graph.combinations[np.argsort(rank, kind="stable")]
    order: list[Combination] = []
    while len(rows):
        mount = tuple(rows[0].tolist())
        order.append(mount)
        beside: NDArray[np.bool_] = np.logical_and.reduce(graph.agree_matrix[list(mount)], axis=0)
        rows = rows[beside[rows].all(axis=1)]
    return order


def described(graph: CompatibilityGraph, order: Iterable[Combination]) -> tuple[FurtherMount, ...]:
    """Return the mounts as `FurtherMount` values, the ones nearest the mark first."""
    told = []
    for mount in order:
        placed = graph.cache.place(tuple(graph.positions[v].reference_um for v in mount))
        assert placed is not None  # an order holds mounts of `mounts` only
        adds = sum(len(graph.positions[v].drilled_um) for v in mount)
        told.append(FurtherMount(bsl_um=placed[0], offset_um=placed[1], adds=adds))
    return tuple(sorted(told, key=lambda m: (abs(m.offset_um), m.bsl_um)))
