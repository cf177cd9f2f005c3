"""A greedy plan in one pass: priority by priority the least work first, as long as the supply lasts.

It proves nothing. It stands where the time does not suffice for more.
"""

from collections.abc import Iterator

import numpy as np

from planner.planning.assign.circulation import Ints
from planner.planning.assign.network import Network
from planner.planning.assign.problem import Problem


def greedy_plan(problem: Problem, network: Network, prefer: Ints) -> tuple[Ints, Ints]:
    """The uses of each way and of each serving arc; ``prefer``: ways that come before all others."""
    arcs = problem.arcs
    ways, serves = np.zeros(len(arcs), dtype=np.int64), np.zeros(len(network.serve_arc), dtype=np.int64)
    last = np.ones(len(arcs), dtype=np.int64)
    last[prefer] = 0
    order = arcs.best_first(last)
    left = _Left(problem, network)
    for priority in sorted({w.priority for w in problem.wishes}):
        serving = [k for k, w in enumerate(network.serve_wish.tolist()) if left.priority[w] == priority]
        by_link: dict[int, list[int]] = {}
        for serve in serving:
            by_link.setdefault(int(network.serve_link[serve]), []).append(serve)
        mine = order[np.isin(network.way_link[order], np.array(sorted(by_link), dtype=np.int64))]
        for way, link in zip(mine.tolist(), network.way_link[mine].tolist(), strict=True):
            for serve in by_link[link]:
                while left.take(way, serve):
                    ways[way] += 1
                    serves[serve] += 1
    return ways, serves


class _Left:
    """The supply that is left of everything limited."""

    def __init__(self, problem: Problem, network: Network) -> None:
        arcs = problem.arcs
        self.priority = [w.priority for w in problem.wishes]
        self._wishes = [w.quantity for w in problem.wishes]
        self._pairs = [len(p.tags) for p in problem.pairs]
        self._boots = [len(b.tags) for b in problem.boots]
        self._pair, self._boot = arcs.pair.tolist(), arcs.boot.tolist()
        self._brakes, self._minutes = arcs.brakes.tolist(), arcs.minutes.tolist()
        self._wish = network.serve_wish.tolist()
        self._own = problem.own_sorts().tolist()
        self._sorts = problem.sorts_of_sets()
        self._supply = list(problem.supply.values())
        self._loose = [problem.bindings.stock.get(sort, 0) for sort in problem.supply]
        self._bench, self._strip = problem.minutes_limit, problem.strip_minutes
        self._budget, self._parts = problem.parts_limit_cents, arcs.parts_cents.tolist()

    def take(self, way: int, serve: int) -> bool:
        """One set more, if it fits into what is left."""
        pair, boot, wish = self._pair[way], self._boot[way], self._wish[serve]
        if not (self._pairs[pair] and self._boots[boot] and self._wishes[wish]):
            return False
        sort = next(self._sorts_for(pair, self._brakes[way]), None)
        if sort is None:
            return False
        own, fresh = self._own[pair], self._brakes[way] >= 0
        minutes = self._minutes[way] + (self._strip if fresh and self._loose[sort] <= 0 else 0)
        if self._bench is not None and minutes > self._bench:
            return False
        if self._budget is not None:
            if self._parts[way] > self._budget:
                return False
            self._budget -= self._parts[way]
        if self._bench is not None:
            self._bench -= minutes
        for counts, index in ((self._pairs, pair), (self._boots, boot), (self._wishes, wish)):
            counts[index] -= 1
        self._supply[sort] -= 1
        if fresh:
            self._loose[sort] = max(0, self._loose[sort] - 1)
            if own >= 0:
                self._loose[own] += 1
        return True

    def _sorts_for(self, pair: int, brakes: int) -> Iterator[int]:
        """Sorts of binding that are left for the set, loose ones before those that strip a pair."""
        if brakes < 0:
            sorts = [self._own[pair]]
        else:
            sorts = sorted(self._sorts[brakes], key=lambda sort: self._loose[sort] <= 0)
        return (sort for sort in sorts if self._supply[sort] > 0)
