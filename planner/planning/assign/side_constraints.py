"""The side constraints of the network: boots with several links, bindings by sort, minutes, money.

Bindings: a set that keeps its own uses one of its sort; another uses one of the sorts that fit the pair
and frees its own. What is used beyond stock and freed has to be stripped off an idle pair.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from planner.planning.assign.circulation import Circulation
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.linear_program import Ints
from planner.planning.assign.problem import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class BindingFlow:
    """A flow of sorts to sets of sorts with the fewest pairs stripped; ``flow`` can still be moved."""

    stripped: int
    flow: Circulation
    arc_of: Mapping[tuple[int, BindingSort], int]
    strip_of: Mapping[BindingSort, int]


def binding_flow(problem: Problem, uses: Iterable[tuple[int, int]]) -> BindingFlow | None:
    """The best flow of sorts for ways (arc, how often), or None where the bindings do not suffice."""
    sorts = list(problem.supply)
    wanted, kept, freed = _asked_of_bindings(problem, uses)
    brakes = sorted(wanted)
    sort_node = {sort: 1 + len(brakes) + k for k, sort in enumerate(sorts)}
    rows: list[tuple[int, int, int, int]] = [(0, 1 + i, wanted[b], 0) for i, b in enumerate(brakes)]
    arc_of: dict[tuple[int, BindingSort], int] = {}
    for i, b in enumerate(brakes):
        for sort in problem.brake_sets[b]:
            arc_of[b, sort] = len(rows)
            rows.append((1 + i, sort_node[sort], wanted[b], 0))
    strip_of: dict[BindingSort, int] = {}
    for k, sort in enumerate(sorts):
        loose = problem.bindings.stock.get(sort, 0) + freed[k]
        left = problem.supply[sort] - kept[k]
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
    if -flow.minimise(asked) < wanted.total():
        return None
    return BindingFlow(stripped=flow.minimise(table[:, 3]), flow=flow, arc_of=arc_of, strip_of=strip_of)


def _asked_of_bindings(
    problem: Problem, uses: Iterable[tuple[int, int]]
) -> tuple[Counter[int], Counter[int], Counter[int]]:
    """The number of bindings wanted by set of sorts, and of those kept and freed by sort."""
    wanted, kept, freed = Counter[int](), Counter[int](), Counter[int]()
    brakes, own_sorts = problem.arcs.brakes, problem.own_sorts()
    for arc, times in uses:
        own = int(own_sorts[problem.arcs.pair[arc]])
        if brakes[arc] < 0:
            assert own >= 0
            kept[own] += times
        else:
            wanted[int(brakes[arc])] += times
            freed[own] += times
    return wanted, kept, freed


def over_booked(problem: Problem, link_boot: Ints, link_flow: Ints) -> bool:
    """Return whether some class has fewer boots than its links use."""
    used = np.bincount(link_boot, weights=link_flow, minlength=len(problem.boots))
    return any(n > len(boots.tags) for n, boots in zip(used.tolist(), problem.boots, strict=True))


def uses_of(flow: Ints) -> list[tuple[int, int]]:
    """(arc, how often) of the arcs in use."""
    at = np.flatnonzero(flow)
    return list(zip(at.tolist(), flow[at].tolist(), strict=True))
