"""The totals of the objective, and how two plans differ in them, in words."""

from collections.abc import Sequence

from planner.plan.objective import COST_LEVELS, Totals, counted_in, levels_of
from planner.planning.assign.lexicographic import Solution
from planner.planning.assign.problem import Problem


def totals_of_solution(problem: Problem, solution: Solution) -> Totals:
    """The totals that the levels were proved at."""
    values, sets = dict(solution.levels), len(solution.sets)
    return Totals(
        wanted=sum(w.quantity for w in problem.wishes),
        served=sets,
        served_by_priority={
            level.priority: -values.get(level, 0) for level in problem.levels if level.priority is not None
        },
        **{
            level.total: level.total_for(values.get(level, 0), sets=sets, cap_um=problem.clearance_cap_um)
            for level in COST_LEVELS
            if level in values
        },
    )


def differences(base: Totals, other: Totals) -> Sequence[str]:
    """The totals that another plan has more or less of, level by level; empty: equal in every figure."""
    return tuple(
        level.difference(change)
        for level in levels_of(other.served_by_priority, counted_in(base, other))
        if (change := level.total_in(other) - level.total_in(base))
    )
