"""A fleet in, a judged proposal out: problem, levels, sets, certificate, judge.

A plan is called proved best only where the judge's sums of its certificate hold; else it says its gap.

From chosen arcs to sets: the way, the source of the binding, the pairs stripped for it.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

from msgspec import structs

from fleet.base.errors import PlanFault
from fleet.base.uncollected import nothing_collected
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.untouched import Twins
from planner.plan.objective import COST_LEVELS, Level, Totals, cost_levels, gap_percent
from planner.plan.part_prices import prices_in
from planner.plan.plan_words import fit_of
from planner.plan.values import Plan, PlannedSet, Rung, Strip, Way
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.dual_certificate import possible_ways
from planner.planning.assign.geometry import RoomLeft, SweptWays
from planner.planning.assign.lexicographic import Chosen, Solution, solve
from planner.planning.assign.linear_program import NEVER, OVER, Deadline
from planner.planning.assign.problem import COST_OF, Problem, build_problem
from planner.planning.assign.reasons import Outcome, measure_first, unplanned_pairs, unserved
from planner.planning.judge import judge_plan
from planner.planning.judge.certificate import BadCertificate, Budget, level_values, proved_levels


@nothing_collected()
def plan_fleet(
    fleet: Fleet,
    *,
    made_at: str,
    ready_by: str | None,
    minutes_limit: int | None,
    parts_limit_cents: int | None = None,
    progress: Callable[[str], None] | None = None,
    ways: SweptWays | None = None,
    judged: bool = True,
    deadline: Deadline = NEVER,
    room: RoomLeft | None = None,
) -> Plan:
    """The best plan for the fleet as it stands. Raises PlanFault if the judge refuses it.

    Once the ``deadline`` is over no more is looked for: the best plan found is made ready and judged.
    """
    say = progress or (lambda _: None)
    say(f"looking for ways: {len(fleet.pairs)} pairs, {len(fleet.boots)} boots")
    geometry = ways or SweptWays()
    problem = build_problem(
        fleet,
        ways=geometry,
        minutes_limit=minutes_limit,
        parts_limit_cents=parts_limit_cents,
        room=room or RoomLeft(fleet, geometry),
        deadline=deadline,
    )
    say(f"{len(problem.arcs)} ways; solving")
    solution = solved(problem, say, deadline)  # level after level, each on the optimal face of those before
    problem = solution.problem
    sets, strips = expand(fleet, problem, solution.sets, geometry)
    say("checking the proof")
    unknown = {} if deadline.over() else measure_first(fleet, problem, solution, geometry, deadline)
    plan = proposal(Outcome(fleet, problem, sets, strips, unknown), made_at=made_at, ready_by=ready_by)
    plan = certified(fleet, plan, problem, solution)
    if judged:
        say("judging")
        plan = judged_plan(fleet, plan)
    return plan


def solved(problem: Problem, say: Callable[[str], None], deadline: Deadline = NEVER) -> Solution:
    """The best plan; where the solver's own checks do not hold, one made in a single pass, without proof."""
    try:
        return solve(problem, say, deadline)
    except PlanFault as fault:
        say(f"going on without a proof: {fault.sentence}")
        return solve(problem, say, OVER)


def proposal(outcome: Outcome, *, made_at: str, ready_by: str | None) -> Plan:
    """The plan of what came out, with every no and its reason; said to be best by nobody yet."""
    fleet, problem = outcome.fleet, outcome.problem
    return Plan(
        made_at=made_at,
        ledger_entry=fleet.head.seq,
        ledger_head=fleet.head.hash,
        ready_by=ready_by,
        minutes_limit=problem.minutes_limit,
        parts_limit_cents=problem.parts_limit_cents,
        policy={s.name: s.value for s in sorted(fleet.policy, key=lambda s: s.name)},
        status=BEST_FOUND,
        gap_percent=100.0,
        totals=totals_of(fleet, outcome.sets, problem.levels),
        sets=tuple(outcome.sets),
        strip=tuple(outcome.strips),
        unserved=unserved(outcome),
        unplanned_pairs=unplanned_pairs(outcome),
    )


