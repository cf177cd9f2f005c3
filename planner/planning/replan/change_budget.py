"""The levels of a plan under a budget of changes: a bound on how many earlier sets may change."""

from collections.abc import Sequence

import numpy as np

from fleet.base.errors import Refused
from planner.planning.assign.formulation import Columns, Network, columns_of, face_of, level_costs, network_of
from planner.planning.assign.lexicographic import Solution, by_rows
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Ints, Problem


def most_kept(problem: Problem, kept: Ints) -> int:
    """The most of the ``kept`` arcs that any plan can hold at once."""
    *_, face = _face(problem)
    costs = np.zeros(face.size, dtype=np.int64)
    costs[kept] = -1
    return -face.minimise(costs)


def served_by_priority(problem: Problem) -> dict[int, int]:
    """Sets served, priority by priority, and nothing beyond: the first levels alone, proved."""
    if not len(problem.arcs):
        return {level.priority: 0 for level in problem.levels if level.priority is not None}
    network, columns, face = _face(problem)
    return {
        level.priority: -face.minimise(level_costs(problem, network, columns, level))
        for level in problem.levels
        if level.priority is not None
    }


def solve_keeping(problem: Problem, kept: Ints, *, at_least: int, near: Sequence[Ints] = ()) -> Solution:
    """The best plan that holds at least so many of the ``kept`` arcs, proved level by level.

    ``near``: as in `lexicographic.solve`.

    Raises Refused where no plan keeps so many.
    """
    possible = most_kept(problem, kept)
    if possible < at_least:
        raise Refused(
            f"at least {at_least - possible} more of the earlier sets must change than was allowed",
            cure="allow more with --most-changes",
        )
    return by_rows(problem, network_of(problem), lambda _: None, near=near, keep=(kept, at_least))


def _face(problem: Problem) -> tuple[Network, Columns, OptimalFace]:
    """The network, its columns, and the face of all plans, with every way in the solver's sight."""
    network = network_of(problem)
    columns = columns_of(problem, network)
    return network, columns, face_of(problem, network, columns, np.arange(len(problem.arcs)))
