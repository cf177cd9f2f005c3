"""From a solution by index to sets by tag: which kit goes where, and which pairs are stripped for it."""

from __future__ import annotations

from planner.assign.kits import Kit
from planner.assign.levels import Chosen, Solution, kit_uses
from planner.assign.problem import Problem
from planner.plan_values import PlannedSet, Strip

OWN = "own"
STOCK = "stock"


def expand(problem: Problem, solution: Solution) -> tuple[tuple[PlannedSet, ...], tuple[Strip, ...]]:
    """The sets in order, each with the source of its binding, and the pairs left flat for them."""
    sources = _sources(problem, solution.sets)
    serving = {problem.pairs[problem.options[s.option].pair].tag for s in solution.sets}
    sets: list[PlannedSet] = []
    strips: list[Strip] = []
    for chosen in solution.sets:
        option = problem.options[chosen.option]
        source = sources.get(chosen, OWN)
        stripped = source not in (OWN, STOCK) and source not in serving
        if stripped:
            strips.append(Strip(pair=source, pattern=option.kit.pattern, brake_um=option.kit.brake_um))
        sets.append(
            PlannedSet(
                wish=problem.wishes[chosen.wish].wish,
                boot=chosen.boot,
                pair=problem.pairs[option.pair].tag,
                brake_um=option.kit.brake_um,
                way=option.way,
                binding_from=source,
                strip_minutes=problem.strip_minutes if stripped else 0,
            )
        )
    return tuple(sorted(sets, key=PlannedSet.sort_key)), tuple(sorted(strips, key=lambda s: s.pair))


def _sources(problem: Problem, sets: tuple[Chosen, ...]) -> dict[Chosen, str]:
    """Stock first, then kits that come off pairs serving with another, then off idle pairs by tag."""
    keeps = {problem.options[s.option].pair: problem.options[s.option].own for s in sets}
    swapped: dict[Kit, list[str]] = {}
    idle: dict[Kit, list[str]] = {}
    for index, pair in enumerate(problem.pairs):
        kit = problem.kits.on_pair.get(pair.tag)
        if kit is not None and not keeps.get(index, False):
            (swapped if index in keeps else idle).setdefault(kit, []).append(pair.tag)
    sources: dict[Chosen, str] = {}
    for kit, users in kit_uses(problem, sets).items():
        queue = [STOCK] * problem.kits.stock.get(kit, 0) + swapped.get(kit, []) + idle.get(kit, [])
        sources.update(zip(users, queue, strict=False))
        missing = len(users) - len(queue)
        if missing > 0:
            raise AssertionError(f"{missing} kits {kit} too few: the kit row was broken")
    return sources
