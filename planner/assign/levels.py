"""The levels of the objective, settled one after the other, and the one plan they leave.

Sets served, priority by priority; fewest holes drilled; fewest minutes; smallest total |u|; largest
clearance; then the smallest sorted list of (wish, boot, pair, way), then of brakes.

First the network alone is solved: flows, whole numbers, quick at any size. If what comes out keeps the
limits that the network does not know, it is the best plan, because leaving limits out can only flatter.
Else the same levels are solved as linear programs with all limits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fleet.errors import PlanFault
from planner.assign.certify import by_duals, by_potentials, empty_certificate
from planner.assign.circulation import Ints
from planner.assign.lp import columns_of, face_of, level_costs
from planner.assign.network import Network, network_of, objective
from planner.assign.problem import Problem
from planner.assign.side import allot, boots_used, demand_of, over_booked, uses_of
from planner.assign.takes import ExactTakes, NetworkTakes, SideLimitBinds, network_flow
from planner.assign.ties import Chosen, smallest_list, with_brakes
from planner.certificate_values import Certificate

Say = Callable[[str], None]
BY_FLOW = "flow"
BY_ROWS = "rows"


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Sets in order of (wish, boot, pair, way), the proved value of each level, and how it was proved.

    ``certificate``: what the judge needs to prove it again; None where the problem is not that of a fleet.
    """

    sets: tuple[Chosen, ...]
    levels: tuple[tuple[str, int], ...]
    method: str
    certificate: Certificate | None = None


def solve(problem: Problem, say: Say) -> Solution:
    """The best plan, proved level by level."""
    if not len(problem.arcs):
        return Solution(sets=(), levels=(), method=BY_FLOW, certificate=empty_certificate(problem))
    network = network_of(problem)
    return by_flow(problem, network, say) or by_rows(problem, say, likely=likely_ways(problem, network))


def by_flow(problem: Problem, network: Network, say: Say) -> Solution | None:
    """The best plan if no side limit binds, else None; the network then holds the flow without limits."""
    levels: list[tuple[str, int]] = []
    for name, priority in objective(problem):
        levels.append((name, network.circulation.minimise(_flow_costs(problem, network, name, priority))))
        say(f"{name}: {levels[-1][1]} proved, if no side limit binds")
    if not _keeps_limits(problem, network):
        return None
    try:
        sets = smallest_list(problem, network, NetworkTakes(problem, network, stripped=0))
    except SideLimitBinds:
        return None
    return _checked(problem, sets, levels, BY_FLOW, by_potentials(problem, network, levels))


def _flow_costs(problem: Problem, network: Network, name: str, priority: int | None) -> Ints:
    if priority is None:
        return network.spread(getattr(problem.arcs, name))
    wishes = np.array([-(w.priority == priority) for w in problem.wishes], dtype=np.int64)
    return network.spread(0, wishes)


def _keeps_limits(problem: Problem, network: Network) -> bool:
    """Whether the flow is a plan: boots suffice, bindings without stripping, minutes, money."""
    flow = network.circulation.flow
    first = int(network.way_arc[0])
    links = flow[first - len(network.link_boot) : first]
    if over_booked(problem, boots_used(problem, network.link_boot, links)):
        return False
    ways = flow[network.way_arc]
    found = allot(problem, demand_of(problem, uses_of(ways)))
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


def by_rows(problem: Problem, say: Say, *, likely: Ints) -> Solution:
    """The best plan with every limit, by linear programs and integer ones where those are fractional."""
    network = network_of(problem)
    columns = columns_of(problem, network)
    face = face_of(problem, network, columns, likely)
    if problem.parts_limit_cents is not None:
        face.relief = face.sparing = level_costs(problem, network, columns, ("parts_cents", None))
    if problem.minutes_limit is not None:
        face.relief = level_costs(problem, network, columns, ("minutes", None))
    levels: list[tuple[str, int]] = []
    for level in objective(problem):
        levels.append((level[0], face.minimise(level_costs(problem, network, columns, level))))
        say(f"{level[0]}: {levels[-1][1]} proved")
    certificate = by_duals(problem, face, levels)
    stripped = int(face.values[columns.strips_at :].sum())
    circulation = network.circulation
    circulation.flow = network_flow(network, face.values)
    ways, serves = columns.ways, columns.sorts_at
    for arcs, part in ((network.way_arc, slice(0, ways)), (network.serve_arc, slice(ways, serves))):
        circulation.lower[arcs] = face.lower[part]
        circulation.upper[arcs] = np.minimum(circulation.upper[arcs], face.upper[part])
    exact = ExactTakes(face, columns)
    sets = smallest_list(problem, network, NetworkTakes(problem, network, stripped, exact))
    return _checked(problem, sets, levels, BY_ROWS, certificate)


def _checked(
    problem: Problem,
    sets: list[Chosen],
    levels: list[tuple[str, int]],
    method: str,
    certificate: Certificate,
) -> Solution:
    """The solution, if its sets reach what the levels proved. Raises PlanFault if they do not."""
    chosen = np.array([s.arc for s in sets], dtype=np.int64)
    found = allot(problem, demand_of(problem, [(s.arc, 1) for s in sets]))
    reached: list[int] = []
    for name, priority in objective(problem):
        if priority is not None:
            reached.append(-sum(problem.wishes[s.wish].priority == priority for s in sets))
        else:
            reached.append(int(getattr(problem.arcs, name)[chosen].sum()))
            if name == "minutes" and found is not None:
                reached[-1] += problem.strip_minutes * found.stripped
    if found is None or reached != [value for _, value in levels]:
        raise PlanFault(f"the sets reach {reached}, proved was {levels}", cure="report this, with the ledger")
    return Solution(
        sets=tuple(with_brakes(problem, sets)),
        levels=tuple(levels),
        method=method,
        certificate=certificate,
    )
