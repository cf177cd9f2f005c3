"""The lexicographic optimum: each level is minimised on the optimal face of the levels before it.

The levels stand in `planner.plan.objective`. No level is ever added to another: a weighted sum would need
weights beyond what the solvers count with.

First the levels are settled without side constraints, as minimum-cost flows: whole numbers, quick at any
size. If the flow that comes out keeps the side constraints too, it is the best plan, because a relaxation can
only flatter. Else the same levels are settled as linear programs with all constraints.

A deadline may cut this short: then the best plan found so far comes out, with every bound that was proved.

From numbers of sets to sets by tag: the members of a class are dealt out in order of their tags. No rule
tells them apart and no level tells plans of equal value apart: which of them comes out is the solver's
choice, the same for the same input.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from msgspec import structs

from fleet.base.errors import PlanFault
from fleet.base.grouping import grouped
from fleet.base.values import Value
from planner.plan.objective import Certificate, Level
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.dual_certificate import certificate_of, empty_certificate
from planner.planning.assign.formulation import (
    Columns,
    Network,
    columns_of,
    face_of,
    flow_costs,
    level_costs,
    network_of,
    way_costs,
)
from planner.planning.assign.linear_program import NEVER, Deadline, Ints, OutOfTime
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Problem
from planner.planning.assign.side_constraints import binding_flow, over_booked, uses_of

Say = Callable[[str], None]


class Chosen(Value, frozen=True, kw_only=True):
    """One set by tags; ``arc`` is the way, ``sort`` None for the pair's own binding."""

    wish: int
    boot: str
    pair: str
    arc: int
    sort: BindingSort | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Sets in order of (wish, boot, pair), and the value of each level.

    ``certificate``: what the judge needs to prove it again; None where the problem is not that of a fleet.
    ``problem``: what was solved, with the room of the ways among which the levels before it left a choice.
    """

    sets: tuple[Chosen, ...]
    levels: tuple[tuple[Level, int], ...]
    certificate: Certificate | None = None
    problem: Problem


def solve(problem: Problem, say: Say, deadline: Deadline = NEVER, *, near: Sequence[Ints] = ()) -> Solution:
    """The best plan, proved level by level; the best found and the bounds proved if the deadline is first.

    ``near``: costs of the ways that choose among the best plans, one after the other, below all levels.
    """
    if not len(problem.arcs):
        problem = problem.with_room(())
        return Solution(sets=(), levels=(), certificate=empty_certificate(problem), problem=problem)
    network = network_of(problem)
    return by_flow(problem, network, say, deadline, near) or by_rows(problem, network, say, deadline, near)


def by_flow(
    problem: Problem, network: Network, say: Say, deadline: Deadline = NEVER, near: Sequence[Ints] = ()
) -> Solution | None:
    """The best plan if no side constraint binds, else None; the network then holds the relaxation's flow."""
    if deadline.over():
        return None
    costs = [flow_costs(problem, network, level) for level in problem.levels]
    nearest = [way_costs(network, each) for each in near]
    network.circulation.foresee([*costs, *nearest])
    values: list[int] = []
    for cost in costs:
        if deadline.over():
            return None
        values.append(network.circulation.minimise(cost))
        say(f"{_progress_text(problem, values)}, proved if bindings and limits suffice")
    if not _keeps_side_constraints(problem, network):
        return None
    problem = problem.with_room(np.flatnonzero(network.circulation.upper[network.way_arc]).tolist(), deadline)
    for level in problem.levels[len(values) :]:
        values.append(network.circulation.minimise(flow_costs(problem, network, level)))
        say(f"{_progress_text(problem, values)}, proved if bindings and limits suffice")
    for cost in nearest:
        network.circulation.minimise(cost)
    if not _keeps_side_constraints(problem, network):
        return None
    flow = network.circulation.flow
    return _checked(problem, network, flow[network.way_arc], flow[network.serve_arc], proved=values)


