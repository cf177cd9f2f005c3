"""One plan for 20 seasons against simpler plans, on 300 seasons that none of them has seen, past by past.

Drawn fleets (`assign_fleets`), all pairs different. A want's demand in a season is normal about 0.9 times
its quantity with 35 % spread, times a common factor (10 % spread) of the season. All plans are the
planner's own, solved to proof, on the same fleet with the same limits; they differ in the sets asked for:

* for the seasons: `best_stock` over 20 seasons;
* the mean season: the mean of the same 20 seasons, rounded, want by want;
* the mean raised: that mean times one factor, raised until as many sets are set up;
* the simple rule: of each want alone what is enough in 90 % of the same 20 seasons.

One past proves nothing: with ``--pasts N`` each plan is made from N other pasts, and the interval is that of
the gains past by past. The first past is told in full.

Served: a flow a season, over all wants. The gain is paired season by season; its interval is 95 %, normal.
The time is from the drawn problem to the solved plan and what one more is worth: the geometry is not in it.

Run: python -m tests.bench.season_plan_bench [PAIRS ...] [--pasts N]
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from resource import RUSAGE_SELF, getrusage
from statistics import fmean, stdev
from time import perf_counter, process_time

import numpy as np

from planner.planning.assign.lexicographic import solve
from planner.planning.assign.problem import Problem
from planner.planning.seasons.season_plan import SeasonFlow
from planner.planning.seasons.season_program import best_stock, first_stage, values_of_one_more
from planner.planning.seasons.seasons import quantile
from tests.bench.assign_fleets import fleet_problem
from tests.bench.rows import row

Stock = Mapping[tuple[int, ...], int]
SEASONS, UNSEEN, READY = 20, 300, 0.9


def drawn(rng: np.random.Generator, problem: Problem, count: int) -> list[tuple[int, ...]]:
    mean = np.array([w.quantity for w in problem.wishes]) * 0.9
    shared = rng.normal(1, 0.1, (count, 1))
    made = np.maximum(0, np.rint(mean * shared * rng.normal(1, 0.35, (count, len(mean)))))
    return [tuple(season) for season in made.astype(int).tolist()]


def set_up(problem: Problem, wanted: Stock) -> Stock:
    """The planner's own best plan for such wants, as sets by what they may serve."""
    types = sorted(t for t, n in wanted.items() if n)
    wishes = []
    for number, who in enumerate(types):
        first = min((problem.wishes[w] for w in who), key=lambda w: w.priority)
        wishes.append(replace(first, wish=f"T-{number:04}", quantity=wanted[who]))
    sets = [set(t) for t in types]

    def asked(who: tuple[int, ...]) -> tuple[int, ...]:
        mine = set(who)
        return tuple(i for i, t in enumerate(sets) if t <= mine)

    typed = replace(
        problem,
        wishes=tuple(wishes),
        pairs=tuple(replace(p, wishes=asked(p.wishes)) for p in problem.pairs),
        boots=tuple(replace(b, wishes=asked(b.wishes)) for b in problem.boots),
    )
    found: Counter[tuple[int, ...]] = Counter()
    for chosen in solve(typed, lambda _: None).sets:
        pair = problem.pairs[problem.arcs.pair[chosen.arc]]
        boot = problem.boots[problem.arcs.boot[chosen.arc]]
        found[tuple(w for w in pair.wishes if w in set(boot.wishes))] += 1
    return dict(found)


def raised(problem: Problem, mean: np.ndarray, sets: int) -> Stock:
    """The plan for the mean times the least factor, by 2 %, that sets up as many sets; else for twice."""
    found: Stock = {}
    for percent in range(100, 202, 2):
        found = set_up(problem, {(w,): round(m * percent / 100) for w, m in enumerate(mean.tolist())})
        if sum(found.values()) >= sets:
            break
    return found


