"""Promising sets on an optimal face: by turning cycles of the network, checked against the side limits."""

from __future__ import annotations

from collections import Counter

import numpy as np

from planner.assign.circulation import Ints
from planner.assign.face import Face
from planner.assign.lp import Columns
from planner.assign.network import Network
from planner.assign.problem import COSTS, Problem
from planner.assign.rotate import Rotations
from planner.assign.side import allot, boots_used, demand_of, over_booked, uses_of

Cycle = list[tuple[int, int]]


class SideLimitBinds(Exception):
    """A cycle of the network would break a limit that the network does not know."""


class NetworkTakes:
    """Takes sets by cycles. ``exact`` answers where a cycle breaks a side limit; without it, it is raised."""

    def __init__(
        self, problem: Problem, network: Network, stripped: int, exact: ExactTakes | None = None
    ) -> None:
        self._problem, self._network, self._stripped = problem, network, stripped
        self._moves = Rotations(network.circulation)
        self._exact = exact
        self._serve0, self._way0 = int(network.serve_arc[0]), int(network.way_arc[0])
        self._wish_arcs = len(network.wish_arc)
        arcs = problem.arcs
        self._costs = np.stack([getattr(arcs, name) for name in COSTS], axis=1)
        self._priority = [w.priority for w in problem.wishes]
        kits = {kit: k for k, kit in enumerate(problem.supply)}
        own = [(-1 if p.own is None else kits[p.own]) for p in problem.pairs]
        self._parts = arcs.parts_cents.tolist()
        self._spent = self._spent_now()
        self._sort = [(int(b), own[g]) for b, g in zip(arcs.brakes.tolist(), arcs.pair.tolist(), strict=True)]
        links = Counter(network.link_boot.tolist())
        self._shared = [links[boot] > 1 for boot in network.link_boot.tolist()]

    def may_serve(self, serve: int) -> bool:
        """As `ties.Takes`."""
        return bool(self._moves.upper[self._serve0 + serve] > 0)

    def may_use(self, way: int) -> bool:
        """As `ties.Takes`."""
        return bool(self._moves.upper[self._way0 + way] > 0)

    def take(self, serve: int, way: int) -> bool:
        """As `ties.Takes`."""
        moves, z, x = self._moves, self._serve0 + serve, self._way0 + way
        possible = self._ensure(z, settle=True)
        if possible:
            before = moves.promise(z)
            possible = self._ensure(x, settle=False)
            moves.release(z, before)
        if possible is None:
            possible = self._ask_exactly(serve, way)
        elif possible and self._exact is not None:
            self._exact.promise(serve, way)
        if possible:
            moves.promise(z)
            moves.promise(x)
        return bool(possible)

    def _ensure(self, arc: int, *, settle: bool) -> bool | None:
        """A unit to spare on the arc: True, False if that is proved to be impossible, None if unsure."""
        moves = self._moves
        if moves.spare(arc) > 0:
            return True
        cycle = moves.cycle_for(arc, settle=settle)
        if cycle is None:
            return False
        moves.apply(cycle)
        if self._allowed(cycle):
            return True
        moves.undo(cycle)
        return None

    def _allowed(self, cycle: Cycle) -> bool:
        """Whether the flow, just turned, keeps the side limits and every level's value."""
        ways = [(arc - self._way0, c) for arc, c in cycle if 0 <= arc - self._way0 < len(self._sort)]
        wishes = Counter[int]()
        for arc, change in cycle:
            if arc < self._wish_arcs:
                wishes[self._priority[arc]] += change
        costs = [sum(c * int(self._costs[w, level]) for w, c in ways) for level in range(len(COSTS))]
        minutes = costs.pop(COSTS.index("minutes"))
        if any(wishes.values()) or any(costs) or not self._boots_suffice(cycle):
            return False
        stripped = self._stripped_now(ways)
        if stripped is None or minutes + self._problem.strip_minutes * (stripped - self._stripped):
            return False
        spent, limit = self._spent + sum(c * self._parts[w] for w, c in ways), self._problem.parts_limit_cents
        if limit is not None and spent > limit:
            return False
        self._stripped, self._spent = stripped, spent
        return True

    def _spent_now(self) -> int:
        """What the parts of the flow cost, hundredths."""
        return sum(n * c for n, c in zip(self._moves.flow[self._way0 :], self._parts, strict=False) if n)

    def _boots_suffice(self, cycle: Cycle) -> bool:
        links = self._network.link_boot
        first = self._way0 - len(links)
        if not any(first <= arc < self._way0 and self._shared[arc - first] for arc, _ in cycle):
            return True
        used = boots_used(
            self._problem, links, np.array(self._moves.flow[first : self._way0], dtype=np.int64)
        )
        return not over_booked(self._problem, used)

    def _stripped_now(self, ways: list[tuple[int, int]]) -> int | None:
        """Pairs stripped for the bindings after the turn, None where they do not suffice."""
        changed = Counter[tuple[int, int]]()
        for way, change in ways:
            changed[self._sort[way]] += change
        if not any(changed.values()):
            return self._stripped
        flow = np.array(self._moves.flow[self._way0 : self._way0 + len(self._sort)], dtype=np.int64)
        found = allot(self._problem, demand_of(self._problem, uses_of(flow)))
        return None if found is None else found.stripped

    def _ask_exactly(self, serve: int, way: int) -> bool:
        if self._exact is None:
            raise SideLimitBinds
        values = self._exact.reach(serve, way)
        if values is None:
            return False
        self._moves.flow = network_flow(self._network, values).tolist()
        found = allot(self._problem, demand_of(self._problem, uses_of(values[: len(self._sort)])))
        self._stripped = 0 if found is None else found.stripped
        self._spent = self._spent_now()
        return True


