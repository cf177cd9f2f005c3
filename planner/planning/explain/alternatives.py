"""The case for one set: the ladder below its way, the best plans without it, the life its drilling costs."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fleet.base.errors import Refused
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.objective import Totals
from planner.plan.values import PlannedSet, Rung, Way
from planner.planning.assign.geometry import RUNGS, as_left
from planner.planning.assign.lexicographic import Solution, solve
from planner.planning.assign.problem import Problem
from planner.planning.explain.case import PlanCase
from planner.planning.explain.compare import differences, totals_of_solution
from planner.planning.replan.stability import class_of, single_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """The part of a boot or a pair in a plan: the other one of the set, and its way; None: nothing."""

    boot: str | None
    pair: str | None
    way: Rung | None
    drilled: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """The best plan without the choices before it: what boot and pair do then, and what it costs.

    ``costs`` is empty where the plan is equal in every figure: as good as the plan.
    """

    for_boot: Assignment
    for_pair: Assignment
    figures: Totals
    costs: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Argument:
    """``lower``: rungs of less work that this boot has not on this pair; ``ladder``: the ways that it has.

    ``alike``: other boots that nothing tells apart from the set's own.
    """

    planned: PlannedSet
    alike: Sequence[str]
    lower: Sequence[Rung]
    ladder: Sequence[Way]
    figures: Totals
    alternatives: Sequence[Alternative]


def find_set(sets: Sequence[PlannedSet], name: str) -> PlannedSet:
    """The set of a pair or a boot. Raises Refused if the plan has none."""
    found = next((s for s in sets if name in (s.pair, s.boot)), None)
    if found is None:
        raise Refused(
            f"no set of the plan uses {name}", cure="name a pair or a boot that is in it, or a want"
        )
    return found


def argue(case: PlanCase, name: str, *, how_many: int = 2) -> Argument:
    """The argument for the set of a pair or boot, with the best alternatives by solving again.

    What is forbidden is this pair with this boot, or one just like it, by this way: to hand the pair the
    next boot of the same sole would be no alternative.
    """
    planned = find_set(case.plan.sets, name)
    base = case.plan.totals
    problem = single_out(case.fleet, case.problem, pairs={planned.pair})
    pair = class_of(problem.pairs, planned.pair)
    boot = class_of(problem.boots, planned.boot)
    found: list[Alternative] = []
    forbidden = _same_choice(problem, planned, pair, boot)
    for _ in range(how_many):
        smaller = replace(problem, arcs=problem.arcs.only(~forbidden))
        solution = solve(smaller, lambda _: None)
        figures = totals_of_solution(smaller, solution)
        for_boot = _assignment(smaller, solution, boot=planned.boot)
        for_pair = _assignment(smaller, solution, pair=planned.pair)
        found.append(
            Alternative(
                for_boot=for_boot,
                for_pair=for_pair,
                figures=figures,
                costs=differences(base, figures),
            )
        )
        more = _choice(problem, solution, smaller, planned)
        if not (more & ~forbidden).any():
            break
        forbidden = forbidden | more
    ladder = _ladder(case.fleet, case, planned)
    rungs = {way.rung for way in ladder}
    return Argument(
        planned=planned,
        alike=tuple(t for t in problem.boots[boot].tags if t != planned.boot) if boot is not None else (),
        lower=tuple(r for r in RUNGS if r.rank < planned.way.rung.rank and r not in rungs),
        ladder=ladder,
        figures=base,
        alternatives=tuple(found),
    )


def _same_choice(
    problem: Problem, planned: PlannedSet, pair: int | None, boot: int | None
) -> npt.NDArray[np.bool_]:
    """Arcs that are this boot on this pair by this way, with whatever brake."""
    arcs = problem.arcs
    pattern = next(n for n, p in enumerate(problem.patterns) if p.name == planned.way.pattern)
    return np.asarray(
        (arcs.pair == (-1 if pair is None else pair))
        & (arcs.boot == (-1 if boot is None else boot))
        & (arcs.pattern == pattern)
        & (arcs.rung == planned.way.rung.rank),
        dtype=bool,
    )


def _choice(
    problem: Problem, solution: Solution, solved: Problem, planned: PlannedSet
) -> npt.NDArray[np.bool_]:
    """The alternative's choice for the pair, as arcs of the whole problem."""
    chosen = next((c for c in solution.sets if c.pair == planned.pair), None)
    if chosen is None:
        return np.zeros(len(problem.arcs), dtype=bool)
    arcs, one = problem.arcs, solved.arcs
    same = np.ones(len(arcs), dtype=bool)
    for name in ("pair", "boot", "pattern", "rung"):
        same &= getattr(arcs, name) == getattr(one, name)[chosen.arc]
    return same


def _assignment(
    problem: Problem, solution: Solution, *, boot: str | None = None, pair: str | None = None
) -> Assignment:
    for chosen in solution.sets:
        if chosen.boot == boot or chosen.pair == pair:
            arcs = problem.arcs
            return Assignment(
                boot=chosen.boot,
                pair=chosen.pair,
                way=RUNGS[arcs.rung[chosen.arc]],
                drilled=int(arcs.drilled[chosen.arc]),
            )
    return Assignment(boot=None, pair=None, way=None)


def _ladder(fleet: Fleet, case: PlanCase, planned: PlannedSet) -> tuple[Way, ...]:
    """Every way of this boot on this pair with this pattern, least work first."""
    boot = fleet.boot(planned.boot)
    on = {b.pattern for b in fleet.bindings_on(planned.pair).values()}
    return case.ways(
        pair=fleet.pair(planned.pair),
        pattern=fleet.pattern(planned.way.pattern),
        bsl_um=planned.way.bsl_um,
        policy=fleet.policy,
        mounted=on == {planned.way.pattern},
        pin_um=boot.pin_um,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeCost:
    """Further mounts of the set's pattern that are surely possible now, and once it is drilled."""

    pattern: str
    before: int
    after: int


def life_cost(fleet: Fleet, planned: PlannedSet) -> LifeCost | None:
    """None where nothing is drilled, or where the pattern's life cannot be told for this kind of pair."""
    if not planned.way.drilled:
        return None
    pair, lives = fleet.pair(planned.pair), FleetLife(fleet)
    numbers = []
    for each in (pair, as_left(pair, planned.way)):
        found = [x for x in lives.of(each).by_pattern if x.pattern == planned.way.pattern]
        if not found:
            return None
        numbers.append(found[0].at_least)
    return LifeCost(pattern=planned.way.pattern, before=numbers[0], after=numbers[1])
