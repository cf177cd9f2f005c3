"""From numbers of sets to sets: by tag, with the way, the source of the binding, the pairs stripped for it.

The members of a class are dealt out in order of their tags. No rule tells them apart and no level tells plans
of equal value apart: which of them comes out is the solver's choice, the same for the same input.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec.structs import replace

from fleet.base.errors import PlanFault
from fleet.base.values import Value
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.placed import Twins
from planner.plan.objective import COST_LEVELS
from planner.plan.values import PlannedSet, Rung, Strip, Way
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import Ints
from planner.planning.assign.network import Network
from planner.planning.assign.problem import COST_OF, Problem
from planner.planning.assign.side_constraints import binding_flow


class Chosen(Value, frozen=True, kw_only=True):
    """One set by tags; ``arc`` is the way, ``sort`` None for the pair's own binding."""

    wish: int
    boot: str
    pair: str
    arc: int
    sort: BindingSort | None = None


def deal_out(problem: Problem, network: Network, ways: Ints, serves: Ints) -> list[Chosen]:
    """The sets in order of (wish, boot, pair), from how often each way and each serving arc is used."""
    way = np.repeat(np.arange(len(ways)), ways)
    way = way[np.argsort(network.way_link[way], kind="stable")]
    serve = np.repeat(np.arange(len(serves)), serves)
    serve = serve[np.argsort(network.serve_link[serve], kind="stable")]
    wish = network.serve_wish[serve]  # link by link there are as many sets as wishes served
    boot, pair = problem.arcs.boot[way], problem.arcs.pair[way]
    boots, pairs = ([iter(each.tags) for each in classes] for classes in (problem.boots, problem.pairs))
    found = [
        Chosen(wish=w, boot=next(boots[b]), pair=next(pairs[p]), arc=a)
        for w, b, p, a in zip(
            *(each[np.lexsort((way, pair, boot, wish))].tolist() for each in (wish, boot, pair, way)),
            strict=True,
        )
    ]
    return sorted(found, key=lambda each: (each.wish, each.boot, each.pair))


def with_brakes(problem: Problem, sets: Iterable[Chosen]) -> list[Chosen]:
    """The sets with the sort of binding of each, so that the fewest pairs are stripped."""
    sets = list(sets)
    found = binding_flow(problem, [(s.arc, 1) for s in sets])
    if found is None:
        raise AssertionError("the bindings do not suffice: a limit was broken")
    left = Counter({key: int(found.flow.flow[arc]) for key, arc in found.arc_of.items()})
    done: list[Chosen] = []
    for chosen in sets:
        brakes = int(problem.arcs.brakes[chosen.arc])
        sort = None
        if brakes >= 0:
            sort = next(k for k in problem.brake_sets[brakes] if left[brakes, k])
            left[brakes, sort] -= 1
        done.append(replace(chosen, sort=sort))
    return done


OWN = "own"
STOCK = "stock"


def expand(
    fleet: Fleet, problem: Problem, sets: Sequence[Chosen], ways: SweptWays
) -> tuple[tuple[PlannedSet, ...], tuple[Strip, ...]]:
    """The sets in order, each with the source of its binding, and the pairs left flat for them."""
    sources = _sources(problem, sets)
    serving = {chosen.pair for chosen in sets}
    planned: list[PlannedSet] = []
    known: dict[int, Twins] = {}
    strips: list[Strip] = []
    for chosen, source in zip(sets, sources, strict=True):
        sort = chosen.sort or problem.pairs[problem.arcs.pair[chosen.arc]].own
        assert sort is not None
        stripped = source not in (OWN, STOCK) and source not in serving
        if stripped:
            strips.append(Strip(pair=source, pattern=sort.pattern, brake_um=sort.brake_um))
        planned.append(
            PlannedSet(
                wish=problem.wishes[chosen.wish].wish,
                boot=chosen.boot,
                pair=chosen.pair,
                brake_um=sort.brake_um,
                way=_way(fleet, problem, chosen, ways, known),
                binding_from=source,
                strip_minutes=problem.strip_minutes if stripped else 0,
            )
        )
    return tuple(sorted(planned, key=PlannedSet.sort_key)), tuple(sorted(strips, key=lambda s: s.pair))


def _way(fleet: Fleet, problem: Problem, chosen: Chosen, ways: SweptWays, known: dict[int, Twins]) -> Way:
    """The chosen way on this very pair. Raises PlanFault if it costs another than it was planned at.

    ``known``: of each arc the way of the first pair of its class, for the pairs that are like it.
    """
    arcs, arc = problem.arcs, chosen.arc
    boot = problem.boots[arcs.boot[arc]]
    pattern, pair = problem.patterns[arcs.pattern[arc]], fleet.pairs[chosen.pair]
    alike = problem.pairs[arcs.pair[arc]]

    def way_on(one: Pair) -> Way | None:
        asked = problem.question(arc) | {"pair": one}
        if problem.room is not None and problem.room_counted and asked["rung"].rank > Rung.ADJUST.rank:
            way = problem.room.way(**asked)
        else:
            way = ways.way(policy=fleet.policy, **asked)
        if way is None:
            return None
        way = replace(way, mount_worth=int(arcs.mount_worth[arc]))
        as_planned = all(
            COST_OF[level.name].way(way, problem.clearance_cap_um) == arcs.cost(level)[arc]
            for level in COST_LEVELS
        )
        return way if as_planned else None

    way: Way | None = None
    if len(alike.tags) > 1:
        if arc not in known and (first := way_on(alike.pair)) is not None:
            known[arc] = Twins(first, stance_for(pattern, boot.bsl_um, boot.pin_um), alike.pair)
        if arc in known:
            way = known[arc].way_of(pair)
    way = way or way_on(pair)
    if way is None:
        raise PlanFault(f"{chosen.pair} has no such way for {chosen.boot} as was planned", cure="report this")
    return way


def _sources(problem: Problem, sets: Sequence[Chosen]) -> list[str]:
    """Stock first, then bindings that come off pairs serving with another, then off idle pairs by tag."""
    keeps = {chosen.pair: chosen.sort is None for chosen in sets}
    swapped: dict[BindingSort, list[str]] = defaultdict(list)
    idle: dict[BindingSort, list[str]] = defaultdict(list)
    for tag in problem.plannable:
        sort = problem.bindings.on_pair.get(tag)
        if sort is not None and not keeps.get(tag, False):
            (swapped if tag in keeps else idle)[sort].append(tag)
    queues = {
        sort: iter([STOCK] * problem.bindings.stock.get(sort, 0) + swapped[sort] + idle[sort])
        for sort in problem.supply
    }
    return [OWN if chosen.sort is None else next(queues[chosen.sort]) for chosen in sets]
