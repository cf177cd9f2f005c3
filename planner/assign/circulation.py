"""A circulation on a network, narrowed level by level to its optimal face (OR-Tools' min-cost flow).

After each level the potentials of the residual network are worked out. An arc with a reduced cost other
than zero stands at one of its bounds in every best flow, so it is fixed there: the level holds from then
on by construction, in whole numbers, and no cost is ever added to another. The potentials of all levels
together are a certificate that can be checked without the solver.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from fleet.errors import PlanFault

Ints = npt.NDArray[np.int64]


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

    def __post_init__(self) -> None:
        self.flow = np.zeros(len(self.tail), dtype=np.int64)

    def minimise(self, cost: Ints) -> int:
        """Settle one level: its least cost, and the bounds narrowed to the flows that reach it."""
        self._solve(cost)
        potential = self._potential(cost)
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

    def _potential(self, cost: Ints) -> Ints:
        """Shortest distances in the residual network from a source before every node."""
        ahead, behind = self.flow < self.upper, self.flow > self.lower
        tails = np.concatenate([self.tail[ahead], self.head[behind]])
        heads = np.concatenate([self.head[ahead], self.tail[behind]])
        costs = np.concatenate([cost[ahead], -cost[behind]])
        distance = np.zeros(self.nodes, dtype=np.int64)
        for _ in range(self.nodes + 1):
            through = distance[tails] + costs
            better = through < distance[heads]
            if not better.any():
                return distance
            np.minimum.at(distance, heads[better], through[better])
        raise PlanFault("the flow solver's answer is not the best there is", cure="report this")
