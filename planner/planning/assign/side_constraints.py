"""The side constraints of the network: boots with several links, bindings by sort, minutes, money.

Bindings: a set that keeps its own uses one of its sort; another uses one of the sorts that fit the pair
and frees its own. What is used beyond stock and freed has to be stripped off an idle pair.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.planning.assign.binding_stock import BindingSort
from planner.planning.assign.circulation import Circulation, Ints
from planner.planning.assign.problem import Problem


class BindingUse:
    """The use of the bindings, as running counts: wanted by set of sorts, kept and freed by sort."""

    def __init__(self, problem: Problem, uses: Iterable[tuple[int, int]]) -> None:
        self._own: list[int] = problem.own_sorts()[problem.arcs.pair].tolist() if len(problem.arcs) else []
        self._brakes: list[int] = problem.arcs.brakes.tolist()
        self.wanted = [0] * len(problem.brake_sets)
        self.kept, self.freed = [0] * len(problem.supply), [0] * len(problem.supply)
        self._supply = list(problem.supply.values())
        self._stock = [problem.bindings.stock.get(sort, 0) for sort in problem.supply]
        self._sorts = problem.sorts_of_sets()
        self._known: dict[tuple[int, ...], int | None] = {}
        self.change(uses)

    def change(self, uses: Iterable[tuple[int, int]]) -> None:
        """Use ways (arc, how often) more, or less where negative."""
        for arc, times in uses:
            brakes, own = self._brakes[arc], self._own[arc]
            if brakes < 0:
                assert own >= 0
                self.kept[own] += times
            else:
                self.wanted[brakes] += times
                if own >= 0:
                    self.freed[own] += times

    def matters(self, uses: Sequence[tuple[int, int]]) -> bool:
        """Return whether such a change asks anything else of the bindings."""
        if len(uses) == 2:
            (one, more), (other, less) = uses
            return (
                more + less != 0
                or self._brakes[one] != self._brakes[other]
                or self._own[one] != self._own[other]
            )
        net: dict[tuple[int, int], int] = {}
        for arc, times in uses:
            sort = (self._brakes[arc], self._own[arc])
            net[sort] = net.get(sort, 0) + times
        return any(net.values())

    def stripped(self) -> int | None:
        """The fewest pairs to strip, or None where the bindings do not suffice."""
        key = (*self.wanted, *self.kept, *self.freed)
        if key not in self._known:
            self._known[key] = self._fewest()
        return self._known[key]

    def _fewest(self) -> int | None:
        left = [supply - kept for supply, kept in zip(self._supply, self.kept, strict=True)]
        if min(left, default=0) < 0:
            return None
        loose = [min(n, stock + freed) for n, stock, freed in zip(left, self._stock, self.freed, strict=True)]
        return _fewest_beyond(self.wanted, self._sorts, loose, left)


def _fewest_beyond(
    wanted: Sequence[int], sorts: Sequence[Sequence[int]], loose: Sequence[int], left: Sequence[int]
) -> int | None:
    """The fewest units beyond what is loose, with no more than is left; None where that is too little."""
    from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

    solver = SimpleMinCostFlow()
    source, first = 0, 1 + len(wanted)
    sink = first + len(loose)
    total = 0
    for b, count in enumerate(wanted):
        if count:
            total += count
            solver.add_arc_with_capacity_and_unit_cost(source, 1 + b, count, 0)
            for k in sorts[b]:
                solver.add_arc_with_capacity_and_unit_cost(1 + b, first + k, count, 0)
    if not total:
        return 0
    for k, (free, most) in enumerate(zip(loose, left, strict=True)):
        if free:
            solver.add_arc_with_capacity_and_unit_cost(first + k, sink, free, 0)
        if most > free:
            solver.add_arc_with_capacity_and_unit_cost(first + k, sink, most - free, 1)
    solver.set_node_supply(source, total)
    solver.set_node_supply(sink, -total)
    if solver.solve() != solver.OPTIMAL:
        return None
    return int(solver.optimal_cost())


@dataclass(frozen=True, slots=True, kw_only=True)
class BindingFlow:
    """A flow of sorts to sets of sorts with the fewest pairs stripped; ``flow`` can still be moved."""

    stripped: int
    flow: Circulation
    arc_of: Mapping[tuple[int, BindingSort], int]
    strip_of: Mapping[BindingSort, int]


def binding_flow(problem: Problem, uses: Iterable[tuple[int, int]]) -> BindingFlow | None:
    """The best flow of sorts for ways (arc, how often), or None where the bindings do not suffice."""
    use, sorts = BindingUse(problem, uses), list(problem.supply)
    brakes = [b for b, count in enumerate(use.wanted) if count]
    sort_node = {sort: 1 + len(brakes) + k for k, sort in enumerate(sorts)}
    rows: list[tuple[int, int, int, int]] = [(0, 1 + i, use.wanted[b], 0) for i, b in enumerate(brakes)]
    arc_of: dict[tuple[int, BindingSort], int] = {}
    for i, b in enumerate(brakes):
        for sort in problem.brake_sets[b]:
            arc_of[b, sort] = len(rows)
            rows.append((1 + i, sort_node[sort], use.wanted[b], 0))
    strip_of: dict[BindingSort, int] = {}
    for k, sort in enumerate(sorts):
        loose = problem.bindings.stock.get(sort, 0) + use.freed[k]
        left = problem.supply[sort] - use.kept[k]
        if left < 0:
            return None
        rows.append((sort_node[sort], 0, min(loose, left), 0))
        strip_of[sort] = len(rows)
        rows.append((sort_node[sort], 0, max(0, left - loose), 1))
    table = np.array(rows, dtype=np.int64).reshape(-1, 4)
    flow = Circulation(
        nodes=1 + len(brakes) + len(sorts),
        tail=table[:, 0],
        head=table[:, 1],
        lower=np.zeros(len(table), dtype=np.int64),
        upper=table[:, 2].copy(),
    )
    asked = np.zeros(len(table), dtype=np.int64)
    asked[: len(brakes)] = -1
    if -flow.minimise(asked) < sum(use.wanted):
        return None
    return BindingFlow(stripped=flow.minimise(table[:, 3]), flow=flow, arc_of=arc_of, strip_of=strip_of)


def over_booked(problem: Problem, link_boot: Ints, link_flow: Ints) -> bool:
    """Return whether some class has fewer boots than its links use."""
    used = np.bincount(link_boot, weights=link_flow, minlength=len(problem.boots))
    return any(n > len(boots.tags) for n, boots in zip(used.tolist(), problem.boots, strict=True))


def uses_of(flow: Ints) -> list[tuple[int, int]]:
    """(arc, how often) of the arcs in use."""
    at = np.flatnonzero(flow)
    return list(zip(at.tolist(), flow[at].tolist(), strict=True))
