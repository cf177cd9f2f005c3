"""Two plans beside each other: what changed, set by set, and how they differ in the totals, in words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.base.units import counted
from planner.plan.objective import COST_LEVELS, Totals, counted_in, levels_of
from planner.plan.values import Plan, PlannedSet
from planner.planning.assign.lexicographic import Solution
from planner.planning.assign.problem import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDifference:
    """Pairs whose set differs (None: no set), wants that gain or lose, policies that differ, the costs.

    ``other_boot``: pairs with the same work for another boot of the same sole length; they count as the same.
    """

    same: int
    moved: Sequence[tuple[PlannedSet | None, PlannedSet | None]]
    other_boot: Sequence[tuple[PlannedSet, PlannedSet]]
    wants: Sequence[tuple[str, int]]
    policies: Sequence[tuple[str, str, str]]
    costs: Sequence[str]


def compare_plans(first: Plan, second: Plan) -> PlanDifference:
    """The differences of the second plan from the first."""
    was, now = ({s.pair: s for s in plan.sets} for plan in (first, second))
    moved = [
        (was.get(tag), now.get(tag))
        for tag in sorted(set(was) | set(now))
        if _work(was.get(tag)) != _work(now.get(tag))
    ]
    names = sorted({s.wish for s in (*first.sets, *second.sets)})
    counts = [(w, _count(second, w) - _count(first, w)) for w in names]
    both = ((was[tag], now[tag]) for tag in sorted(set(was) & set(now)))
    return PlanDifference(
        other_boot=tuple((a, b) for a, b in both if _work(a) == _work(b) and a.boot != b.boot),
        same=len(set(was) & set(now)) - sum(a is not None and b is not None for a, b in moved),
        moved=tuple(moved),
        wants=tuple((w, n) for w, n in counts if n),
        policies=tuple(
            (name, first.policy.get(name, "-"), second.policy.get(name, "-"))
            for name in sorted(set(first.policy) | set(second.policy))
            if first.policy.get(name) != second.policy.get(name)
        ),
        costs=tuple(differences(first.totals, second.totals)),
    )


def _work(planned: PlannedSet | None) -> object:
    """All that the bench would notice: everything but the want, and which boot of a sole length it is."""
    if planned is None:
        return None
    way = planned.way
    return (
        way.bsl_um,
        planned.brake_um,
        planned.binding_from,
        way.rung,
        way.pattern,
        way.offset_um,
        way.skis,
    )


def _count(plan: Plan, wish: str) -> int:
    return sum(s.wish == wish for s in plan.sets)


def difference_lines(found: PlanDifference) -> Iterator[str]:
    """For a person: the costs first, then what moved."""
    yield "the second plan has " + (", ".join(found.costs) if found.costs else "the same figures")
    yield f"{counted(found.same, 'set')} the same, {counted(len(found.moved), 'pair')} otherwise"
    for name, old, new in found.policies:
        yield f"  policy {name}: {old or 'not set'}, then {new or 'not set'}"
    for wish, change in found.wants:
        yield f"  {wish}: {counted(abs(change), 'set')} {'more' if change > 0 else 'fewer'}"
    if found.other_boot:
        pairs = ", ".join(f"{a.pair} ({a.boot}; then {b.boot})" for a, b in found.other_boot)
        yield f"  another boot of the same sole length, the same work: {pairs}"
    for old_set, new_set in found.moved:
        tag = old_set.pair if old_set is not None else new_set.pair if new_set is not None else ""
        yield f"  {tag}: {_said(old_set)}; then {_said(new_set)}"


def _said(planned: PlannedSet | None) -> str:
    if planned is None:
        return "no set"
    holes = f", {counted(planned.way.drilled, 'hole')}" if planned.way.drilled else ""
    return f"{planned.boot}, {planned.way.rung.value}{holes}"


def difference_json(found: PlanDifference) -> dict[str, Any]:
    """The same for a program."""
    return {
        "same": found.same,
        "costs": list(found.costs),
        "policies": [{"name": n, "first": a, "second": b} for n, a, b in found.policies],
        "wants": [{"wish": w, "change": n} for w, n in found.wants],
        "other_boot": [
            {"pair": a.pair, "first": set_json(a), "second": set_json(b)} for a, b in found.other_boot
        ],
        "moved": [
            {
                "pair": (a or b).pair if (a or b) else None,  # type: ignore[union-attr]
                "first": None if a is None else set_json(a),
                "second": None if b is None else set_json(b),
            }
            for a, b in found.moved
        ],
    }


def set_json(planned: PlannedSet) -> dict[str, Any]:
    """The set and its costs, for a program."""
    return {
        "wish": planned.wish,
        "boot": planned.boot,
        "way": planned.way.rung.value,
        "drilled": planned.way.drilled,
        "minutes": planned.minutes,
    }


def totals_of_solution(problem: Problem, solution: Solution) -> Totals:
    """The totals that the levels were proved at; without a set each is 0, and no level was asked."""
    values, sets = dict(solution.levels or dict.fromkeys(problem.levels, 0)), len(solution.sets)
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
