"""The cost of the last sets of a plan: the least holes and minutes with so many of them left unserved.

Each point is a program of its own on the plan's ways: the sets of the plan and no others may be served, so
many fewer in all, whatever their priority; then fewest holes, fewest minutes, and of equals those that keep
the first priorities.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil
from typing import Any, Final

import numpy as np

from fleet.base.errors import Refused
from fleet.base.units import counted
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.last_sets import FrontierPoint
from planner.plan.objective import DRILLED, MINUTES
from planner.plan.values import Plan
from planner.planning.assign.formulation import Columns, columns_of, face_of, level_costs
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import with_row
from planner.planning.assign.network import Network, network_of
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.plan import judged_plan, plan_fleet
from planner.planning.assign.problem import Problem, build_problem

SHARES: Final = (0.0, 0.01, 0.02, 0.04, 0.06, 0.08, 0.12, 0.16, 0.2)
"""Shares of a plan's sets that the points leave unserved (our choice)."""


def frontier(
    fleet: Fleet, plan: Plan, unserved: Sequence[int] | None = None, *, ways: SweptWays | None = None
) -> Iterator[FrontierPoint]:
    """Yield the points of a plan from all its sets downward, as far as something is drilled.

    ``unserved``: how many sets to leave so; else `SHARES` of them. Raises Refused where there are fewer.
    """
    sets = len(plan.sets)
    numbers = sorted({ceil(share * sets) for share in SHARES}) if unserved is None else list(unserved)
    if max(numbers) > sets:
        raise Refused(f"the plan has only {counted(sets, 'set')}", cure="leave fewer of them unserved")
    served = Counter(each.wish for each in plan.sets)
    problem = build_problem(
        replace(fleet, wishes=tuple(replace(w, quantity=served[w.wish]) for w in fleet.wishes)),
        ways=ways or SweptWays(),
        minutes_limit=plan.minutes_limit,
        parts_limit_cents=plan.parts_limit_cents,
    )
    if not len(problem.arcs):
        yield from (
            FrontierPoint(unserved=number, sets=0, holes=0, minutes=0, mounts=0, wants={})
            for number in numbers
        )
        return
    network = network_of(problem)
    columns = columns_of(problem, network)
    whole = face_of(problem, network, columns, np.arange(columns.ways))
    for number in numbers:
        point = _point(problem, network, columns, whole, sets, number)
        yield point
        if unserved is None and not point.holes:
            return


def _point(
    problem: Problem, network: Network, columns: Columns, whole: OptimalFace, sets: int, unserved: int
) -> FrontierPoint:
    serves = columns.ways + np.arange(columns.serves)
    face = OptimalFace(with_row(whole.rows, serves, sets - unserved, sets - unserved))
    face.relief = whole.relief
    holes, minutes, *_ = (
        face.minimise(level_costs(problem, network, columns, level))
        for level in (DRILLED, MINUTES, *(each for each in problem.levels if each.priority is not None))
    )
    ways, serving = columns.used(face.values)
    wants: Counter[str] = Counter()
    for wish, count in zip(network.serve_wish.tolist(), serving.tolist(), strict=True):
        wants[problem.wishes[wish].wish] += count
    return FrontierPoint(
        unserved=unserved,
        sets=int(serving.sum()),
        holes=holes,
        minutes=minutes,
        mounts=int(ways[problem.arcs.drilled > 0].sum()),
        wants=wants,
        proved=face.all_proved,
    )


def wants_without(
    fleet: Fleet, plan: Plan, unserved: int, *, ways: SweptWays | None = None
) -> tuple[Wish, ...]:
    """The sets wanted without the dearest ones of a plan: those of `frontier` that leave so many unserved."""
    (point,) = frontier(fleet, plan, [unserved], ways=ways)
    return tuple(replace(w, quantity=point.wants[w.wish]) for w in fleet.wishes if point.wants.get(w.wish, 0))


def plan_sparing_sets(fleet: Fleet, unserved: int, **common: Any) -> Plan:
    """The judged plan that leaves the dearest sets of the best plan unserved; what is left is all it wants.

    ``common``: as `plan_fleet` takes it. Raises Refused where the best plan has fewer sets.
    """
    ways = SweptWays()
    wants = wants_without(fleet, plan_fleet(fleet, judged=False, ways=ways, **common), unserved, ways=ways)
    plan = plan_fleet(replace(fleet, wishes=wants), judged=False, ways=ways, **common)
    return judged_plan(fleet, replace(plan, wants=wants))
