"""A whole plan, geometry included: seconds of each step and peak memory, against asking pair by pair.

    python -m tests.bench.plan_scale [PAIRS ...] [--asked N]

Fleets are seeded with real old holes (`plan_fleets`), bindings for all, no limit on minutes. ``batch-like``:
25 pairs alike. Each case runs in a process of its own; making the fleet is not timed, everything from the
fleet to the judged plan is. The reference prices the same questions (a pair, a pattern and a sole that
somebody wants) one by one with `WayFinder`, as many as --asked pairs ask, in the same process; each of its
answers must be the batch's. The ratio is that of CPU seconds a question.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
from collections import defaultdict
from collections.abc import Callable
from time import perf_counter, process_time
from typing import Any

import numpy as np

import planner.planning.assign.plan as planning
from planner.planning.assign.geometry import Costs, SweptWays, costs_one_by_one
from tests.bench.plan_fleets import real_fleet
from tests.bench.rows import row

SIZES = (300, 1500, 5000)
MOST_DIFFERENT = 20_000
"""No fleet of more pairs is all different: those are bought in batches."""
BATCH = 25
STEPS = {
    "build_problem": "geometry",
    "solve": "solver",
    "expand": "chosen ways",
    "certified": "proof",
    "unserved": "reasons",
    "unplanned_pairs": "reasons",
    "judged_plan": "judge",
}


class Clock:
    """CPU seconds by step, taken around the functions that `plan_fleet` calls."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        for name, step in STEPS.items():
            setattr(planning, name, self._timed(getattr(planning, name), step))

    def _timed(self, function: Callable[..., Any], step: str) -> Callable[..., Any]:
        def timed(*args: Any, **more: Any) -> Any:
            start = process_time()
            try:
                return function(*args, **more)
            finally:
                self.seconds[step] += process_time() - start

        return timed


class Questions:
    """What the problem asked of the geometry, and what it was told."""

    def __init__(self) -> None:
        self.told: list[tuple[dict[str, Any], Costs]] = []
        ask = SweptWays.costs

        def asked(ways: SweptWays, **question: Any) -> Costs:
            found = ask(ways, **question)
            self.told.append((question, found))
            return found

        SweptWays.costs = asked

    def count(self) -> int:
        """Pairs with a pattern and a sole."""
        return sum(int(question["asked"].sum()) for question, _ in self.told)

    def again(self, pairs: int) -> tuple[int, float]:
        """(questions, CPU seconds) of about so many pairs, one by one; the answers must be the same."""
        count, seconds = 0, 0.0
        total = sum(len(question["pairs"]) for question, _ in self.told)
        for question, told in self.told:
            some = np.arange(0, len(question["pairs"]), max(1, total // pairs))
            few = question | {n: [question[n][p] for p in some] for n in ("pairs", "mounted")}
            few["asked"] = question["asked"][some]
            few.pop("plugs")
            start = process_time()
            found = costs_one_by_one(SweptWays().priced, **few)
            seconds += process_time() - start
            count += int(few["asked"].sum())
            for name in ("drilled", "minutes", "offset_um", "clearance_um"):
                assert (getattr(found, name) == getattr(told, name)[some]).all(), question["pattern"].name
        return count, seconds


def measured(count: int, batch: int, asked: int) -> dict[str, Any]:
    """One case, in this process."""
    fleet = real_fleet(count, seed=count, batch=batch)
    clock, questions = Clock(), Questions()
    ways = SweptWays()
    start, cpu = perf_counter(), process_time()
    plan = planning.plan_fleet(fleet, made_at="", ready_by=None, minutes_limit=None, ways=ways)
    found = {
        "wall": perf_counter() - start,
        "cpu": process_time() - cpu,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "steps": dict(clock.seconds),
        "status": plan.status,
        "served": plan.totals.served,
        "wanted": plan.totals.wanted,
        "questions": questions.count(),
        "one_by_one": ways.one_by_one,
    }
    found["again"], found["again_cpu"] = questions.again(asked) if asked else (0, 0.0)
    return found


def in_a_process(count: int, batch: int, asked: int) -> dict[str, Any]:
    """One case, in a process of its own."""
    command = [sys.executable, "-m", "tests.bench.plan_scale", "--one", str(count), str(batch), str(asked)]
    told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout
    answer: dict[str, Any] = json.loads(told.splitlines()[-1])
    return answer


def case(count: int, batch: int, asked: int) -> None:
    """Measure and print one row."""
    found = in_a_process(count, batch, asked)
    steps = ", ".join(f"{step} {seconds:.2f}" for step, seconds in found["steps"].items())
    name = (
        f"{count:,} pairs {'all different' if batch == 1 else 'batch-like'}, {found['questions']:,} questions"
    )
    proved = "proved to judged" if found["status"] == planning.PROVED_BEST else "best found, judged"
    said = f"{proved} {found['cpu']:.2f} s CPU ({steps}), wall {found['wall']:.2f} s"
    said += f", {found['peak_mib']:.0f} MiB"
    said += f", {found['one_by_one']} asked one by one"
    if not found["again"]:
        row(name, said, "not run", "-")
        return
    slow = found["again_cpu"] / found["again"]
    ours = found["steps"]["geometry"] / found["questions"]
    whole = slow * found["questions"]
    row(
        name,
        said,
        f"{found['again']:,} of them one by one {found['again_cpu']:.2f} s CPU (all: {whole:.0f} s)",
        f"geometry {slow / ours:.0f} times faster",
    )


def main() -> None:
    """All sizes asked for, all different and batch-like."""
    ask = argparse.ArgumentParser(prog="python -m tests.bench.plan_scale")
    ask.add_argument("pairs", nargs="*", type=int, default=SIZES)
    ask.add_argument("--asked", type=int, default=150, help="pairs asked one by one; 0: no reference")
    ask.add_argument("--batch-only", action="store_true", help="only batch-like fleets")
    ask.add_argument("--one", nargs=3, type=int, help=argparse.SUPPRESS)
    given = ask.parse_args()
    if given.one:
        print(json.dumps(measured(*given.one)))
        return
    for count in given.pairs:
        for batch in (BATCH,) if given.batch_only or count > MOST_DIFFERENT else (BATCH, 1):
            case(count, batch, given.asked)


if __name__ == "__main__":
    main()
