"""The most sets that a problem can serve, quickly: ways that differ only in work are merged first."""

from collections import defaultdict
from dataclasses import replace

import numpy as np

from planner.planning.assign.problem import Problem
from planner.planning.replan.change_budget import served_by_priority


def most_served(problem: Problem) -> int:
    """Sets served, in all priorities, by the first levels of the objective, proved."""
    if problem.minutes_limit is None and problem.parts_limit_cents is None:
        problem = merged(problem)
    return sum(served_by_priority(problem).values())


def merged(problem: Problem) -> Problem:
    """The problem without work: one arc for a pair class, boot class and set of sorts; pair classes that
    reach the same boots by the same sorts are one. Serves exactly as many sets where neither minutes nor
    money bind.
    """
    arcs = problem.arcs
    key = np.stack([arcs.pair, arcs.boot, arcs.brakes], axis=1)
    _, first = np.unique(key, axis=0, return_index=True)
    arcs = arcs.only(np.sort(first))
    reach: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for pair, boot, brakes in zip(arcs.pair.tolist(), arcs.boot.tolist(), arcs.brakes.tolist(), strict=True):
        reach[pair].append((boot, brakes))
    groups: dict[object, list[int]] = defaultdict(list)
    for number, pair_class in enumerate(problem.pairs):
        groups[pair_class.wishes, pair_class.own, tuple(sorted(reach[number]))].append(number)
    heads = {members[0]: n for n, members in enumerate(groups.values())}
    pairs = tuple(
        replace(problem.pairs[members[0]], tags=tuple(t for m in members for t in problem.pairs[m].tags))
        for members in groups.values()
    )
    new_number = np.array([heads.get(n, -1) for n in range(len(problem.pairs))], dtype=np.int64)
    arcs = arcs.only(new_number[arcs.pair] >= 0)
    arcs = replace(arcs, pair=new_number[arcs.pair])
    return replace(problem, pairs=pairs, arcs=arcs.only(arcs.canonical()))
