"""The levels of a plan with one row of its own: a bound on how many earlier sets may change."""

from __future__ import annotations

import numpy as np

from fleet.errors import Refused
from planner.assign.extension import ExactExtension, NetworkExtension, network_flow
from planner.assign.formulation import columns_of, face_of, level_costs
from planner.assign.lexicographic import BY_ROWS, Solution
from planner.assign.network import network_of, objective
from planner.assign.optimal_face import LinearProgram, OptimalFace
from planner.assign.problem import Ints, Problem
from planner.assign.tie_break import smallest_list, with_brakes


def most_kept(problem: Problem, kept: Ints) -> int:
    """The most of the ``kept`` arcs that any plan can hold at once."""
    columns, face = _face(problem, kept, at_least=None)
    costs = np.zeros(columns, dtype=np.int64)
    costs[kept] = -1
    return -face.minimise(costs)


def served_by_priority(problem: Problem) -> dict[int, int]:
    """Sets served, priority by priority, and nothing beyond: the first levels alone, proved."""
    ranks = sorted({w.priority for w in problem.wishes})
    if not len(problem.arcs):
        return dict.fromkeys(ranks, 0)
    network = network_of(problem)
    columns = columns_of(problem, network)
    face = face_of(problem, network, columns, np.arange(len(problem.arcs)))
    return {rank: -face.minimise(level_costs(problem, network, columns, ("", rank))) for rank in ranks}


def solve_keeping(problem: Problem, kept: Ints, *, at_least: int) -> Solution:
    """The best plan that holds at least so many of the ``kept`` arcs, proved level by level.

    Sound only where the costs of a level tell apart plans that keep a different number (as
    `stability.priced` makes them): the last tie-break then never gives up a set that is kept.
    Raises Refused where no plan keeps so many.
    """
    possible = most_kept(problem, kept)
    if possible < at_least:
        raise Refused(
            f"at least {at_least - possible} more of the earlier sets must change than was allowed",
            cure="allow more with --most-changes",
        )
    _, face = _face(problem, kept, at_least=at_least)
    network = network_of(problem)
    columns = columns_of(problem, network)
    levels = [
        (level[0], face.minimise(level_costs(problem, network, columns, level)))
        for level in objective(problem)
    ]
    stripped = int(face.values[columns.strips_at :].sum())
    circulation = network.circulation
    circulation.flow = network_flow(network, face.values)
    ways, serves = columns.ways, columns.sorts_at
    for arcs, part in ((network.way_arc, slice(0, ways)), (network.serve_arc, slice(ways, serves))):
        circulation.lower[arcs] = face.lower[part]
        circulation.upper[arcs] = np.minimum(circulation.upper[arcs], face.upper[part])
    takes = NetworkExtension(problem, network, stripped, ExactExtension(face, columns))
    sets = smallest_list(problem, network, takes)
    return Solution(sets=tuple(with_brakes(problem, sets)), levels=tuple(levels), method=BY_ROWS)


def _face(problem: Problem, kept: Ints, *, at_least: int | None) -> tuple[int, OptimalFace]:
    network = network_of(problem)
    columns = columns_of(problem, network)
    face = face_of(problem, network, columns, np.arange(len(problem.arcs)))
    if at_least is None:
        return columns.size, face
    rows = face.rows
    column = np.concatenate([rows.column, kept])
    order = np.argsort(column, kind="stable")
    bounded = LinearProgram(
        size=rows.size,
        column_upper=rows.column_upper,
        lower=np.append(rows.lower, float(at_least)),
        upper=np.append(rows.upper, np.inf),
        row=np.concatenate([rows.row, np.full(len(kept), len(rows.lower))])[order],
        column=column[order],
        value=np.concatenate([rows.value, np.ones(len(kept))])[order],
    )
    return columns.size, OptimalFace(bounded)