def by_rows(
    problem: Problem,
    relaxed: Network,
    say: Say,
    deadline: Deadline = NEVER,
    near: Sequence[Ints] = (),
    keep: tuple[Ints, int] | None = None,
) -> Solution:
    """The best plan with every constraint, by linear programs, and integer ones where those are fractional.

    ``relaxed``: the network as far as `by_flow` came; its flow tells which ways are likely. ``keep``: ways of
    which the plan must hold so many, if there is such a plan.
    """
    network = network_of(problem)
    columns = columns_of(problem, network)
    start = _start(problem, relaxed, columns) if deadline.set else None
    if start is not None and deadline.over():
        return _checked(problem, relaxed, *columns.used(start))
    face = face_of(problem, network, columns, likely_ways(problem, relaxed), deadline, keep)
    if start is not None:
        face.values = start
    values: list[int] = []
    counted = problem
    try:
        while len(values) < len(counted.levels):
            level = counted.levels[len(values)]
            values.append(face.minimise(level_costs(counted, network, columns, level)))
            say(f"{_progress_text(counted, values)}, {'proved' if face.all_proved else 'found, out of time'}")
            if len(values) == len(problem.levels):
                counted = problem.with_room(np.flatnonzero(face.upper[: columns.ways]).tolist(), deadline)
    except OutOfTime:
        say(f"out of time after {len(values)} levels")
    if len(values) == len(counted.levels) and face.all_proved:
        with suppress(OutOfTime):
            for each in near:
                face.minimise(np.pad(each, (0, columns.size - columns.ways)), certify=False)
        return _checked(counted, relaxed, *columns.used(face.values), proved=values, face=face)
    best = face.values if start is None else _better(problem, network, columns, start, face.values)
    return _checked(problem, relaxed, *columns.used(best), face=face)


def _progress_text(problem: Problem, values: Sequence[int]) -> str:
    """The newest level's total in words."""
    level = problem.levels[len(values) - 1]
    sets = -sum(v for each, v in zip(problem.levels, values, strict=False) if each.priority is not None)
    total = level.total_for(values[-1], sets=sets, cap_um=problem.clearance_cap_um)
    return f"{level.words}: {level.figure(total)}"


def _keeps_side_constraints(problem: Problem, network: Network) -> bool:
    """Return whether the flow is a plan: boots suffice, bindings without stripping, minutes, money."""
    flow = network.circulation.flow
    first = int(network.way_arc[0])
    links = flow[first - len(network.link_boot) : first]
    if over_booked(problem, network.link_boot, links):
        return False
    ways = flow[network.way_arc]
    found = binding_flow(problem, uses_of(ways))
    if found is None or found.stripped:
        return False
    spent = (
        (problem.arcs.minutes, problem.minutes_limit),
        (problem.arcs.parts_cents, problem.parts_limit_cents),
    )
    return all(limit is None or int(each @ ways) <= limit for each, limit in spent)


def likely_ways(problem: Problem, network: Network) -> Ints:
    """The ways of the relaxation's flow, and the best way of every pair and of every link."""
    order = problem.arcs.best_first()
    _, of_pair = np.unique(problem.arcs.pair[order], return_index=True)
    _, of_link = np.unique(network.way_link[order], return_index=True)
    flow = network.circulation.flow[network.way_arc]
    return np.unique(np.concatenate([np.flatnonzero(flow), order[of_pair], order[of_link]]))


def _start(problem: Problem, relaxed: Network, columns: Columns) -> Ints:
    """All columns of a plan that keeps the limits: by one pass, or the flow where that is one and better."""
    flow = relaxed.circulation.flow
    ways, serves = flow[relaxed.way_arc], flow[relaxed.serve_arc]
    plain = _columns_from(problem, columns, *greedy_plan(problem, relaxed, np.flatnonzero(ways)))
    if not _keeps_side_constraints(problem, relaxed):
        return plain
    return _better(problem, relaxed, columns, plain, _columns_from(problem, columns, ways, serves))


def _better(problem: Problem, network: Network, columns: Columns, one: Ints, other: Ints) -> Ints:
    """The better of two plans, level by level; the second among equals."""
    costs = [level_costs(problem, network, columns, level) for level in problem.levels]
    return one if [int(c @ one) for c in costs] < [int(c @ other) for c in costs] else other


def _columns_from(problem: Problem, columns: Columns, ways: Ints, serves: Ints) -> Ints:
    """All columns of a plan that keeps the limits, from its ways and serving arcs."""
    found = binding_flow(problem, uses_of(ways))
    assert found is not None
    supplied = list(problem.supply)
    sorts = [
        int(found.flow.flow[at]) if (at := found.arc_of.get((b, supplied[k]))) is not None else 0
        for b, k in zip(columns.sort_brakes.tolist(), columns.sort_number.tolist(), strict=True)
    ]
    strips = [int(found.flow.flow[found.strip_of[sort]]) for sort in supplied]
    return np.concatenate([ways, serves, np.array(sorts + strips, dtype=np.int64)])


