"""Bench weeks of 200, 1,000 and 5,000 invented orders beside the order-by-due-date list, in one run.

    python -m tests.bench.bench_weeks_orders [200 1000 5000]

Two kinds of bench: a rental fleet's, where eight orders in a row are alike as the pairs of one set wanted
are, and the hard one, where every order is drawn for itself (up to 42 jig settings among 200 orders).

Prints the weight of late orders that the list and the plan leave, the bound no plan can go below, the gap,
and the seconds. Goals: 200 proved in 2 s, 1,000 within 5 % in 30 s, 5,000 within 6 % in 180 s.
"""

from __future__ import annotations

import sys
from pathlib import Path
from time import perf_counter, process_time

sys.path.insert(0, str(Path(__file__).parents[1] / "bench_weeks"))

from invented_weeks import bench_and_jobs, due_date_list

from planner.bench.weeks.weeks import plan_bench
from tests.bench.rows import row

CASES = {200: (2, 4, 2.0), 1000: (6, 6, 30.0), 5000: (24, 6, 180.0)}
"""Orders: technicians, weeks, seconds."""
KINDS = {"fleet": 8, "strangers": 1}
"""Orders in a row that are alike: the main kind first, the hard kind after it."""
MANY = 5_000
"""From so many orders on only the main kind is asked about: each case takes minutes."""
FILLS = (0.85, 0.95, 1.05)
"""How much of the bench's minutes is asked for until each delivery: roomy, tight, more than there is."""


def main(sizes: list[int]) -> None:
    """One line a case."""
    print(
        "kind       orders  fill  list late  plan late  bound   gap %   set-ups  bound  list s  plan s  cpu s"
    )
    for size in sizes:
        for kind in KINDS if size < MANY else [*KINDS][:1]:
            for fill in FILLS:
                _case(size, kind, fill)


def _case(size: int, kind: str, fill: float) -> None:
    technicians, weeks, seconds = CASES[size]
    bench, jobs = bench_and_jobs(
        size, seed=1, technicians=technicians, weeks=weeks, fill=fill, alike=KINDS[kind]
    )
    start = perf_counter()
    listed = due_date_list(bench, jobs)
    middle, begun = perf_counter(), process_time()
    plan = plan_bench(bench, jobs, seconds=seconds)
    end, used = perf_counter(), process_time() - begun
    late, bound = plan.figures.late_weight, plan.proof.late_weight
    print(
        f"{kind:9}  {size:6}  {fill:4}  {listed.figures.late_weight:9}  {late:9}"
        f"  {bound:5}  {plan.late_gap_percent:6}  {plan.figures.setups:7}"
        f"  {plan.proof.setups!s:>5}  {middle - start:6.1f}  {end - middle:6.1f}  {used:5.1f}",
        flush=True,
    )
    row(
        f"{size:,} orders, {kind}, fill {fill}: weight of late orders, in {end - middle:.0f} s",
        f"{late} (no plan below {bound})",
        f"list by due date {listed.figures.late_weight}",
        f"{listed.figures.late_weight / late:.1f} times less" if late else "none late",
    )


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or list(CASES))
