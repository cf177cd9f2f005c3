"""The longest order of further mounts on one ski, each mount on holes of its own.

A further mount adds at least one hole, and no two further mounts share a hole: a piece may stand on old
holes once, else on fresh ones that keep the asked spacing from everything old and new. So counted, a mount
is what a bench calls one, and a ski's life is not stretched by moving one piece half a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.geometry.life.compatibility import Combination, CompatibilityGraph, bits, most_agreeing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class OutOfSteps(Exception):
    """Raised when the search used all its steps without an answer."""


def searched_order(
    graph: CompatibilityGraph, known: Sequence[Combination], bound: int, *, steps: int
) -> tuple[list[Combination], int]:
    """Return the longest order and its bound; they are equal unless ``steps`` ran out. ``known``: the best so
    far.
    """
    best = list(known)
    search = _Search(graph, steps)
    try:
        # From above: a bound that cannot be reached is what is usually wrong, and soonest refuted.
        while bound > len(best):
            found = search.order_of(bound)
            if found is None:
                bound -= 1
            else:
                best = found
    except OutOfSteps:
        pass
    return best, bound


class _Search:
    """The search. Mounts are taken by rising position of the scarcest piece, so that no set comes twice."""

    def __init__(self, graph: CompatibilityGraph, steps: int) -> None:
        self._agrees = graph.agrees
        self._steps = steps
        self._failed: set[tuple[int, int]] = set()
        self._sizes: dict[int, int] = {}
        self._all = graph.useful
        self._pieces = [sum(1 << v for v in piece) & self._all for piece in graph.by_piece]
        self._lead = min(range(len(self._pieces)), key=lambda k: self._pieces[k].bit_count())
        self._partners: dict[int, list[tuple[int, Combination]]] = {}
        self._beside: dict[int, int] = {}
        for mount in graph.mounts:
            lead = mount[self._lead]
            mask = sum(1 << v for v in mount)
            self._partners.setdefault(lead, []).append((mask, mount))
            for v in mount:
                self._beside[v] = self._beside.get(v, 0) | mask

    def order_of(self, length: int) -> list[Combination] | None:
        """Return an order of that length, None if there is none. Raises OutOfSteps."""
        return self._order(self._all, length)

    def _order(self, free: int, length: int) -> list[Combination] | None:
        if length == 0:
            return []
        free = self._with_partners(free)
        if (free, length) in self._failed:
            return None
        self._step()
        if all(self._size(free & piece) >= length for piece in self._pieces):
            found = self._led(free, length)
            if found is not None:
                return found
        self._failed.add((free, length))
        return None

    def _led(self, free: int, length: int) -> list[Combination] | None:
        lead = self._pieces[self._lead]
        for v in bits(free & lead):
            # Those below v had their turn as the lowest; too few left: nor can those above.
            if self._size(free & lead) < length:
                return None
            beside = free & self._agrees[v]
            seen: set[int] = set()
            for mask, mount in self._partners[v]:
                if mask & ~free:
                    continue
                left = beside
                for w in mount:
                    left &= self._agrees[w] if w != v else left
                if left in seen:
                    continue
                seen.add(left)
                rest = self._order(left, length - 1)
                if rest is not None:
                    return [mount, *rest]
            free &= ~(1 << v)
        return None

    def _with_partners(self, free: int) -> int:
        """Return only positions that some mount of free positions may use (necessary, not sufficient)."""
        for _ in range(2):
            kept = 0
            for v in bits(free):
                others = self._beside[v] & free
                if all(others & piece for piece in self._pieces):
                    kept |= 1 << v
            if kept == free:
                break
            free = kept
        return free

    def _size(self, free: int) -> int:
        """Return the size of the largest set of agreeing positions."""
        return most_agreeing(self._agrees, free, self._sizes, self._step)

    def _step(self) -> None:
        self._steps -= 1
        if self._steps < 0:
            raise OutOfSteps


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
