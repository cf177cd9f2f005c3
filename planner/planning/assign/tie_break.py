"""The last tie-break: among equals the smallest sorted list of (wish, boot, pair, way), then of brakes.

Each set in turn is taken if the rest can still follow. Boots of a class are alike, so its next boot in
order stands for all, and so do pairs; what cannot be taken once cannot be taken later, because every
set that is taken only narrows the face.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from planner.planning.assign.binding_stock import BindingSort
from planner.planning.assign.extension import NetworkExtension
from planner.planning.assign.network import Network
from planner.planning.assign.problem import Problem
from planner.planning.assign.residual_graph import ResidualGraph
from planner.planning.assign.side_constraints import binding_flow


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """One set by tags; ``arc`` is the way, ``sort`` None for the pair's own binding."""

    wish: int
    boot: str
    pair: str
    arc: int
    sort: BindingSort | None = None


def smallest_list(problem: Problem, network: Network, extension: NetworkExtension) -> list[Chosen]:
    """The sets in order of (wish, boot, pair, way)."""
    ways_of_link: list[list[int]] = [[] for _ in network.link_boot]
    for way, link in enumerate(network.way_link.tolist()):
        if extension.may_use(way):
            ways_of_link[link].append(way)
    serves: list[list[int]] = [[] for _ in problem.wishes]
    for serve, wish in enumerate(network.serve_wish.tolist()):
        if extension.may_serve(serve):
            serves[wish].append(serve)
    boots_left = [iter(b.tags) for b in problem.boots]
    next_boot = [next(tags, None) for tags in boots_left]
    next_pair = [0] * len(problem.pairs)
    found: list[Chosen] = []
    for wish in range(len(problem.wishes)):
        by_boot: dict[int, list[int]] = {}
        for serve in serves[wish]:
            by_boot.setdefault(int(network.link_boot[network.serve_link[serve]]), []).append(serve)
        queues = {
            c: _Queue(problem, network, ways_of_link, next_pair, mine) for c, mine in sorted(by_boot.items())
        }
        turn = [(tag, c) for c in queues if (tag := next_boot[c]) is not None]
        heapify(turn)
        while turn:
            boot, c = heappop(turn)
            taken = next((step for step in queues[c].candidates() if extension.extend(*step)), None)
            if taken is None:
                continue
            serve, way = taken
            g = int(problem.arcs.pair[way])
            found.append(Chosen(wish=wish, boot=boot, pair=problem.pairs[g].tags[next_pair[g]], arc=way))
            next_pair[g] += 1
            queues[c].push(serve, way)
            next_boot[c] = next(boots_left[c], None)
            if (tag := next_boot[c]) is not None:
                heappush(turn, (tag, c))
    return found


class _Queue:
    """The ways of one boot class for one wish, the smallest pair tag first."""

    def __init__(
        self,
        problem: Problem,
        network: Network,
        ways_of_link: list[list[int]],
        next_pair: list[int],
        serves: list[int],
    ) -> None:
        self._problem, self._next_pair = problem, next_pair
        self._heap: list[tuple[str, int, int]] = []
        for serve in serves:
            for way in ways_of_link[int(network.serve_link[serve])]:
                self.push(serve, way)

    def push(self, serve: int, way: int) -> None:
        """Offer the way to the next boot, by the next pair of its class."""
        pair = self._problem.pairs[self._problem.arcs.pair[way]]
        member = self._next_pair[self._problem.arcs.pair[way]]
        if member < len(pair.tags):
            heappush(self._heap, (pair.tags[member], way, serve))

    def candidates(self) -> Iterator[tuple[int, int]]:
        """(serve, way) in order, each once; one that was taken is to be pushed again for the next boot."""
        while self._heap:
            tag, way, serve = heappop(self._heap)
            g = self._problem.arcs.pair[way]
            tags, member = self._problem.pairs[g].tags, self._next_pair[g]
            if member >= len(tags):
                continue
            if tags[member] != tag:
                self.push(serve, way)
                continue
            yield serve, way


def with_brakes(problem: Problem, sets: list[Chosen]) -> list[Chosen]:
    """The smallest brakes, set by set, among those that strip the fewest pairs."""
    found = binding_flow(problem, [(s.arc, 1) for s in sets])
    if found is None:
        raise AssertionError("the bindings do not suffice: a limit was broken")
    moves = ResidualGraph(found.flow)
    done: list[Chosen] = []
    for chosen in sets:
        brakes = int(problem.arcs.brakes[chosen.arc])
        sort = None
        if brakes >= 0:
            sort = next(k for k in problem.brake_sets[brakes] if _moved(moves, found.arc_of[brakes, k]))
        done.append(Chosen(wish=chosen.wish, boot=chosen.boot, pair=chosen.pair, arc=chosen.arc, sort=sort))
    return done


def _moved(moves: ResidualGraph, arc: int) -> bool:
    if moves.spare(arc) <= 0:
        cycle = moves.cycle_for(arc, settle=True)
        if cycle is None:
            return False
        moves.apply(cycle)
    moves.reserve(arc)
    return True