class ExactTakes:
    """The same question asked of the linear program, for the few cases that cycles leave open."""

    def __init__(self, face: Face, columns: Columns) -> None:
        self._columns = columns
        self._settled = np.rint(face.settled_or_value()).astype(np.int64)
        self._face, self._place = face.reduced()
        self._promised = Counter[int]()

    def promise(self, serve: int, way: int) -> None:
        """Keep one set more on both."""
        for column in (way, self._columns.ways + serve):
            self._promised[column] += 1
            if column in self._place:
                self._face.at_least(self._place[column], self._promised[column])

    def reach(self, serve: int, way: int) -> Ints | None:
        """All columns of a best plan that also has one set more on both, which is then promised; or None."""
        wanted = {c: self._promised[c] + 1 for c in (way, self._columns.ways + serve)}
        if any(c not in self._place and self._settled[c] < n for c, n in wanted.items()):
            return None
        if not self._face.try_at_least({self._place[c]: n for c, n in wanted.items() if c in self._place}):
            return None
        self._promised.update(wanted.keys())
        values = self._settled.copy()
        for column, at in self._place.items():
            values[column] = self._face.values[at]
        return values


def network_flow(network: Network, values: Ints) -> Ints:
    """The circulation that columns of the linear program (ways, then serving arcs) stand for."""
    ways, serves = len(network.way_arc), len(network.serve_arc)
    circulation = network.circulation
    flow = np.zeros(len(circulation.tail), dtype=np.int64)
    flow[network.way_arc] = values[:ways]
    flow[network.serve_arc] = values[ways : ways + serves]
    first, last = int(network.serve_arc[0]) + serves, int(network.way_arc[0])
    np.add.at(flow, first + network.way_link, values[:ways])
    assert last - first == len(network.link_boot)
    np.add.at(flow, network.serve_wish, values[ways : ways + serves])
    back = int(network.way_arc[0]) + ways
    pair_node = circulation.tail[back] if len(flow) > back else 0
    np.add.at(flow, back + circulation.head[network.way_arc] - pair_node, values[:ways])
    return flow
