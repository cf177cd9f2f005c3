"""What may be said of a plan: proved best only where its certificate holds, else the gap that is left."""

from __future__ import annotations

from fleet.snapshot import Fleet
from planner.assign.certify import possible_ways
from planner.assign.levels import Solution
from planner.assign.problem import Problem
from planner.judge.certificate import Purse, proved_levels

PROVED_BEST = "proved best"
BEST_FOUND = "best found"


def standing_of(fleet: Fleet, problem: Problem, solution: Solution) -> tuple[str, float]:
    """(status, gap in per cent): of the first level not proved, how far its value is from its bound."""
    certificate = solution.certificate
    if certificate is None:
        return BEST_FOUND, 100.0
    purse = Purse(minutes=problem.minutes_limit, parts_cents=problem.parts_limit_cents)
    bounds = proved_levels(fleet, certificate, purse, possible_ways(problem))
    for bound, level in zip(bounds, certificate.levels, strict=False):
        if bound != level.value:
            return BEST_FOUND, gap_percent(level.value, bound)
    return PROVED_BEST, 0.0


def gap_percent(value: int, bound: int | None) -> float:
    """How much of the larger of the two lies between them, rounded up to a tenth; 100 without a bound."""
    if bound is None:
        return 100.0
    most = max(abs(value), abs(bound))
    return 0.0 if most == 0 else -(-1000 * (value - bound) // most) / 10
