"""From numbers of sets to sets by tag: the members of a class are dealt out in order of their tags.

No rule tells the members of a class apart and no level tells plans of equal value apart: which of them comes
out is the solver's choice, the same for the same input.
"""

from collections import Counter
from collections.abc import Iterable

import numpy as np
from msgspec.structs import replace

from fleet.base.values import Value
from planner.planning.assign.binding_stock import BindingSort
from planner.planning.assign.circulation import Ints
from planner.planning.assign.network import Network
from planner.planning.assign.problem import Problem
from planner.planning.assign.side_constraints import binding_flow


class Chosen(Value, frozen=True, kw_only=True):
    """One set by tags; ``arc`` is the way, ``sort`` None for the pair's own binding."""

    wish: int
    boot: str
    pair: str
    arc: int
    sort: BindingSort | None = None


def deal_out(problem: Problem, network: Network, ways: Ints, serves: Ints) -> list[Chosen]:
    """The sets in order of (wish, boot, pair), from how often each way and each serving arc is used."""
    way = np.repeat(np.arange(len(ways)), ways)
    way = way[np.argsort(network.way_link[way], kind="stable")]
    serve = np.repeat(np.arange(len(serves)), serves)
    serve = serve[np.argsort(network.serve_link[serve], kind="stable")]
    wish = network.serve_wish[serve]  # link by link there are as many sets as wishes served
    boot, pair = problem.arcs.boot[way], problem.arcs.pair[way]
    boots, pairs = ([iter(each.tags) for each in classes] for classes in (problem.boots, problem.pairs))
    found = [
        Chosen(wish=w, boot=next(boots[b]), pair=next(pairs[p]), arc=a)
        for w, b, p, a in zip(
            *(each[np.lexsort((way, pair, boot, wish))].tolist() for each in (wish, boot, pair, way)),
            strict=True,
        )
    ]
    return sorted(found, key=lambda each: (each.wish, each.boot, each.pair))


def with_brakes(problem: Problem, sets: Iterable[Chosen]) -> list[Chosen]:
    """The sets with the sort of binding of each, so that the fewest pairs are stripped."""
    sets = list(sets)
    found = binding_flow(problem, [(s.arc, 1) for s in sets])
    if found is None:
        raise AssertionError("the bindings do not suffice: a limit was broken")
    left = Counter({key: int(found.flow.flow[arc]) for key, arc in found.arc_of.items()})
    done: list[Chosen] = []
    for chosen in sets:
        brakes = int(problem.arcs.brakes[chosen.arc])
        sort = None
        if brakes >= 0:
            sort = next(k for k in problem.brake_sets[brakes] if left[brakes, k])
            left[brakes, sort] -= 1
        done.append(replace(chosen, sort=sort))
    return done
