"""The limits that are no matter of the network: boots with several links, bindings by sort, minutes.

Bindings: a set that keeps its own uses one of its sort; another uses one of the sorts that fit the pair
and frees its own. What is used beyond stock and freed has to be stripped off an idle pair.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from planner.assign.circulation import Circulation, Ints
from planner.assign.kits import Kit
from planner.assign.problem import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What the sets ask of the bindings: counts by set of sorts, and the sorts kept and freed."""

    wanted: Mapping[int, int]
    kept: Mapping[Kit, int]
    freed: Mapping[Kit, int]


def demand_of(problem: Problem, uses: Iterable[tuple[int, int]]) -> Demand:
    """From (arc, how often)."""
    table = np.array(list(uses), dtype=np.int64).reshape(-1, 2)
    kits = list(problem.supply)
    number = {kit: k for k, kit in enumerate(kits)}
    own_of_pair = np.array([-1 if p.own is None else number[p.own] for p in problem.pairs], dtype=np.int64)
    own, brakes, times = (
        own_of_pair[problem.arcs.pair[table[:, 0]]],
        problem.arcs.brakes[table[:, 0]],
        table[:, 1],
    )
    keeps, frees = brakes < 0, (brakes >= 0) & (own >= 0)
    assert (own[keeps] >= 0).all()
    wanted = np.bincount(brakes[~keeps], weights=times[~keeps], minlength=len(problem.brake_sets))
    kept, freed = (
        np.bincount(own[some], weights=times[some], minlength=len(kits)) for some in (keeps, frees)
    )
    return Demand(
        wanted={b: int(n) for b, n in enumerate(wanted) if n},
        kept={kits[k]: int(n) for k, n in enumerate(kept) if n},
        freed={kits[k]: int(n) for k, n in enumerate(freed) if n},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Allotment:
    """Which sorts serve the sets of sorts, with the fewest pairs stripped; ``flow`` can still be moved."""

    stripped: int
    flow: Circulation
    brakes_node: Mapping[int, int]
    arc_of: Mapping[tuple[int, Kit], int]


def allot(problem: Problem, demand: Demand) -> Allotment | None:
    """The best allotment of sorts, or None where the bindings do not suffice."""
    kits = list(problem.supply)
    brakes = [b for b, count in sorted(demand.wanted.items()) if count]
    kit_node = {kit: 1 + len(brakes) + i for i, kit in enumerate(kits)}
    brakes_node = {b: 1 + i for i, b in enumerate(brakes)}
    rows: list[tuple[int, int, int, int]] = [(0, brakes_node[b], demand.wanted[b], 0) for b in brakes]
    arc_of: dict[tuple[int, Kit], int] = {}
    for b in brakes:
        for kit in problem.brake_sets[b]:
            arc_of[b, kit] = len(rows)
            rows.append((brakes_node[b], kit_node[kit], demand.wanted[b], 0))
    for kit in kits:
        loose = problem.kits.stock.get(kit, 0) + demand.freed.get(kit, 0)
        left = problem.supply[kit] - demand.kept.get(kit, 0)
        if left < 0:
            return None
        rows.append((kit_node[kit], 0, min(loose, left), 0))
        rows.append((kit_node[kit], 0, max(0, left - loose), 1))
    table = np.array(rows, dtype=np.int64).reshape(-1, 4)
    flow = Circulation(
        nodes=1 + len(brakes) + len(kits),
        tail=table[:, 0],
        head=table[:, 1],
        lower=np.zeros(len(table), dtype=np.int64),
        upper=table[:, 2].copy(),
    )
    asked = np.zeros(len(table), dtype=np.int64)
    asked[: len(brakes)] = -1
    if -flow.minimise(asked) < sum(demand.wanted.values()):
        return None
    return Allotment(stripped=flow.minimise(table[:, 3]), flow=flow, brakes_node=brakes_node, arc_of=arc_of)


def boots_used(problem: Problem, link_boot: Ints, link_flow: Ints) -> Ints:
    """Boots used, class by class."""
    used = np.zeros(len(problem.boots), dtype=np.int64)
    np.add.at(used, link_boot, link_flow)
    return used


def over_booked(problem: Problem, used: Ints) -> bool:
    """Whether some class has fewer boots than its links use."""
    return bool((used > np.array([len(b.tags) for b in problem.boots], dtype=np.int64)).any())


def uses_of(flow: Ints) -> list[tuple[int, int]]:
    """(arc, how often) of the arcs in use."""
    at = np.flatnonzero(flow)
    return list(zip(at.tolist(), flow[at].tolist(), strict=True))
