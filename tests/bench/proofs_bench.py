"""How many plans that a limit on bench minutes binds are proved best, and by what.

    python -m tests.bench.proofs_bench [PAIRS ...] [--seeds N]

Fleets are those of `plan_fleets`, each with 30, 60 and 90 % of the minutes that its plan takes without a
limit. The reference is the same certificate without its cases, in the same run: what one set of multipliers a
level proves. The bound of a level is rounded to the step of its free costs in both.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from time import process_time

from planner.plan.objective import CaseProof, CaseSplit
from planner.planning.assign.dual_certificate import possible_ways
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.plan import PROVED_BEST, plan_fleet
from planner.planning.assign.problem import build_problem
from planner.planning.judge.certificate import Budget, proved_levels
from tests.bench.plan_fleets import real_fleet
from tests.bench.rows import row

SIZES = (60, 150, 300, 900)
SHARES = (0.3, 0.6, 0.9)


def closed(case: CaseProof) -> int:
    """The cases that a proof closes."""
    return 1 if case.split is None else leaves(case.split)


def leaves(split: CaseSplit) -> int:
    """The cases that both sides of a split close."""
    return closed(split.fewer) + closed(split.more)


def size(pairs: int, seeds: int) -> None:
    """Measure one size and print its row."""
    plans = proved = plain = most = 0
    worst_gap, seconds = 0.0, 0.0
    for seed in range(seeds):
        fleet, ways = real_fleet(pairs, seed=seed), SweptWays()
        free = plan_fleet(fleet, made_at="", ready_by=None, minutes_limit=None, ways=ways)
        for share in SHARES:
            limit = int(free.totals.minutes * share)
            start = process_time()
            plan = plan_fleet(fleet, made_at="", ready_by=None, minutes_limit=limit, ways=ways)
            seconds = max(seconds, process_time() - start)
            assert plan.certificate is not None
            bare = replace(
                plan.certificate, levels=tuple(replace(p, cases=None) for p in plan.certificate.levels)
            )
            found = proved_levels(
                fleet,
                bare,
                Budget(minutes=limit, parts_cents=None),
                possible_ways(build_problem(fleet, ways=ways, minutes_limit=limit)),
            )
            plans += 1
            proved += plan.status == PROVED_BEST
            plain += found == [level.value for level in bare.levels]
            worst_gap = max(worst_gap, plan.gap_percent)
            most = max(most, *(leaves(p.cases) if p.cases else 0 for p in plan.certificate.levels))
    row(
        f"{pairs} pairs, {plans} plans whose minutes bind: proved best",
        f"{proved}, at most {most} cases, worst gap {worst_gap:g} %, slowest {seconds:.1f} s CPU",
        f"one set of multipliers a level: {plain}",
        f"{plans - proved} of {plans - plain} still open",
    )


def main() -> None:
    """All sizes asked for."""
    ask = argparse.ArgumentParser(prog="python -m tests.bench.proofs_bench")
    ask.add_argument("pairs", nargs="*", type=int, default=SIZES)
    ask.add_argument("--seeds", type=int, default=6)
    given = ask.parse_args()
    for pairs in given.pairs:
        size(pairs, given.seeds)


if __name__ == "__main__":
    main()
