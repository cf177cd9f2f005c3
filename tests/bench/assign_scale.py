"""How long until a plan is proved best, and how much memory it takes; against one integer program a level.

    python -m tests.bench.assign_scale [PAIRS ...] [--reference-seconds N]

Fleets are seeded (`assign_fleets`); ways are drawn, so geometry is not in these figures. ``batch-like``:
25 pairs alike; minutes binding: 70 % of what the plan without that limit takes. Each case runs in a process
of its own, so that peak memory is its own; drawing the fleet is not timed, everything after is. The reference
is the same aggregated model with all its columns, in HiGHS, one integer program a level, each level before
held by a row. Both use one core; the ratio is that of CPU seconds, which a busy machine moves less.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
from time import perf_counter, process_time
from typing import Any

import numpy as np

from planner.planning.assign.formulation import columns_of, face_of, flow_costs, level_costs, network_of
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.problem import Problem
from tests.bench.assign_fleets import fleet_problem, limited
from tests.bench.rows import row

BATCH = 25
SHARE_OF_MINUTES = 0.7
SIZES = (300, 1500, 5000, 20_000, 100_000)
BARS = {
    (5000, False, False): 3,
    (100_000, False, False): 20,
    (5000, True, True): 8,
    (5000, False, True): 25,
    (20_000, False, True): 200,
    (100_000, True, True): 25,
}
"""Seconds we set ourselves, by (pairs, batch-like, minutes binding)."""
WITH_REFERENCE = 5000
"""Larger fleets are not given to the reference: it does not finish."""


def problem_of(count: int, *, batch_like: bool, binding: bool) -> Problem:
    """The seeded fleet. Slack: bindings for all, no limit, no shared boots; binding: minutes short."""
    batch = BATCH if batch_like else 1
    if not binding:
        return fleet_problem(count, seed=count, batch=batch, bindings_share=8.0, windows_apart=True)
    free = fleet_problem(count, seed=count, batch=batch, minutes_limit=10**9)
    network = network_of(free)
    for level in free.levels[:-2]:
        network.circulation.minimise(flow_costs(free, network, level))
    minutes = int(free.arcs.minutes @ network.circulation.flow[network.way_arc])
    return limited(free, int(minutes * SHARE_OF_MINUTES))


def ours(problem: Problem) -> dict[str, Any]:
    """Seconds and values of the levels."""
    start, cpu = perf_counter(), process_time()
    found = solve(problem, lambda _: None)
    return {
        "seconds": perf_counter() - start,
        "cpu": process_time() - cpu,
        "levels": [value for _, value in found.levels],
    }


def one_program_a_level(problem: Problem, limit_s: float) -> dict[str, Any]:
    """The reference; ``levels`` holds those proved within ``limit_s``."""
    import highspy

    network = network_of(problem)
    columns = columns_of(problem, network)
    rows = face_of(problem, network, columns, np.arange(columns.ways)).rows
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = rows.size, len(rows.lower)
    model.col_cost_ = np.zeros(rows.size)
    model.col_lower_, model.col_upper_ = np.zeros(rows.size), rows.column_upper
    model.row_lower_, model.row_upper_ = rows.lower, rows.upper
    model.a_matrix_.start_ = np.searchsorted(rows.column, np.arange(rows.size + 1)).astype(np.int32)
    model.a_matrix_.index_, model.a_matrix_.value_ = rows.row.astype(np.int32), rows.value
    model.integrality_ = [highspy.HighsVarType.kInteger] * rows.size
    solver = highspy.Highs()
    for option, value in (("output_flag", False), ("threads", 1), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.0)):
        solver.setOptionValue(option, value)
    start, cpu = perf_counter(), process_time()
    solver.passModel(model)
    levels: list[int] = []
    for level in problem.levels:
        costs = level_costs(problem, network, columns, level)
        solver.changeColsCost(rows.size, np.arange(rows.size, dtype=np.int32), costs.astype(np.float64))
        left = limit_s - (perf_counter() - start)
        if left <= 0:
            break
        solver.setOptionValue("time_limit", solver.getRunTime() + left)
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            break
        best = round(solver.getInfo().objective_function_value)
        levels.append(best)
        used = np.flatnonzero(costs).astype(np.int32)
        solver.addRow(float(best), float(best), len(used), used, costs[used].astype(np.float64))
    return {"seconds": perf_counter() - start, "cpu": process_time() - cpu, "levels": levels}


def measured(count: int, batch_like: bool, binding: bool, reference_s: float) -> dict[str, Any]:
    """One case in a process of its own; ``reference_s`` 0: ours."""
    asked = [str(count), str(int(batch_like)), str(int(binding)), str(reference_s)]
    child = subprocess.run(
        [sys.executable, "-m", "tests.bench.assign_scale", "--one", *asked], check=True, capture_output=True
    )
    found: dict[str, Any] = json.loads(child.stdout.splitlines()[-1])
    return found


def _one(asked: list[str]) -> None:
    count, batch_like, binding, reference_s = int(asked[0]), asked[1] == "1", asked[2] == "1", float(asked[3])
    problem = problem_of(count, batch_like=batch_like, binding=binding)
    found = one_program_a_level(problem, reference_s) if reference_s else ours(problem)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({**found, "peak_mib": peak, "ways": len(problem.arcs)}))


def _time(found: dict[str, Any]) -> str:
    return f"{found['seconds']:.2f} s ({found['cpu']:.2f} s CPU)"


def case(count: int, batch_like: bool, binding: bool, reference_s: float) -> None:
    """Measure and print one row."""
    mine = measured(count, batch_like, binding, 0)
    bar = BARS.get((count, batch_like, binding))
    name = f"{count:,} pairs {'batch-like' if batch_like else 'all different'}"
    name += ", minutes binding" if binding else ", limits slack"
    said = f"{_time(mine)}, {mine['peak_mib']:.0f} MiB, {mine['ways']:,} ways"
    said += f" (bar {bar} s)" if bar else ""
    if count > WITH_REFERENCE or not reference_s:
        row(name, said, "not run", "-")
        return
    other = measured(count, batch_like, binding, reference_s)
    proved = other["levels"]
    assert proved == mine["levels"][: len(proved)], (proved, mine["levels"])
    whole = len(proved) == len(mine["levels"])
    ratio = other["cpu"] / mine["cpu"]
    row(
        name,
        said,
        f"{_time(other)}, {len(proved)} of {len(mine['levels'])} levels proved",
        f"{'' if whole else 'over '}{ratio:.1f} times faster",
    )


def main() -> None:
    """All cases of the sizes asked for."""
    ask = argparse.ArgumentParser(prog="python -m tests.bench.assign_scale")
    ask.add_argument("pairs", nargs="*", type=int, default=SIZES)
    ask.add_argument("--reference-seconds", type=float, default=300.0, help="0: no reference")
    ask.add_argument("--one", nargs=4, help=argparse.SUPPRESS)
    given = ask.parse_args()
    if given.one:
        _one(given.one)
        return
    for count in given.pairs:
        for binding in (False, True):
            for batch_like in (True, False):
                case(count, batch_like, binding, given.reference_seconds)


if __name__ == "__main__":
    main()
