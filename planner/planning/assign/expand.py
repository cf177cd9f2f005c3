"""From chosen arcs to sets: the way, the source of the binding, the pairs stripped for it."""

from collections import defaultdict
from collections.abc import Sequence

from msgspec.structs import replace

from fleet.base.errors import PlanFault
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.placed import Twins
from planner.plan.objective import COST_LEVELS
from planner.plan.values import PlannedSet, Rung, Strip, Way
from planner.planning.assign.binding_stock import BindingSort
from planner.planning.assign.deal import Chosen
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.problem import COST_OF, Problem

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