def _checked(
    problem: Problem,
    relaxed: Network,
    ways: Ints,
    serves: Ints,
    *,
    proved: list[int] | None = None,
    face: OptimalFace | None = None,
) -> Solution:
    """The solution, if its sets reach what the levels proved. Raises PlanFault if they do not."""
    sets = deal_out(problem, relaxed, ways, serves)
    arcs = np.array([s.arc for s in sets], dtype=np.int64)
    wishes = np.array([s.wish for s in sets], dtype=np.int64)
    found = binding_flow(problem, [(s.arc, 1) for s in sets])
    if found is None:
        raise PlanFault("the bindings do not suffice for the sets", cure="report this, with the ledger")
    reached = [
        int(problem.served_costs(level)[wishes].sum())
        if level.priority is not None
        else int(problem.arcs.cost(level)[arcs].sum()) + problem.strip_cost(level) * found.stripped
        for level in problem.levels
    ]
    if reached != (proved or reached):
        raise PlanFault(f"the sets reach {reached}, proved was {proved}", cure="report this, with the ledger")
    return Solution(
        sets=tuple(with_brakes(problem, sets)),
        levels=tuple(zip(problem.levels, reached, strict=True)),
        certificate=certificate_of(problem, relaxed, reached, face),
        problem=problem,
    )


def greedy_plan(problem: Problem, network: Network, prefer: Ints) -> tuple[Ints, Ints]:
    """The uses of each way and of each serving arc; ``prefer``: ways that come before all others."""
    arcs = problem.arcs
    ways, serves = np.zeros(len(arcs), dtype=np.int64), np.zeros(len(network.serve_arc), dtype=np.int64)
    last = np.ones(len(arcs), dtype=np.int64)
    last[prefer] = 0
    order = arcs.best_first(last)
    left = _Left(problem, network)
    for priority in sorted({w.priority for w in problem.wishes}):
        serving = [k for k, w in enumerate(network.serve_wish.tolist()) if left.priority[w] == priority]
        by_link = grouped(serving, lambda serve: int(network.serve_link[serve]))
        mine = order[np.isin(network.way_link[order], np.array(sorted(by_link), dtype=np.int64))]
        for way, link in zip(mine.tolist(), network.way_link[mine].tolist(), strict=True):
            for serve in by_link[link]:
                while left.take(way, serve):
                    ways[way] += 1
                    serves[serve] += 1
    return ways, serves


class _Left:
    """The supply that is left of everything limited."""

    def __init__(self, problem: Problem, network: Network) -> None:
        arcs = problem.arcs
        self.priority = [w.priority for w in problem.wishes]
        self._wishes = [w.quantity for w in problem.wishes]
        self._pairs = [len(p.tags) for p in problem.pairs]
        self._boots = [len(b.tags) for b in problem.boots]
        self._pair, self._boot = arcs.pair.tolist(), arcs.boot.tolist()
        self._brakes, self._minutes = arcs.brakes.tolist(), arcs.minutes.tolist()
        self._wish = network.serve_wish.tolist()
        self._own = problem.own_sorts().tolist()
        self._sorts = problem.sorts_of_sets()
        self._supply = list(problem.supply.values())
        self._loose = [problem.bindings.stock.get(sort, 0) for sort in problem.supply]
        self._bench, self._strip = problem.minutes_limit, problem.strip_minutes
        self._budget, self._parts = problem.parts_limit_cents, arcs.parts_cents.tolist()

    def take(self, way: int, serve: int) -> bool:
        """One set more, if it fits into what is left."""
        pair, boot, wish = self._pair[way], self._boot[way], self._wish[serve]
        if not (self._pairs[pair] and self._boots[boot] and self._wishes[wish]):
            return False
        sort = next(self._sorts_for(pair, self._brakes[way]), None)
        if sort is None:
            return False
        own, fresh = self._own[pair], self._brakes[way] >= 0
        minutes = self._minutes[way] + (self._strip if fresh and self._loose[sort] <= 0 else 0)
        if self._bench is not None and minutes > self._bench:
            return False
        if self._budget is not None:
            if self._parts[way] > self._budget:
                return False
            self._budget -= self._parts[way]
        if self._bench is not None:
            self._bench -= minutes
        for counts, index in ((self._pairs, pair), (self._boots, boot), (self._wishes, wish)):
            counts[index] -= 1
        self._supply[sort] -= 1
        if fresh:
            self._loose[sort] = max(0, self._loose[sort] - 1)
            if own >= 0:
                self._loose[own] += 1
        return True

    def _sorts_for(self, pair: int, brakes: int) -> Iterator[int]:
        """Sorts of binding that are left for the set, loose ones before those that strip a pair."""
        if brakes < 0:
            sorts = [self._own[pair]]
        else:
            sorts = sorted(self._sorts[brakes], key=lambda sort: self._loose[sort] <= 0)
        return (sort for sort in sorts if self._supply[sort] > 0)


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
        done.append(structs.replace(chosen, sort=sort))
    return done
