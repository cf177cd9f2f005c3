"""A circulation on a network, narrowed level by level to its optimal face (OR-Tools' min-cost flow).

After each level the potentials of the residual graph are worked out. An arc with a reduced cost other
than zero stands at one of its bounds in every best flow, so it is fixed there: the level holds from then
on by construction, in whole numbers, and no cost is ever added to another. The potentials of all levels
together are a certificate that can be checked without the solver.

Since the potentials are what proves a level, the flow may come from anywhere. `Circulation.foresee` solves
one weighted sum of all levels to come: its answer is only proposed, and most often every level accepts it.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np

from fleet.base.errors import PlanFault
from planner.planning.assign.linear_program import Ints

_APART = 4
"""In the weighted sum a level's unit outweighs so many times the largest cost of the level after it."""
_MOST = 2**58
"""Costs times nodes stay below it: the solver counts with little more, and stopped at 0.7 x 2**62."""
_ROUNDS = 60
"""Rounds of the check of a proposed flow; a good one settles in less than 20."""


@dataclass(slots=True)
class Circulation:
    """Arcs from ``tail`` to ``head`` with ``lower <= flow <= upper``; what flows in flows out, everywhere."""

    nodes: int
    tail: Ints
    head: Ints
    lower: Ints
    upper: Ints
    flow: Ints = field(init=False)
    potentials: list[Ints] = field(default_factory=list)
    _proposed: bool = False

    def __post_init__(self) -> None:
        self.flow = np.zeros(len(self.tail), dtype=np.int64)

    def foresee(self, costs: Sequence[Ints]) -> None:
        """Propose a flow for the levels to come, by one sum with mild weights: nothing is proved by it."""
        # Strict weights would need more than 64 bits. Mild ones are enough, as a guess: each level checks it
        # by its potentials, and solves afresh where the guess is not optimal.
        total, mixed = 0, np.zeros(len(self.tail), dtype=np.int64)
        for cost in costs:
            cost = cost // max(1, int(np.gcd.reduce(cost)))
            largest = int(np.max(np.abs(cost), initial=0))
            weight = max(1, _APART * largest)
            if (total * weight + largest) * (self.nodes + 1) >= _MOST:
                break
            total, mixed = total * weight + largest, mixed * weight + cost
        with suppress(PlanFault):  # how far the solver's prices go is seen only when it solves
            self._solve(mixed)
            self._proposed = True

    def minimise(self, cost: Ints) -> int:
        """Settle one level: its least cost, and the bounds narrowed to the flows that reach it."""
        potential = self._potential(cost, _ROUNDS) if self._proposed else None
        if potential is None:
            self._proposed = False
            self._solve(cost)
            potential = self._potential(cost, self.nodes + 1)
        if potential is None:
            raise PlanFault("the flow solver's answer is not the best there is", cure="report this")
        reduced = cost + potential[self.tail] - potential[self.head]
        self.potentials.append(potential)
        empty, full = reduced > 0, reduced < 0
        self.upper[empty] = self.lower[empty]
        self.lower[full] = self.upper[full]
        return int(cost @ self.flow)

    def _solve(self, cost: Ints) -> None:
        from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

        free = np.flatnonzero(self.lower < self.upper)
        solver = SimpleMinCostFlow()
        arcs = solver.add_arcs_with_capacity_and_unit_cost(
            self.tail[free].astype(np.int32),
            self.head[free].astype(np.int32),
            self.upper[free] - self.lower[free],
            cost[free],
        )
        excess = np.zeros(self.nodes, dtype=np.int64)
        np.add.at(excess, self.head, self.lower)
        np.subtract.at(excess, self.tail, self.lower)
        at = np.flatnonzero(excess)
        solver.set_nodes_supplies(at.astype(np.int32), excess[at])
        status = solver.solve() if len(free) else solver.OPTIMAL
        if status != solver.OPTIMAL:
            raise PlanFault(f"the flow solver stopped without a proof: {status}", cure="report this")
        self.flow = self.lower.copy()
        if len(free):
            self.flow[free] += solver.flows(arcs)

    def _potential(self, cost: Ints, rounds: int) -> Ints | None:
        """Shortest distances in the residual graph from a source before every node.

        None where the rounds do not suffice; more than there are nodes: where the flow can be bettered.
        """
        ahead, behind = self.flow < self.upper, self.flow > self.lower
        tails = np.concatenate([self.tail[ahead], self.head[behind]])
        heads = np.concatenate([self.head[ahead], self.tail[behind]])
        costs = np.concatenate([cost[ahead], -cost[behind]])
        # Bellman-Ford in whole numbers. Potentials exist exactly if there is no negative residual cycle, that
        # is, if the flow is optimal: whoever proposed it, this is its proof.
        distance = np.zeros(self.nodes, dtype=np.int64)
        for _ in range(rounds):
            through = distance[tails] + costs
            better = through < distance[heads]
            if not better.any():
                return distance
            np.minimum.at(distance, heads[better], through[better])
        return None
