"""Single skis matched into pairs: same model and length, holes within the pair difference."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from fleet.facts.holes import Hole
from fleet.facts.pairs import Ski


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleSki:
    """A ski without its partner; ``name`` as on the rack, like ``K-031/A``."""

    name: str
    model: str
    length_mm: int
    ski: Ski


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Two skis that go together; ``difference_um``: the largest distance of their holes."""

    first: str
    second: str
    difference_um: int


def match_singles(skis: Sequence[SingleSki], *, tolerance_um: int) -> tuple[Match, ...]:
    """Return the largest number of pairs, and among those the smallest total difference of their holes.

    Exact: a maximum weight matching of the graph of skis that fit each other (Edmonds' blossom
    algorithm, networkx). Skis whose marks differ are compared by distance from the tail.
    """
    import networkx

    graph = networkx.Graph()
    for one, other in combinations(sorted(skis, key=lambda ski: ski.name), 2):
        if (one.model, one.length_mm) != (other.model, other.length_mm):
            continue
        difference = hole_difference(one.ski, other.ski, tolerance_um=tolerance_um)
        if difference is not None:
            graph.add_edge(one.name, other.name, weight=tolerance_um + 1 - difference, um=difference)
    pairs = networkx.max_weight_matching(graph, maxcardinality=True)
    return tuple(
        sorted(
            (
                Match(first=min(a, b), second=max(a, b), difference_um=graph.edges[a, b]["um"])
                for a, b in pairs
            ),
            key=lambda match: match.first,
        )
    )


def hole_difference(one: Ski, other: Ski, *, tolerance_um: int) -> int | None:
    """Return the largest distance (µm, along or across) between the holes of two skis; None if they do not
    match.

    Each hole of one answers exactly one of the other, in the same state. Where both marks are measured
    from the tail the tail counts, since printed marks differ; else each ski's own mark.
    """
    if len(one.holes) != len(other.holes):
        return None
    shift = 0
    if one.mark_from_tail_um is not None and other.mark_from_tail_um is not None:
        shift = other.mark_from_tail_um - one.mark_from_tail_um
    left, worst = list(other.holes), 0
    for hole in sorted(one.holes, key=lambda h: (h.x_um, h.y_um)):
        near = [
            each for each in left if _apart(hole, each, shift) <= tolerance_um and each.state is hole.state
        ]
        if not near:
            return None
        best = min(near, key=lambda each: (_apart(hole, each, shift), each.hole_id))
        left.remove(best)
        worst = max(worst, _apart(hole, best, shift))
    return worst


def _apart(hole: Hole, other: Hole, shift_um: int) -> int:
    return max(abs(other.x_um + shift_um - hole.x_um), abs(other.y_um - hole.y_um))


def names(matches: Iterable[Match]) -> set[str]:
    """Return all skis that found a partner."""
    return {name for match in matches for name in (match.first, match.second)}
