"""The status of a plan: proved best only where the judge's sums of its certificate hold, else the gap."""

from __future__ import annotations

from dataclasses import replace

from fleet.tables.snapshot import Fleet
from planner.plan.certificate import Certificate, gap_percent
from planner.planning.assign.dual_certificate import possible_ways
from planner.planning.assign.lexicographic import Solution
from planner.planning.assign.problem import Problem
from planner.planning.judge.certificate import Budget, proved_levels

PROVED_BEST = "proved best"
BEST_FOUND = "best found"


def certify(fleet: Fleet, problem: Problem, solution: Solution) -> tuple[str, float, Certificate | None]:
    """(status, gap in per cent, certificate with its bounds).

    The gap is that of the first level not proved; nought where only the order among equals is not.
    """
    certificate = solution.certificate
    if certificate is None:
        return BEST_FOUND, 100.0, None
    budget = Budget(minutes=problem.minutes_limit, parts_cents=problem.parts_limit_cents)
    bounds = proved_levels(fleet, certificate, budget, possible_ways(problem))
    levels = [replace(proof, bound=bound) for proof, bound in zip(certificate.levels, bounds, strict=True)]
    missed = [gap_percent(level.value, level.bound) for level in levels if level.bound != level.value]
    return (
        PROVED_BEST if solution.settled and not missed else BEST_FOUND,
        missed[0] if missed else 0.0,
        replace(certificate, levels=tuple(levels)),
    )