def measure(problem: Problem, pairs: int, past: int) -> dict[str, float]:
    """Mean gain over each other plan in the seasons not seen; of the first past the rows too."""
    rng = np.random.default_rng(11 + past)
    seen, unseen = drawn(rng, problem, SEASONS), drawn(rng, problem, UNSEEN)
    ranks = [w.priority for w in problem.wishes]
    started, cpu = perf_counter(), process_time()
    stock = best_stock(first_stage(problem), seen, ranks, ready=READY)
    model = perf_counter() - started
    ours = set_up(problem, stock.counts)
    solved = perf_counter() - started
    more = values_of_one_more(stock, each=3)
    seconds, cpu = perf_counter() - started, process_time() - cpu
    mean = np.array(seen).mean(axis=0)
    rule = [quantile(column, READY) for column in zip(*seen, strict=True)]
    others = {
        "the simple rule": set_up(problem, {(w,): n for w, n in enumerate(rule)}),
        "the mean season": set_up(problem, {(w,): round(m) for w, m in enumerate(mean.tolist())}),
        "the mean raised to as many sets": raised(problem, mean, sum(ours.values())),
    }
    served = served_in(ours, seen, ranks)
    value = fmean(served) - (1 - READY) * sum(ours.values())
    print(
        f"{pairs} pairs, {SEASONS} seasons: {seconds:.1f} s wall, {cpu:.1f} s CPU"
        f" (model {model:.1f} s, plan {solved - model:.1f} s, worth of one more {seconds - solved:.1f} s),"
        f" {getrusage(RUSAGE_SELF).ru_maxrss // 1024} MiB, {sum(ours.values())} of"
        f" {sum(stock.counts.values())} set up, within {100 * (1 - value / stock.bound):.2f} % of the bound"
    )
    for one in more[:3]:
        print(f"  one more {one.thing}: {one.sets:.3f} sets a season")
    served = served_in(ours, unseen, ranks)
    gains = {}
    for name, other in others.items():
        theirs = served_in(other, unseen, ranks)
        gain = [a - b for a, b in zip(served, theirs, strict=True)]
        gains[name] = fmean(gain)
        if past:
            continue
        half = 1.96 * stdev(gain) / sqrt(UNSEEN)
        low, high = fmean(gain) - half, fmean(gain) + half
        row(
            f"{pairs} pairs, one plan for {SEASONS} seasons, {UNSEEN} unseen",
            f"{fmean(served):.1f} sets served, {sum(ours.values())} set up, {seconds:.1f} s",
            f"{name}: {fmean(theirs):.1f} served, {sum(other.values())} set up",
            f"{fmean(gain):+.1f} sets ({low:+.1f} to {high:+.1f}, paired 95 %)",
        )
    return gains


def served_in(stock: Stock, seasons: list[tuple[int, ...]], ranks: list[int]) -> list[int]:
    flow = SeasonFlow(stock, ranks)
    return [sum(flow.serve(season)) for season in seasons]


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m tests.bench.season_plan_bench")
    ask.add_argument("pairs", nargs="*", type=int, default=[1_500, 5_000])
    ask.add_argument("--pasts", type=int, default=1)
    given = ask.parse_args()
    for pairs in given.pairs:
        problem = fleet_problem(pairs, seed=3)
        gains = [measure(problem, pairs, past) for past in range(given.pasts)]
        for name in gains[0] if given.pasts > 1 else ():
            each = [one[name] for one in gains]
            half = 1.96 * stdev(each) / sqrt(len(each))
            row(
                f"{pairs} pairs, {given.pasts} pasts of {SEASONS} seasons, {UNSEEN} unseen each",
                f"{fmean(each):+.1f} sets served",
                name,
                f"{min(each):+.1f} to {max(each):+.1f}; mean {fmean(each) - half:+.1f} to"
                f" {fmean(each) + half:+.1f} (95 %)",
            )


if __name__ == "__main__":
    main()