def totals_of(fleet: Fleet, sets: Sequence[PlannedSet], levels: Collection[Level] = ()) -> Totals:
    """The figures of the objective; ``levels``: those of the plan, for what is not always counted."""
    cap = fleet.policy.um("clearance_counted_max_mm")
    by_wish = {w.wish: w.priority for w in fleet.wishes}
    prices = prices_in(fleet.policy)
    served: Mapping[int, int] = Counter(by_wish[s.wish] for s in sets)
    return Totals(
        wanted=sum(w.quantity for w in fleet.wishes),
        served=len(sets),
        served_by_priority={p: served.get(p, 0) for p in sorted(set(by_wish.values()))},
        **{
            level.total: level.total_for(
                sum(cost.way(s.way, cap) + cost.strip(s.strip_minutes) for s in sets),
                sets=len(sets),
                cap_um=cap,
            )
            for level in cost_levels(levels)
            for cost in [COST_OF[level.name]]
        },
        parts_cents=None
        if prices is None
        else sum(prices.of_way(s.way, fleet.pattern(s.way.pattern)) for s in sets),
        fit_not_known=sum(bool(fit_of(fleet, s)) for s in sets),
    )


@nothing_collected()
def judged_plan(fleet: Fleet, plan: Plan) -> Plan:
    """The plan as it may be written: without its proof, room or worth, where the judge cannot follow those.

    Raises PlanFault with the judge's first objection: such a plan is never written.
    """
    objections = judge_plan(fleet, plan)
    for rule, without in (("mount worth", without_worth), ("room", without_room), ("certificate", unproved)):
        if any(each.rule == rule for each in objections):
            plan = without(plan)
            objections = judge_plan(fleet, plan)
    if objections:
        first = objections[0]
        raise PlanFault(
            f"the judge refuses the plan ({len(objections)} objections): {first}",
            cure="nothing was written; please report this with the ledger",
        )
    return plan


PROVED_BEST = "proved best"
BEST_FOUND = "best found"


def certified(fleet: Fleet, plan: Plan, problem: Problem, solution: Solution) -> Plan:
    """The plan with its status, its gap and a certificate, from a solution of the fleet's own problem.

    The solution need not be the plan's: its multipliers bound every plan. The gap is that of the first level
    not proved.
    """
    certificate = solution.certificate
    if certificate is None:
        return unproved(plan)
    values = level_values(fleet, plan)
    if len(certificate.levels) < len(values):
        plan = without_room(plan)
        values = level_values(fleet, plan)
    certificate = replace(certificate, levels=certificate.levels[: len(values)])
    levels = [
        replace(proof, value=v, by_solver=proof.by_solver and v == proof.value)
        for proof, v in zip(certificate.levels, values, strict=True)
    ]
    certificate = replace(certificate, levels=tuple(levels))
    budget = Budget(minutes=problem.minutes_limit, parts_cents=problem.parts_limit_cents)
    try:
        bounds = proved_levels(fleet, certificate, budget, possible_ways(problem))
    except BadCertificate:
        return unproved(plan)
    levels = [replace(proof, bound=bound) for proof, bound in zip(levels, bounds, strict=True)]
    missed = [gap_percent(level.value, level.bound) for level in levels if level.bound != level.value]
    return replace(
        plan,
        status=BEST_FOUND if missed else PROVED_BEST,
        gap_percent=missed[0] if missed else 0.0,
        certificate=replace(certificate, levels=tuple(levels)),
    )


def without_room(plan: Plan) -> Plan:
    """The plan that says nothing of the room for further mounts, and whose proof ends before it."""
    proof, told = plan.certificate, plan.totals.room_lost is not None
    return replace(
        plan,
        totals=replace(plan.totals, room_lost=None),
        sets=tuple(replace(s, way=replace(s.way, room=None)) for s in plan.sets),
        certificate=replace(proof, levels=proof.levels[:-1]) if told and proof is not None else proof,
    )


def without_worth(plan: Plan) -> Plan:
    """The plan that says nothing of the worth of mounts, and of which nothing is proved."""
    sets = tuple(replace(s, way=replace(s.way, mount_worth=0)) for s in plan.sets)
    return unproved(replace(plan, totals=replace(plan.totals, mount_worth=None), sets=sets))


def unproved(plan: Plan) -> Plan:
    """The plan of which nobody says how far from the best it is; every limit of it is judged all the same."""
    return replace(plan, status=BEST_FOUND, gap_percent=100.0, certificate=None)


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
        way = structs.replace(way, mount_worth=int(arcs.mount_worth[arc]))
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
