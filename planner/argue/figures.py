"""The figures of the objective in its order, and how two plans differ in them, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.units import counted, half_mm_text
from planner.assign.lexicographic import Solution
from planner.assign.problem import Problem
from planner.plan_values import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFigures:
    """``served``: (priority, sets), priority 1 first; the rest summed over the sets, in whole units."""

    served: tuple[tuple[int, int], ...]
    drilled: int
    minutes: int
    offset_um: int
    clearance_um: int

    @property
    def total_served(self) -> int:
        """Sets in all."""
        return sum(n for _, n in self.served)


def figures_of_plan(plan: Plan) -> PlanFigures:
    """As the plan says."""
    t = plan.totals
    return PlanFigures(
        served=tuple(sorted(t.served_by_priority.items())),
        drilled=t.drilled,
        minutes=t.minutes,
        offset_um=t.offset_um,
        clearance_um=t.clearance_um,
    )


def figures_of(problem: Problem, solution: Solution) -> PlanFigures:
    """As the levels were proved."""
    served: Counter[int] = Counter(problem.wishes[c.wish].priority for c in solution.sets)
    values = dict(solution.levels)
    return PlanFigures(
        served=tuple((p, served[p]) for p in sorted({w.priority for w in problem.wishes})),
        drilled=values.get("drilled", 0),
        minutes=values.get("minutes", 0),
        offset_um=values.get("offset_um", 0),
        clearance_um=problem.clearance_cap_um * len(solution.sets) - values.get("lost_um", 0),
    )


def differences(base: PlanFigures, other: PlanFigures) -> Sequence[str]:
    """What another plan has more or less of, in the order of the objective; empty: equal in every figure."""
    return tuple(_differences(base, other))


def _differences(base: PlanFigures, other: PlanFigures) -> Iterator[str]:
    ours = dict(base.served)
    for priority, count in other.served:
        change = count - ours.get(priority, 0)
        if change:
            yield f"{counted(abs(change), 'set')} of priority {priority} {_more(change)}"
    if change := other.drilled - base.drilled:
        yield f"{counted(abs(change), 'hole')} {_more(change)}"
    if change := other.minutes - base.minutes:
        yield f"{abs(change)} min {'more' if change > 0 else 'less'}"
    if change := other.offset_um - base.offset_um:
        yield f"{_mm(change)} off the marks in all"
    if change := other.clearance_um - base.clearance_um:
        yield f"{_mm(change)} clearance in all"


def _more(change: int) -> str:
    return "more" if change > 0 else "fewer"


def _mm(change_um: int) -> str:
    size = half_mm_text(abs(change_um)) if abs(change_um) >= 500 else "less than 0.5"
    return f"{size} mm {'more' if change_um > 0 else 'less'}"
