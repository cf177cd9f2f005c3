"""A plan after a plan: promised sets stay, others change only for more than the shop's price of a change.

The source of each binding is kept as the earlier sheets say wherever bindings are alike.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fleet.facts.pairs import BrakeWidth
from fleet.tables.snapshot import Fleet
from planner.plan.objective import Totals
from planner.plan.values import Plan, PlannedSet, Strip, Unserved
from planner.planning.assign.geometry import RoomLeft, SweptWays
from planner.planning.assign.lexicographic import Solution, solve
from planner.planning.assign.plan import certified, expand, judged_plan, proposal, solved, totals_of
from planner.planning.assign.problem import Problem, build_problem
from planner.planning.assign.reasons import Outcome, measure_first, unserved
from planner.planning.replan.change_budget import most_kept, solve_keeping
from planner.planning.replan.earlier import DroppedSet, EarlierSet, earlier_sets, still_possible
from planner.planning.replan.stability import StableProblem, as_before, stable_problem

PRICE_POLICY = "change_price_holes"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedSet:
    """An earlier set that could have stayed, and what its pair does now (None: nothing)."""

    before: PlannedSet
    after: PlannedSet | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedAgain:
    """The new plan beside the earlier one.

    ``gone``: earlier sets that could not stay; ``changed``: sets that could, and do not. ``fewest`` and
    ``fewest_totals``: the least number of changes any plan makes do with, and what that plan reaches; the
    same as ``changed`` and the plan's own where nothing could be kept beyond it.
    """

    plan: Plan
    price_holes: int
    promised: tuple[EarlierSet, ...]
    kept: int
    changed: tuple[ChangedSet, ...]
    gone: tuple[DroppedSet, ...]
    added: int
    fewest: int
    fewest_totals: Totals


def plan_again(
    fleet: Fleet,
    earlier: Sequence[EarlierSet],
    *,
    made_at: str,
    ready_by: str | None,
    minutes_limit: int | None,
    parts_limit_cents: int | None = None,
    price_holes: int | None = None,
    most_changes: int | None = None,
    left_out: Mapping[str, str] | None = None,
    progress: Callable[[str], None] | None = None,
    ways: SweptWays | None = None,
    judged: bool = True,
) -> PlannedAgain:
    """The best plan that remembers ``earlier``, solved level by level, and what it changes.

    Its certificate is about all plans, those that keep nothing too: what is kept may cost the proof.

    Sets served come first, priority by priority. Then a change must save more drilled holes than
    ``price_holes`` (the shop's policy, if not given); among equals the fewest changes; then minutes, offset
    and clearance. ``left_out``: pairs that the technician refuses, with the reason. Raises Refused where
    more sets must change than ``most_changes`` allows.
    """
    say = progress or (lambda _: None)
    price = fleet.policy.count(PRICE_POLICY) if price_holes is None else price_holes
    out = dict(left_out or {})
    for tag in out:
        fleet.pair(tag)
    geometry = ways or SweptWays()
    say(f"looking for ways: {len(fleet.pairs)} pairs, {len(fleet.boots)} boots")
    possible, gone = still_possible(fleet, earlier, out)
    afresh = build_problem(
        fleet,
        ways=geometry,
        minutes_limit=minutes_limit,
        parts_limit_cents=parts_limit_cents,
        room=RoomLeft(fleet, geometry, before={e.planned.pair: e.planned.way for e in earlier}),
    )
    case = stable_problem(
        fleet,
        afresh,
        possible,
        left_out=sorted(out),
        waiting=[g.earlier for g in gone if g.waits],
    )
    say(f"{len(case.problem.arcs)} ways, {len(case.arc_of)} earlier sets could stay; solving")
    if most_changes is None or not len(case.arc_of):
        solution = solve(case.priced(price), lambda _: None, near=case.near)
    else:
        least = max(0, len(case.arc_of) - most_changes)
        solution = solve_keeping(case.priced(price), case.kept_arcs, at_least=least, near=case.near)
    say("how far from the best")
    best = solved(afresh, lambda _: None)
    unknown = measure_first(fleet, afresh, best, geometry)
    plan = _plan_of(fleet, case, solution, geometry, made_at, ready_by, (*gone, *case.gone), out, unknown)
    plan = certified(fleet, plan, best.problem, best)
    if judged:
        say("judging")
        plan = judged_plan(fleet, plan)
    kept_arcs = {c.arc for c in solution.sets} & set(case.arc_of)
    fewest, fewest_totals = len(case.arc_of) - len(kept_arcs), plan.totals
    if fewest and (most := most_kept(case.problem, case.kept_arcs)) > len(kept_arcs):
        say("what fewer changes would cost")
        fewest = len(case.arc_of) - most
        stiff = solve_keeping(case.priced(price), case.kept_arcs, at_least=most)
        fewest_totals = totals_of(
            fleet, expand(fleet, _counted(case, stiff), as_before(case, stiff.sets), geometry)[0]
        )
    now = {s.pair: s for s in plan.sets}
    before = {e.planned.pair for e in earlier}
    return PlannedAgain(
        plan=plan,
        price_holes=price,
        promised=case.promised,
        kept=len(kept_arcs),
        changed=tuple(
            ChangedSet(before=each.planned, after=now.get(each.planned.pair))
            for arc, each in sorted(case.arc_of.items(), key=lambda item: item[1].planned.sort_key())
            if arc not in kept_arcs
        ),
        gone=(*gone, *case.gone),
        added=sum(s.pair not in before for s in plan.sets),
        fewest=fewest,
        fewest_totals=fewest_totals,
    )


def plan_nearest(
    fleet: Fleet,
    first: Plan,
    *,
    progress: Callable[[str], None] | None = None,
    ways: SweptWays | None = None,
    judged: bool = True,
) -> Plan:
    """Of the best plans for the fleet, within the limits of ``first``, the one that changes the fewest of its
    sets. To be compared with it, not to be written: it carries no proof.
    """
    say = progress or (lambda _: None)
    geometry = ways or SweptWays()
    say(f"looking for ways: {len(fleet.pairs)} pairs, {len(fleet.boots)} boots")
    possible, gone = still_possible(fleet, earlier_sets(first, ()), {})
    problem = build_problem(
        fleet,
        ways=geometry,
        minutes_limit=first.minutes_limit,
        parts_limit_cents=first.parts_limit_cents,
    )
    case = stable_problem(fleet, problem, possible)
    say(f"{len(case.problem.arcs)} ways, {len(case.arc_of)} earlier sets could stay; solving")
    solution = solve(case.problem, say, near=case.near)
    plan = _plan_of(fleet, case, solution, geometry, "", first.ready_by, (*gone, *case.gone), {}, {})
    return judged_plan(fleet, plan) if judged else plan


def _plan_of(
    fleet: Fleet,
    case: StableProblem,
    solution: Solution,
    geometry: SweptWays,
    made_at: str,
    ready_by: str | None,
    gone: Sequence[DroppedSet],
    left_out: Mapping[str, str],
    measure: Mapping[str, str],
) -> Plan:
    problem = _counted(case, solution)
    sets, strips = expand(fleet, problem, as_before(case, solution.sets), geometry)
    earlier = [*case.promised, *case.arc_of.values()]
    sets = same_sources(sets, strips, {e.planned.pair: e.planned for e in earlier})
    wishes = tuple(sorted(fleet.wishes, key=lambda w: w.wish))
    outcome = Outcome(fleet, replace(problem, wishes=wishes), sets, strips, measure)
    plan = proposal(outcome, made_at=made_at, ready_by=ready_by)
    return replace(
        plan,
        unserved=_short(fleet, outcome, gone),
        unplanned_pairs=tuple(
            replace(row, reason=f"left out: {left_out[row.pair]}") if row.pair in left_out else row
            for row in plan.unplanned_pairs
        ),
    )


def _counted(case: StableProblem, solution: Solution) -> Problem:
    """The problem at its own costs, with the room that was counted for the solution."""
    counted = solution.problem
    arcs = replace(case.problem.arcs, room_lost=counted.arcs.room_lost)
    return replace(case.problem, arcs=arcs, room_counted=counted.room_counted)


def _short(fleet: Fleet, outcome: Outcome, gone: Sequence[DroppedSet]) -> tuple[Unserved, ...]:
    """Unserved wants of the ledger; a set whose work is done waits for its pair, and is said to."""
    served = Counter(planned.wish for planned in outcome.sets)
    waiting: dict[str, list[str]] = {}
    for each in gone:
        if each.waits:
            waiting.setdefault(each.earlier.planned.wish, []).append(each.earlier.about)
    told = {u.wish: u for u in unserved(outcome)}
    rows = []
    for wish in sorted(fleet.wishes, key=lambda w: w.wish):
        missing = wish.quantity - served[wish.wish]
        if missing <= 0:
            continue
        known = told.get(wish.wish)
        done = waiting.get(wish.wish, [])
        reason = known.reason if known else "other sets of the earlier plan stay before it"
        remedy = known.remedy if known else "plan afresh, without --after"
        if done:
            reason = f"done already, waiting for the pair: {'; '.join(done)}" + (
                "" if missing <= len(done) else f"; for the rest: {reason}"
            )
            remedy = "look the pair over and clear it" if missing <= len(done) else remedy
        rows.append(Unserved(wish=wish.wish, missing=missing, reason=reason, remedy=remedy))
    return tuple(rows)


_Sort = tuple[str, BrakeWidth]


def same_sources(
    sets: Sequence[PlannedSet], strips: Sequence[Strip], earlier: Mapping[str, PlannedSet]
) -> tuple[PlannedSet, ...]:
    """The sets with the sources of alike bindings exchanged so that earlier sets keep theirs.

    Nothing is taken that was not taken before, so stripped pairs, and minutes in all, stay as they are.
    """
    stripping = {s.pair for s in strips}
    cost = next((s.strip_minutes for s in sets if s.strip_minutes), 0)
    takers: dict[_Sort, list[int]] = defaultdict(list)
    for i, planned in enumerate(sets):
        if planned.binding_from != "own":
            takers[planned.way.pattern, planned.brake_um].append(i)
    found = list(sets)
    for mine in takers.values():
        pool = [sets[i].binding_from for i in mine]
        wanted: dict[int, str] = {}
        for i in mine:
            before = earlier.get(sets[i].pair)
            source = before.binding_from if before is not None and before.boot == sets[i].boot else None
            if source in pool and source != sets[i].pair:
                pool.remove(source)
                wanted[i] = source
        for i in mine:
            source = wanted[i] if i in wanted else pool.pop(0)
            found[i] = replace(sets[i], binding_from=source, strip_minutes=cost if source in stripping else 0)
    return tuple(found)
