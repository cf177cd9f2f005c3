"""The questions of the compatibility graph, asked one by one in plain arithmetic."""

from __future__ import annotations

from collections.abc import Iterable

from fleet.facts.spacing import too_near
from planner.geometry.life.compatibility import Combination, CompatibilityGraph
from planner.geometry.life.positions import Position


def agree(a: Position, b: Position, asked_um: int) -> bool:
    """True if the new holes of both positions keep their distance; a hole upon an earlier one does not."""
    return not any(too_near(ax - bx, ay - by, asked_um) for ax, ay in a.drilled_um for bx, by in b.drilled_um)


def fits_beside(graph: CompatibilityGraph, mount: Combination, standing: int) -> bool:
    """True if the mount shares no position with ``standing`` ones and keeps its distance from them."""
    return all(standing & ~graph.agrees[v] == 0 for v in mount)


def positions_used(order: Iterable[Combination]) -> list[int]:
    """The positions that an order uses, each once."""
    return sorted({v for mount in order for v in mount})
