"""The status of a plan: proved best only where the judge's sums of its certificate hold, else the gap."""

from dataclasses import replace

from fleet.tables.snapshot import Fleet
from planner.plan.objective import gap_percent
from planner.plan.values import Plan
from planner.planning.assign.dual_certificate import possible_ways
from planner.planning.assign.lexicographic import Solution
from planner.planning.assign.problem import Problem
from planner.planning.judge.certificate import BadCertificate, Budget, level_values, proved_levels

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
