"""The levels of the objective, settled one after the other, and the one plan they leave.

Sets served, priority by priority; fewest holes drilled; fewest minutes; smallest total |u|; largest
clearance; then the smallest sorted list of (wish, boot, pair, way), then of brakes.

First the network alone is solved: flows, whole numbers, quick at any size. If what comes out keeps the
limits that the network does not know, it is the best plan, because leaving limits out can only flatter.
Else the same levels are solved as linear programs with all limits.

A deadline may cut this short: then the best plan found so far comes out, with every bound that was proved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fleet.errors import PlanFault
from planner.assign.circulation import Ints
from planner.assign.deadline import NEVER, OVER, Deadline, OutOfTime
from planner.assign.dual_certificate import certificate_of, empty_certificate
from planner.assign.extension import ExactExtension, NetworkExtension, SideConstraintBinds, network_flow
from planner.assign.formulation import Columns, columns_of, face_of, level_costs
from planner.assign.greedy import greedy_plan
from planner.assign.network import Network, flow_costs, network_of, objective
from planner.assign.optimal_face import OptimalFace
from planner.assign.problem import Problem
from planner.assign.side_constraints import binding_flow, boots_used, demand_of, over_booked, uses_of
from planner.assign.tie_break import Chosen, smallest_list, with_brakes
from planner.certificate_values import Certificate

Say = Callable[[str], None]
BY_FLOW = "flow"
BY_ROWS = "rows"
BY_START = "start"
"""No level was settled by linear programs: the plan to begin with stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Sets in order of (wish, boot, pair, way), the value of each level, and how it was found.

    ``settled``: every level is proved and so is the order among equals; else time ran out.
    ``certificate``: what the judge needs to prove it again; None where the problem is not that of a fleet.
    """

    sets: tuple[Chosen, ...]
    levels: tuple[tuple[str, int], ...]
    method: str
    settled: bool = True
    certificate: Certificate | None = None


def solve(problem: Problem, say: Say, deadline: Deadline = NEVER) -> Solution:
    """The best plan, proved level by level; the best found and the bounds proved if the deadline is first."""
    if not len(problem.arcs):
        return Solution(sets=(), levels=(), method=BY_FLOW, certificate=empty_certificate(problem))
    network = network_of(problem)
    return by_flow(problem, network, say, deadline) or by_rows(problem, network, say, deadline)


def by_flow(problem: Problem, network: Network, say: Say, deadline: Deadline = NEVER) -> Solution | None:
    """The best plan if no side limit binds, else None; the network then holds the flow without limits."""
    levels: list[tuple[str, int]] = []
    if deadline.over():
        return None
    named = objective(problem)
    costs = [flow_costs(problem, network, *level) for level in named]
    network.circulation.foresee(costs)
    for (name, _), cost in zip(named, costs, strict=True):
        if deadline.over():
            return None
        levels.append((name, network.circulation.minimise(cost)))
        say(f"{name}: {levels[-1][1]} proved, if no side limit binds")
    if not _keeps_limits(problem, network):
        return None
    takes = NetworkExtension(problem, network, stripped=0, deadline=deadline)
    try:
        sets = smallest_list(problem, network, takes)
    except SideConstraintBinds:
        return None
    return _checked(problem, network, sets, levels, BY_FLOW, settled=not takes.cut)


def _keeps_limits(problem: Problem, network: Network) -> bool:
    """Whether the flow is a plan: boots suffice, bindings without stripping, minutes, money."""
    flow = network.circulation.flow
    first = int(network.way_arc[0])
    links = flow[first - len(network.link_boot) : first]
    if over_booked(problem, boots_used(problem, network.link_boot, links)):
        return False
    ways = flow[network.way_arc]
    found = binding_flow(problem, demand_of(problem, uses_of(ways)))
    if found is None or found.stripped:
        return False
    spent = (
        (problem.arcs.minutes, problem.minutes_limit),
        (problem.arcs.parts_cents, problem.parts_limit_cents),
    )
    return all(limit is None or int(each @ ways) <= limit for each, limit in spent)


def likely_ways(problem: Problem, network: Network) -> Ints:
    """Ways of the flow without limits, and the best way of every pair and of every link."""
    arcs = problem.arcs
    order = np.lexsort((arcs.lost_um, arcs.offset_um, arcs.minutes, arcs.drilled))
    _, of_pair = np.unique(arcs.pair[order], return_index=True)
    _, of_link = np.unique(network.way_link[order], return_index=True)
    used = np.flatnonzero(network.circulation.flow[network.way_arc])
    return np.unique(np.concatenate([used, order[of_pair], order[of_link]]))


def by_rows(problem: Problem, relaxed: Network, say: Say, deadline: Deadline = NEVER) -> Solution:
    """The best plan with every limit, by linear programs and integer ones where those are fractional.

    ``relaxed``: the network as far as `by_flow` came; its flow tells which ways are likely.
    """
    network = network_of(problem)
    columns = columns_of(problem, network)
    start = _start(problem, relaxed, columns) if deadline.set else None
    if start is not None and deadline.over():
        return _as_found(problem, network, relaxed, start, BY_START, None)
    face = face_of(problem, network, columns, likely_ways(problem, relaxed), deadline)
    if start is not None:
        face.values = start
    if problem.parts_limit_cents is not None:
        face.relief = face.sparing = level_costs(problem, network, columns, ("parts_cents", None))
    if problem.minutes_limit is not None:
        face.relief = level_costs(problem, network, columns, ("minutes", None))
    levels: list[tuple[str, int]] = []
    try:
        for level in objective(problem):
            levels.append((level[0], face.minimise(level_costs(problem, network, columns, level))))
            say(f"{level[0]}: {levels[-1][1]} {'proved' if face.all_proved else 'found, out of time'}")
    except OutOfTime:
        say(f"out of time after {len(levels)} levels")
    if len(levels) == len(objective(problem)) and face.all_proved:
        return _in_order(problem, network, relaxed, columns, face, levels)
    best = face.values if start is None else _better(problem, network, columns, start, face.values)
    return _as_found(problem, network, relaxed, best, BY_ROWS, face)


def _in_order(
    problem: Problem,
    network: Network,
    relaxed: Network,
    columns: Columns,
    face: OptimalFace,
    levels: list[tuple[str, int]],
) -> Solution:
    """The first in order of the plans on the face that every level left."""
    stripped = int(face.values[columns.strips_at :].sum())
    circulation = network.circulation
    circulation.flow = network_flow(network, face.values)
    ways, serves = columns.ways, columns.sorts_at
    for arcs, part in ((network.way_arc, slice(0, ways)), (network.serve_arc, slice(ways, serves))):
        circulation.lower[arcs] = face.lower[part]
        circulation.upper[arcs] = np.minimum(circulation.upper[arcs], face.upper[part])
    takes = NetworkExtension(
        problem, network, stripped, ExactExtension(face, columns), deadline=face.deadline
    )
    sets = smallest_list(problem, network, takes)
    return _checked(problem, relaxed, sets, levels, BY_ROWS, settled=not takes.cut, face=face)


def _start(problem: Problem, relaxed: Network, columns: Columns) -> Ints:
    """All columns of a plan that keeps the limits: by one pass, or the flow where that is one and better."""
    flow = relaxed.circulation.flow
    ways, serves = flow[relaxed.way_arc], flow[relaxed.serve_arc]
    plain = _columns_from(problem, columns, *greedy_plan(problem, relaxed, np.flatnonzero(ways)))
    if not _keeps_limits(problem, relaxed):
        return plain
    return _better(problem, relaxed, columns, plain, _columns_from(problem, columns, ways, serves))


def _better(problem: Problem, network: Network, columns: Columns, one: Ints, other: Ints) -> Ints:
    """The better of two plans, level by level; the second among equals."""
    costs = [level_costs(problem, network, columns, level) for level in objective(problem)]
    return one if [int(c @ one) for c in costs] < [int(c @ other) for c in costs] else other


def _columns_from(problem: Problem, columns: Columns, ways: Ints, serves: Ints) -> Ints:
    """All columns of a plan that keeps the limits, from its ways and serving arcs."""
    found = binding_flow(problem, demand_of(problem, uses_of(ways)))
    assert found is not None
    supplied = list(problem.supply)
    sorts = [
        int(found.flow.flow[at]) if (at := found.arc_of.get((b, supplied[k]))) is not None else 0
        for b, k in zip(columns.sort_brakes.tolist(), columns.sort_number.tolist(), strict=True)
    ]
    strips = [int(found.flow.flow[found.strip_of[sort]]) for sort in supplied]
    return np.concatenate([ways, serves, np.array(sorts + strips, dtype=np.int64)])


def _as_found(
    problem: Problem, network: Network, relaxed: Network, values: Ints, method: str, face: OptimalFace | None
) -> Solution:
    """A plan that keeps every limit and is not proved best, in the order its flow falls apart in."""
    network.circulation.flow = network_flow(network, values)
    sets = smallest_list(problem, network, NetworkExtension(problem, network, stripped=0, deadline=OVER))
    return _checked(problem, relaxed, sets, None, method, settled=False, face=face)


def _checked(
    problem: Problem,
    relaxed: Network,
    sets: list[Chosen],
    levels: list[tuple[str, int]] | None,
    method: str,
    *,
    settled: bool,
    face: OptimalFace | None = None,
) -> Solution:
    """The solution, if its sets reach what the levels proved. Raises PlanFault if they do not."""
    chosen = np.array([s.arc for s in sets], dtype=np.int64)
    found = binding_flow(problem, demand_of(problem, [(s.arc, 1) for s in sets]))
    reached: list[tuple[str, int]] = []
    for name, priority in objective(problem):
        if priority is not None:
            value = -sum(problem.wishes[s.wish].priority == priority for s in sets)
        else:
            value = int(getattr(problem.arcs, name)[chosen].sum())
            if name == "minutes" and found is not None:
                value += problem.strip_minutes * found.stripped
        reached.append((name, value))
    if found is None or reached != (levels or reached):
        raise PlanFault(f"the sets reach {reached}, proved was {levels}", cure="report this, with the ledger")
    return Solution(
        sets=tuple(with_brakes(problem, sets)),
        levels=tuple(reached),
        method=method,
        settled=settled,
        certificate=certificate_of(problem, relaxed, [value for _, value in reached], face),
    )
